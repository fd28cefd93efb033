"""What is told of a fitted body beside its numbers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fit.air_tables import SMALL, another, attitudes, measured, one_part
from setupopt.fit.air.fits import fit_body
from setupopt.fit.air.oddities import is_doubtful, oddities
from setupopt.fit.air.rows import AirRows
from setupopt.project.model import Car


def said(car: Car, rows: AirRows) -> str:
    """All that is odd about the body of some rows."""
    return "\n".join(oddities(fit_body("a", "a", car, rows)))


def test_a_side_force_the_wrong_way_is_told() -> None:
    """A table that counts it to the right."""
    rows = measured(SMALL, attitudes(6))
    assert "side force pushes against the flow" not in said(SMALL, rows)
    rows.forces[:, 3] *= -1.0
    assert "side force pushes against the flow" in said(SMALL, rows)


def test_lift_in_place_of_downforce_is_told() -> None:
    """A table that counts upwards."""
    rows = measured(SMALL, attitudes(6))
    rows.forces[:, :2] *= -1.0
    assert "loads count positive towards the surface" in said(SMALL, rows)


def test_a_body_that_lifts_may_lift() -> None:
    """An area keeps the sign it has in the project."""
    truth, like = one_part(-0.4, 0.5, 0.05), one_part(-0.2, 0.3, 0.08)
    fit = fit_body(
        "a",
        "a",
        like,
        measured(truth, attitudes(15, body_roll=0.0, curvature=0.0)),
    )
    assert fit.air.elements[0].free_area == pytest.approx(-0.4, rel=1e-3)
    assert "lift" not in "\n".join(oddities(fit))


def test_a_peak_that_no_row_saw_is_told() -> None:
    """Loads that only rise up to the highest row, 60 mm: the peak at 200 mm is no finding."""
    rows = attitudes(20, body_roll=0.0, curvature=0.0, yaw=0.0)
    gaps = np.linspace(0.010, 0.060, 20)
    rows = measured(
        one_part(0.1, 3.0, 0.2), replace(rows, front_ride=gaps, rear_ride=gaps)
    )
    fit = fit_body("a", "a", one_part(0.1, 3.0, 0.1), rows)
    told = {
        number.term.name for number in fit.numbers if number.error is not None
    }
    assert "wing peak_gap_mm" in told
    assert "outside of the gaps measured, 10 to 60 mm" in "\n".join(
        oddities(fit)
    )


def test_what_was_not_measured_is_told() -> None:
    """By its column; and a table without yaw."""
    rows = measured(SMALL, attitudes(5, yaw=0.0))
    rows.forces[:, 2] = np.nan
    words = said(SMALL, rows)
    assert "drag_N was not measured" in words
    assert "yaw of 0" in words


def test_other_numbers_that_fit_as_well_are_told() -> None:
    """Where the search found two ends: the second one by its numbers."""
    fit = fit_body(
        "a",
        "a",
        one_part(0.4, 0.5, 0.05),
        measured(one_part(0.4, 0.5, 0.05), attitudes(4)),
    )
    assert "other numbers" not in "\n".join(oddities(fit))
    step = fit.steps[0]
    doubtful = replace(
        step, fitted=replace(step.fitted, rival=2.0 * step.fitted.values)
    )
    words = "\n".join(oddities(replace(fit, steps=(doubtful,))))
    assert "other numbers fit the rows as well" in words


# ---- mistyped ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("loads", "speeds", "wanted"),
    [(1e-3, 1.0, "loads in kN"), (1 / 9.80665, 1.0, "loads in kgf"), (1 / 4.44822, 1.0, "loads in lbf"),
     (1.0, 3.6, "speeds in km/h"), (1.0, 1 / 0.44704, "speeds in mph")],
    ids=str,
)  # fmt: skip
def test_another_unit_in_all_rows_is_told(
    loads: float, speeds: float, wanted: str
) -> None:
    """No row alone can show it, but the body is many times smaller than the project's."""
    rows = measured(another(1, SMALL), attitudes(4), 0.02)
    typed = replace(rows, forces=loads * rows.forces, speed=speeds * rows.speed)
    fit = fit_body("a", "a", SMALL, typed)
    for part in ("downforce", "drag", "side force"):
        (line,) = (
            line for line in oddities(fit) if line.startswith(f"{part} is ")
        )
        assert wanted in line
    assert is_doubtful(fit)


def test_a_body_twice_as_strong_is_no_other_unit() -> None:
    """Within a factor of three it is a body."""
    rows = measured(SMALL, attitudes(5))
    for size in (0.5, 2.0):
        assert "in car.toml: " not in said(
            SMALL, replace(rows, forces=size * rows.forces)
        )


def test_rows_in_another_unit_are_named() -> None:
    """One row's loads in kN, one ride height in inches: by their lines, with what was measured there."""
    rows = measured(SMALL, attitudes(12), 0.02)
    forces, ride = rows.forces.copy(), rows.front_ride.copy()
    forces[3] *= 1e-3
    ride[8] /= 25.4
    words = said(SMALL, replace(rows, forces=forces, front_ride=ride))
    assert (
        f"{rows.lines[3]} (downforce_front_N, downforce_rear_N, drag_N" in words
    )
    assert f"{rows.lines[8]} (downforce_" in words


def test_repeats_that_contradict_each_other_are_named() -> None:
    """By their lines; repeats within the noise are none."""
    rows = measured(
        SMALL, attitudes(8).pick(np.array([0, 1, 2, 3, 4, 5, 6, 7, 2])), 0.02
    )
    rows = replace(rows, lines=np.arange(9) + 2)
    assert "repeat one attitude" not in said(SMALL, rows)
    rows.forces[8, 2] *= 1.5
    assert "lines 4 and 10 repeat one attitude, and are " in said(SMALL, rows)
    assert "apart in drag_N" in said(SMALL, rows)


def test_loads_that_attitudes_do_not_foretell_are_told() -> None:
    """Downforce drawn by lot: little of it explained, and the body is not whole, whatever has a value."""
    rows = measured(SMALL, attitudes(14))
    lot = replace(
        rows,
        forces=rows.forces
        * np.random.default_rng(0).uniform(0.2, 1.8, (14, 1)),
    )
    assert "left-out rows" not in said(SMALL, rows)
    fit = fit_body("a", "a", SMALL, lot)
    (line,) = (
        line
        for line in oddities(fit)
        if line.startswith("downforce_rear_N: left-out rows")
    )
    error, explained = fit.error(1), fit.explained(1)
    assert error is not None
    assert explained is not None
    assert error > 0.3  # rms of a uniform factor from 0.2 to 1.8 is 0.46
    assert explained < 0.6
    assert "of its changes explained" in line
    assert is_doubtful(fit)
