"""The whole car against closed forms. Each is derived in its docstring or names its source."""

from __future__ import annotations

from dataclasses import replace
from math import asin, atan, cos, degrees, pi, radians, sin, sqrt

import numpy as np
import pytest
from at_trim import Bench
from cars import (
    CAR,
    GRAVITY,
    PLAIN_SETUP,
    SETUP,
    SLICK,
    STIFF_SETUP,
    both_axles,
    load_cases,
    on_tyres,
    plain_car,
    set_both,
    solve,
    speed_for,
    stiffened,
    venue,
)
from scipy.optimize import brentq, minimize_scalar

from setupopt.physics import surface
from setupopt.project.model import Car, ClearancePoint, Setup

Floats = np.ndarray
FRICTIONS = (0.8, 1.0, 1.4, 1.7, 2.0)


# --- a point-mass car on a circular section -------------------------------------------------------


def point_mass(friction: float) -> Car:
    """CG 10 mm up, so that no wheel lifts; stiff; no load sensitivity; constant downforce."""
    return stiffened(plain_car(cg_height=0.01, friction=friction))


def margin_at(car: Car, angle: float, weights: float) -> float:
    """Margin at a roll angle under a downforce of so many weights, on a section of 10 km radius."""
    result = solve(car, STIFF_SETUP, venue(1e-4), roll_angle=angle, speed=speed_for(car, weights))
    return float(result.margin[0, 0])


@pytest.mark.parametrize("friction", FRICTIONS)
@pytest.mark.parametrize("angle_deg", [75.0, 90.0, 120.0, 150.0, 175.0])
def test_holding_needs_this_downforce(friction: float, angle_deg: float) -> None:
    """m g sin <= mu (m g cos + L): L / (m g) = sin / mu - cos, where the margin is zero.

    5e-6: a CG 10 mm up on R = 10 km is 1e-6 nearer the axis, wheels 0.75 m aside lean by 1e-4.
    """
    car, phi = point_mass(friction), radians(angle_deg)
    expected = sin(phi) / friction - cos(phi)
    needed = brentq(lambda w: margin_at(car, phi, w), 0.98 * expected, 1.02 * expected, xtol=1e-9)
    assert needed == pytest.approx(expected, abs=5e-6)


@pytest.mark.parametrize("friction", FRICTIONS)
def test_worst_angle_and_its_need(friction: float) -> None:
    """sin / mu - cos is largest at 180 deg - atan(1 / mu), there sqrt(1 + 1 / mu^2): both derivatives.

    With just that downforce the margin is 0 there (5e-6 of weight, over a grip of at least W / 2), and
    more at any other angle; the angle to 0.05 deg, where the flat bottom has risen 1e-6.
    """
    car, weights = point_mass(friction), sqrt(1.0 + 1.0 / friction**2)
    found = minimize_scalar(
        lambda a: margin_at(car, a, weights), bounds=(radians(100.0), radians(175.0)), method="bounded",
        options={"xatol": 1e-6},
    )  # fmt: skip
    assert degrees(found.x) == pytest.approx(180.0 - degrees(atan(1.0 / friction)), abs=0.05)
    assert found.fun == pytest.approx(0.0, abs=1e-5)


@pytest.mark.parametrize("friction", [1.0, 1.2, 1.43])
def test_worst_angle_of_common_grip(friction: float) -> None:
    """Common practice, no source: with mu from 1.0 to 1.43 it lies between 135 and 145 deg.

    A sweep in 1 deg steps with just enough downforce for the worst of them.
    """
    car, angles = point_mass(friction), np.arange(1.0, 180.0)
    speed = speed_for(car, sqrt(1.0 + 1.0 / friction**2))
    margin = solve(car, STIFF_SETUP, venue(1e-4), roll_angle=np.radians(angles), speed=speed).margin[0]
    assert 135.0 <= angles[int(np.argmin(margin))] <= 145.0


def test_inverted_grip_of_the_flat_takes_two_weights() -> None:
    """Inverted, N = L - m g; with L = 2 m g every tyre carries what it carries at rest on the flat.

    Load-sensitive tyres, leaning, camber without gain, air at the CG: to 1e-9.
    """
    tyre = replace(SLICK, compliance=0.0)
    car = both_axles(plain_car(area=3.0), tyre=tyre, unsprung_mass=25.0)
    setup = set_both(PLAIN_SETUP, camber=-0.04)

    def grip(angle: float, weights: float) -> Floats:
        return solve(car, setup, roll_angle=angle, speed=speed_for(car, weights)).answers[0, 0]["grip"]

    assert grip(pi, 2.0) == pytest.approx(grip(0.0, 0.0), rel=1e-9)
    assert grip(pi, 1.98).max() < 0.99 * grip(0.0, 0.0).min()


