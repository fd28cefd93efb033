"""Wind limits: held below, fallen above, mirrored, and by hand for a car that only wind can move."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.model import Model
from setupopt.project import Project
from setupopt.robust.wind import SteadyWind, around, with_wind


class WindLimit(NamedTuple):
    """The highest wind that is held, (directions), m/s."""

    direction: np.ndarray
    speed: np.ndarray


def wind_limit(
    project: Project, cases: CaseSet, directions: int, floor: float = 0.0
) -> WindLimit:
    """The limit from evenly spread directions. The wind is steady and the same round the section."""
    direction = around(directions)
    model = Model(project.car)
    settings = model.settings(project.setup)
    wind = SteadyWind(
        model, settings, cases, model.run(settings, cases).answers[0]
    )
    found = [wind.limit(float(angle), floor) for angle in direction]
    return WindLimit(direction, np.array([speed for speed, _ in found]))


@pytest.fixture(scope="module")
def cases(bore: Project) -> CaseSet:
    """Straight along, few angles both ways round."""
    venue = replace(bore.venue, attitudes=bore.venue.attitudes[:1])
    return sweep_cases(
        venue, np.radians([-150.0, -120.0, -60.0, 0.0, 60.0, 120.0, 150.0])
    )


@pytest.fixture(scope="module")
def limit(bore: Project, cases: CaseSet) -> WindLimit:
    """From eight directions."""
    return wind_limit(bore, cases, directions=8)


def test_held_below_and_fallen_above(
    bore: Project, cases: CaseSet, limit: WindLimit
) -> None:
    """At the limit the floor is kept; 1 % and 0.1 m/s beyond it is not."""
    for direction, speed in zip(limit.direction, limit.speed, strict=True):
        if not np.isfinite(speed):
            continue
        held = setupopt.evaluate(
            bore, cases=with_wind(cases, speed, direction)
        ).worst_margin[0]
        fallen = setupopt.evaluate(
            bore, cases=with_wind(cases, 1.01 * speed + 0.1, direction)
        ).worst_margin[0]
        assert held >= 0.0
        assert fallen < 0.0


def test_no_lower_wind_breaks_the_floor(
    bore: Project, cases: CaseSet, limit: WindLimit
) -> None:
    """A finer look below the limit finds no wind that was jumped over."""
    worst = int(limit.speed.argmin())
    for share in np.linspace(0.0, 0.999, 40):
        wind = with_wind(
            cases, share * limit.speed[worst], limit.direction[worst]
        )
        assert setupopt.evaluate(bore, cases=wind).worst_margin[0] >= 0.0


def test_left_and_right_are_mirror_images(limit: WindLimit) -> None:
    """On a sweep of both sides a wind from the left is as bad as one from the right."""
    assert limit.speed[1:4] == pytest.approx(limit.speed[:4:-1], abs=1e-6)


def test_tailwind_takes_downforce(limit: WindLimit) -> None:
    """From behind the run must stop sooner than from ahead."""
    assert limit.speed[4] < limit.speed[0]


def test_floor_missed_without_wind(bore: Project, cases: CaseSet) -> None:
    """No wind at all is allowed where the margin is under the floor in calm air."""
    assert (
        wind_limit(bore, cases, directions=4, floor=0.99).speed.tolist()
        == [0.0] * 4
    )


def test_side_force_alone_by_hand(bore: Project) -> None:
    """Level road, no drag, no downforce, one friction: the car slides when the side force is mu m g.

    q side_area atan(w / v) = mu m g with q = rho (v^2 + w^2) / 2, solved for w; the side force at the CG. The
    wind does not see the sideslip here (`crab` 0): a car that may turn its nose into the wind stands more.
    """
    air = replace(
        bore.car.air, elements=(), drag_area=0.0, side_area=6.0, side_height=0.0,
        side_station=bore.car.wheelbase * (1 - bore.car.front_share),
    )  # fmt: skip
    tyre = replace(bore.car.front.tyre, friction=1.0, friction_exponent=0.0)
    front, rear = (
        replace(bore.car.front, tyre=tyre),
        replace(bore.car.rear, tyre=tyre),
    )
    car = replace(bore.car, air=air, front=front, rear=rear, cg_height=0.25)
    venue = replace(
        bore.venue,
        section="flat",
        curvature=0.0,
        surface_grip=1.0,
        attitudes=bore.venue.attitudes[:1],
    )
    cases = sweep_cases(venue, np.array([0.0]))
    cases.records["crab"] = 0.0
    found = wind_limit(replace(bore, car=car), cases, directions=4)
    w, v = found.speed[1], venue.sweep.speed
    force = (
        0.5
        * venue.air_density
        * (v**2 + w**2)
        * air.side_area
        * np.arctan(w / v)
    )
    assert force == pytest.approx(
        car.mass * 9.80665, rel=2e-3
    )  # the halvings end within 0.02 m/s
