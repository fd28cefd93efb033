"""Random projects and load cases in file units, for comparing two ways of computing one model.

Light single-seaters to heavy closed cars, tight bores to flat ground. Every table holds the keys
of a project folder, so that written as TOML it is a valid one.
"""

from math import cos, pi
from random import Random
from typing import Any

Table = dict[str, Any]
ENDS = ("front", "rear")


def random_project(rng: Random) -> tuple[Table, Table, Table]:
    """Car, venue and setup as a TOML reader would return them."""
    mass = between(rng, 450, 1300)
    venue = random_venue(rng)
    car: Table = {
        "car": random_body(rng, mass),
        "front": random_axle(rng, mass, "front"),
        "rear": random_axle(rng, mass, "rear"),
        "tyre": {f"{end}_slick": random_tyre(rng, mass, venue) for end in ENDS},
        "air": random_air(rng, mass),
    }
    if rng.random() < 0.7:
        car["clearance"] = [
            random_clearance(rng, i) for i in range(rng.randint(1, 4))
        ]
    setup: Table = {"setup": {"name": "drawn"}} | {
        end: random_settings(rng, mass) for end in ENDS
    }
    return car, venue, setup


def between(rng: Random, low: float, high: float, digits: int = 4) -> float:
    return round(rng.uniform(low, high), digits)


def random_venue(rng: Random) -> Table:
    place = {
        "name": "drawn",
        "section": "circle",
        "radius_mm": between(rng, 4000, 30000, 1),
        "slope_percent": rng.choice([0.0, between(rng, -6, 6)]),
        "surface_grip": between(rng, 0.6, 1.1),
        "air_density_kg_m3": between(rng, 1.0, 1.3),
        "roughness": rng.choice("ABCD"),
    }
    if rng.random() < 0.2:
        place["section"] = "flat"
        del place["radius_mm"]
    return {
        "venue": place,
        "sweep": {
            "roll_angles_deg": {"from": 0.0, "to": 180.0, "step": 5.0},
            "speed_m_s": between(rng, 40, 80),
        },
        "attitude": [{"name": "straight", "heading_deg": 0.0}],
    }


def random_body(rng: Random, mass: float) -> Table:
    body = {
        "name": "drawn",
        "mass_kg": mass,
        "wheelbase_mm": between(rng, 2300, 3300),
        "front_weight_percent": between(rng, 40, 56),
        "cg_height_mm": between(rng, 230, 400),
        "driven": rng.choice(["front", "rear", "all"]),
        "brake_front_percent": between(rng, 45, 70),
        "differential": rng.choice(["locked", "open"]),
        "pitch_inertia_kgm2": round(1.2 * mass, 1),
        "roll_inertia_kgm2": round(0.25 * mass, 1),
        "power_kW": between(rng, 150, 600),
    }
    if rng.random() < 0.6:
        body["yaw_inertia_kgm2"] = round(1.3 * mass, 1)
    if body["driven"] == "all":
        body["drive_front_percent"] = between(rng, 20, 60)
    return body


def random_axle(rng: Random, mass: float, end: str) -> Table:
    axle = {
        "track_mm": between(rng, 1350, 1700),
        "unsprung_mass_kg": round(mass * rng.uniform(0.02, 0.035), 2),
        "unsprung_height_mm": between(rng, 260, 340),
        "roll_centre_height_mm": between(rng, -30, 90),
        "camber_gain_deg_per_mm": between(rng, -0.04, 0.01),
        "motion_ratio": between(rng, 0.6, 1.2),
        "bump_travel_mm": between(rng, 25, 60),
        "droop_travel_mm": between(rng, 20, 50),
        "stop_rate_N_per_mm": between(rng, 400, 2000),
        "anti_slope": between(rng, -0.05, 0.3),
        "damper_bump_Ns_per_mm": between(rng, 2, 8),
        "damper_rebound_Ns_per_mm": between(rng, 3, 12),
        "tyre": f"{end}_slick",
    }
    if rng.random() < 0.6:
        axle["wheel_inertia_kgm2"] = between(rng, 0.4, 1.2)
    if rng.random() < 0.3:
        axle["toe_over_mm"] = between(rng, 300, 700)
    return axle


def random_tyre(rng: Random, mass: float, venue: Table) -> Table:
    size = (mass / 800) ** 0.3
    tyre = {
        "radius_mm": between(rng, 270, 350),
        "tread_width_mm": round(size * rng.uniform(180, 340), 1),
        "crown_radius_mm": random_crown(rng, venue),
        "foundation_N_per_mm3": round(size * rng.uniform(0.004, 0.010), 5),
        "foundation_per_bar_N_per_mm3": round(
            size * rng.uniform(0.003, 0.008), 5
        ),
        "friction": between(rng, 1.0, 1.9),
        "friction_pressure_kPa": between(rng, 100, 250),
        "friction_exponent": rng.choice([0.0, between(rng, 0.05, 0.35)]),
        "inclination_compliance_deg_per_kN": between(rng, 0, 0.4),
        "load_limit_N": round(mass * 40, 0),
        "damping_Ns_per_mm": between(rng, 0.05, 0.4),
        "shear_per_foundation": between(rng, 1, 3),
        "camber_thrust_share": between(rng, 0, 1),
    }
    if rng.random() < 0.5:
        tyre["friction_least_pressure_kPa"] = between(rng, 20, 90)
    if rng.random() < 0.5:
        tyre["carcass_N_per_mm"] = between(rng, 60, 200)
        tyre["carcass_per_bar_N_per_mm"] = between(rng, 40, 120)
    return tyre


