"""Steep, banked and inverted: numbers worked out for this project from the formulas beside them.

Regressions, no outside truth: nobody has printed them. They hold the package to closed forms at given
digits, with g = 9.81 m/s2 where a force or speed is given (the package's own is 9.80665).
"""

from __future__ import annotations

from dataclasses import replace
from math import atan, cos, degrees, pi, radians, sin, sqrt

import cars
import numpy as np
import pytest
from at_trim import Bench
from scipy.optimize import brentq

from setupopt.physics import case_state, surface
from setupopt.physics.inputs import SIDESLIP, TAU, UNKNOWNS
from setupopt.physics.start import follow_surface
from setupopt.project.model import Car

Floats = np.ndarray
ROUND_G = 9.81

# mu: worst angle deg, downforce over weight needed there
WORST_ANGLE = {
    0.8: (128.6598, 1.60078106),
    1.0: (135.0, 1.41421356),
    1.4: (144.4623, 1.22890361),
    1.7: (149.5345, 1.16018135),
    2.0: (153.4349, 1.11803399),
}


@pytest.mark.parametrize("friction", WORST_ANGLE)
def test_worst_angle_without_load_sensitivity(friction: float) -> None:
    """Own numbers. The need sin / mu - cos, from the package's zero margins, peaks at 180 deg - atan(1 / mu).

    The peak's height to 5e-6; its place to 0.01 deg, where the need has fallen by 1e-8.
    """
    car = cars.evenly_driven(cars.plain_car(cg_height=0.01, friction=friction))
    angle, need = WORST_ANGLE[friction]
    found = peak_of_need(car, angle, 0.95 * need - 0.02, 1.05 * need)
    assert found[0] == pytest.approx(angle, abs=0.01)
    assert found[1] == pytest.approx(need, abs=5e-6)


def need_at(car: Car, angle: float, low: float, high: float) -> float:
    """Downforce over weight with which no margin is left, on the flat turned to an angle (rad)."""

    def margin(weights: float) -> float:
        speed = cars.speed_for(car, weights)
        return float(
            cars.solve_without_crab(
                car, cars.PLAIN_SETUP, roll_angle=angle, speed=speed
            ).margin[0, 0]
        )

    return float(brentq(margin, low, high, xtol=1e-9))


def peak_of_need(
    car: Car, near_deg: float, low: float, high: float
) -> tuple[float, float]:
    """Angle (deg) and height of the largest need near a guess, by a quartic through nine needs of 8 deg."""
    away = np.radians(np.linspace(-4.0, 4.0, 9))
    needs = np.polyfit(
        away, [need_at(car, radians(near_deg) + a, low, high) for a in away], 4
    )
    turns = np.roots(np.polyder(needs))
    top = float(turns[np.argmin(np.abs(turns))].real)
    return near_deg + degrees(top), float(np.polyval(needs, top))


# CG height, track: worst angle deg, downforce over weight that just keeps the upper wheels down
TIPPING = {
    (0.3, 1.6): (159.4440, 1.06800047),
    (0.35, 1.5): (154.9831, 1.10352969),
    (0.5, 1.5): (146.3099, 1.20185043),
}


@pytest.mark.parametrize("shape", TIPPING)
def test_upper_wheels(shape: tuple[float, float]) -> None:
    """Own numbers. N_up / W = (cos + d) / 2 - (h / t) sin, least at 180 deg - atan(2 h / t).

    Rigid car, air without a roll moment. The parabola through three angles 1 deg apart finds the place
    to 0.01 deg; the height to 5e-6, hard tyres.
    """
    height, track = shape
    worst, weights = TIPPING[shape]
    car = cars.evenly_driven(
        cars.stiffened(
            cars.plain_car(cg_height=height, track=track, friction=3.0)
        )
    )
    speed = cars.speed_for(car, weights + 0.05)
    angles = np.radians([worst - 1.0, worst, worst + 1.0])
    upper = (
        cars.solve_without_crab(
            car, cars.STIFF_SETUP, roll_angle=angles, speed=speed
        )
        .answers[0]["load"][:, [0, 2]]
        .sum(axis=1)
    )
    upper /= car.mass * cars.GRAVITY
    assert upper[1] == pytest.approx(0.05 / 2, abs=5e-6)
    bottom = (upper[0] - upper[2]) / (2 * (upper[0] - 2 * upper[1] + upper[2]))
    assert bottom == pytest.approx(0.0, abs=0.01)
    assert degrees(pi - atan(2 * height / track)) == pytest.approx(
        worst, abs=5e-5
    )


