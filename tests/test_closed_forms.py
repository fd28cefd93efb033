"""The whole car against closed forms. Each is derived in its docstring or names its source."""

from __future__ import annotations

from dataclasses import replace
from math import asin, atan, cos, degrees, pi, radians, sin, sqrt
from typing import Any

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
    evenly_driven,
    load_cases,
    on_tyres,
    plain_car,
    set_both,
    solve,
    solve_without_crab,
    speed_for,
    stiffened,
    venue,
)

from setupopt.physics import surface
from setupopt.physics.inputs import RISE, SIDESLIP, TAU
from setupopt.project.model import Car, ClearancePoint, Setup, Venue

Floats = np.ndarray
FRICTIONS = (0.8, 1.0, 1.4, 1.7, 2.0)


# --- a point-mass car on a circular section -------------------------------------------------------


def point_mass(friction: float) -> Car:
    """CG 10 mm up, so that no wheel lifts; no load sensitivity; constant downforce."""
    return evenly_driven(plain_car(cg_height=0.01, friction=friction))


def margins(car: Car, angle: Any, weights: Any) -> Floats:
    """Margins at roll angles (rad) under downforces of so many weights.

    A point has no crab angle, and any section is its tangent plane.
    """
    speed = [speed_for(car, share) for share in np.atleast_1d(weights)]
    return solve_without_crab(
        car, PLAIN_SETUP, roll_angle=angle, speed=speed
    ).margin[0]


@pytest.mark.parametrize("friction", FRICTIONS)
def test_holding_needs_this_downforce(friction: float) -> None:
    """m g sin = lambda mu (m g cos + L): the friction factor, and so the margin, to 3e-5: that much
    leaves the car that all but coasts, between the rules of drive and brakes.

    No margin is left with L / (m g) = sin / mu - cos; a little less and the car slides. The drag of a newton
    brings 1e-7, the fold is found to 1e-6. At 175 deg a tenth of the weight is left on the tyres: to 4e-4.
    """
    angle = np.repeat(np.radians([75.0, 90.0, 120.0, 150.0, 175.0]), 3)
    weights = np.tile([0.99, 1.0, 1.2], 5) * (
        np.sin(angle) / friction - np.cos(angle)
    )
    expected = 1.0 - np.sin(angle) / friction / (np.cos(angle) + weights)
    found = margins(point_mass(friction), angle, weights)
    assert found[:12] == pytest.approx(expected[:12], abs=3e-5)
    assert found[12:] == pytest.approx(expected[12:], abs=4e-4)


@pytest.mark.parametrize("friction", FRICTIONS)
def test_worst_angle_and_its_need(friction: float) -> None:
    """sin / mu - cos is largest at 180 deg - atan(1 / mu), there sqrt(1 + 1 / mu^2): both derivatives.

    With just that downforce the margin is 0 there, and more at any other angle: to 1e-5. The angle of the
    least margin to 0.1 deg, by a quartic through a sweep of 8 deg. Common practice, no source: with mu from
    1.0 to 1.43 it lies between 135 and 145 deg.
    """
    worst, weights = pi - atan(1.0 / friction), sqrt(1.0 + 1.0 / friction**2)
    angle = worst + np.radians(np.linspace(-4.0, 4.0, 17))
    found = margins(point_mass(friction), angle, np.full(17, weights))
    turns = np.roots(np.polyder(np.polyfit(angle - worst, found, 4)))
    least = degrees(worst + float(turns[np.argmin(np.abs(turns))].real))
    assert least == pytest.approx(degrees(worst), abs=0.1)
    assert found[8] == pytest.approx(0.0, abs=1e-5)
    assert found.min() > -1e-5
    if 1.0 <= friction <= 1.43:
        assert 134.9 <= least <= 145.0


