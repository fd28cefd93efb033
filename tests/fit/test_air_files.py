"""The files of fitted bodies: what setupopt writes, setupopt reads."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from project.good_folder import write_folder

from fit.air_tables import as_csv, attitudes, measured
from setupopt.fit.air.files import body_toml, spread_percent, spread_toml
from setupopt.fit.air.fits import AirFits, fit_air
from setupopt.fit.air.table import read_air
from setupopt.project import load
from setupopt.project.bodies import with_body
from setupopt.project.limits_schema import LimitsFile


def fits_of(folder: Path, change: float = 1.2, noise: float = 0.03) -> AirFits:
    """The bodies of a table of the good folder's car, with loads so many times as large."""
    project = load(write_folder(folder))
    rows = measured(
        project.car, attitudes(8, body_roll=0.0, curvature=0.0), noise
    )
    (folder / "t.csv").write_text(
        as_csv({"more wing": replace(rows, forces=change * rows.forces)})
    )
    return fit_air(read_air(folder / "t.csv", project.car), project)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Of a project."""
    return tmp_path_factory.mktemp("files")


@pytest.fixture(scope="module")
def fits(folder: Path) -> AirFits:
    """One body."""
    return fits_of(folder)


def test_a_written_body_can_be_worn(folder: Path, fits: AirFits) -> None:
    """In the project it reads back as it was fitted, to five digits; its floor points are the car's."""
    (fit,) = fits.fits
    (folder / "bodies").mkdir()
    (folder / "bodies" / "more wing.toml").write_text(
        body_toml(fits, fit), encoding="utf-8"
    )
    project = load(folder)
    worn = with_body(project, "more wing").car
    assert worn.clearance == project.car.clearance
    for read, fitted in zip(worn.air.elements, fit.air.elements, strict=True):
        for key in (
            "station",
            "offset",
            "free_area",
            "ground_area",
            "peak_gap",
            "yaw_loss",
        ):
            assert getattr(read, key) == pytest.approx(
                getattr(fitted, key), rel=1e-4
            ), key
    assert worn.air.drag_area == pytest.approx(fit.air.drag_area, rel=1e-4)
    assert worn.air.rear_ride_station == project.car.air.rear_ride_station


def test_each_number_says_how_sure_it_is(fits: AirFits) -> None:
    """Beside it in the file: its standard error, or that it is held, and by which factor."""
    (fit,) = fits.fits
    text = body_toml(fits, fit)
    for number in fit.numbers:
        lines = [
            line
            for line in text.splitlines()
            if line.startswith(number.term.key)
        ]
        assert any(
            ("held" in line) == (number.error is None) for line in lines
        ), number.term.name
    assert fit.common_factor is not None
    assert f"held at {fit.common_factor[0]:.4g} times that of car.toml" in text
    assert '8 measured rows of t.csv, configuration "more wing"' in text


def test_what_is_odd_goes_along(tmp_path: Path) -> None:
    """A body is worn long after its fit was read: cautions stand in its file."""
    fits = fits_of(tmp_path, change=1e-3)
    said = [
        line
        for line in body_toml(fits, fits.fits[0]).splitlines()
        if line.startswith("# ! ")
    ]
    assert any("as loads in kN would make it" in line for line in said)


def test_the_fragment_is_a_piece_of_limits(fits: AirFits) -> None:
    """It reads by the schema of limits.toml, and says no less than the errors found."""
    spread = LimitsFile.model_validate(tomllib.loads(spread_toml(fits))).spread
    assert spread is not None
    for key in ("downforce_percent", "drag_percent", "side_force_percent"):
        share = fits.spread(key)
        assert share is not None
        assert (
            100.0 * share <= getattr(spread, key) < 100.0 * share + 0.1 + 1e-9
        )


def test_an_error_too_large_for_limits_is_no_number(tmp_path: Path) -> None:
    """Loads that have nothing to do with the attitudes: the key is a comment, the fragment still reads."""
    project = load(write_folder(tmp_path))
    rows = measured(project.car, attitudes(6, body_roll=0.0, curvature=0.0))
    scatter = np.random.default_rng(0).uniform(-1.0, 1.0, 6)
    rows.forces[:, 0] *= scatter
    (tmp_path / "t.csv").write_text(as_csv({"a": rows}))
    fits = fit_air(read_air(tmp_path / "t.csv", project.car), project)
    text = spread_toml(fits)
    percent = spread_percent(fits, "downforce_percent")
    assert percent is not None
    assert percent > 49.0
    assert "# downforce_percent = " in text
    spread = LimitsFile.model_validate(tomllib.loads(text)).spread
    assert spread is not None
    assert spread.downforce_percent is None


def test_what_is_not_told_is_a_comment(tmp_path: Path) -> None:
    """A table without yaw has no error of the side force."""
    project = load(write_folder(tmp_path))
    rows = measured(
        project.car, attitudes(4, body_roll=0.0, curvature=0.0, yaw=0.0), 0.02
    )
    (tmp_path / "t.csv").write_text(as_csv({"a": rows}))
    text = spread_toml(
        fit_air(read_air(tmp_path / "t.csv", project.car), project)
    )
    assert "# side_force_percent: the table does not tell" in text
    assert "downforce_percent = " in text


def test_odd_letters_stay_out_of_the_way(tmp_path: Path) -> None:
    """Quotes in a name neither end a string nor a comment."""
    fits = fits_of(tmp_path)
    (fit,) = fits.fits
    part = replace(fit.like.air.elements[0], name='wing "A" \\ é')
    like = replace(
        fit.like,
        air=replace(fit.like.air, elements=(part, *fit.like.air.elements[1:])),
    )
    odd = replace(fit, like=like, label='a "b" # c')
    assert (
        tomllib.loads(body_toml(fits, odd))["air"]["element"][0]["name"]
        == part.name
    )