# --- circumferential force ------------------------------------------------------------------------


def square_camber(track: float, radius: float) -> float:
    """Camber that stands a wheel square to a circular section, body level: -asin(t / 2R)."""
    return -asin(track / (2.0 * radius))


@pytest.mark.parametrize("radius", [5.0, 7.5, 15.0])
@pytest.mark.parametrize("angle_deg", [30.0, 90.0, 140.0])
def test_circumferential_force(radius: float, angle_deg: float) -> None:
    """All normals meet on the axis, so friction alone carries gravity's moment about it.

    T R = m g sin (R - h), h of the solved state, with no roll moment of the air, a body that cannot
    roll and wheels that stand square, so that their patches have no moment of their own. T is the
    sum of use times grip, as nothing acts along the car. 2e-6: the body rolls by micrometres.
    """
    car, half = stiffened(plain_car(cg_height=0.3, area=3.0)), 0.75
    setup = set_both(STIFF_SETUP, camber=square_camber(2 * half, radius))
    driven = {"roll_angle": radians(angle_deg), "speed": speed_for(car, 2.2)}
    answer = solve(car, setup, venue(1.0 / radius), **driven).answers[0, 0]
    height = 0.3 + float(answer["state"][0])
    expected = car.mass * GRAVITY * sin(radians(angle_deg)) * (radius - height) / radius
    assert answer["use"] @ answer["grip"].reshape(2, 2).sum(axis=1) == pytest.approx(expected, rel=2e-6)


def moments(angle_deg: float, setup: Setup) -> tuple[float, float, float]:
    """Of the invented car in a bore of 7.5 m, about its axis, N m.

    The tyres' lateral force; the weight at its solved height; body roll, air and patches together.
    """
    radius, phi = 7.5, radians(angle_deg)
    state = solve(CAR, setup, venue(1.0 / radius), roll_angle=phi, speed=60.0).answers[0, 0]["state"]
    b = Bench(CAR, setup, load_cases(venue(1.0 / radius), roll_angle=phi, speed=60.0))
    work, car = b.forces(state), b.car
    height = car.sprung_mass * (car.sprung_height + state[0])
    height += (car.unsprung_mass * (car.unsprung_height + state[3:])).sum()
    weight = GRAVITY * sin(phi) * (car.mass * radius - height)
    rest = car.sprung_height * state[2] * car.sprung_mass * b.place.pull[2]
    rest -= work.lift[1] + (car.side * work.moment).sum()
    return float(work.across.sum() * radius), float(weight), float(rest)


@pytest.mark.parametrize("angle_deg", [40.0, 100.0, 150.0])
def test_circumferential_force_with_everything_counted(angle_deg: float) -> None:
    """T R = m g sin (R - h) + h_s phi_b m_s b_z - M_air - sum(sigma y_cp N): exact on any car."""
    tyres, weight, rest = moments(angle_deg, SETUP)
    assert tyres == pytest.approx(weight + rest, rel=1e-8)
    assert abs(rest) > 1e-4 * weight


@pytest.mark.parametrize("angle_deg", [40.0, 90.0, 150.0])
def test_circumferential_force_of_a_typical_car(angle_deg: float) -> None:
    """With body roll, air and patches at work it stays within 0.2 % of m g sin (R - h) / R.

    On wheels that stand about square to the section: air and body roll alone bring up to 0.06 %.
    With wheels 4 deg off square the patches' own moments bring 0.5 %.
    """
    tyres, weight, _ = moments(angle_deg, set_both(SETUP, camber=square_camber(1.6, 7.5)))
    assert tyres == pytest.approx(weight, rel=2e-3)


# --- surface and stance ---------------------------------------------------------------------------

CORNERS = np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]])


