"""One wheel: tread and carcass in series, slopes of load and forces, and what it passes in the air."""

from __future__ import annotations

from dataclasses import replace
from math import asin, atan2, pi, sqrt

import numpy as np
import pytest
from at_trim import Bench
from cars import CAR, SETUP, load_cases, on_tyres, set_both, solve, venue

from setupopt.physics import inputs, wheel
from setupopt.physics.inputs import UNKNOWNS
from setupopt.project.model import Car

Floats = np.ndarray
SOFT_CARCASS = on_tyres(CAR, carcass=240e3)


def carried(total: float, tread: float, carcass: float) -> tuple[float, ...]:
    """Depth, load, its moment and slopes of a front tyre of the examples that sinks by `total`."""
    car, setup, work = (
        np.zeros(1, kind)[0]
        for kind in (inputs.VEHICLE, inputs.SETTING, wheel.WHEELS)
    )
    car.half_width[0] = 0.115
    setup.foundation[0] = tread
    setup.carcass[0] = carcass
    return wheel.carry(total, 0.0, 1 / 0.28, 1 / 1.1, 0, car, setup, work, 0.0)


def test_tread_and_carcass_in_series() -> None:
    """The worked example: 0.137 N/mm3 of tread on 240 N/mm of carcass at 1,300 N, radii 280 and 1,100 mm.

    198 N/mm, 160 kPa and 8,135 mm2, to their printed digits (1 %). One bed of the patch 4/3 as stiff alone
    has 536 N/mm.
    """
    tread, carcass, load = 0.137e9, 240e3, 1300.0
    depth = sqrt(
        load / (pi * tread * sqrt(0.28 * 1.1))
    )  # Johnson 1985: N = pi k d^2 sqrt(r Rc)
    got, found, _, s0, _, _ = carried(depth + load / carcass, tread, carcass)
    assert got == pytest.approx(depth, rel=1e-9)
    assert found == pytest.approx(load, rel=1e-9)
    area = s0 / tread
    assert area == pytest.approx(8135e-6, rel=0.01)
    assert load / area == pytest.approx(160e3, rel=0.01)
    assert s0 * carcass / (s0 + carcass) == pytest.approx(198e3, rel=0.01)


@pytest.mark.parametrize("total", [1e-5, 1e-3, 5e-3, 0.02, 0.05])
def test_both_springs_carry_the_same(total: float) -> None:
    """The tread's load is the carcass's, to 1e-7 of it, however deep."""
    depth, load, *_ = carried(total, 0.05e9, 150e3)
    assert load == pytest.approx(150e3 * (total - depth), rel=1e-7)
    assert 0.0 < depth < total


def test_rigid_carcass_leaves_all_to_the_tread() -> None:
    """0 stands for rigid; and above the surface nothing is carried by either."""
    assert carried(0.004, 0.05e9, 0.0)[0] == 0.004
    assert carried(-0.004, 0.05e9, 150e3)[1] == 0.0


# --- slopes of a wheel in a balance -------------------------------------------------------------------------

CASES = load_cases(
    venue(1.0 / 9.0),
    roll_angle=1.2,
    speed=60.0,
    heading=0.12,
    acceleration=[1.0, -6.0],
    path_curvature=1e-3,
)


def states(seed: int, count: int = 6) -> Floats:
    """Random states in which all wheels carry, (count, UNKNOWNS)."""
    rng = np.random.default_rng(seed)
    bench = Bench(CAR, SETUP, CASES)
    size = np.array(
        [2e-3, 3e-3, 3e-3, *[2e-3] * 4, 0.03, 0.03, *[0.02] * 4, 0.3, 0.3]
    )
    x = rng.normal(size=(count, UNKNOWNS)) * size
    x[:, 3:7] += bench.state.ground - 4e-3
    return x


def numbers(bench: Bench, x: Floats, factor: float) -> dict[str, Floats]:
    """Every figure of the wheels that has slopes, (4)."""
    wheels = bench.forces(x, factor).wheels
    names = {
        "travel": "travel",
        "slant": "slant",
        "load": "load",
        "moment": "moment",
    }
    names |= {"along": "along", "across": "across", "aligning": "aligning"}
    return {name: np.array(wheels[field]) for name, field in names.items()}


@pytest.mark.parametrize("row", [0, 1])
@pytest.mark.parametrize("car", [CAR, SOFT_CARCASS], ids=["rigid", "carcass"])
def test_slopes_against_differences(car: Car, row: int) -> None:
    """Each column by central differences: 2e-4 of the largest slope of a figure in its row.

    What is left is the few nodes' own error, and in the load's moment the slope that the kernel leaves out.
    """
    bench = Bench(car, set_both(SETUP, toe=0.002), CASES, row)
    checked = 0
    for x in states(row):
        wheels = bench.forces(x).wheels
        if wheels.load.min() < 200.0:
            continue
        checked += 1
        for w in range(4):
            _check_wheel(bench, x, w, wheels)
    assert checked >= 3