# bank deg: outer and inner pair's load, N, of a rigid 1000 kg car turning at g; h 0.45, t 1.5 m
RIGID_ON_A_BANK = {
    0.0: (7848.0, 1962.0),
    10.0: (8069.5, 3295.0),
    20.0: (8045.8, 4527.9),
    30.0: (7777.6, 5623.1),
}


@pytest.mark.parametrize("bank_deg", RIGID_ON_A_BANK)
def test_rigid_car_on_a_bank(bank_deg: float) -> None:
    """Own numbers. N / m g = cos + sin, F / m g = cos - sin for v^2 / rho = g; 0.05 N in 9810 N, as printed.

    The centre is on the low side, which is the right one, so the left wheels are the outer ones. The force
    lies along the bend's radius, out of which the car is turned by its sideslip.
    """
    car = cars.evenly_driven(
        cars.stiffened(
            cars.plain_car(cg_height=0.45, track=1.5, friction=3.0, area=0.0)
        )
    )
    turn = {"speed": 200.0, "turn_curvature": cars.GRAVITY / 40_000.0}
    answer = cars.solve(
        car, cars.STIFF_SETUP, roll_angle=radians(bank_deg), **turn
    ).answers[0, 0]
    outer, inner = (
        answer["load"].reshape(2, 2).sum(axis=0) * ROUND_G / cars.GRAVITY
    )
    turned = cos(answer["state"][SIDESLIP])
    across = (outer - inner) / turned
    pairs = (outer + inner + across) / 2, (outer + inner - across) / 2
    assert pairs == pytest.approx(RIGID_ON_A_BANK[bank_deg], abs=0.08)
    force = -answer["state"][TAU:].sum() / turned
    assert force == pytest.approx(
        cos(radians(bank_deg)) - sin(radians(bank_deg)), abs=1e-6
    )


def bend_car(friction: float) -> Car:
    """CG on the road, so that what pulls it along does not load an axle; hard tyres keep it there."""
    return cars.evenly_driven(
        cars.stiffened(
            cars.plain_car(cg_height=1e-4, friction=friction, area=0.0)
        )
    )


def test_banked_bend_force_ratio() -> None:
    """Own number. F / N = tan(atan(v^2 / g R) - bank) = 0.64282693 at 60 m/s, 300 m, 18 deg.

    Speed scaled to the package's g; mu 1, so grip is load and use is F / N. The tyres' aligning moments move
    5e-5 of it between the axles; over both it is F / N to 2e-6.
    """
    speed = 60.0 * sqrt(cars.GRAVITY / ROUND_G)
    turn = {"roll_angle": radians(18.0), "turn_curvature": 1 / 300}
    answer = cars.solve(
        bend_car(1.0), cars.STIFF_SETUP, speed=speed, **turn
    ).answers[0, 0]
    assert answer["use"] == pytest.approx([0.64282693] * 2, abs=1e-4)
    both = (
        answer["use"]
        @ answer["grip"].reshape(2, 2).sum(axis=1)
        / answer["grip"].sum()
    )
    assert both == pytest.approx(0.64282693, abs=2e-6)


def test_banked_bend_speed() -> None:
    """Own number. Fastest sqrt(g R (tan + mu) / (1 - mu tan)) = 85.7668 m/s at mu 1.2, g 9.81.

    There no margin is left: to 1e-4, as the friction path goes on hard tyres. 0.02 m/s faster takes 3e-4.
    """
    turn = {"roll_angle": radians(18.0), "turn_curvature": 1 / 300}
    speeds = np.array([85.7668, 86.7668]) * sqrt(cars.GRAVITY / ROUND_G)
    margin = cars.solve(
        bend_car(1.2), cars.STIFF_SETUP, speed=speeds, **turn
    ).margin[0]
    assert margin[0] == pytest.approx(0.0, abs=1e-4)
    assert margin[1] < -0.01


