"""A case made ready: the car's motion over the surface against differences of a path, wind, wheels'
places.
"""

from __future__ import annotations

from dataclasses import replace
from math import atan, atan2, cos, hypot, pi, radians, sin

import numpy as np
import pytest
from at_trim import Bench
from cars import CAR, SETUP, both_axles, load_cases, venue

from setupopt.physics import answer as answers
from setupopt.physics import case_state
from setupopt.physics.inputs import ANSWER, UNKNOWNS

Floats = np.ndarray
ANGLES = [radians(a) for a in (0.0, 35.0, 90.0, 145.0, 180.0, -60.0)]
RADIUS = 9.0
HEIGHT = CAR.cg_height
# In a bore, climbing, speeding up, on a path that bends more and more.
MOVING = {
    "speed": 50.0,
    "heading": 0.4,
    "acceleration": 3.0,
    "path_curvature": 2e-3,
    "yaw_acceleration": 1.3,
}


def axes(roll: float, heading: float, slope: float) -> Floats:
    """The car's x, y, z in a frame that stands: X along the axis, Y to the left, Z against gravity.

    Turned step by step: the section's axis rises by the slope, the car stands round the section by
    the roll angle, then turns about the surface's normal by the heading.
    """
    axis = np.array([cos(slope), 0.0, sin(slope)])
    left, up = (
        np.array([0.0, 1.0, 0.0]),
        np.array([-sin(slope), 0.0, cos(slope)]),
    )
    around, normal = (
        cos(roll) * left + sin(roll) * up,
        cos(roll) * up - sin(roll) * left,
    )
    return np.array([
        cos(heading) * axis + sin(heading) * around, cos(heading) * around - sin(heading) * axis, normal
    ])  # fmt: skip


@pytest.mark.parametrize("roll", ANGLES)
@pytest.mark.parametrize("heading", [0.0, 0.4, -0.4, 1.5])
@pytest.mark.parametrize("slope", [0.0, 0.06, -0.2])
def test_gravity_in_the_cars_axes(
    roll: float, heading: float, slope: float
) -> None:
    """Gravity turned into the car's axes by three plain rotations."""
    expected = axes(roll, heading, slope) @ [0.0, 0.0, -9.80665]
    assert case_state.gravity(roll, heading, slope) == pytest.approx(
        expected, abs=1e-14
    )


# --- a real path, a few hundredths of a second long ---------------------------------------------------------


class Path:
    """A point of the surface that moves as MOVING says, and the car on it with a steady sideslip."""

    def __init__(self, sideslip: float, roll: float = 0.7) -> None:
        self.sideslip = sideslip
        self.roll = roll

    def course(self, t: float) -> tuple[float, float, float]:
        """Course and what is driven along and round the section, by fine steps (midpoints)."""
        steps = 400
        h = t / steps
        chi, along, around = MOVING["heading"], 0.0, 0.0
        for i in range(steps):
            middle = (i + 0.5) * h
            speed = MOVING["speed"] + MOVING["acceleration"] * middle
            turn = (
                MOVING["speed"] * MOVING["path_curvature"]
                + MOVING["yaw_acceleration"] * middle
            )
            half = chi + 0.5 * turn * h
            along += speed * cos(half) * h
            around += speed * sin(half) * h
            chi += turn * h
        return chi, along, around

    def cg(self, t: float) -> Floats:
        """Place of the CG, over the surface by its height."""
        _, along, around = self.course(t)
        phi = self.roll + around / RADIUS
        inner = RADIUS - HEIGHT
        return np.array([along, inner * sin(phi), -inner * cos(phi)])

    def axes(self, t: float) -> Floats:
        """The car's axes, its heading the course less the sideslip."""
        chi, _, around = self.course(t)
        return axes(self.roll + around / RADIUS, chi - self.sideslip, 0.0)


def bench_of(sideslip: float, roll: float = 0.7, **more: float) -> Bench:
    """The invented car with inertias on that path."""
    car = both_axles(
        replace(
            CAR, yaw_inertia=900.0, pitch_inertia=800.0, roll_inertia=200.0
        ),
        wheel_inertia=0.9,
    )
    b = Bench(
        car,
        SETUP,
        load_cases(venue(1.0 / RADIUS), roll_angle=roll, **(MOVING | more)),
    )
    case_state.set_heading(b.car, b.case, sideslip, b.state)
    return b


@pytest.mark.parametrize("sideslip", [0.0, -0.12, 0.3])
def test_acceleration_of_the_cg(sideslip: float) -> None:
    """Second difference of the CG's place over 2 ms, in the car's axes: 1e-3 m/s2 of 30."""
    path, step = Path(sideslip), 2e-3
    acceleration = (
        path.cg(step) - 2.0 * path.cg(0.0) + path.cg(-step)
    ) / step**2
    gravity = np.array([0.0, 0.0, -9.80665])
    expected = path.axes(0.0) @ (gravity - acceleration)
    got = np.array(bench_of(sideslip).state.pull)
    assert got == pytest.approx(expected, abs=1e-3)
    assert np.abs(path.axes(0.0) @ acceleration).min() > 1.0