def test_inverted_grip_of_the_flat_takes_two_weights() -> None:
    """Inverted, N = L - m g; with L = 2 m g every tyre carries what it carries at rest on the flat.

    Load-sensitive tyres, leaning, camber without gain, air at the CG: to 1e-9.
    """
    tyre = replace(SLICK, compliance=0.0)
    car = both_axles(plain_car(area=3.0), tyre=tyre, unsprung_mass=25.0)
    setup = set_both(PLAIN_SETUP, camber=-0.04)

    def grip(angle: float, weights: float) -> Floats:
        return solve(
            car, setup, roll_angle=angle, speed=speed_for(car, weights)
        ).answers[0, 0]["grip"]

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
    roll and wheels that stand square, so that their patches have no moment of their own. 2e-6: the body
    rolls by micrometres.
    """
    car, half = (
        evenly_driven(stiffened(plain_car(cg_height=0.3, area=3.0))),
        0.75,
    )
    setup = set_both(STIFF_SETUP, camber=square_camber(2 * half, radius))
    driven = {"roll_angle": radians(angle_deg), "speed": speed_for(car, 2.2)}
    bore = venue(1.0 / radius)
    answer = solve_without_crab(car, setup, bore, **driven).answers[0, 0]
    tyres = (
        uncrabbed(car, setup, bore, **driven)
        .forces(answer["state"])
        .wheels.across.sum()
    )
    height = 0.3 + float(answer["state"][0])
    expected = (
        car.mass
        * GRAVITY
        * sin(radians(angle_deg))
        * (radius - height)
        / radius
    )
    assert tyres == pytest.approx(expected, rel=2e-6)


def uncrabbed(car: Car, setup: Setup, place: Venue, **columns: float) -> Bench:
    """A balance in which surface, wind and gravity do not see the sideslip."""
    cases = load_cases(place, **columns)
    cases.records["crab"] = 0.0
    return Bench(car, setup, cases)


def moments(angle_deg: float, setup: Setup) -> tuple[float, float, float]:
    """Of the invented car in a bore of 7.5 m, about its axis, N m, as if it did not crab.

    The tyres' lateral force; the weight at its solved height; body roll, air and patches together.
    """
    radius, phi = 7.5, radians(angle_deg)
    bore = venue(1.0 / radius)
    state = solve_without_crab(
        CAR, setup, bore, roll_angle=phi, speed=60.0
    ).answers[0, 0]["state"]
    b = uncrabbed(CAR, setup, bore, roll_angle=phi, speed=60.0)
    work, car = b.forces(state), b.car
    height = car.sprung_mass * (car.sprung_height + state[0])
    height += (
        car.unsprung_mass * (car.unsprung_height + state[RISE:SIDESLIP])
    ).sum()
    weight = GRAVITY * sin(phi) * (car.mass * radius - height)
    rest = car.sprung_height * state[2] * car.sprung_mass * b.state.pull[2]
    rest -= work.loads[1, 0] + (car.side * work.wheels.moment).sum()
    return float(work.wheels.across.sum() * radius), float(weight), float(rest)


@pytest.mark.parametrize("angle_deg", [40.0, 100.0, 150.0])
def test_circumferential_force_with_everything_counted(
    angle_deg: float,
) -> None:
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
    tyres, weight, _ = moments(
        angle_deg, set_both(SETUP, camber=square_camber(1.6, 7.5))
    )
    assert tyres == pytest.approx(weight, rel=2e-3)


# --- surface and stance ---------------------------------------------------------------------------

CORNERS = np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]])


@pytest.mark.parametrize(
    ("length", "track", "radius"), [(2.6, 1.5, 7.5), (3.0, 1.6, 12.0)]
)
@pytest.mark.parametrize("heading_deg", [3.0, 10.0, 30.0])
def test_corners_of_a_rectangle(
    length: float, track: float, radius: float, heading_deg: float
) -> None:
    """Heights differ from a plane by +-(l t / 4R) sin cos, as + - - +; relative 2 % on the circle.

    Over the quadratic s^2 / 2R, with s = x sin + y cos, only the product 2 x y sin cos is no plane.
    The circle adds half of (s / R)^2 at most, with s up to 1.3 m of 7.5 m.
    """
    psi, places = radians(heading_deg), CORNERS * [length / 2, track / 2]
    heights = np.array(
        [
            surface.onwards(0.0, 0.0, 1 / radius, s)[0]
            for s in places @ [sin(psi), cos(psi)]
        ]
    )
    plane = np.column_stack([np.ones(4), places])
    left_over = heights - plane @ np.linalg.lstsq(plane, heights, rcond=None)[0]
    twist = length * track / (4 * radius) * sin(psi) * cos(psi)
    assert left_over == pytest.approx(
        twist * np.array([1, -1, -1, 1]), rel=0.02
    )


def test_rigid_car_holds_a_wheel_off() -> None:
    """By four times that: l t sin cos / R. Three wheels of a car without springs touch.

    About 100 mm at 10 deg for a small single-seater in a bore of 7 to 8 m: common practice, no source.
    5 %: the circle. On it a wheel swings about its crown: leaning does not lift its hub.
    """
    psi, radius = radians(10.0), 7.5
    car = on_tyres(
        replace(plain_car(), front_share=0.45),
        foundation=1e13,
        crown_radius=1e-3,
    )
    setup, bore = set_both(STIFF_SETUP, spring=1e9), venue(1 / radius)
    answer = solve(car, setup, bore, heading=psi).answers[0, 0]
    b = Bench(car, setup, load_cases(bore, heading=psi))
    off = [w for w in range(4) if answer["load"][w] == 0.0]
    assert off == [1]
    b.forces(answer["state"])
    gap = answer["state"][RISE + 1] - b.state.ground[1]
    assert gap == pytest.approx(
        2.6 * 1.5 * sin(psi) * cos(psi) / radius, rel=0.05
    )
    assert 0.08 < gap < 0.11


def floor_gaps(car: Car, setup: Setup, radius: float, sides: Floats) -> Floats:
    """Gap under points of the floor amidships, m, from as many cars with one named point each."""
    gaps = []
    for side in sides:
        point = ClearancePoint("point", 1.3, float(side), 0.0, 0.0)
        answer = solve(
            replace(car, clearance=(point,)), setup, venue(1 / radius)
        ).answers[0, 0]
        gaps.append(float(answer["clearance"]))
    return np.array(gaps)


@pytest.mark.parametrize(
    ("track", "width", "radius"), [(1.6, 1.5, 12.0), (1.9, 1.7, 7.5)]
)
def test_mean_extra_gap_under_the_floor(
    track: float, width: float, radius: float
) -> None:
    """t^2 / 8R - w^2 / 24R, the mean of (t^2 / 4 - y^2) / 2R over the floor; relative 1 % on the circle.

    A rigid car stands on its wheels at t / 2, which swing about their crowns as they lean.
    About 50 mm for a wide car in a bore of 7 to 8 m: common practice, no source.
    """
    car, setup = stiffened(plain_car(track=track)), STIFF_SETUP
    nodes, weights = np.polynomial.legendre.leggauss(5)
    mean = (
        float(weights @ floor_gaps(car, setup, radius, nodes * width / 2)) / 2
    )
    extra = mean - 0.05
    assert extra == pytest.approx(
        track**2 / (8 * radius) - width**2 / (24 * radius), rel=0.01
    )
    if radius == 7.5:
        assert extra == pytest.approx(0.05, abs=0.01)


@pytest.mark.parametrize("radius", [6.0, 12.0, 50.0])
def test_camber_that_stands_square(radius: float) -> None:
    """Set to -asin(t / 2R), a wheel under a level body has no inclination to the section: 1e-7 rad."""
    car, setup = (
        stiffened(plain_car()),
        set_both(STIFF_SETUP, camber=square_camber(1.5, radius)),
    )
    answer = solve(car, setup, venue(1 / radius)).answers[0, 0]
    assert answer["inclination"] == pytest.approx([0.0] * 4, abs=1e-7)


@pytest.mark.parametrize("camber", [-0.05, 0.0, 0.03])
def test_inclination_of_a_turned_and_rolled_wheel(camber: float) -> None:
    """eps = camber + gain u + sigma (beta - phi_b), from the answer's own travel, body roll and sideslip."""
    setup = set_both(SETUP, camber=camber)
    answer = solve(
        CAR, setup, venue(1 / 7.5), roll_angle=1.5, speed=60.0
    ).answers[0, 0]
    crab = float(answer["state"][SIDESLIP])
    x, y = (
        np.array([1.43, 1.43, -1.17, -1.17]),
        np.array([0.8, -0.8, 0.79, -0.79]),
    )
    round_ = y * cos(crab) - x * sin(crab)
    beta = np.arctan(round_ / np.sqrt(7.5**2 - round_**2) * cos(crab))
    gain, side = (
        np.array([-0.35, -0.35, -0.26, -0.26]),
        np.array([1, -1, 1, -1]),
    )
    expected = (
        camber + gain * answer["travel"] + side * (beta - answer["state"][2])
    )
    assert answer["inclination"] == pytest.approx(expected, abs=1e-12)
    assert abs(answer["state"][2]) > 0.005
    assert abs(crab) > 0.01