def test_wall_speed() -> None:
    """Own number. sqrt(g R / mu) = 7.0036 m/s at R = 5 m, mu 1, g 9.81, upright axis. 1.1e-4: CG 1 mm off."""
    car = cars.evenly_driven(
        cars.plain_car(cg_height=1e-3, friction=1.0, area=0.0)
    )
    wall = cars.venue(1 / 5.0, slope=pi / 2)

    def margin(speed: float) -> float:
        return float(
            cars.solve_without_crab(
                car, cars.PLAIN_SETUP, wall, heading=pi / 2, speed=speed
            ).margin[0, 0]
        )

    slowest = brentq(margin, 6.5, 8.0, xtol=1e-9) * sqrt(ROUND_G / cars.GRAVITY)
    assert slowest == pytest.approx(7.0036, rel=1.1e-4)


def test_helix_presses_on() -> None:
    """Own check. Climbing at psi on radius R adds m v^2 sin^2 / R to the loads (point mass at h = 0).

    R = 500 m, so that all normals are one; 2e-4 for the wheels' places and a CG 10 mm up.
    """
    car, radius, speed, psi = (
        cars.plain_car(cg_height=0.01, area=0.0),
        500.0,
        80.0,
        0.5,
    )
    answers = cars.solve(
        car,
        cars.PLAIN_SETUP,
        cars.venue(1 / radius),
        heading=[0.0, psi],
        speed=speed,
    ).answers[0]
    straight, climbing = answers["load"].sum(axis=1)
    extra = 1000.0 * (speed * sin(psi)) ** 2 / radius
    assert climbing - straight == pytest.approx(extra, rel=2e-4)


# length, track, radius, heading deg: twist of a corner by the quadratic form, on the exact circle, m
TWIST = {
    (3.0, 1.6, 12.0, 10.0): (1.710101e-2, 1.714206e-2),
    (3.0, 1.6, 12.0, 45.0): (5.000000e-2, 5.025322e-2),
    (2.5, 1.5, 6.0, 30.0): (6.765823e-2, 6.843947e-2),
}


@pytest.mark.parametrize("rectangle", TWIST)
def test_twist_of_a_rectangle(
    rectangle: tuple[float, float, float, float],
) -> None:
    """Own numbers. l t sin cos / 4R per corner, pattern + - - +; the exact circle's to its 7 digits."""
    length, track, radius, heading_deg = rectangle
    psi = radians(heading_deg)
    heights = [
        surface.onwards(
            0.0,
            0.0,
            1 / radius,
            x * length / 2 * sin(psi) + y * track / 2 * cos(psi),
        )[0]
        for x, y in ((1, 1), (1, -1), (-1, 1), (-1, -1))
    ]
    twist = float(np.array([1, -1, -1, 1]) @ heights) / 4
    quadratic, exact = TWIST[rectangle]
    assert twist == pytest.approx(exact, abs=5e-9)
    assert length * track / (4 * radius) * sin(psi) * cos(psi) == pytest.approx(
        quadratic, abs=5e-9
    )


def test_fourth_wheel() -> None:
    """Own number. Three corners touching, the fourth is 0.201013 m off on the circle (0.2 by l t s c / R)."""
    psi, heights = radians(45.0), []
    for x, y in ((1.5, 0.8), (1.5, -0.8), (-1.5, 0.8), (-1.5, -0.8)):
        heights.append(
            surface.onwards(0.0, 0.0, 1 / 12.0, x * sin(psi) + y * cos(psi))[0]
        )
    fl, fr, rl, rr = heights
    assert abs(fl - fr - rl + rr) == pytest.approx(0.201013, abs=5e-7)


def floor_mean(
    length: float, width: float, radius: float, heading: float
) -> float:
    """Mean extra gap under a floor of a 3.0 x 1.6 m car whose body follows its wheels, m."""
    car = replace(cars.plain_car(track=1.6), wheelbase=3.0)
    b = Bench(
        car,
        cars.PLAIN_SETUP,
        cars.load_cases(cars.venue(1 / radius), heading=heading),
    )
    state = np.zeros(UNKNOWNS)
    follow_surface(b.car, b.case, b.state, state)
    nodes, weights = np.polynomial.legendre.leggauss(8)
    total = 0.0
    for x, wx in zip(nodes * length / 2, weights, strict=True):
        for y, wy in zip(nodes * width / 2, weights, strict=True):
            gap = case_state.rest_gap(b.car, b.setup, b.case, b.state, x, y)
            total += (
                wx * wy / 4 * (gap + state[0] - x * state[1] + y * state[2])
            )
    return total - 0.05