@pytest.mark.parametrize(("length", "track", "radius"), [(2.6, 1.5, 7.5), (3.0, 1.6, 12.0)])
@pytest.mark.parametrize("heading_deg", [3.0, 10.0, 30.0])
def test_corners_of_a_rectangle(length: float, track: float, radius: float, heading_deg: float) -> None:
    """Heights differ from a plane by +-(l t / 4R) sin cos, as + - - +; relative 2 % on the circle.

    Over the quadratic s^2 / 2R, with s = x sin + y cos, only the product 2 x y sin cos is no plane.
    The circle adds half of (s / R)^2 at most, with s up to 1.3 m of 7.5 m.
    """
    psi, places = radians(heading_deg), CORNERS * [length / 2, track / 2]
    heights = np.array([surface.onwards(0.0, 0.0, 1 / radius, s)[0] for s in places @ [sin(psi), cos(psi)]])
    plane = np.column_stack([np.ones(4), places])
    left_over = heights - plane @ np.linalg.lstsq(plane, heights, rcond=None)[0]
    twist = length * track / (4 * radius) * sin(psi) * cos(psi)
    assert left_over == pytest.approx(twist * np.array([1, -1, -1, 1]), rel=0.02)


def test_rigid_car_holds_a_wheel_off() -> None:
    """By four times that: l t sin cos / R. Three wheels of a car without springs touch.

    About 100 mm at 10 deg for a small single-seater in a bore of 7 to 8 m: common practice, no source.
    5 %: the circle, and the wheels' lean, which lifts each hub by its own r0 (1 / cos(tilt) - 1).
    """
    psi, radius = radians(10.0), 7.5
    car = on_tyres(replace(plain_car(), front_share=0.45), foundation=1e13, crown_radius=1e-3)
    setup, bore = set_both(STIFF_SETUP, spring=1e9), venue(1 / radius)
    answer = solve(car, setup, bore, heading=psi).answers[0, 0]
    b = Bench(car, setup, load_cases(bore, heading=psi))
    off = [w for w in range(4) if answer["load"][w] == 0.0]
    assert off == [1]
    gap = answer["state"][3 + 1] - b.place.rise[1] - 0.33 * (1 / b.place.cos_tilt[1] - 1)
    assert gap == pytest.approx(2.6 * 1.5 * sin(psi) * cos(psi) / radius, rel=0.05)
    assert 0.08 < gap < 0.11


def floor_gaps(car: Car, setup: Setup, radius: float, sides: Floats) -> Floats:
    """Gap under points of the floor amidships, m, from as many cars with one named point each."""
    gaps = []
    for side in sides:
        point = ClearancePoint("point", 1.3, float(side), 0.0, 0.0)
        answer = solve(replace(car, clearance=(point,)), setup, venue(1 / radius)).answers[0, 0]
        gaps.append(float(answer["clearance"]))
    return np.array(gaps)


@pytest.mark.parametrize(("track", "width", "radius"), [(1.6, 1.5, 12.0), (1.9, 1.7, 7.5)])
def test_mean_extra_gap_under_the_floor(track: float, width: float, radius: float) -> None:
    """t^2 / 8R - w^2 / 24R, the mean of (t^2 / 4 - y^2) / 2R over the floor; relative 1 % on the circle.

    A rigid car stands on its wheels at t / 2; their lean lifts the hubs by r0 (1 / cos - 1) besides.
    About 50 mm for a wide car in a bore of 7 to 8 m: common practice, no source.
    """
    car, setup = stiffened(plain_car(track=track)), STIFF_SETUP
    nodes, weights = np.polynomial.legendre.leggauss(5)
    mean = float(weights @ floor_gaps(car, setup, radius, nodes * width / 2)) / 2
    lifted = 0.33 * (1 / cos(asin(track / (2 * radius))) - 1)
    extra = mean - 0.05 - lifted
    assert extra == pytest.approx(track**2 / (8 * radius) - width**2 / (24 * radius), rel=0.01)
    if radius == 7.5:
        assert extra == pytest.approx(0.05, abs=0.01)


@pytest.mark.parametrize("radius", [6.0, 12.0, 50.0])
def test_camber_that_stands_square(radius: float) -> None:
    """Set to -asin(t / 2R), a wheel under a level body has no inclination to the section: 1e-7 rad."""
    car, setup = stiffened(plain_car()), set_both(STIFF_SETUP, camber=square_camber(1.5, radius))
    answer = solve(car, setup, venue(1 / radius)).answers[0, 0]
    assert answer["inclination"] == pytest.approx([0.0] * 4, abs=1e-7)


