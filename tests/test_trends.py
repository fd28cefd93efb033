"""What a practitioner expects of a change, each with its reason: no number from outside, but a sign."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import radians
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cars import (
    CAR,
    SETUP,
    evenly_driven,
    on_tyres,
    set_both,
    solve,
    venue,
    with_downforce,
)

import setupopt
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import Model
from setupopt.physics.inputs import STEER, Record
from setupopt.project import Project
from setupopt.project.model import Car, Setup

EVEN = evenly_driven(CAR)


def at(setup: Setup, end: str, **changes: Any) -> Setup:
    """The setup with entries of one end changed."""
    return replace(setup, **{end: replace(getattr(setup, end), **changes)})


def in_bend(car: Car, setup: Setup, lateral: float = 9.0) -> Record:
    """Answer in a bend on the flat at 50 m/s, so many m/s2."""
    return solve(
        car, setup, speed=50.0, path_curvature=lateral / 2500.0
    ).answers[0, 0]


@pytest.fixture(scope="module")
def bore() -> Project:
    """The invented car in its bore."""
    return setupopt.load(Path(__file__).parents[1] / "setups" / "bore")


def test_front_bar_moves_the_balance_to_understeer() -> None:
    """Friction falls with load: the pair that carries the roll gives less, here the front one.

    Balance is what the front axle has more to spare than the rear: it falls. A rear bar does the opposite.
    """
    none, bars = set_both(SETUP, anti_roll=0.0), (0.0, 5e4, 1e5)
    car = with_downforce(on_tyres(EVEN, friction_exponent=0.3), 0.5)
    front = [
        in_bend(car, at(none, "front", anti_roll=bar), 12.0)["balance"]
        for bar in bars
    ]
    rear = [
        in_bend(car, at(none, "rear", anti_roll=bar), 12.0)["balance"]
        for bar in bars
    ]
    assert all(more > less + 3e-4 for more, less in pairwise(front))
    assert all(more > less + 3e-4 for less, more in pairwise(rear))


def test_rear_toe_in_steers_the_car_out_of_the_bend() -> None:
    """The loaded outer rear wheel points into the bend and gives its force at less sideslip.

    So the driver steers more for the same bend: understeer. Up to 0.2 deg; more toe drags both wheels.
    """
    setups = [
        at(SETUP, "rear", toe=toe) for toe in (-0.003, -0.0015, 0.0, 0.0015)
    ]
    steer = [in_bend(EVEN, setup)["state"][STEER] for setup in setups]
    assert all(more > less + radians(0.01) for less, more in pairwise(steer))


def test_rear_toe_in_steadies_the_car_on_the_wall(bore: Project) -> None:
    """On a wall the weight turns the nose down the slope; wheels toed in meet a yaw with more force.

    The growth rate at 90 deg falls, and its mode becomes a stable one.
    """
    model, cases = (
        Model(bore.car),
        sweep_cases(bore.venue, np.radians([90.0])).pick([0]),
    )
    setups = [at(bore.setup, "rear", toe=toe) for toe in (-0.002, 0.0, 0.002)]
    growth = model.run(model.settings(setups), cases, growth=True).answers[
        "growth"
    ][:, 0]
    assert all(more > less + 0.1 for more, less in pairwise(growth))
    assert growth[0] > 0.0


def test_weight_to_the_rear_lets_the_rear_go_first() -> None:
    """In a bend each axle holds its share of the mass, and friction falls with load.

    The axle that carries more of both is the nearer to its limit.
    """
    cars = [
        replace(EVEN, front_share=share) for share in (0.5, 0.47, 0.44, 0.41)
    ]
    balance = [in_bend(car, SETUP)["balance"] for car in cars]
    assert all(more > less + 0.005 for less, more in pairwise(balance))
    assert balance[0] < 0.0 < balance[-1]


@pytest.mark.parametrize(
    "stiffer",
    [
        [{"spring": 8e4}, {"spring": 1.6e5}, {"spring": 3.2e5}],
        [{"anti_roll": 0.0}, {"anti_roll": 5e4}, {"anti_roll": 1e5}],
    ],
    ids=["springs", "bars"],
)
def test_stiff_warp_lifts_a_wheel_on_a_course(
    stiffer: list[dict[str, float]],
) -> None:
    """Across a bore the four patches lie on no plane: a car turned 8 deg is twisted by it.

    What springs and bars put against the twist goes on one diagonal and off the other. The lightest wheel of
    that diagonal loses load with every step, until it hangs.
    """
    attitude = {
        "speed": 50.0,
        "roll_angle": radians(60.0),
        "heading": radians(8.0),
    }
    loads = []
    for change in stiffer:
        setup = set_both(
            SETUP, **({"anti_roll": 0.0, "spring": 1.6e5} | change)
        )
        loads.append(
            solve(CAR, setup, venue(1 / 8.0), **attitude).answers[0, 0]["load"]
        )
    least = [float(load.min()) for load in loads]
    off = [int((load < 100.0).sum()) for load in loads]
    assert all(more > less + 100.0 for more, less in pairwise(least[:2]))
    assert off[0] == 0
    assert off[-1] > 0


def punctured(car: Car, share: float) -> Car:
    """Tread and carcass of all tyres down to a share of their stiffness."""
    tyre = car.front.tyre
    return on_tyres(
        car, foundation=share * tyre.foundation, carcass=share * 3e5,
        foundation_per_pressure=share * tyre.foundation_per_pressure,
    )  # fmt: skip


def test_puncture_brings_no_grip_where_friction_was_not_measured() -> None:
    """Softer tyres press less. Friction that went on growing as the pressure falls would make that a gain.

    Under the least pressure at which friction was measured grip over load stays. What is left of the gain,
    under 0.01 of margin, is the longer patches' larger aligning moment. Without the least pressure: 0.04.
    """
    bare = replace(EVEN, air=replace(EVEN.air, elements=()))
    measured = on_tyres(bare, friction_least_pressure=4e5)
    sound, flat = (
        in_bend(punctured(measured, share), SETUP) for share in (1.0, 0.3)
    )
    least = sound["grip"].sum() / sound["load"].sum()
    assert flat["grip"].sum() / flat["load"].sum() == pytest.approx(
        least, rel=1e-6
    )
    assert flat["margin"] < sound["margin"] + 0.01
    growing, grown = (
        in_bend(punctured(bare, share), SETUP) for share in (1.0, 0.3)
    )
    assert grown["margin"] > growing["margin"] + 0.03
