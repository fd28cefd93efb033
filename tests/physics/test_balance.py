"""Residual and Jacobian of the fifteen equations, at states that are no trims."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from at_trim import Bench
from cars import (
    CAR,
    SETUP,
    both_axles,
    load_cases,
    on_tyres,
    set_both,
    solve,
    venue,
)
from drawn import Drawn, drawn
from plain_slip_car import read_slip_car, read_slip_case
from plain_slip_forces import missing

from setupopt.physics.balance import AXLES, FACTOR, SIDE, WORK, YAW, balance
from setupopt.physics.drive import SLIP
from setupopt.physics.inputs import KAPPA, RISE, SIDESLIP, TAU, UNKNOWNS
from setupopt.physics.start import follow_surface
from setupopt.project.model import Car

Floats = np.ndarray
# 2 mm, 3 mrad, 20 mrad of sideslip and steer, 0.01 of slip, 0.1 of the weight.
SPREAD = np.array(
    [2e-3, 3e-3, 3e-3, *[2e-3] * 4, 0.02, 0.02, *[0.01] * 4, 0.1, 0.1]
)


def start(b: Bench) -> Floats:
    """Wheels on the surface as it lies."""
    x = np.zeros(UNKNOWNS + 1)
    follow_surface(b.car, b.case, b.state, x)
    return x[:UNKNOWNS]


def states(seed: int, b: Bench, count: int = 3, sink: float = 0.0) -> Floats:
    """Some states around the first guess of a case, its wheels pressed in further by `sink`."""
    rng = np.random.default_rng(seed)
    sunk = np.zeros(UNKNOWNS)
    sunk[RISE : RISE + 4] = -sink
    return start(b) + sunk + rng.normal(size=(count, UNKNOWNS)) * SPREAD


# the plain rows: wheels, heave, pitch, roll, ...; ours: heave, pitch, roll, wheels, ...
ORDER = [4, 5, 6, 0, 1, 2, 3, *range(7, UNKNOWNS)]


@pytest.mark.parametrize("seed", range(40))
def test_residual_against_the_plain_model(seed: int) -> None:
    """Every row at states that are no trim, so that every force shows: 1e-4 of the weight.

    The kernel's few nodes leave 5e-5 of a wheel's load. Speeds of wheels are in the rows of slip, whose scale
    here is the weight as well.
    """
    d = drawn(seed)
    b = d.bench()
    car = read_slip_car(d.car, d.setup, d.venue["venue"]["surface_grip"])
    case = read_slip_case(d.venue, d.case)
    weight = car.mass * 9.80665
    for x in states(seed, b, 2):
        theirs = x.copy()
        theirs[TAU:] *= weight
        expected = missing(car, case, theirs, 0.9)[ORDER]
        ours = b.residual(x, 0.9)
        apart = np.abs(ours - expected)
        for row in (
            SLIP + 1,
            SLIP + 3,
        ):  # the speeds of two wheels, less one another: either may come first
            apart[row] = min(apart[row], abs(ours[row] + expected[row]))
        # a wheel in the air rolls along: each model has a row of its own for that
        apart[SLIP : SLIP + 4][np.array(b.forces(x).wheels.load) <= 0.0] = 0.0
        assert apart.max() < 1e-4, (apart.argmax(), ours, expected)


def smooth(b: Bench, x: Floats, reach: float) -> bool:
    """No corner of a force within reach: a stop, a tread that just touches, a floor that touches."""
    wheels = b.forces(x).wheels
    bump = np.abs(wheels.travel - b.car.bump_travel).min()
    droop = np.abs(wheels.travel + b.car.droop_travel).min()
    return bool(min(bump, droop) > reach and wheels.load.min() > 100.0)


def differences(
    b: Bench, x: Floats, step: float, factor: float = 1.0
) -> Floats:
    """Jacobian (UNKNOWNS, UNKNOWNS + 1) by central differences; the friction factor is its last column."""
    columns = [
        b.residual(x + s, factor) - b.residual(x - s, factor)
        for s in step * np.eye(UNKNOWNS)
    ]
    columns.append(b.residual(x, factor + step) - b.residual(x, factor - step))
    return np.array(columns).T / (2.0 * step)


def check_jacobian(b: Bench, x: Floats, factor: float = 1.0) -> None:
    """Every entry, over the largest of its row: 1e-3, what the few nodes of the brush leave open.

    In the roll row, by sideslip, the slope of the load's moment is left out by design.
    """
    work = b.forces(x, factor)
    got = np.array(work.jacobian[:UNKNOWNS, : UNKNOWNS + 1])
    error = (
        np.abs(got - differences(b, x, 1e-6, factor))
        / np.abs(got).max(axis=1)[:, None]
    )
    worst = np.unravel_index(error.argmax(), error.shape)
    assert error.max() < 1e-3, (worst, error.max())


def test_jacobian_of_drawn_cars() -> None:
    """Random cars and cases. States with a stop, a lifting wheel or a closing gap nearby have a corner there
    and are left out; at least twenty of 60 remain."""
    checked = 0
    for seed in range(20):
        b = drawn(seed).bench()
        for x in states(seed, b):
            if smooth(b, x, 1e-4):
                check_jacobian(b, x)
                checked += 1
    assert checked > 20


BORE = venue(1.0 / 9.0)
DRIVEN = load_cases(
    BORE, roll_angle=1.3, speed=60.0, heading=0.1, acceleration=[2.0, -6.0], path_curvature=1e-3,
    yaw_acceleration=0.4, crosswind=5.0, bump=(0.004, 0.0, 0.0, -0.002),
)  # fmt: skip
MODES: dict[str, Car] = {
    "locked": CAR,
    "open": replace(CAR, differential="open"),
    "one axle": replace(CAR, driven="rear", drive_front=0.0),
    "carcass": on_tyres(CAR, carcass=200e3),
    "no lean": on_tyres(CAR, compliance=0.0),
    "inertia": both_axles(
        replace(
            CAR, yaw_inertia=900.0, pitch_inertia=800.0, roll_inertia=200.0
        ),
        wheel_inertia=0.9,
    ),
}


@pytest.mark.parametrize("row", [0, 1], ids=["drive", "brake"])
@pytest.mark.parametrize("mode", MODES)
def test_jacobian_in_every_mode(mode: str, row: int) -> None:
    """Locked, open and undriven axles under drive and under brakes, at less than the full friction."""
    b = Bench(MODES[mode], set_both(SETUP, toe=0.002), DRIVEN, row)
    checked = 0
    for x in states(row, b, 8, 6e-3):
        if smooth(b, x, 1e-4) and checked < 2:
            check_jacobian(b, x, 0.8)
            checked += 1
    assert checked == 2


def test_rows_of_slip_say_how_an_axle_is_driven() -> None:
    """Locked: one speed of both wheels; brakes: one slip; open: both wheels pull alike."""
    x = states(1, Bench(CAR, SETUP, DRIVEN, 0), 1, 6e-3)[0]
    weight = CAR.mass * 9.80665
    locked = Bench(MODES["locked"], SETUP, DRIVEN, 0).forces(x)
    speed = (1.0 + x[KAPPA : KAPPA + 4]) * locked.wheels.step
    assert locked.residual[SLIP + 1] == pytest.approx(
        speed[1] - speed[0], rel=1e-9
    )
    assert locked.residual[SLIP + 3] == pytest.approx(
        speed[3] - speed[2], rel=1e-9
    )
    braked = Bench(MODES["locked"], SETUP, DRIVEN, 1).forces(x)
    assert braked.residual[SLIP + 1] == pytest.approx(
        x[KAPPA + 1] - x[KAPPA], rel=1e-9
    )
    assert braked.demand[0] / braked.demand.sum() == pytest.approx(
        0.58, rel=1e-12
    )
    opened = Bench(MODES["open"], SETUP, DRIVEN, 0).forces(x)
    for w in range(4):
        missing_pull = opened.wheels.along[w] - 0.5 * opened.demand[w // 2]
        assert opened.residual[SLIP + w] * weight == pytest.approx(
            missing_pull, rel=1e-9
        )


@pytest.mark.parametrize("value", [np.nan, np.inf, 1e9])
def test_a_state_without_a_number_leaves_no_trace(value: float) -> None:
    """What a kernel keeps from the state before must not spoil the next one: every path would break there.

    Depths of tyres are found to 1e-12 of theirs from any start, rows to 1e-9 of the weight.
    """
    for seed in range(10):
        b = drawn(seed).bench()
        work = np.zeros(1, WORK)[0]
        on = (b.car, b.elements, b.setup, b.case, b.state, b.road)
        good = np.append(states(seed, b, count=1)[0], 1.0)
        balance(*on, np.full_like(good, value), work)
        balance(*on, good, work)
        np.testing.assert_allclose(
            work.residual[:UNKNOWNS], b.residual(good), rtol=0.0, atol=1e-9
        )


def test_internal_forces_leave_the_whole_car_alone() -> None:
    """Heave row plus wheel rows: springs, bars, stops and links cancel, whatever the state.

    What remains is the weight's pull, the downforce and the ground's normal forces. 1e-9 of the weight.
    """
    for seed in range(10):
        b = drawn(seed).bench()
        for x in states(seed, b):
            work = b.forces(x)
            whole = work.residual[0] + work.residual[RISE : RISE + 4].sum()
            outside = (
                b.car.mass * b.state.pull[2]
                - work.loads[0, 0]
                + work.vertical.sum()
            )
            assert whole == pytest.approx(
                outside / (b.car.mass * 9.80665), abs=1e-9
            )


def test_side_yaw_and_axle_rows_are_sums_of_the_tyres() -> None:
    """Side force, yaw moment with the tyres' own, and the force of each axle, from the wheels' figures."""
    b = Bench(CAR, SETUP, DRIVEN)
    x = states(7, b, 1)[0]
    work = b.forces(x)
    weight = b.car.mass * 9.80665
    wind = -b.state.pressure * b.car.side_area * b.state.flow
    side = work.lateral.sum() + b.car.mass * b.state.pull[1] + wind
    yaw = (
        b.car.x @ work.lateral
        - b.car.y @ work.forward
        + work.wheels.aligning.sum()
    )
    yaw += b.car.side_x * wind - b.state.gyro[2]
    assert work.residual[SIDE] * weight == pytest.approx(side, rel=1e-9)
    assert work.residual[YAW] * weight == pytest.approx(yaw, rel=1e-9)
    for axle in (0, 1):
        across = work.wheels.across[2 * axle : 2 * axle + 2].sum()
        assert work.residual[AXLES + axle] == pytest.approx(
            across / weight - x[TAU + axle], rel=1e-9
        )


def test_more_friction_only_adds_grip() -> None:
    """The factor's column has no part in rows without tyre forces: a wheel that does not slip feels none of
    it.
    """
    b = Bench(
        on_tyres(CAR, camber_thrust_share=0.0),
        set_both(SETUP, toe=0.0),
        load_cases(venue(), speed=30.0),
    )
    x = np.zeros(UNKNOWNS)
    assert (
        np.abs(np.array(b.forces(x).jacobian)[:UNKNOWNS, FACTOR]).max() < 1e-12
    )


@pytest.mark.parametrize("phi", [0.3, 1.2, 2.0])
@pytest.mark.parametrize("course", [0.0, 0.1])
def test_moment_about_the_bores_axis(phi: float, course: float) -> None:
    """All normals of a bore meet on its axis: what carries weight, air and inertia about it is friction
    alone.

    With the axle's slope along counted, the car's own push (drive, drag) about the axis is in it: the sum of
    moments about the section's axis of normals alone is zero to 1e-9 of weight times radius.
    """
    radius = 9.0
    cases = load_cases(
        venue(1.0 / radius), roll_angle=phi, speed=60.0, heading=course
    )
    answer = solve(
        CAR,
        SETUP,
        venue(1.0 / radius),
        roll_angle=phi,
        speed=60.0,
        heading=course,
    ).answers[0, 0]
    assert answer["contact"]
    b = Bench(CAR, SETUP, cases)
    work = b.forces(answer["state"])
    heading = course - answer["state"][SIDESLIP]
    around = np.array(
        [np.sin(heading), np.cos(heading), 0.0]
    )  # round the section, in the car's axes
    axis = np.array([np.cos(heading), -np.sin(heading), 0.0])
    total = 0.0
    for w in range(4):
        place = np.array([b.car.x[w], b.car.y[w], 0.0])
        s = float(place @ around)
        height = radius - np.sqrt(radius**2 - s**2)
        place[2] = height - radius  # from the axis
        tilt, lean = b.state.tilt[w], b.state.lean[w]
        load = work.wheels.load[w] * np.array(
            [-np.cos(tilt) * lean, -np.sin(tilt), np.cos(tilt)]
        )
        total += float(np.cross(place, load) @ axis)
    assert total == pytest.approx(0.0, abs=1e-9 * radius * b.car.mass * 9.80665)


def test_drawn_cases_are_not_all_of_one_kind() -> None:
    """The draws reach flat ground, bores, climbing headings, both signs of roll angle and bumps."""
    kinds: list[Drawn] = [drawn(seed) for seed in range(40)]
    assert {d.venue["venue"]["section"] for d in kinds} == {"circle", "flat"}
    assert {bool(d.case["heading_deg"]) for d in kinds} == {True, False}
    assert {d.case["roll_angle_deg"] > 0 for d in kinds} == {True, False}
    assert any(any(d.case["bump_mm"]) for d in kinds)
