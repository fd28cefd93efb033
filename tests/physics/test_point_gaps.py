"""Gaps of the named points from solved trims: against an answer's own least and against the plain formula."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cars import CAR, SETUP, load_cases, set_both, venue

from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import SIDESLIP, Floats, Records
from setupopt.physics.point_gaps import point_gaps
from setupopt.project.model import ClearancePoint, Setup

POINTS = (
    ClearancePoint("nose", -0.8, 0.0, 0.005, 0.008),
    ClearancePoint("left edge", 1.4, 0.6, 0.0, 0.030),
    ClearancePoint("right edge", 2.1, -0.7, -0.004, 0.003),
)
WITH_POINTS = replace(CAR, clearance=POINTS)
SETUPS = [
    SETUP,
    set_both(SETUP, ride_height=0.05),
    set_both(SETUP, spring=90e3, anti_roll=0.0),
]
# In a bore, on a wide bank and on the flat, straight and on headings, with wind and bumps.
CASES = load_cases(
    venue(), radius=[7.5, 7.5, 40.0, np.inf], roll_angle=[0.3, 1.2, -0.5, 0.0],
    heading=[0.0, 0.35, -0.2, 0.1], speed=[55.0, 60.0, 50.0, 45.0], crosswind=[0.0, 4.0, -6.0, 3.0],
    acceleration=[0.0, -3.0, 2.0, -9.0], bump=[[0.0] * 4, [0.006, 0, 0, 0], [0, 0.01, 0, -0.01], [0.0] * 4],
)  # fmt: skip
# A length of a metre carries 1e-16 of noise, a sum of five of them less than this.
SAME = 1e-14  # m


@pytest.fixture(scope="module")
def result() -> Result:
    """All setups in all cases."""
    model = Model(WITH_POINTS)
    return model.run(model.settings(SETUPS), CASES)


def asked(result: Result, cases: Records = CASES.records) -> Floats:
    """What is tested, of the result's trims."""
    model = Model(WITH_POINTS)
    return point_gaps(
        model.packed, model.settings(SETUPS), cases, result.answers
    )


def plain_gap(
    point: ClearancePoint,
    setup: Setup,
    state: Floats,
    heading: Floats,
    radius: Floats,
) -> Floats:
    """docs/model.md: the floor line at the ride heights, plus offset, moved by the body, less the rise."""
    front, rear, air = setup.front.ride_height, setup.rear.ride_height, CAR.air
    along = (point.station - air.front_ride_station) / (
        air.rear_ride_station - air.front_ride_station
    )
    line = front + along * (rear - front)
    x, y = CAR.wheelbase * (1.0 - CAR.front_share) - point.station, point.side
    heave, pitch, roll = state[:, 0], state[:, 1], state[:, 2]
    moved = (
        line + point.offset + heave - x * pitch + y * roll
    )  # nose down and left side up are positive
    psi = heading - state[:, SIDESLIP]  # the body is crabbed
    s = x * np.sin(psi) + y * np.cos(psi)
    with np.errstate(invalid="ignore"):
        rise = np.where(
            np.isinf(radius), 0.0, radius - np.sqrt(radius**2 - s**2)
        )
    return moved - rise


def test_least_over_the_points_is_an_answers_own(result: Result) -> None:
    """The kernel that solves a case and the one that reads it afterwards see the same floor."""
    gaps = asked(result)
    spare = gaps - [point.least_gap for point in POINTS]
    np.testing.assert_allclose(
        gaps.min(axis=2), result.answers["clearance"], rtol=0, atol=SAME
    )
    np.testing.assert_allclose(
        spare.min(axis=2), result.answers["spare_clearance"], rtol=0, atol=SAME
    )
    assert len(set(gaps.argmin(axis=2).ravel())) > 1, (
        "one point is the lowest everywhere: nothing is told"
    )


def test_gap_of_every_point_by_the_plain_formula(result: Result) -> None:
    """Signs, places and the section's rise are those of docs/model.md, at every heading."""
    gaps, heading = asked(result), CASES.records["heading"]
    with np.errstate(divide="ignore"):
        radius = 1.0 / CASES.records["curvature"]
    for row, setup in enumerate(SETUPS):
        state = result.answers["state"][row]
        for place, point in enumerate(POINTS):
            expected = plain_gap(point, setup, state, heading, radius)
            # R - sqrt(R^2 - s^2) loses the digits of R, 1e-15 of 40 m
            np.testing.assert_allclose(
                gaps[row, :, place], expected, rtol=0, atol=1e-13
            )


def test_gap_over_a_floor_without_curve(result: Result) -> None:
    """The what-if that takes the curve from under the floor: the section's rise is gone, the rest stays."""
    flat = CASES.records.copy()
    flat["floor_curvature"] = 0.0
    point, model = POINTS[1], Model(WITH_POINTS)
    x = model.packed[2]["x"][0, 1]
    psi = flat["heading"] - result.answers["state"][..., SIDESLIP]
    s = x * np.sin(psi) + point.side * np.cos(psi)
    rise = 7.5 - np.sqrt(7.5**2 - s[:, :2] ** 2)
    lost = asked(result, flat)[:, :2, 1] - asked(result)[:, :2, 1]
    np.testing.assert_allclose(
        lost, np.broadcast_to(rise, lost.shape), rtol=0, atol=SAME
    )
    assert rise.min() > 0.01


def test_car_without_points_has_no_gaps(result: Result) -> None:
    """Nothing to ask, nothing answered."""
    model = Model(replace(CAR, clearance=()))
    gaps = point_gaps(
        model.packed, model.settings(SETUPS), CASES.records, result.answers
    )
    assert gaps.shape == (len(SETUPS), len(CASES), 0)
