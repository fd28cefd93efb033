"""The plain reference against closed forms, tables and free-body diagrams."""

from math import acosh, asin, cos, degrees, pi, radians, sin, sqrt
from random import Random

import numpy as np
import pytest
from plain_car import GRAVITY, MM, Car, Stand, read_car, read_stand
from plain_forces import Wheel, downforce, set_forces, standing_wheels
from plain_model import axle_use, solve_case
from plain_tyre import Patch, Tyre, beta_function, patch_at_load
from random_cases import random_case, random_project

PAD = {"roll_angle_deg": 0.0, "speed_m_s": 0.0}


def tyre(**changes: float) -> Tyre:
    base = {
        "radius": 0.33,
        "width": 0.25,
        "crown": 1.2,
        "foundation": 4e7,
        "friction": 1.4,
        "friction_pressure": 2e5,
        "friction_exponent": 0.2,
        "compliance": 0.0,
    }
    return Tyre(**(base | changes))


def bore_stand(radius: float, heading_deg: float = 0.0) -> Stand:
    return Stand(radians(heading_deg), radius, (0.0, 0.0, -GRAVITY), [0.0] * 4, 0.0, 0.0)


def drawn(seed: int) -> tuple[dict, dict, dict, dict]:
    rng = Random(seed)
    project = random_project(rng)
    return *project, random_case(rng, project[1])


def on_pad(seed: int) -> tuple[dict, dict, dict]:
    car, venue, setup, _ = drawn(seed)
    venue["venue"] |= {"section": "flat", "slope_percent": 0.0}
    return car, venue, setup


def solved(car: dict, venue: dict, setup: dict, case: dict) -> tuple[Car, Stand, list[float]]:
    """The car, its stand and the state of a case in contact."""
    result = solve_case(car, venue, setup, case)
    assert result["contact"]
    si_car = read_car(car, setup, venue["venue"]["surface_grip"])
    return si_car, read_stand(si_car, venue, case), result["x"]


# --- the patch --------------------------------------------------------------------------------


def test_patch_inside_the_tread() -> None:
    """Johnson, Contact Mechanics, 1985, sec. 4.3: an ellipse pi a b with p = k delta (1 - r^2)."""
    t, depth, n = tyre(width=1.0), 0.008, 0.2
    patch = Patch(t, depth, 0.0, 1 / t.radius, 1 / t.crown)
    mean_radius = sqrt(t.radius * t.crown)
    assert patch.load == pytest.approx(pi * t.foundation * depth**2 * mean_radius, rel=1e-12)
    assert patch.area() == pytest.approx(2 * pi * depth * mean_radius, rel=1e-12)
    summed = 2 * pi * depth * mean_radius * (t.foundation * depth) ** (1 - n) / (2 - n)
    assert patch.grip() == pytest.approx(t.friction * t.friction_pressure**n * summed, rel=1e-12)


JOHNSON_FLAT_TREAD = {  # tilt: load N, offset m, area m2
    0: (7750.784906, 0.0, 0.03633180),
    1: (7823.056503, 0.01685676, 0.03621758),
    3: (8419.838454, 0.04623226, 0.03513874),
    5: (9774.718804, 0.06315988, 0.03226221),
}


@pytest.mark.parametrize("tilt", JOHNSON_FLAT_TREAD)
def test_cambered_flat_tread(tilt: int) -> None:
    """Johnson, Contact Mechanics, 1985, sec. 4.3, integrated over a flat tread."""
    load, offset, area = JOHNSON_FLAT_TREAD[tilt]
    patch = Patch(tyre(), 0.008, radians(tilt), 1 / 0.33, 0.0)
    assert patch.load == pytest.approx(load, abs=1e-6)
    assert patch.load_moment / patch.load == pytest.approx(offset, abs=1e-8)
    assert patch.area() == pytest.approx(area, abs=1e-8)


