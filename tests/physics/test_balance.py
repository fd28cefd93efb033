"""Residual and Jacobian of the seven equations, at trims and far from them."""

from __future__ import annotations

import numpy as np
import pytest
from at_trim import Bench
from drawn import Drawn, drawn
from plain_car import read_car, read_stand
from plain_forces import residual

from setupopt.physics.newton import set_start

Floats = np.ndarray


def states(seed: int, near: Floats) -> Floats:
    """Six states around one: 2 mm, 3 mrad, wheels 2 mm."""
    rng = np.random.default_rng(seed)
    return near + rng.normal(size=(6, 7)) * [2e-3, 3e-3, 3e-3, 2e-3, 2e-3, 2e-3, 2e-3]


def start(b: Bench) -> Floats:
    """Wheels on the surface as it lies."""
    x = np.zeros(7)
    set_start(b.car, b.place, x)
    return x


@pytest.mark.parametrize("seed", range(60))
def test_residual_against_the_plain_reference(seed: int) -> None:
    """At states that are no trim, so that every force shows; 1e-9 of the weight."""
    d = drawn(seed)
    b = d.bench()
    car = read_car(d.car, d.setup, d.venue["venue"]["surface_grip"])
    stand = read_stand(car, d.venue, d.reference_case())
    for x in states(seed, start(b)):
        theirs = np.array(residual(car, stand, x))[[4, 5, 6, 0, 1, 2, 3]]
        ours = b.residual(x) / (b.car.mass * 9.80665)
        assert ours == pytest.approx(theirs, abs=1e-9)


def smooth(b: Bench, x: Floats, reach: float) -> bool:
    """No corner of a force within reach: a stop, a tread that just touches, a floor that touches."""
    work = b.forces(x)
    bump = np.abs(work.travel - b.car.bump_travel).min()
    droop = np.abs(work.travel + b.car.droop_travel).min()
    gap = b.flow["rest_gap"].min() + x[0]  # pitch and roll take 20 mm of it at most
    return bool(min(bump, droop) > reach and work.load.min() > 20.0 and gap > 0.02)


def differences(b: Bench, x: Floats, step: float) -> Floats:
    """Jacobian by central differences."""
    shifts = step * np.eye(7)
    return np.array([b.residual(x + s) - b.residual(x - s) for s in shifts]).T / (2.0 * step)


def test_jacobian_against_central_differences() -> None:
    """Every entry, over the largest of its row; steps of 1e-6 leave about 1e-6 of that.

    States with a stop, a lifting wheel or a closing gap within reach are left out: slopes have a
    corner there. Well over a hundred of 360 must remain.
    """
    checked = 0
    for seed in range(60):
        b = drawn(seed).bench()
        for x in states(seed, start(b)):
            if smooth(b, x, 1e-4):
                jacobian = b.jacobian(x)
                error = np.abs(jacobian - differences(b, x, 1e-6)).max(axis=1)
                assert (error / np.abs(jacobian).max(axis=1)).max() < 2e-6, seed
                checked += 1
    assert checked > 120


def test_jacobian_error_falls_with_the_square_of_the_step() -> None:
    """What differs is the differences' own error: a wrong entry would leave a floor."""
    b = drawn(3).bench()
    x, orders = start(b), []
    for h in (4e-5, 2e-5):
        orders.append(np.abs(differences(b, x, h) - b.jacobian(x)).max())
    assert smooth(b, x, 1e-4)
    assert np.log2(orders[0] / orders[1]) == pytest.approx(2.0, abs=0.2)


def test_internal_forces_leave_the_whole_car_alone() -> None:
    """Heave row plus wheel rows: springs, bars, stops and links cancel, whatever the state.

    What remains is the weight's pull, the downforce and the ground's normal forces. 1e-9 of the weight.
    """
    for seed in range(20):
        b = drawn(seed).bench()
        for x in states(seed, start(b)):
            work = b.forces(x)
            whole = work.residual[0] + work.residual[3:].sum()
            outside = b.car.mass * b.place.pull[2] - work.lift[0] + work.vertical.sum()
            assert whole == pytest.approx(outside, abs=1e-9 * b.car.mass * 9.80665)


def test_lateral_forces_of_an_axle_are_what_it_must_give() -> None:
    """Each axle's tyres and their normals together give the lateral force asked, shared as the load."""
    for seed in range(20):
        b: Bench = drawn(seed).bench()
        work = b.forces(start(b))
        for axle in (0, 1):
            pair = slice(2 * axle, 2 * axle + 2)
            if work.load[pair].max() > 0.0:
                assert work.lateral[pair].sum() == pytest.approx(b.place.axle_side[axle], abs=1e-6)
                assert work.across[pair] == pytest.approx(work.tau[axle] * work.load[pair], rel=1e-12)


def test_drawn_cases_are_not_all_of_one_kind() -> None:
    """The draws reach flat ground, bores, climbing headings, both signs of roll angle and bumps."""
    kinds: list[Drawn] = [drawn(seed) for seed in range(60)]
    assert {d.venue["venue"]["section"] for d in kinds} == {"circle", "flat"}
    assert {bool(d.case["heading_deg"]) for d in kinds} == {True, False}
    assert {d.case["roll_angle_deg"] > 0 for d in kinds} == {True, False}
    assert any(any(d.case["bump_mm"]) for d in kinds)
