"""Bodies from measured air loads."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cars import CAR
from project.good_folder import write_folder

from fit.air_tables import (
    LIKE,
    SMALL,
    another,
    apart,
    as_csv,
    attitudes,
    measured,
)
from setupopt.errors import UserError
from setupopt.fit.air.fit import AirFit
from setupopt.fit.air.fits import AirFits, fit_air, fit_body
from setupopt.fit.air.oddities import is_scattered
from setupopt.fit.air.table import read_air
from setupopt.project import load
from setupopt.project.model import Car


def scores(fit: AirFit, truth: Car) -> list[float]:
    """Of the numbers with a value of their own: errors over standard errors."""
    pairs = zip(fit.numbers, _values(truth, fit), strict=True)
    return [(n.value - value) / n.error for n, value in pairs if n.error]


def test_numbers_come_back_from_noisy_loads() -> None:
    """Bodies up to 30 % another, 2 % noise: numbers within three standard errors, most of them told.
    95 % of 200 such trials are in tests/benchmarks/test_fit_air.py."""
    found = []
    for seed in range(2):
        truth = another(seed, SMALL)
        fit = fit_body(
            "a", "a", SMALL, measured(truth, attitudes(40, seed), 0.02, seed)
        )
        found += scores(fit, truth)
    assert len(found) >= 8  # of 16
    assert max(map(abs, found)) < 3.5
    assert np.mean(np.abs(found) < 3.0) >= 0.95


def test_numbers_come_back_exactly_without_noise() -> None:
    """A thousandth: the search stops at less."""
    truth = another(7, SMALL)
    fit = fit_body("a", "a", SMALL, measured(truth, attitudes(40)))
    for number, wanted in zip(fit.numbers, _values(truth, fit), strict=True):
        assert number.value == pytest.approx(wanted, rel=1e-3), number.term.name


def _values(truth: Car, fit: AirFit) -> list[float]:
    """The true values of the fit's numbers."""
    air = truth.air
    return [
        getattr(air if e is None else air.elements[e], n.term.field)
        for n in fit.numbers
        for e in [n.term.element]
    ]


def test_the_error_of_left_out_rows_is_that_of_fresh_rows() -> None:
    """What goes into [spread] is what a user will see: the errors of 200 fresh attitudes with the same noise,
    rms of five bodies. 35 %: ten rows each, and the error is that of the best of several rungs."""
    told, seen = [], []
    for seed in range(5):
        truth = another(seed, SMALL)
        fit = fit_body(
            "a", "a", SMALL, measured(truth, attitudes(10, seed), 0.02, seed)
        )
        fresh = measured(truth, attitudes(200, seed + 20), 0.02, seed + 20)
        missed = (
            measured(replace(SMALL, air=fit.air), fresh).areas - fresh.areas
        )
        told += [fit.error(force) or 0.0 for force in (0, 1)]
        seen += list(
            np.sqrt((missed[:, :2] ** 2).mean(axis=0)) / fresh.sizes[:2]
        )
    assert np.sqrt(np.mean(np.square(told))) == pytest.approx(
        np.sqrt(np.mean(np.square(seen))), rel=0.35
    )


def test_held_numbers_make_the_others_less_sure() -> None:
    """By noise alone a factor from one attitude would be sure to 1.5 %; areas that are off by a quarter each
    move it by more."""
    fit = fit_body("a", "a", SMALL, measured(SMALL, attitudes(1)))
    assert fit.common_factor is not None
    assert 0.05 < fit.common_factor[1] < 0.4


def test_a_wrong_reading_is_named_by_its_line() -> None:
    """One load misread by a third; the body hardly moves by it."""
    rows = measured(another(1, SMALL), attitudes(14), 0.02)
    plain = fit_body("a", "a", SMALL, rows)
    bad = rows.forces.copy()
    bad[11, 1] *= 1.33
    fit = fit_body("a", "a", SMALL, replace(rows, forces=bad))
    worst = max(fit.outlying, key=lambda one: abs(one[2]))
    assert worst[:2] == (rows.lines[11], "downforce_rear_N")
    assert not is_scattered(fit)
    fresh = attitudes(40, seed=5)
    assert apart(plain.air, fit.air, fresh) < 0.04  # the noise, twice