# heading deg: mean gap on the exact circle, by the formula, m; floor 2.6 x 1.5 m, R = 12 m
MEAN_GAP = {
    0.0: (0.01887928, 0.01885417),
    20.0: (0.02495389, 0.02486959),
    45.0: (0.04480051, 0.04456597),
    90.0: (0.07060538, 0.07027778),
}


@pytest.mark.parametrize("heading_deg", MEAN_GAP)
def test_mean_floor_gap(heading_deg: float) -> None:
    """Own numbers. [(l^2 s^2 + t^2 c^2) / 8 - (L^2 s^2 + w^2 c^2) / 24] / R; the circle's to 8 digits."""
    exact, formula = MEAN_GAP[heading_deg]
    s2 = sin(radians(heading_deg)) ** 2
    across, along = 1.6**2 / 8 - 1.5**2 / 24, 3.0**2 / 8 - 2.6**2 / 24
    assert ((1 - s2) * across + s2 * along) / 12.0 == pytest.approx(
        formula, abs=5e-9
    )
    assert floor_mean(2.6, 1.5, 12.0, radians(heading_deg)) == pytest.approx(
        exact, abs=1e-8
    )


@pytest.mark.parametrize(
    ("side", "exact"), [(0.0, 0.0266964), (0.75, 0.0032359)]
)
def test_floor_gap_amidships_and_at_its_edge(side: float, exact: float) -> None:
    """Own numbers. t^2 / 8R = 26.7 mm in the middle, (t^2 - w^2) / 8R = 3.2 mm at its edge; to 0.1 um."""
    b = Bench(
        cars.plain_car(track=1.6),
        cars.PLAIN_SETUP,
        cars.load_cases(cars.venue(1 / 12.0)),
    )
    state = np.zeros(UNKNOWNS)
    follow_surface(b.car, b.case, b.state, state)
    gap = (
        case_state.rest_gap(b.car, b.setup, b.case, b.state, 0.0, side)
        + state[0]
        - 0.05
    )
    assert gap == pytest.approx(exact, abs=1e-7)


# radius m: self camber deg of a track of 1.6 m
SELF_CAMBER = {
    6.0: 7.6623,
    8.0: 5.7392,
    12.0: 3.8226,
    20.0: 2.2924,
    50.0: 0.9168,
}


@pytest.mark.parametrize("radius", SELF_CAMBER)
def test_self_camber(radius: float) -> None:
    """Own numbers. A wheel without camber leans asin(t / 2R) out of square to the section; 0.00005 deg."""
    car = cars.stiffened(cars.plain_car(track=1.6))
    answer = cars.solve(car, cars.STIFF_SETUP, cars.venue(1 / radius)).answers[
        0, 0
    ]
    assert np.degrees(answer["inclination"]) == pytest.approx(
        [SELF_CAMBER[radius]] * 4, abs=6e-5
    )


# --- load-sensitive tyres: a trend ----------------------------------------------------------------


def sensitive(exponent: float) -> Car:
    """Friction 1.975 at 300 N a wheel, less above: as a line through 1.975 at no load would fall."""
    tyre = replace(
        cars.SLICK,
        friction=1.0,
        friction_exponent=exponent,
        compliance=0.0,
        foundation=1e9,
        crown_radius=0.6,
    )
    car = cars.evenly_driven(
        cars.both_axles(cars.plain_car(mass=700.0, cg_height=0.01), tyre=tyre)
    )
    grip = cars.solve(
        replace(car, mass=4 * 300.0 / cars.GRAVITY), cars.PLAIN_SETUP
    ).answers[0, 0]["grip"][0]
    return cars.on_tyres(car, friction=1.975 * 300.0 / float(grip))


def test_worst_angle_of_load_sensitive_tyres() -> None:
    """A trend, as with mu = 1.975 - s N (own: 153.15, 152.96, 152.67, 152.28 deg; 1.1209 to 1.1251 W).

    The more friction falls with load, the nearer the wall the worst angle, and the more it needs.
    """
    found = [
        peak_of_need(sensitive(n), 152.7, 1.05, 1.3)
        for n in (0.0, 0.02, 0.05, 0.1)
    ]
    angles, needs = zip(*found, strict=True)
    assert angles[0] == pytest.approx(153.146, abs=0.03)
    assert needs[0] == pytest.approx(1.12088, abs=2e-5)
    assert all(np.diff(angles) < -0.02)
    assert all(np.diff(needs) > 5e-4)