def test_hollow_tread_stands_on_its_edges() -> None:
    """delta = c (y^2 - y0^2) / 2 outside y0: both integrals are elementary."""
    t, c, y0 = tyre(), 0.3, 0.07
    patch = Patch(t, -c * y0**2 / 2, 0.0, 1 / t.radius, -c)
    edge = t.width / 2
    q = sqrt(edge**2 - y0**2)
    first = edge * q - y0**2 * acosh(edge / y0)
    third = edge * q**3 / 4 - 3 / 8 * y0**2 * first
    assert len(patch.zones()) == 2
    assert patch.area() == pytest.approx(2 * sqrt(c * t.radius) * first, rel=1e-12)
    expected = 4 / 3 * t.foundation * sqrt(c * t.radius) * c * third
    assert patch.load == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("across", [2.0, 1e-9, 0.0, -1e-9, -0.4])
@pytest.mark.parametrize("tilt_deg", [-6.0, 0.0, 2.0])
def test_depth_is_found_again_from_its_load(across: float, tilt_deg: float) -> None:
    patch = patch_at_load(tyre(), 900.0, radians(tilt_deg), 3.0, across)
    assert patch.load == pytest.approx(900.0, rel=1e-12)


def test_tread_in_the_air_carries_nothing() -> None:
    patch = Patch(tyre(), -0.02, 0.05, 3.0, 0.8)
    assert (patch.load, patch.area(), patch.grip()) == (0, 0, 0)


def test_beta_function() -> None:
    assert beta_function(0.5, 2.0) == pytest.approx(4 / 3, rel=1e-15)


# --- the surface ------------------------------------------------------------------------------


TWIST = {  # wheelbase, track, radius, heading: twist of a corner, m (exact circle)
    (3.0, 1.6, 12.0, 10.0): 1.714206e-2,
    (3.0, 1.6, 12.0, 45.0): 5.025322e-2,
    (2.5, 1.5, 6.0, 30.0): 6.843947e-2,
}


@pytest.mark.parametrize("corners", TWIST)
def test_corner_heights(corners: tuple[float, float, float, float]) -> None:
    """To second order x y sin cos / R, so l t sin cos / (4 R) at a corner; the circle adds 1 %."""
    length, track, radius, heading = corners
    stand = bore_stand(radius, heading)
    fl, fr, rl, rr = (stand.height(sx * length / 2, sy * track / 2) for sx, sy in SIGNS)
    twist = (fl - fr - rl + rr) / 4
    assert twist == pytest.approx(TWIST[corners], abs=1e-8)
    angle = radians(heading)
    flat = length * track / (4 * radius) * sin(angle) * cos(angle)
    assert twist == pytest.approx(flat, rel=0.013)


SIGNS = ((1, 1), (1, -1), (-1, 1), (-1, -1))


@pytest.mark.parametrize("radius", [6.0, 12.0, 50.0])
def test_normal_of_a_bore_meets_its_axis(radius: float) -> None:
    assert bore_stand(radius).slope_left(0.0, 0.8) == pytest.approx(asin(0.8 / radius), rel=1e-14)


# --- the equilibrium --------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(6))
def test_pad_state_is_an_equilibrium(seed: int) -> None:
    car, venue, setup = on_pad(seed)
    result = solve_case(car, venue, setup, PAD)
    share = car["car"]["front_weight_percent"] / 100
    weight = car["car"]["mass_kg"] * GRAVITY
    assert np.abs(result["x"]).max() < 1e-12
    assert result["load_fl_N"] == pytest.approx(weight * share / 2, rel=1e-12)
    assert result["load_rr_N"] == pytest.approx(weight * (1 - share) / 2, rel=1e-12)
    assert result["front_gap_mm"] == pytest.approx(setup["front"]["ride_height_mm"], abs=1e-9)