def rotation(path: Path, t: float, step: float = 1e-4) -> Floats:
    """Body rates (p, q, r) at a time, by differences of the axes."""
    change = (path.axes(t + step) - path.axes(t - step)) / (2.0 * step)
    turned = change @ path.axes(t).T  # skew: rows are the axes' own derivatives
    return np.array([turned[1, 2], turned[2, 0], turned[0, 1]])


@pytest.mark.parametrize("sideslip", [0.0, -0.12, 0.3])
def test_moments_that_turn_body_and_wheels(sideslip: float) -> None:
    """Euler's equations with rates and their slopes by differences, and H x omega of the wheels, H about y.

    To 0.5 N m of some hundreds. The whole car's yaw inertia stands with the sprung mass's others.
    """
    path, step = Path(sideslip), 1e-3
    p, q, r = rotation(path, 0.0)
    rates = (rotation(path, step) - rotation(path, -step)) / (2.0 * step)
    roll, pitch, yaw = 200.0, 800.0, 900.0
    spin = 4 * 0.9 * MOVING["speed"] / 0.33
    expected = [
        roll * rates[0] + (yaw - pitch) * q * r - spin * r,
        pitch * rates[1] + (roll - yaw) * p * r,
        yaw * rates[2] + (pitch - roll) * p * q + spin * p,
    ]
    assert np.array(bench_of(sideslip).state.gyro) == pytest.approx(
        expected, abs=0.5
    )
    assert np.abs(expected).min() > 10.0


@pytest.mark.parametrize("roll", [0.0, 0.4, 1.2, -0.4, -1.2])
@pytest.mark.parametrize("heading", [0.0, 0.3])
def test_horizontal_turn_points_to_the_low_side(
    roll: float, heading: float
) -> None:
    """v^2 / rho, level, square to the axis, towards the side that is lower: right for phi >= 0."""
    b = Bench(
        CAR,
        SETUP,
        load_cases(
            venue(),
            roll_angle=roll,
            heading=heading,
            speed=50.0,
            turn_curvature=1 / 250,
        ),
    )
    low = -1.0 if roll >= 0.0 else 1.0
    acceleration = np.array([0.0, low * 10.0, 9.80665])
    assert -np.array(b.state.pull) == pytest.approx(
        axes(roll, heading, 0.0) @ acceleration, abs=1e-12
    )
    # its own turning of the car, about the vertical, as the wheels see it
    assert b.state.bend == pytest.approx(low * cos(roll) / 250.0, abs=1e-15)


def test_acceleration_and_path_curvature_add_up() -> None:
    """On the flat: a_x as given; a_y = v^2 times the curvature, to the left."""
    case = load_cases(
        venue(), speed=50.0, acceleration=-4.0, path_curvature=0.002
    ).records[0]
    assert case_state.path_acceleration(case, 0.0, 0.3) == (-4.0, 5.0, 0.0)


def test_path_straight_up_a_wall_presses_by_its_own_circle() -> None:
    """Square to the axis the CG runs on a circle of R - h, h/R slower: v^2 (1 - h/R) / R towards the axis."""
    case = load_cases(venue(1.0 / RADIUS), speed=50.0, heading=pi / 2).records[
        0
    ]
    ax, ay, az = case_state.path_acceleration(case, 1.0 / RADIUS, HEIGHT)
    assert (ax, ay) == pytest.approx((0.0, 0.0), abs=1e-12)
    assert az == pytest.approx(
        50.0**2 * (1.0 - HEIGHT / RADIUS) / RADIUS, rel=1e-12
    )


# --- slopes, surface, wind ----------------------------------------------------------------------------------

SLOPES = {
    "pull": "pull_slope",
    "gyro": "gyro_slope",
    "ground": "ground_slope",
    "tilt": "tilt_slope",
    "lean": "lean_slope",
    "curve_along": "along_slope",
    "curve_across": "across_slope",
}


@pytest.mark.parametrize("sideslip", [0.0, -0.12, 0.3])
@pytest.mark.parametrize("turn", [0.0, 0.004])
def test_slopes_by_sideslip(sideslip: float, turn: float) -> None:
    """All that the heading changes, by central differences of 1e-6 rad: 1e-7 of the largest slope."""
    ahead, here, behind = (
        bench_of(sideslip + step, turn_curvature=turn).state
        for step in (1e-6, 0.0, -1e-6)
    )
    for name, slope_name in SLOPES.items():
        slope = (np.array(ahead[name]) - np.array(behind[name])) / 2e-6
        scale = max(np.abs(np.array(here[slope_name])).max(), 1e-3)
        assert slope == pytest.approx(
            np.array(here[slope_name]), abs=1e-6 * scale
        ), name


