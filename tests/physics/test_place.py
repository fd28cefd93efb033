"""A case made ready: apparent acceleration, surface under the wheels, forces the tyres must give."""

from __future__ import annotations

from dataclasses import replace
from math import atan, cos, hypot, pi, radians, sin

import numpy as np
import pytest
from at_trim import Bench
from cars import CAR, SETUP, load_cases, venue

from setupopt.physics import answer as answers
from setupopt.physics import place
from setupopt.physics.inputs import ANSWER

Floats = np.ndarray
ANGLES = [radians(a) for a in (0.0, 35.0, 90.0, 145.0, 180.0, -60.0)]


def axes(roll: float, heading: float, slope: float) -> Floats:
    """The car's x, y, z in a frame that stands: X along the axis, Y to the left, Z against gravity.

    Turned step by step: the section's axis rises by the slope, the car stands round the section by
    the roll angle, then turns about the surface's normal by the heading.
    """
    axis = np.array([cos(slope), 0.0, sin(slope)])
    left, up = np.array([0.0, 1.0, 0.0]), np.array([-sin(slope), 0.0, cos(slope)])
    around, normal = cos(roll) * left + sin(roll) * up, cos(roll) * up - sin(roll) * left
    return np.array([
        cos(heading) * axis + sin(heading) * around, cos(heading) * around - sin(heading) * axis, normal
    ])  # fmt: skip


@pytest.mark.parametrize("roll", ANGLES)
@pytest.mark.parametrize("heading", [0.0, 0.4, -0.4, 1.5])
@pytest.mark.parametrize("slope", [0.0, 0.06, -0.2])
def test_gravity_in_the_cars_axes(roll: float, heading: float, slope: float) -> None:
    """Gravity turned into the car's axes by three plain rotations."""
    expected = axes(roll, heading, slope) @ [0.0, 0.0, -9.80665]
    assert place.gravity(roll, heading, slope) == pytest.approx(expected, abs=1e-14)


@pytest.mark.parametrize("heading", [0.2, pi / 2])
def test_climb_is_the_acceleration_of_a_helix(heading: float) -> None:
    """Second derivative of the CG's path, which runs at R - h while the wheels run at R.

    Speed v along the surface means v sin(psi) / R round the axis; central differences over 1 ms.
    """
    radius, height, speed, step = 8.0, 0.3, 60.0, 1e-3

    def path(t: float) -> Floats:
        turn = speed * sin(heading) / radius * t
        inner = radius - height
        return np.array([speed * cos(heading) * t, inner * sin(turn), -inner * cos(turn)])

    acceleration = (path(step) - 2.0 * path(0.0) + path(-step)) / step**2
    ax, ay, az = place.path_acceleration(speed, 0.3, heading, 0.0, 0.0, 0.0, 1.0 / radius, height)
    assert (ax, ay) == (0.0, 0.0)
    assert az == pytest.approx(acceleration[2], rel=1e-4)  # (v sin(psi) step / R)^2 / 12


@pytest.mark.parametrize("roll", [0.0, 0.4, 1.2, -0.4, -1.2])
@pytest.mark.parametrize("heading", [0.0, 0.3])
def test_horizontal_turn_points_to_the_low_side(roll: float, heading: float) -> None:
    """v^2 / rho, level, square to the axis, towards the side that is lower: right for phi > 0."""
    ax, ay, az = place.path_acceleration(50.0, roll, heading, 0.0, 0.0, 1.0 / 250.0, 0.0, 0.3)
    low = -1.0 if roll >= 0.0 else 1.0
    expected = axes(roll, heading, 0.0) @ [0.0, low * 10.0, 0.0]
    assert (ax, ay, az) == pytest.approx(expected, abs=1e-13)


def test_acceleration_and_path_curvature_add_up() -> None:
    """a_x as given; a_y = v^2 times the curvature, to the left."""
    assert place.path_acceleration(50.0, 0.0, 0.0, -4.0, 0.002, 0.0, 0.0, 0.3) == (-4.0, 5.0, 0.0)


def test_floor_line_passes_through_both_ride_heights() -> None:
    """35 mm at the front point, 45 mm at the rear, straight in between and beyond."""
    b = Bench(CAR, SETUP, load_cases(venue()))
    front, rear = (float(x) for x in b.car.ride_x)
    assert place.floor_height(b.car, b.setup, front) == pytest.approx(0.035, rel=1e-14)
    assert place.floor_height(b.car, b.setup, rear) == pytest.approx(0.045, rel=1e-14)
    assert place.floor_height(b.car, b.setup, rear - 2.6) == pytest.approx(0.055, rel=1e-14)