def test_printed_pitch_row_holds_only_with_wheels_balanced_about_the_cg() -> None:
    car, venue, setup = on_pad(0)
    printed = solve_case(car, venue, setup, PAD, as_printed=True)
    assert abs(printed["pitch_deg"]) > 1e-3
    share = car["car"]["front_weight_percent"] / 100
    car["rear"]["unsprung_mass_kg"] = car["front"]["unsprung_mass_kg"] * (1 - share) / share
    balanced = solve_case(car, venue, setup, PAD, as_printed=True)
    assert abs(balanced["pitch_deg"]) < 1e-10


def whole_car_wrench(car: Car, stand: Stand, state: list[float]) -> tuple[np.ndarray, np.ndarray]:
    """Force and moment about the origin of all that acts on the car, body by body."""
    z, theta, phi_b = state[:3]
    wheels = standing_wheels(car, stand, state)
    forces, air = set_forces(car, stand), downforce(car, stand, state)
    push, height = np.array(stand.push), car.sprung_height
    offset = -sum(w.x * w.axle.unsprung_mass for w in wheels) / car.sprung_mass
    acting = [
        ((offset + height * theta, -height * phi_b, height + z), car.sprung_mass * push),
        ((0.0, 0.0, car.drag_height), (-forces.drag, 0.0, 0.0)),
        ((car.side_x, 0.0, car.side_height), (0.0, forces.side_wind, 0.0)),
    ]
    for w in wheels:
        hub = (w.x, w.y, w.axle.unsprung_height + w.rise)
        acting.append((hub, w.axle.unsprung_mass * push))
        acting.append(((w.x, w.y, w.ground), (w.fx, w.fy, w.fz)))
    couple = sum(w.sigma * w.patch.load_moment for w in wheels)
    moment = sum(np.cross(point, force) for point, force in acting)
    acting_force = sum(np.array(force) for _, force in acting)
    couples = np.array([air.roll + couple, air.pitch, 0.0])
    return acting_force - np.array([0.0, 0.0, air.force]), moment + couples


@pytest.mark.parametrize("seed", range(10, 20))
def test_whole_car_is_in_balance(seed: int) -> None:
    """Newton and Euler for the whole car by cross products: the rows of the model must follow."""
    car, stand, state = solved(*drawn(seed))
    force, moment = whole_car_wrench(car, stand, state)
    assert np.abs(force / (car.mass * GRAVITY)).max() < 1e-10
    assert np.abs(moment[:2] / (car.mass * GRAVITY)).max() < 1e-10


def lean_bore(seed: int) -> tuple[dict, dict, dict]:
    """A level bore; elements without span, so that the air has no roll moment."""
    car, venue, setup, _ = drawn(seed)
    venue["venue"] |= {"section": "circle", "radius_mm": 9000.0, "slope_percent": 0.0}
    for element in car["air"]["element"]:
        element["span_mm"] = 0.0
    return car, venue, setup


@pytest.mark.parametrize("roll_angle", [40.0, 100.0, -70.0])
def test_circumferential_force_on_a_bore(roll_angle: float) -> None:
    """All normals meet on the axis: friction alone carries the moment of gravity about it.

    Exact with the body-roll shift of the weight and the offset centres of pressure counted.
    """
    project, case = lean_bore(3), {"roll_angle_deg": roll_angle, "speed_m_s": 70.0}
    car, stand, state = solved(*project, case)
    wheels = standing_wheels(car, stand, state)
    pull = sum(w.side for w in wheels) * stand.radius
    expected = car.mass * GRAVITY * sin(radians(roll_angle))
    expected *= stand.radius - solved_cg_height(car, wheels, state)
    shift = car.sprung_height * state[2] * car.sprung_mass * stand.push[2]
    couple = sum(w.sigma * w.patch.load_moment for w in wheels)
    assert pull == pytest.approx(expected + shift - couple, rel=1e-11)
    assert pull == pytest.approx(expected, rel=0.005)


def solved_cg_height(car: Car, wheels: list[Wheel], state: list[float]) -> float:
    unsprung = sum(w.axle.unsprung_mass * (w.axle.unsprung_height + w.rise) for w in wheels)
    return (car.sprung_mass * (car.sprung_height + state[0]) + unsprung) / car.mass