def test_floor_line_passes_through_both_ride_heights() -> None:
    """35 mm at the front point, 45 mm at the rear, straight in between and beyond."""
    b = Bench(CAR, SETUP, load_cases(venue()))
    front, rear = (float(x) for x in b.car.ride_x)
    assert case_state.floor_height(b.car, b.setup, front, 0.0) == pytest.approx(
        0.035, rel=1e-14
    )
    assert case_state.floor_height(b.car, b.setup, rear, 0.0) == pytest.approx(
        0.045, rel=1e-14
    )
    assert case_state.floor_height(
        b.car, b.setup, rear - 2.6, 0.0
    ) == pytest.approx(0.055, rel=1e-14)


@pytest.mark.parametrize("sideslip", [0.0, 0.15])
def test_surface_under_each_wheel_with_its_bump(sideslip: float) -> None:
    """Height at the wheel's own place round the section plus its bump; tilt and lean without the bump."""
    bump = (0.004, -0.002, 0.0, 0.011)
    b = Bench(
        CAR, SETUP, load_cases(venue(1.0 / RADIUS), heading=0.2, bump=bump)
    )
    case_state.set_heading(b.car, b.case, sideslip, b.state)
    psi = 0.2 - sideslip
    s = b.car.x * sin(psi) + b.car.y * cos(psi)
    expected = RADIUS - np.sqrt(RADIUS**2 - s**2) + bump
    assert b.state.ground == pytest.approx(expected, rel=1e-12)
    slope = s / np.sqrt(RADIUS**2 - s**2)
    assert b.state.tilt == pytest.approx(
        [atan(v * cos(psi)) for v in slope], rel=1e-12
    )
    assert b.state.lean == pytest.approx(slope * sin(psi), abs=1e-15)
    assert b.state.curve_across == pytest.approx(
        1 / 1.5 - cos(psi) ** 2 / RADIUS, rel=1e-13
    )
    assert b.state.curve_along == pytest.approx(
        1 / 0.33 - sin(psi) ** 2 / RADIUS, rel=1e-13
    )


@pytest.mark.parametrize("sideslip", [0.0, 0.1, -0.2])
def test_wind_at_the_body(sideslip: float) -> None:
    """u and w of the page: wind along and across the course, turned by the sideslip; drag of all of it."""
    b = bench_of(sideslip, headwind=4.0, crosswind=7.0)
    u = 54.0 * cos(sideslip) - 7.0 * sin(sideslip)
    w = 54.0 * sin(sideslip) + 7.0 * cos(sideslip)
    assert b.state.flow == pytest.approx(atan2(w, u), rel=1e-12)
    assert b.state.pressure == pytest.approx(0.6 * hypot(u, w) ** 2, rel=1e-12)
    assert b.state.drag == pytest.approx(1.2 * b.state.pressure, rel=1e-12)


def test_what_if_without_crab_angle() -> None:
    """With crab 0 surface, wind and gravity see the course, whatever the sideslip; the inertia turns
    still.
    """
    straight, crabbed = bench_of(0.0), bench_of(0.0)
    crabbed.case.crab = 0.0
    case_state.set_heading(crabbed.car, crabbed.case, 0.2, crabbed.state)
    for name in ("ground", "tilt", "lean", "gyro"):
        assert np.array(crabbed.state[name]) == pytest.approx(
            np.array(straight.state[name]), abs=1e-12
        )
    assert crabbed.state.flow == straight.state.flow


def test_gap_of_a_named_point_follows_the_body() -> None:
    """The printed gap: floor height plus offset, plus heave - x pitch + y roll, minus the surface."""
    point = replace(CAR.clearance[0], side=0.4)
    b = Bench(
        replace(CAR, clearance=(point,)), SETUP, load_cases(venue(1.0 / 9.0))
    )
    answer = np.zeros(1, ANSWER)[0]
    x = np.zeros(UNKNOWNS + 1)
    x[:3] = 0.01, 0.004, -0.02
    answers.gaps(b.car, b.points, b.setup, b.case, b.state, x, answer)
    at, floor = b.car.to_front + 0.8, 0.035 + 0.010 * (-0.8 / 2.6)
    gap = (
        floor
        + 0.005
        + 0.01
        - at * 0.004
        - 0.4 * 0.02
        - (9.0 - np.sqrt(81.0 - 0.16))
    )
    assert answer.clearance == pytest.approx(gap, abs=1e-12)
    assert answer.spare_clearance == pytest.approx(gap - 0.008, abs=1e-12)


def test_press_acts_towards_the_surface() -> None:
    """Half a g more along -z, and nothing else."""
    b, pressed = bench_of(0.1), bench_of(0.1)
    case_state.prepare(pressed.car, pressed.case, 0.5, pressed.state)
    case_state.set_heading(pressed.car, pressed.case, 0.1, pressed.state)
    difference = np.array(pressed.state.pull) - np.array(b.state.pull)
    assert difference == pytest.approx([0.0, 0.0, -0.5 * 9.80665], abs=1e-13)