# --- load transfer --------------------------------------------------------------------------------


def transfer(car: Car, setup: Setup, lateral: float) -> Floats:
    """Half of right minus left load by axle, N, in a bend to the left on the flat.

    Per so much acceleration across the car, which the sideslip turns a little out of the bend's radius.
    """
    answer = solve(
        car, setup, speed=50.0, path_curvature=lateral / 2500.0
    ).answers[0, 0]
    loads = answer["load"].reshape(2, 2)
    return (loads[:, 1] - loads[:, 0]) / 2 / cos(answer["state"][SIDESLIP])


def hard_car(height: float) -> Car:
    """Rigid tyres, no downforce, nothing that yaws it."""
    return evenly_driven(stiffened(plain_car(cg_height=height, area=0.0)))


def test_total_load_transfer_of_a_stiff_car() -> None:
    """m a h / t: moments about the outer wheels (Milliken and Milliken, 1995). 5e-6: hard, not rigid."""
    for lateral in (0.5, 9.81):
        total = transfer(hard_car(0.45), STIFF_SETUP, lateral).sum()
        assert total == pytest.approx(lateral * 1000 * 0.45 / 1.5, rel=5e-6)


def test_load_transfer_of_a_rolling_car_is_linear_at_small_angles() -> None:
    """Per m a h / t it tends to 1 + m g phi / (m a), phi = m a h / (K - m g h): springs in roll alone.

    The model keeps the shift of the rolling CG, m g h phi. Halving a leaves the ratio to 1e-6.
    """
    car, spring = hard_car(0.45), 5e4
    setup = set_both(PLAIN_SETUP, spring=spring)
    roll_rate, weight = 2 * spring * 1.5**2 / 2, 1000 * GRAVITY
    ratio = 1.0 + weight * 0.45 / (roll_rate - weight * 0.45)
    for lateral in (0.1, 0.2):
        total = transfer(car, setup, lateral).sum()
        assert total == pytest.approx(
            lateral * 1000 * 0.45 / 1.5 * ratio, rel=1e-5
        )
    assert ratio > 1.04