def _check_wheel(bench: Bench, x: Floats, w: int, wheels: np.record) -> None:
    for column in range(wheel.COLUMNS):
        own = wheel.global_column(w, column)
        step = 1e-6
        if own < UNKNOWNS:
            shift = step * np.eye(UNKNOWNS)[own]
            ahead, behind = (
                numbers(bench, x + shift, 1.0),
                numbers(bench, x - shift, 1.0),
            )
        else:
            ahead, behind = (
                numbers(bench, x, 1.0 + step),
                numbers(bench, x, 1.0 - step),
            )
        for name, values in ahead.items():
            slopes = wheels[f"{name}_slope"][w]
            is_of_load = name in ("travel", "slant", "load", "moment")
            if is_of_load and column >= wheel.LOAD_COLUMNS:
                continue
            slope = (values[w] - behind[name][w]) / (2.0 * step)
            scale = np.abs(slopes).max()
            tolerance = (
                5e-3
                if name == "moment" and column == wheel.BY_SIDESLIP
                else 3e-4
            )
            assert slope == pytest.approx(
                slopes[column], abs=tolerance * scale
            ), (w, column, name)


def test_slip_of_the_wheels_is_their_motion() -> None:
    """steer - atan2(vy + r x, vx - r y), with toe-in that turns the left wheel right and the right one
    left.
    """
    bench = Bench(CAR, set_both(SETUP, toe=0.003), CASES)
    x = states(4)[0]
    wheels = bench.forces(x).wheels
    beta = x[inputs.SIDESLIP]
    bend = CASES.records["path_curvature"][0]
    toe = asin(0.003 / 0.33)
    for w in range(4):
        steer = (x[inputs.STEER] if w < 2 else 0.0) + (
            -toe if w % 2 == 0 else toe
        )
        forward = np.cos(beta) - bend * bench.car.y[w]
        expected = steer - atan2(np.sin(beta) + bend * bench.car.x[w], forward)
        assert wheels.slip_angle[w] == pytest.approx(expected, rel=1e-12)
        assert wheels.patches[w].slip_x == pytest.approx(
            x[inputs.KAPPA + w] / (1 + x[inputs.KAPPA + w]), rel=1e-12
        )


def test_lean_under_load_is_the_axles_share() -> None:
    """A wheel's part of the axle's force is its part of the load; the top leans away from the force.

    compliance x force of lean; the leaned patch carries the same load to 1e-6 of it.
    """
    bench = Bench(CAR, SETUP, CASES)
    x = states(2)[1]
    wheels = bench.forces(x).wheels
    weight = bench.car.mass * 9.80665
    for w in range(4):
        pair = slice(2 * (w // 2), 2 * (w // 2) + 2)
        force = (
            weight
            * x[inputs.TAU + w // 2]
            * wheels.load[w]
            / wheels.load[pair].sum()
        )
        lean = (
            wheels.inclination[w]
            - bench.car.side[w] * bench.car.compliance[w] * force
        )
        assert wheels.lean_force[w] == pytest.approx(force, rel=1e-12)
        assert np.arctan(wheels.patches[w].slant) == pytest.approx(
            lean, abs=1e-12
        )
        there = wheel.carry(
            wheels.leaned_depth[w], wheels.patches[w].slant, bench.state.curve_along[w],
            bench.state.curve_across[w], w, bench.car, bench.setup, wheels, 0.0,
        )  # fmt: skip
        assert there[1] == pytest.approx(wheels.load[w], rel=1e-6)


def test_wheel_in_the_air_passes_nothing() -> None:
    """A front wheel 30 mm over the surface: no load, no force, no slope of any."""
    bench = Bench(CAR, SETUP, CASES)
    x = states(3)[0]
    x[3] += 0.03
    wheels = bench.forces(x).wheels
    assert (
        wheels.load[0]
        == wheels.along[0]
        == wheels.across[0]
        == wheels.aligning[0]
        == 0.0
    )
    assert not wheels.across_slope[0].any()
    assert not wheels.along_slope[0].any()
    assert wheels.load[1:].min() > 0.0


def test_softer_carcass_sinks_further_and_spreads_nothing() -> None:
    """At one load the tread's patch is the same with any carcass: on the level the car's loads do not
    change.
    """
    rigid = solve(CAR, SETUP, speed=20.0).answers[0, 0]
    soft = solve(SOFT_CARCASS, SETUP, speed=20.0).answers[0, 0]
    assert soft["load"] == pytest.approx(rigid["load"], rel=2e-3)
    assert soft["patch"] == pytest.approx(rigid["patch"], rel=5e-3)
    stiffer = solve(on_tyres(CAR, carcass=2400e3), SETUP, speed=20.0).answers[
        0, 0
    ]
    assert (
        stiffer["state"][0] > soft["state"][0]
    )  # downforce presses the softer one further down
    assert replace(CAR).front.tyre.carcass == 0.0