@pytest.mark.parametrize("camber", [-0.05, 0.0, 0.03])
def test_inclination_of_a_turned_and_rolled_wheel(camber: float) -> None:
    """eps = camber + gain u + sigma (beta - phi_b), from the answer's own travel and body roll."""
    setup = set_both(SETUP, camber=camber)
    answer = solve(CAR, setup, venue(1 / 7.5), roll_angle=1.5, speed=60.0).answers[0, 0]
    beta = np.array([asin(y / 7.5) for y in (0.8, -0.8, 0.79, -0.79)])
    gain, side = np.array([-0.35, -0.35, -0.26, -0.26]), np.array([1, -1, 1, -1])
    expected = camber + gain * answer["travel"] + side * (beta - answer["state"][2])
    assert answer["inclination"] == pytest.approx(expected, abs=1e-12)
    assert abs(answer["state"][2]) > 0.005


# --- load transfer --------------------------------------------------------------------------------


def transfer(car: Car, setup: Setup, lateral: float) -> Floats:
    """Half of left minus right load by axle, N, in a bend to the right or left on the flat."""
    answer = solve(car, setup, speed=10.0, path_curvature=lateral / 100.0).answers[0, 0]
    loads = answer["load"].reshape(2, 2)
    return (loads[:, 1] - loads[:, 0]) / 2


def test_total_load_transfer_of_a_stiff_car() -> None:
    """m a h / t: moments about the outer wheels (Milliken and Milliken, 1995). 5e-6: hard, not rigid."""
    car = stiffened(plain_car(cg_height=0.45, area=0.0))
    for lateral in (0.5, 9.81):
        assert transfer(car, STIFF_SETUP, lateral).sum() == pytest.approx(
            lateral * 1000 * 0.45 / 1.5, rel=5e-6
        )


def test_load_transfer_of_a_rolling_car_is_linear_at_small_angles() -> None:
    """Per m a h / t it tends to 1 + m g phi / (m a), phi = m a h / (K - m g h): springs in roll alone.

    The model keeps the shift of the rolling CG, m g h phi. Halving a leaves the ratio to 1e-6.
    """
    car, spring = stiffened(plain_car(cg_height=0.45, area=0.0)), 5e4
    setup = set_both(PLAIN_SETUP, spring=spring)
    roll_rate, weight = 2 * spring * 1.5**2 / 2, 1000 * GRAVITY
    ratio = 1.0 + weight * 0.45 / (roll_rate - weight * 0.45)
    for lateral in (0.1, 0.2):
        total = transfer(car, setup, lateral).sum()
        assert total == pytest.approx(lateral * 1000 * 0.45 / 1.5 * ratio, rel=1e-5)
    assert ratio > 1.04


@pytest.mark.parametrize("bar", [0.0, 3e4])
def test_split_by_roll_stiffness(bar: float) -> None:
    """Roll centres on the road: each axle takes its K phi, K = (k t^2 / 2 + bar t^2) from springs and bar.

    A bar in front alone moves transfer there. 1e-5: hard tyres. (Milliken and Milliken, 1995.)
    """
    car = stiffened(plain_car(cg_height=0.45, area=0.0))
    setup = set_both(PLAIN_SETUP, spring=5e4)
    setup = replace(setup, front=replace(setup.front, anti_roll=bar))
    front, rear = 1.5**2 * (5e4 / 2 + bar), 1.5**2 * 5e4 / 2
    phi = 1000 * 2.0 * 0.45 / (front + rear - 1000 * GRAVITY * 0.45)
    assert transfer(car, setup, 2.0) == pytest.approx([front * phi / 1.5, rear * phi / 1.5], rel=1e-4)


def test_roll_centre_takes_its_share_without_roll() -> None:
    """Roll centres at the CG's height: the links carry all of m a h, and the body does not roll.

    Each axle takes its own lateral force times h over its track, here half. At 0.02 m/s2, where the
    jacking of the links, which goes with the square, is a micrometre: 1e-5.
    """
    car = both_axles(stiffened(plain_car(cg_height=0.3, area=0.0)), roll_centre_height=0.3)
    setup = set_both(PLAIN_SETUP, spring=5e4)
    answer = solve(car, setup, speed=10.0, path_curvature=0.0002).answers[0, 0]
    per_axle = 1000 * 0.02 * 0.3 / 1.5 / 2
    rolling = 1000 * 0.02 * 0.3 / (2 * 5e4 * 1.5**2 / 2)
    assert abs(answer["state"][2]) < 1e-3 * rolling
    assert transfer(car, setup, 0.02) == pytest.approx([per_axle, per_axle], rel=1e-5)
