"""Where wheels, plates and gaps are drawn is where the solved trim has them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from cars import CAR, SETUP, load_cases, on_tyres, set_both, venue

from setupopt.evaluation.drawn_state import DrawnState, drawn_state
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.project.model import Car, Project, Setup

PLACE = venue(curvature=1 / 8.0)


def solved(
    car: Car, setup: Setup, **columns: float
) -> tuple[DrawnState, Result]:
    """How a car stands in one case, and the case's answer."""
    project = Project(None, car, PLACE, setup, None, ())  # type: ignore[arg-type]
    model = Model(car)
    result = model.run(
        model.settings([setup]), load_cases(PLACE, speed=60.0, **columns)
    )
    return drawn_state(project, result, 0), result


@pytest.mark.parametrize("heading", [0.0, 0.14, -0.2])
def test_gaps_and_patches_are_the_answers(heading: float) -> None:
    """Gaps at the stations and the floor point; load and area of every wheel from its own patch."""
    here, result = solved(CAR, SETUP, heading=heading, roll_angle=0.5)
    answer = result.answers[0, 0]
    gaps = {gap.name: gap for gap in here.gaps}
    for axle, name in enumerate(("front", "rear")):
        found = gaps[f"floor line, {name} ride-height station"]
        assert found.gap == pytest.approx(answer["ride_gap"][axle], abs=1e-9)
    assert gaps["nose"].gap == pytest.approx(answer["clearance"], abs=1e-9)
    for w, wheel in enumerate(here.wheels):
        u = np.linspace(-1, 1, 4001) * wheel.patch.half_width
        depth = np.maximum(0.0, wheel.patch.depth_at(u))
        # docs/model.md, tyres: N is the integral of 4/3 k l depth, l = sqrt(2 depth / c)
        load = (
            4
            / 3
            * wheel.patch.foundation
            * np.sqrt(2 * depth / wheel.patch.along)
            * depth
        )
        assert np.trapezoid(load, u) == pytest.approx(
            answer["load"][w], rel=1e-3
        )
        assert wheel.load == answer["load"][w]


def test_a_gap_ends_on_the_underside() -> None:
    """Measured off the surface at its own place: the surface there plus the gap is where the part is."""
    here, _ = solved(CAR, SETUP, heading=0.14, roll_angle=0.5)
    for gap in here.gaps:
        # by hand: a circle of radius R stands R - sqrt(R^2 - s^2) over its tangent plane
        assert gap.under == pytest.approx(
            8.0 - math.sqrt(64.0 - gap.s**2) + gap.gap, abs=1e-12
        )


def test_a_turned_wheel_is_seen_wider() -> None:
    """Upright, without crown, turned: as wide as 2 r sin(heading) + tread cos(heading)."""
    heading = 0.2
    car = on_tyres(CAR, crown_radius=1e6)
    flat = replace(
        car,
        front=replace(car.front, camber_gain=0.0),
        rear=replace(car.rear, camber_gain=0.0),
    )
    here, result = solved(flat, set_both(SETUP, camber=0.0), heading=heading)
    roll = abs(float(result.answers[0, 0]["state"][2]))
    for wheel in here.wheels:
        width = float(np.ptp(wheel.outline[:, 0]))
        expected = 2 * 0.33 * math.sin(heading) + 0.30 * math.cos(heading)
        assert width == pytest.approx(expected, abs=2e-3 + 2 * 0.33 * roll)


def test_camber_leans_wheels_the_way_it_should() -> None:
    """Negative camber: the tops stand nearer to each other than the bottoms."""
    here, _ = solved(CAR, set_both(SETUP, camber=-0.08))
    for wheel in here.wheels:
        middle = wheel.outline.mean(axis=0)
        upper = wheel.outline[:, 1] > middle[1]
        top, foot = (
            abs(wheel.outline[part, 0].mean()) for part in (upper, ~upper)
        )
        assert top < foot - 0.01


def test_left_is_left() -> None:
    """Left wheels at positive s, which is drawn to the left; bumps under the wheels that have them."""
    here, _ = solved(CAR, SETUP, bump=[[0.004, 0.0, 0.0, 0.002]])
    assert [np.sign(wheel.outline[:, 0].mean()) for wheel in here.wheels] == [
        1,
        -1,
        1,
        -1,
    ]
    assert [wheel.bump for wheel in here.wheels] == [0.004, 0.0, 0.0, 0.002]


def test_a_lost_case_has_no_answer_to_show() -> None:
    """Upside down and slow: no patch, no load, no gap; the car as on the pad, its crown on the surface."""
    model = Model(CAR)
    lost = model.run(
        model.settings([SETUP]),
        load_cases(PLACE, speed=5.0, roll_angle=math.pi),
    )
    assert not lost.contact[0, 0]
    project = Project(None, CAR, PLACE, SETUP, None, ())  # type: ignore[arg-type]
    here = drawn_state(project, lost, 0)
    assert not here.has_contact
    assert here.gaps == ()
    assert all(
        wheel.patch is None
        and wheel.load is None
        and not wheel.contact_line.size
        for wheel in here.wheels
    )
    assert here.cg[1] == pytest.approx(CAR.cg_height)
