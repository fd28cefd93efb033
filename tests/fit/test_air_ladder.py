"""How much of a body a table can tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fit.air_tables import (
    LIKE,
    SMALL,
    another,
    apart,
    attitudes,
    measured,
    one_part,
)
from setupopt.fit.air.fit import AirFit
from setupopt.fit.air.fits import fit_body
from setupopt.fit.air.ladder import folds_of
from setupopt.project.model import Car


def values(fit: AirFit) -> dict[str, float]:
    """Of the numbers by name, SI."""
    return {number.term.name: number.value for number in fit.numbers}


def own(fit: AirFit) -> set[str]:
    """Names of the numbers that have a value of their own."""
    return {
        number.term.name for number in fit.numbers if number.error is not None
    }


def test_repeats_of_an_attitude_are_left_out_together() -> None:
    """Else a row would be foretold by its own copy. Each row is left out once."""
    rows = attitudes(8).pick(np.array([0, 1, 2, 3, 0, 4, 5, 6, 7, 1]))
    folds = np.array(folds_of(rows))
    assert folds.shape == (8, 10)
    assert (folds.sum(axis=0) == 1).all()
    assert (folds[:, 0] == folds[:, 4]).all()
    assert (folds[:, 1] == folds[:, 9]).all()


def test_long_tables_are_left_out_in_tenths() -> None:
    """Of 83 attitudes eight or nine at a time."""
    folds = np.array(folds_of(attitudes(83)))
    assert sorted(folds.sum(axis=1)) == [8] * 7 + [9] * 3
    assert (folds.sum(axis=0) == 1).all()


def test_a_body_as_it_is_needs_one_factor() -> None:
    """Loads of the body it is like, 20 % stronger: the lowest rung, factor 1.2, and nothing else moved."""
    stronger = replace(LIKE, air=replace(LIKE.air, elements=tuple(
        replace(e, free_area=1.2 * e.free_area, ground_area=1.2 * e.ground_area) for e in LIKE.air.elements
    )))  # fmt: skip
    fit = fit_body("a", "a", LIKE, measured(stronger, attitudes(6)))
    assert fit.rung == 0
    assert fit.common_factor is not None
    assert fit.common_factor[0] == pytest.approx(
        1.2, rel=1e-4
    )  # what the search is stopped at
    assert fit.error(0) == pytest.approx(0.0, abs=1e-4)


def test_five_rows_tell_little_and_it_is_said() -> None:
    """Ten loads cannot hold ten numbers of the parts: some stay as they are, by name; the error is known."""
    fit = fit_body(
        "a", "a", LIKE, measured(another(1), attitudes(5, yaw=0.0), noise=0.02)
    )
    assert {
        f"{name} yaw_loss_per_rad2" for name in ("front wing", "floor", "tail")
    } <= {t.name for t in fit.held}
    assert len(fit.held) >= 6
    assert values(fit)["floor yaw_loss_per_rad2"] == 4.0
    assert fit.common_factor is not None
    error = fit.error(0)
    assert error is not None
    assert (
        0.002 < error < 0.2
    )  # noise of 2 % and a body that is up to 30 % another


def test_five_rows_foretell_better_than_the_body_they_are_like() -> None:
    """Loads of fresh attitudes, rms over both axles; the other body is up to 30 % another in every number."""
    ratios = []
    for seed in range(3):
        truth, fresh = another(seed), attitudes(40, seed=seed + 50)
        fit = fit_body(
            "a",
            "a",
            LIKE,
            measured(truth, attitudes(5, seed=seed), noise=0.02, seed=seed),
        )
        real, started = (
            measured(truth, fresh).forces,
            measured(LIKE, fresh).forces,
        )
        found = measured(replace(LIKE, air=fit.air), fresh).forces
        ratios.append(
            np.std((found - real)[:, :2]) / np.std((started - real)[:, :2])
        )
    assert np.mean(ratios) < 0.7


def test_one_attitude_gives_a_factor_and_no_error() -> None:
    """Nothing can be left out of it."""
    fit = fit_body("a", "a", LIKE, measured(another(1), attitudes(1)))
    assert len(fit.steps) == 1
    assert fit.common_factor is not None
    assert [fit.error(force) for force in range(4)] == [None] * 4


def test_drag_alone_gives_the_drag_area_alone() -> None:
    """The areas stay those of the body it is like; drag over dynamic pressure is the area, by its meaning."""
    rows = attitudes(4)
    forces = np.full((4, 4), np.nan)
    forces[:, 2] = 0.77 * rows.pressure
    fit = fit_body("a", "a", LIKE, replace(rows, forces=forces))
    assert own(fit) == {"drag_area_m2"}
    assert values(fit)["drag_area_m2"] == pytest.approx(0.77, rel=1e-6)
    assert fit.air.elements == LIKE.air.elements


def test_a_force_measured_once_is_used_but_not_checked() -> None:
    """One reading of drag, low down where its moment tells nothing of it, gives the drag area; without it
    nothing does, so that its error is not known."""
    low = replace(SMALL, air=replace(SMALL.air, drag_height=0.0))
    rows = measured(low, attitudes(6), noise=0.02)
    rows.forces[1:, 2] = np.nan
    rows.forces[0, 2] = 1.5 * low.air.drag_area * rows.pressure[0]
    fit = fit_body("a", "a", low, rows)
    assert values(fit)["drag_area_m2"] == pytest.approx(
        1.5 * LIKE.air.drag_area, rel=1e-3
    )
    assert fit.error(2) is None
    assert fit.error(0) is not None


def test_doubled_loads_double_the_areas() -> None:
    """The model is linear in areas: gaps and losses stay. 1e-3 is many times what the search stops at."""
    rows = measured(another(2, SMALL), attitudes(10), noise=0.02)
    once, twice = (
        fit_body("a", "a", SMALL, replace(rows, forces=f * rows.forces))
        for f in (1.0, 2.0)
    )
    assert twice.rung == once.rung
    for name, value in values(once).items():
        assert values(twice)[name] == pytest.approx(
            (2.0 if "area" in name else 1.0) * value, rel=1e-3
        ), name


def test_a_part_cut_in_two_is_not_told_apart() -> None:
    """Two halves in one place: never does each have areas of its own; together they are the whole part."""
    wing, tail = SMALL.air.elements
    half = replace(
        wing, free_area=0.5 * wing.free_area, ground_area=0.5 * wing.ground_area
    )
    parts = (replace(half, name="left"), replace(half, name="right"), tail)
    like = replace(SMALL, air=replace(SMALL.air, elements=parts))
    rows = measured(another(3, SMALL), attitudes(15), noise=0.02)
    halves, whole = (fit_body("a", "a", car, rows) for car in (like, SMALL))
    for key in ("free_area_m2", "ground_area_m2", "peak_gap_mm"):
        assert not {f"left {key}", f"right {key}"} <= own(halves)
    fresh = attitudes(30, seed=9)
    assert apart(whole.air, halves.air, fresh) < 0.04  # the noise, twice


def test_the_order_of_rows_changes_nothing() -> None:
    """To the last digit; only the lines of the rows move with them."""
    rows = measured(another(4, SMALL), attitudes(8), noise=0.02)
    mixed = rows.pick(np.random.default_rng(1).permutation(8))
    first, second = (
        fit_body("a", "a", SMALL, table.in_order()) for table in (rows, mixed)
    )
    assert values(first) == values(second)
    assert first.error(0) == second.error(0)
    assert sorted(first.rows.lines) == sorted(second.rows.lines)


def without_yaw_loss(car: Car) -> Car:
    """Parts that lose nothing in yaw."""
    return replace(
        car,
        air=replace(
            car.air,
            elements=tuple(replace(e, yaw_loss=0.0) for e in car.air.elements),
        ),
    )


def test_what_is_nothing_stays_nothing() -> None:
    """A tail that feels no ground gets no ground area, a part without yaw loss no loss."""
    fit = fit_body(
        "a",
        "a",
        without_yaw_loss(LIKE),
        measured(another(5), attitudes(8), noise=0.02),
    )
    assert fit.air.elements[2].ground_area == 0.0
    assert all(e.yaw_loss == 0.0 for e in fit.air.elements)
    assert "tail peak_gap_mm" not in values(fit)


def test_a_peak_at_the_end_of_its_range_is_no_finding() -> None:
    """Real peak at six times the one it is like: the search ends at four times, and the peak is held."""
    rows = attitudes(12, body_roll=0.0, curvature=0.0, yaw=0.0)
    gaps = np.linspace(0.01, 0.4, 12)
    rows = measured(
        one_part(0.1, 3.0, 0.3),
        replace(rows, front_ride=gaps, rear_ride=gaps),
        0.01,
    )
    fit = fit_body("a", "a", one_part(0.1, 3.0, 0.05), rows)
    assert "wing peak_gap_mm" not in own(fit)
    assert values(fit)["wing peak_gap_mm"] == 0.05