@pytest.mark.parametrize("bar", [0.0, 3e4])
def test_split_by_roll_stiffness(bar: float) -> None:
    """Roll centres on the road: each axle takes its K phi, K = (k t^2 / 2 + bar t^2) from springs and bar.

    A bar in front alone moves transfer there. 1e-4: hard tyres, small angles. (Milliken and Milliken, 1995.)
    """
    car = hard_car(0.45)
    setup = set_both(PLAIN_SETUP, spring=5e4)
    setup = replace(setup, front=replace(setup.front, anti_roll=bar))
    front, rear = 1.5**2 * (5e4 / 2 + bar), 1.5**2 * 5e4 / 2
    phi = 1000 * 2.0 * 0.45 / (front + rear - 1000 * GRAVITY * 0.45)
    assert transfer(car, setup, 2.0) == pytest.approx(
        [front * phi / 1.5, rear * phi / 1.5], rel=1e-4
    )


def test_roll_centre_takes_its_share_without_roll() -> None:
    """Roll centres at the CG's height: the links carry all of m a h, and the body does not roll.

    Each axle takes its own lateral force times h over its track. At 0.02 m/s2, where the jacking of the
    links, which goes with the square, is a micrometre: 1e-5.
    """
    car = both_axles(hard_car(0.3), roll_centre_height=0.3)
    setup = set_both(PLAIN_SETUP, spring=5e4)
    answer = solve(
        car, setup, speed=50.0, path_curvature=0.02 / 2500.0
    ).answers[0, 0]
    per_axle = answer["state"][TAU:] * 1000 * GRAVITY * 0.3 / 1.5
    rolling = 1000 * 0.02 * 0.3 / (2 * 5e4 * 1.5**2 / 2)
    assert abs(answer["state"][2]) < 1e-3 * rolling
    assert transfer(car, setup, 0.02) == pytest.approx(per_axle, rel=1e-5)
    assert per_axle.sum() == pytest.approx(1000 * 0.02 * 0.3 / 1.5, rel=1e-5)