def random_crown(rng: Random, venue: Table) -> float:
    """Crowned, nearly flat, or as hollow as the surface: the last leaves no curvature across."""
    crowned = round(rng.uniform(20, 55) ** 2, 1)
    nearly_flat = round(10 ** rng.uniform(3.8, 6), 1)
    as_hollow = float(venue["venue"].get("radius_mm", crowned))
    return rng.choice([crowned, crowned, nearly_flat, as_hollow])


def random_air(rng: Random, mass: float) -> Table:
    """Enough downforce to hold one to three and a half weights at 45 to 55 m/s."""
    speed = rng.uniform(45, 55)
    area = rng.uniform(1.0, 3.5) * mass * 9.81 / (0.6 * speed**2)
    parts = rng.randint(1, 4)
    return {
        "drag_area_m2": round(area * rng.uniform(0.2, 0.4), 4),
        "drag_height_mm": between(rng, 250, 600),
        "side_area_m2_per_rad": between(rng, 0, 4),
        "side_station_mm": between(rng, 800, 2000),
        "side_height_mm": between(rng, 200, 500),
        "front_ride_station_mm": between(rng, -100, 300),
        "rear_ride_station_mm": between(rng, 2000, 2800),
        "element": [
            random_element(rng, area / parts, i, parts) for i in range(parts)
        ],
    }


def random_element(rng: Random, area: float, index: int, parts: int) -> Table:
    """Elements spread along the car so that their sum acts near the middle."""
    middle = 1300 - 1400 * cos(pi * (index + 0.5) / parts)
    ground = rng.uniform(0, 0.7)
    return {
        "name": f"element {index + 1}",
        "station_mm": round(middle + rng.uniform(-150, 150), 1),
        "chord_mm": between(rng, 250, 1500),
        "span_mm": between(rng, 600, 1700),
        "offset_mm": between(rng, -10, 120),
        "free_area_m2": round(area * (1 - ground), 4),
        "ground_area_m2": round(area * ground * 1.3, 4),
        "peak_gap_mm": between(rng, 20, 120),
        "yaw_loss_per_rad2": between(rng, 0, 6),
    }


def random_clearance(rng: Random, index: int) -> Table:
    return {
        "name": f"point {index + 1}",
        "station_mm": between(rng, -900, 3200),
        "side_mm": rng.choice([0.0, between(rng, -750, 750)]),
        "offset_mm": between(rng, -5, 60),
        "least_gap_mm": between(rng, 0, 15),
    }


def random_settings(rng: Random, mass: float) -> Table:
    settings = {
        "camber_deg": between(rng, -5, 1),
        "ride_height_mm": between(rng, 25, 90),
        "spring_N_per_mm": round(mass * rng.uniform(0.15, 0.5), 1),
        "anti_roll_N_per_mm": round(mass * rng.uniform(0, 0.2), 1),
        "pressure_bar": between(rng, 1.0, 2.2),
        "toe_mm": between(rng, -2, 2),
    }
    if rng.random() < 0.5:
        settings["third_N_per_mm"] = round(mass * rng.uniform(0.1, 0.6), 1)
    return settings


def random_case(rng: Random, venue: Table) -> Table:
    """A load case; slow ones stay near the floor, where a car stands without downforce."""
    speed = rng.choice([between(rng, 15, 80), between(rng, 45, 80)])
    steepest = 180 if speed > 45 else 45
    case = {
        "roll_angle_deg": rng.choice([1, 1, -1]) * between(rng, 0, steepest),
        "speed_m_s": speed,
        "heading_deg": rng.choice([0.0, random_heading(rng, venue)]),
        "acceleration_m_s2": rng.choice([0.0, between(rng, -8, 4)]),
        "path_curvature_per_m": round(
            rng.choice([0, rng.uniform(-8, 8)]) / speed**2, 7
        ),
        "headwind_m_s": between(rng, -8, 8),
        "crosswind_m_s": rng.choice([0.0, between(rng, -8, 8)]),
        "yaw_acceleration_rad_s2": rng.choice([0.0, between(rng, -0.5, 0.5)]),
        "bump_mm": [rng.choice([0.0, between(rng, -10, 10)]) for _ in ENDS * 2],
    }
    on_its_floor = abs(case["roll_angle_deg"]) < 60
    if on_its_floor and rng.random() < 0.3:
        case["turn_radius_m"] = round(speed**2 / rng.uniform(3, 12), 1)
    return case


def random_heading(rng: Random, venue: Table) -> float:
    """A course, smaller in a tight bore, where it lifts wheels off."""
    radius = venue["venue"].get("radius_mm", 30000)
    most = 10 * min(1.0, radius / 10000)
    return between(rng, -most, most)
