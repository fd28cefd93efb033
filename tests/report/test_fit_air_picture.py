"""The picture of a fitted body."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fit.air_tables import SMALL, another, attitudes, measured

from setupopt.fit.air.fit import AirFit
from setupopt.fit.air.fits import fit_body
from setupopt.report.fit_air.picture import _plain_curve, picture
from setupopt.report.shared.colours import WARNING

from .svgs import words


@pytest.fixture(scope="module")
def fit() -> AirFit:
    """Twelve rows, one load misread."""
    rows = measured(another(1, SMALL), attitudes(12), 0.02)
    rows.forces[4, 0] *= 1.5
    return fit_body("low <drag> & $x$", "low", SMALL, rows)


def test_it_is_the_same_every_time(fit: AirFit) -> None:
    """Byte for byte, and valid, whatever the body is called."""
    assert picture(fit) == picture(fit)
    assert 'Body "low <drag> & $x$" fitted to 12 measured rows' in words(
        picture(fit)
    )


def test_a_wrong_reading_carries_its_line(fit: AirFit) -> None:
    """The line of the table."""
    assert f"line {fit.rows.lines[4]}" in words(picture(fit))


def test_every_measured_row_is_there(fit: AirFit) -> None:
    """A cross for the fit of each row in both panels: 24; and one in the legend."""
    crosses = picture(fit).count(f"stroke: {WARNING}")
    more = replace(fit.rows, forces=fit.rows.forces.copy())
    more.forces[0, 1] = np.nan
    fewer = picture(fit_body("a", "a", SMALL, more)).count(f"stroke: {WARNING}")
    assert fewer == crosses - 1


def test_the_curve_is_the_fitted_body_s(fit: AirFit) -> None:
    """At the median rake, upright on a flat surface: the written-out sums of the tables."""
    along, curve = _plain_curve(fit, 0)
    still = attitudes(along.size, body_roll=0.0, yaw=0.0, curvature=0.0)
    rake = np.median(fit.rows.rear_ride - fit.rows.front_ride)
    rows = replace(
        still, front_ride=along - 0.5 * rake, rear_ride=along + 0.5 * rake
    )
    assert curve == pytest.approx(
        measured(replace(SMALL, air=fit.air), rows).areas[:, 0], rel=1e-6
    )


def test_an_axle_that_was_not_measured_says_so() -> None:
    """And the other one is drawn."""
    rows = measured(SMALL, attitudes(5), 0.02)
    rows.forces[:, 1] = np.nan
    said = words(picture(fit_body("a", "a", SMALL, rows)))
    assert "not measured" in said
    assert "Downforce on the front axle" in said