def test_surface_under_each_wheel_with_its_bump() -> None:
    """Height at the wheel's own place round the section plus its bump; tilt without the bump."""
    bump, heading, radius = (0.004, -0.002, 0.0, 0.011), 0.2, 9.0
    b = Bench(CAR, SETUP, load_cases(venue(1.0 / radius), heading=heading, bump=bump))
    s = b.car.x * sin(heading) + b.car.y * cos(heading)
    expected = radius - np.sqrt(radius**2 - s**2) + bump
    assert b.place.rise == pytest.approx(expected, rel=1e-12)
    tilt = [atan(v / np.sqrt(radius**2 - v**2) * cos(heading)) for v in s]
    assert b.place.tilt == pytest.approx(tilt, rel=1e-12)
    assert b.place.curve_across == pytest.approx(1 / 1.5 - cos(heading) ** 2 / radius, rel=1e-13)
    assert b.place.curve_along == pytest.approx(1 / 0.33 - sin(heading) ** 2 / radius, rel=1e-13)


@pytest.mark.parametrize("crosswind", [0.0, 9.0])
@pytest.mark.parametrize("path_curvature", [0.0, -0.003])
def test_axle_forces_balance_the_car(crosswind: float, path_curvature: float) -> None:
    """Lateral force and its moment about the CG's normal: the axles, the wind and inertia add to zero."""
    driven = {"crosswind": crosswind, "path_curvature": path_curvature}
    b = Bench(CAR, SETUP, load_cases(venue(), roll_angle=0.7, speed=60.0, **driven))
    front, rear = (float(v) for v in b.place.axle_side)
    inertia, wind = b.car.mass * b.place.pull[1], b.place.side_force
    assert front + rear + inertia + wind == pytest.approx(0.0, abs=1e-9)
    moment = b.car.to_front * front - b.car.to_rear * rear + b.car.side_x * wind
    assert moment == pytest.approx(0.0, abs=1e-9)
    assert hypot(front, rear) > 1.0


@pytest.mark.parametrize(("acceleration", "shares"), [(3.0, (0.3, 0.7)), (-12.0, (0.58, 0.42))])
def test_drive_and_brake_are_shared_by_their_own_shares(
    acceleration: float, shares: tuple[float, float]
) -> None:
    """Driving 30 % on the front axle, braking 58 %; the drag at speed counts in both, halves each side."""
    b = Bench(CAR, SETUP, load_cases(venue(), speed=60.0, acceleration=acceleration))
    needed = 1.2 * 0.6 * 60.0**2 + 780.0 * acceleration
    assert b.place.axle_drive == pytest.approx([share * needed for share in shares], rel=1e-12)
    assert b.place.wheel_drive == pytest.approx(np.repeat(b.place.axle_drive, 2) / 2, rel=1e-14)


def test_gap_of_a_named_point_follows_the_body() -> None:
    """The printed gap: floor height plus offset, plus heave - x pitch + y roll, minus the surface."""
    point = replace(CAR.clearance[0], side=0.4)
    b = Bench(replace(CAR, clearance=(point,)), SETUP, load_cases(venue(1.0 / 9.0)))
    answer = np.zeros(1, ANSWER)[0]
    answer.state[:3] = 0.01, 0.004, -0.02
    answers.gaps(b.car, b.points, b.setup, b.case, b.place, answer)
    x, floor = b.car.to_front + 0.8, 0.035 + 0.010 * (-0.8 / 2.6)
    gap = floor + 0.005 + 0.01 - x * 0.004 - 0.4 * 0.02 - (9.0 - np.sqrt(81.0 - 0.16))
    assert answer.clearance == pytest.approx(gap, abs=1e-12)
    assert answer.spare_clearance == pytest.approx(gap - 0.008, abs=1e-12)


def test_pressing_and_turning_a_prepared_case() -> None:
    """turn_to gives what preparing that roll angle would, and the press acts along -z in g."""
    b = Bench(CAR, SETUP, load_cases(venue(), roll_angle=0.4, speed=50.0))
    there = Bench(CAR, SETUP, load_cases(venue(), roll_angle=1.1, speed=50.0))
    place.turn_to(b.car, b.case, 1.1, 0.5, b.place)
    pressed = there.place.pull - [0.0, 0.0, 0.5 * 9.80665]
    assert b.place.pull == pytest.approx(pressed, abs=1e-13)
    assert b.place.axle_side == pytest.approx(there.place.axle_side, abs=1e-10)