def mirrored(case: dict) -> dict:
    turned = {"roll_angle_deg", "heading_deg", "path_curvature_per_m", "crosswind_m_s"}
    turned.add("turn_radius_m")  # the sign of the radius sets the side of its centre
    fl, fr, rl, rr = case["bump_mm"]
    flipped = {key: -value if key in turned else value for key, value in case.items()}
    return flipped | {"bump_mm": [fr, fl, rr, rl]}


@pytest.mark.parametrize("seed", [20, 21, 22])
def test_mirror(seed: int) -> None:
    car, venue, setup, case = drawn(seed)
    for point in car.get("clearance", []):
        point["side_mm"] = 0.0
    one = solve_case(car, venue, setup, case)
    other = solve_case(car, venue, setup, mirrored(case))
    for here, there in (("fl", "fr"), ("rr", "rl")):
        assert one[f"load_{here}_N"] == pytest.approx(other[f"load_{there}_N"], rel=1e-9)
        assert one[f"grip_{here}_N"] == pytest.approx(other[f"grip_{there}_N"], rel=1e-9)
    for same in ("margin", "least_clearance_mm", "travel_left_mm", "pitch_deg", "downforce_N"):
        assert one[same] == pytest.approx(other[same], rel=1e-9)


@pytest.mark.parametrize("seed", [30, 31])
def test_two_starts_arrive_at_one_state(seed: int) -> None:
    project = drawn(seed)
    first = solve_case(*project)
    second = solve_case(*project, start=[0.004 + value * 0.9 for value in first["x"]])
    assert second["x"] == pytest.approx(first["x"], abs=1e-11)


def test_inverted_without_air_is_contact_lost() -> None:
    car, venue, setup = on_pad(1)
    result = solve_case(car, venue, setup, {"roll_angle_deg": 180.0, "speed_m_s": 1.0})
    assert result.pop("contact") is False
    assert set(result.values()) == {None}


def test_most_random_cases_are_in_contact() -> None:
    held = sum(solve_case(*drawn(seed))["contact"] for seed in range(40, 60))
    assert held >= 16


# --- the margin -------------------------------------------------------------------------------


def test_open_differential_with_even_grip_is_as_good_as_a_locked_one() -> None:
    assert axle_use(300.0, 400.0, [500.0, 500.0], True) == pytest.approx(0.5, rel=1e-12)
    assert axle_use(300.0, 400.0, [500.0, 500.0], False) == pytest.approx(0.5, rel=1e-12)


def test_open_differential_spins_its_lighter_wheel() -> None:
    """Half the drive, 200 N, at a wheel with 100 N: use 2, however good the other one."""
    assert axle_use(0.0, 400.0, [100.0, 5000.0], True) == pytest.approx(2.0, rel=1e-12)
    assert axle_use(0.0, -400.0, [100.0, 5000.0], True) == pytest.approx(400 / 5100, rel=1e-12)


def test_axle_in_the_air_uses_all() -> None:
    assert axle_use(300.0, 0.0, [0.0, 0.0], False) == 100.0
    assert axle_use(0.0, 400.0, [0.0, 5000.0], True) == 100.0


def test_surface_grip_scales_the_use() -> None:
    car, venue, setup, case = drawn(33)
    one = solve_case(car, venue, setup, case)
    venue["venue"]["surface_grip"] /= 2
    other = solve_case(car, venue, setup, case)
    assert other["grip_fl_N"] == pytest.approx(one["grip_fl_N"] / 2, rel=1e-9)


def test_units_of_the_answer() -> None:
    car, venue, setup, case = drawn(34)
    result = solve_case(car, venue, setup, case)
    z, theta, phi_b = result["x"][:3]
    assert result["heave_mm"] == pytest.approx(z / MM)
    assert result["pitch_deg"] == pytest.approx(degrees(theta))
    assert result["body_roll_deg"] == pytest.approx(degrees(phi_b))
