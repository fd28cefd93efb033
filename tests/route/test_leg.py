"""Legs against closed forms: helix, energy of a point mass, and their own derivatives."""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.route.leg import Legs, straight
from setupopt.route.plan import Paths, Shape, Stretch
from setupopt.route.surface import Circle

G = 9.80665
RADIUS = 8.0
SURFACE = Circle(RADIUS)
TOP = SURFACE.place(np.radians(150.0))
SHARES = np.linspace(0.0, 1.0, 201)
RISING = np.radians([0.0, 4.0, 11.0, 15.0, 17.0, 14.0, 12.0, 16.0, 20.0])


def leg(
    course: np.ndarray,
    speed: float = 40.0,
    coasting: float = 0.0,
    end: float = TOP,
) -> Legs:
    """One leg from the floor."""
    return Legs(
        SURFACE,
        0.0,
        end,
        course[None, :],
        np.array([speed]),
        np.array([coasting]),
    )


def test_constant_course_is_a_helix() -> None:
    """Length S / sin, way along the axis S / tan, no path curvature; 1e-9 m: rounding."""
    course = np.full(9, np.radians(15.0))
    found = leg(course)
    points = found.points(SHARES)
    assert found.length[0] == pytest.approx(TOP / np.sin(course[0]), abs=1e-9)
    assert points.along[0, -1] == pytest.approx(
        TOP / np.tan(course[0]), abs=1e-9
    )
    assert np.abs(points.curvature).max() < 1e-12
    assert points.place[0] == pytest.approx(TOP * SHARES, abs=1e-9)
    assert found.between((2.0, 5.0))[0] == pytest.approx(
        3.0 / np.sin(course[0]), abs=1e-9
    )


def slopes(values: np.ndarray, way: np.ndarray) -> np.ndarray:
    """Central differences, without both ends."""
    return (values[2:] - values[:-2]) / (way[2:] - way[:-2])


def test_columns_are_derivatives_of_each_other() -> None:
    """S' = sin(course), X' = cos(course), course' = curvature, v v' = acceleration, r' = d(v curvature)/dt.

    Central differences over 0.9 m of a smooth way: half a hundredth of the largest value.
    """
    points = leg(RISING, coasting=0.8).points(SHARES)
    way = points.way[0]
    inner = slice(1, -1)
    pairs = [
        (slopes(points.place[0], way), np.sin(points.course[0])),
        (slopes(points.along[0], way), np.cos(points.course[0])),
        (slopes(points.course[0], way), points.curvature[0]),
        (
            slopes(points.speed[0], way) * points.speed[0, inner],
            points.acceleration[0],
        ),
        (
            slopes(points.speed[0] * points.curvature[0], way)
            * points.speed[0, inner],
            points.yaw_acceleration[0],
        ),
    ]
    for difference, column in pairs:
        assert difference == pytest.approx(
            column[inner], abs=5e-3 * np.abs(column).max()
        )


def test_energy_of_a_point_mass() -> None:
    """Where the drive only meets the drag, v2 = v02 - 2 g R (1 - cos phi); half of it with half a share."""
    points = leg(RISING, speed=40.0, coasting=1.0).points(SHARES)
    height = RADIUS * (1.0 - np.cos(points.place[0] / RADIUS))
    assert points.speed[0] ** 2 == pytest.approx(
        1600.0 - 2.0 * G * height, rel=1e-12
    )
    half = leg(RISING, speed=40.0, coasting=0.5).points(SHARES)
    assert half.speed[0] ** 2 == pytest.approx(1600.0 - G * height, rel=1e-12)
    assert leg(RISING, coasting=0.0).points(SHARES).speed[0] == pytest.approx(
        40.0, rel=1e-12
    )


def test_mirror_image() -> None:
    """Up the right side instead of the left: place, course, curvature and yaw acceleration change sign."""
    up = leg(RISING, coasting=0.4).points(SHARES)
    other = leg(-RISING, coasting=0.4, end=-TOP).points(SHARES)
    for name in ("place", "course", "curvature", "yaw_acceleration"):
        assert getattr(other, name) == pytest.approx(
            -getattr(up, name), abs=1e-12
        )
    for name in ("way", "along", "speed", "acceleration"):
        assert getattr(other, name) == pytest.approx(
            getattr(up, name), abs=1e-12
        )


def test_backwards_in_time() -> None:
    """The way back, seen against the axis: same places and curvatures in turn, course and acceleration of the
    other sign, and the speed of the way up is reached again on the floor.
    """
    level = np.append(RISING[:-1], 0.0)
    up_leg = leg(level, coasting=1.0)
    up = up_leg.points(SHARES)
    back = Legs(
        SURFACE, TOP, 0.0, -level[None, ::-1], up_leg.last_speed, np.ones(1)
    ).points(SHARES)
    signs = dict.fromkeys(("place", "curvature", "speed"), 1)
    signs |= dict.fromkeys(("course", "yaw_acceleration", "acceleration"), -1)
    for name, sign in signs.items():
        assert getattr(back, name)[:, ::-1] == pytest.approx(
            sign * getattr(up, name), abs=1e-9
        ), name


def test_pieces_join_smoothly() -> None:
    """Climb, straight and descent: no jump of course, curvature, yaw acceleration or speed; way adds up."""
    level = np.append(RISING[:-1], 0.0)
    climb = leg(level, coasting=0.5)
    down = Legs(
        SURFACE, TOP, 0.0, -level[None, ::-1], climb.last_speed, np.array([0.5])
    )
    length = climb.length
    hold = straight(TOP, 20.0, climb.last_speed, SHARES).moved(length, length)
    whole = (
        climb.points(SHARES)
        .then(hold)
        .then(down.points(SHARES).moved(length + 20.0, length))
    )
    for name in ("course", "curvature", "yaw_acceleration", "speed"):
        column = getattr(whole, name)[0]
        for joint in (SHARES.size, 2 * SHARES.size):
            assert column[joint] == pytest.approx(
                column[joint - 1], abs=1e-9
            ), name
    assert whole.way[0, -1] == pytest.approx(
        climb.length[0] + 20.0 + down.length[0], abs=1e-9
    )


def test_every_step_is_as_long_as_it_says() -> None:
    """Along a whole route the way is the length of the curve on the unrolled section, joints included;
    each chord of 0.4 m is shorter by less than 1e-4 of it.
    """
    level = np.append(RISING[:-1], 0.0)
    climb = leg(level)
    down = Legs(
        SURFACE, TOP, 0.0, -level[None, ::-1], climb.last_speed, np.zeros(1)
    )
    stretches = (Stretch(0.0, TOP, True), Stretch(TOP, 0.0, True))
    paths = Paths(Shape("back", stretches, TOP, 20.0, SURFACE), (climb, down))
    points = paths.points(paths.index(10.0))
    chords = np.hypot(np.diff(points.along[0]), np.diff(points.place[0]))
    assert np.diff(points.way[0]) == pytest.approx(chords, rel=1e-4)
    assert points.way[0, -1] == pytest.approx(paths.length[0], abs=1e-6)