def test_loads_in_speed_and_density_scale_out() -> None:
    """Dynamic pressure is divided out: the same attitudes at other speeds in other air give the same body."""
    rows = attitudes(8)
    faster = replace(rows, speed=1.7 * rows.speed, density=0.9 * rows.density)
    bodies = [
        fit_body("a", "a", SMALL, measured(another(2, SMALL), one)).air
        for one in (rows, faster)
    ]
    for first, second in zip(*(body.elements for body in bodies), strict=True):
        assert first.free_area == pytest.approx(second.free_area, rel=1e-4)
        assert first.peak_gap == pytest.approx(second.peak_gap, rel=1e-4)


def test_rows_that_tell_nothing_are_refused() -> None:
    """Side force of a car straight ahead."""
    rows = attitudes(4, yaw=0.0)
    rows.forces[:, 3] = 0.0
    with pytest.raises(UserError, match='configuration "a"'):
        fit_body("a", "a", SMALL, rows)


# ---- a whole table -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def fits(tmp_path_factory: pytest.TempPathFactory) -> AirFits:
    """Two bodies of the good folder's car."""
    folder = tmp_path_factory.mktemp("air")
    project = load(write_folder(folder))
    rows = attitudes(8, body_roll=0.0, curvature=0.0)
    tables = {
        "b": measured(project.car, rows),
        "a/1": measured(another(1, project.car), rows, 0.02),
    }
    (folder / "t.csv").write_text(as_csv(tables))
    return fit_air(read_air(folder / "t.csv", project.car), project)


def test_every_configuration_becomes_a_body(fits: AirFits) -> None:
    """In the order of their names; one that no file could have is changed, and it is told."""
    assert [(fit.label, fit.name) for fit in fits.fits] == [
        ("a/1", "a_1"),
        ("b", "b"),
    ]
    assert any('"a/1" is called "a_1"' in note for note in fits.notes)
    assert not any("one body?" in note for note in fits.notes)


def test_one_name_typed_in_two_ways_is_told(tmp_path: Path) -> None:
    """They stay two bodies; nobody knows but the user."""
    project = load(write_folder(tmp_path))
    rows = measured(project.car, attitudes(2, body_roll=0.0, curvature=0.0))
    (tmp_path / "t.csv").write_text(
        as_csv({"Low wing": rows, "low  Wing": rows})
    )
    fits = fit_air(read_air(tmp_path / "t.csv", project.car), project)
    assert len(fits.fits) == 2
    assert any(
        "differ in capitals or spaces alone: one body?" in note
        for note in fits.notes
    )


def test_the_spread_is_that_of_the_worst_body(fits: AirFits) -> None:
    """Of both axles and all bodies; the body without noise is the better one."""
    errors = [fit.error(force) or 0.0 for fit in fits.fits for force in (0, 1)]
    assert fits.spread("downforce_percent") == max(errors)
    assert fits.spread("drag_percent") == fits.fits[0].error(2)


def test_geometry_and_names_are_those_of_the_project(fits: AirFits) -> None:
    """Only areas, peaks and losses are fitted."""
    for fit in fits.fits:
        for part, like in zip(
            fit.air.elements, fit.like.air.elements, strict=True
        ):
            kept = ("name", "station", "chord", "span", "offset")
            assert [getattr(part, key) for key in kept] == [
                getattr(like, key) for key in kept
            ]
        assert fit.air.drag_height == fit.like.air.drag_height


def test_the_invented_car_is_the_one_of_the_tests() -> None:
    """The tables are made from the same car that they are fitted like."""
    assert LIKE is CAR
