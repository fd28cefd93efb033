"""What the files may say, entry by entry."""

from __future__ import annotations

from pathlib import Path

import pytest

from setupopt.errors import InputErrors
from setupopt.project import load
from setupopt.project.limits_model import Spread

from .good_folder import (
    CAR,
    LIMITS,
    SETUP,
    VENUE,
    changed,
    lines_of,
    with_line,
    write_folder,
)


def refused(folder: Path) -> list[tuple[str, str]]:
    """Keys and expectations; empty when it is accepted."""
    try:
        load(folder)
    except InputErrors as errors:
        return [(error.key, error.expected) for error in errors.errors]
    return []


WRONG_UNITS = {
    "car.toml": [
        "wheelbase_mm = 2.6",  # m
        "wheelbase_mm = 260",  # cm
        "mass_kg = 7649",  # N
        "mass_kg = 0.78",  # t
        "front_weight_percent = 0.45",
        "brake_front_percent = 0.58",
        "drive_front_percent = 0.3",
        "cg_height_mm = 0.28",
        "power_kW = 400000",  # W
        "track_mm = 1.6",
        "camber_gain_deg_per_mm = -20",  # deg/m
        "stop_rate_N_per_mm = 400000",  # N/m
        "damper_bump_Ns_per_mm = 4000",  # N s/m
        "radius_mm = 33",  # cm
        "radius_mm = 13",  # in
        "foundation_N_per_mm3 = 8e6",  # N/m3
        "friction_pressure_kPa = 2",  # bar
        "friction_pressure_kPa = 200e3",  # Pa
        "load_limit_N = 9",  # kN
        "damping_Ns_per_mm = 300",
        "peak_gap_mm = 0.06",
        "chord_mm = 0.4",
        "least_static_gap_mm = 0.02",  # m
    ],
    "venue.toml": [
        "radius_mm = 7.5",
        "radius_mm = 750",
        "air_density_kg_m3 = 1200",  # g
        "speed_m_s = 216",  # km/h
    ],
    "setup.toml": [
        "pressure_bar = 140",  # kPa
        "pressure_bar = 20",  # psi
        "pressure_bar = 0.14",  # MPa
        "spring_N_per_mm = 140000",  # N/m
        "ride_height_mm = 0.035",
    ],
    "limits.toml": [
        "ride_height_mm = { from = 0.025, to = 0.06, step = 0.001 }",
        "ground_clearance_least_mm = 0.025",  # m
    ],
}


@pytest.mark.parametrize(("file", "line"), lines_of(WRONG_UNITS))
def test_value_in_another_unit_is_refused(
    tmp_path: Path, file: str, line: str
) -> None:
    """A value in another usual unit falls outside the range, and the answer names the unit."""
    ((key, expected),) = refused(with_line(tmp_path, file, line))
    assert key.endswith((line.split(" =")[0], ".from"))
    assert "number" in expected


ACCEPTED = {
    "car.toml": [
        "brake_front_percent = 0",
        "drag_area_m2 = 0",
        "crown_radius_mm = 100000",
        'name = "Größe 3 – 車"',
        "least_static_gap_mm",
    ],
    "venue.toml": [
        "roll_angles_deg = { from = 90, to = 90, step = 5 }",
        "roll_angles_deg = { from = -180, to = 180, step = 0.018 }",
    ],
    "setup.toml": [
        "anti_roll_N_per_mm = 0",
        "third_N_per_mm",
    ],
    "limits.toml": [
        "camber_deg = { from = 0.2, to = 0.3, step = 0.1 }",
        "ground_clearance_least_mm = 60",  # front: to 60
    ],
}


@pytest.mark.parametrize(("file", "line"), lines_of(ACCEPTED))
def test_unusual_but_real_values_are_accepted(
    tmp_path: Path, file: str, line: str
) -> None:
    """No range keeps a real car or a sensible idealisation out."""
    assert refused(with_line(tmp_path, file, line)) == []


def test_roughness_may_be_a_number(tmp_path: Path) -> None:
    """In place of a class."""
    number = ('roughness = "B"', '"roughness_1e-6m3" = 50')
    assert refused(changed(tmp_path, "venue.toml", number)) == []


REFUSED = [
    ("car.toml", "drive_front_percent = 30\n", "", "car.drive_front_percent"),
    ("car.toml", 'driven = "all"', 'driven = "rear"', "car.drive_front_percent"),
    ("car.toml", 'name = "floor"', 'name = "front wing"', "air.element[2].name"),
    ("car.toml", 'name = "Test car"', 'name = "  "', "car.name"),
    ("car.toml", 'name = "Test car"', r'name = "a\nb"', "car.name"),
    ("car.toml", 'name = "Test car"', r'name = "a\u2028b"', "car.name"),
    ("car.toml", "rear_ride_station_mm = 2600", "rear_ride_station_mm = 0", "air.rear_ride_station_mm"),
    ("car.toml", "[tyre.slick]", '[tyre."a\\tb"]', 'tyre."a\\tb"'),
    ("venue.toml", "radius_mm = 7500\n", "", "venue.radius_mm"),
    ("venue.toml", 'section = "circle"', 'section = "flat"', "venue.radius_mm"),
    ("venue.toml", 'roughness = "B"', 'roughness = "b"', "venue.roughness"),
    ("venue.toml", 'roughness = "B"', 'roughness = "B"\nroughness_1e-6m3 = 9', "venue.roughness_1e-6m3"),
    ("venue.toml", 'name = "climbing"', 'name = "steady"', "attitude[2].name"),
    ("venue.toml", "[0, 5, 0, -5]", "[0, 5, 0]", "attitude[2].bump_mm"),
    ("venue.toml", "[0, 5, 0, -5]", "[0, 5, 0, -501]", "attitude[2].bump_mm[4]"),
    ("venue.toml", "turn_radius_m = 300", "turn_radius_m = 0", "attitude[2].turn_radius_m"),
    ("venue.toml", "step = 5", "step = 0", "sweep.roll_angles_deg.step"),
    ("venue.toml", "step = 5", "step = -5", "sweep.roll_angles_deg.step"),
    ("venue.toml", "step = 5", "step = 181", "sweep.roll_angles_deg.step"),
    ("venue.toml", "step = 5", "step = 0.0089", "sweep.roll_angles_deg.step"),
    ("venue.toml", ", step = 5", "", "sweep.roll_angles_deg.step"),
    ("venue.toml", "to = 180", "to = 181", "sweep.roll_angles_deg.to"),
    ("venue.toml", "from = 0, to = 180", "from = 20, to = 10", "sweep.roll_angles_deg.to"),
    ("limits.toml", ", step = 0.25", "", "front.camber_deg.step"),
    ("limits.toml", "[20, 40, 0]", "[20, -40, 0]", "front.anti_roll_N_per_mm[2]"),
    ("limits.toml", "[20, 40, 0]", "[]", "front.anti_roll_N_per_mm"),
    ("limits.toml", "[160, 120, 140, 140]", '["160"]', "front.springs_N_per_mm[1]"),
    ("limits.toml", "[160, 120, 140, 140]", "{ from = 1, to = 9, step = 1 }", "front.springs_N_per_mm"),
    ("limits.toml", "per_turn = 1.5", "per_turn = 0", "adjuster.front.ride_height_mm_per_turn"),
    ("limits.toml", 'axle = "front"', 'axle = "left"', "packaging.arch[1].axle"),
    ("limits.toml", 'attitude = "steady"', 'attitude = "unsteady"', "packaging.wheel_load[1].attitude"),
    ("limits.toml", "least_mm = 25", "least_mm = 60.5", "packaging.ground_clearance_least_mm"),  # to 60
    ("limits.toml", "{ from = 30, to = 70, step = 1 }", "{ from = 20, to = 24, step = 1 }",
     "packaging.ground_clearance_least_mm"),
    ("limits.toml", "[adjuster.front]", "[adjuster.middle]", "adjuster.middle"),
    ("limits.toml", "mass_percent = 0.5", "mass_percent = 50", "spread.mass_percent"),
    ("limits.toml", "drag_percent = 4", "drag_percent = -4", "spread.drag_percent"),
    ("limits.toml", "{ from = 0, to = 25 }", "{ from = 0, to = 25, step = 1 }", "packaging.rake_mm.step"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("file", "old", "new", "key"), REFUSED, ids=lambda value: str(value)
)
def test_contradiction_inside_a_file_is_refused(
    tmp_path: Path, file: str, old: str, new: str, key: str
) -> None:
    """Keys that exclude or need each other, names, ranges and lists: named to the element."""
    assert refused(changed(tmp_path, file, (old, new)))[0][0] == key


def test_tyre_without_any_foundation_is_refused(tmp_path: Path) -> None:
    """Something must carry the car."""
    car = CAR.replace("= 0.008", "= 0").replace("= 0.012", "= 0")
    with pytest.raises(InputErrors, match=r"tyre\.slick\.foundation_N_per_mm3"):
        load(write_folder(tmp_path, car=car))


def test_tyre_without_its_shear_is_told_where_to_get_it(tmp_path: Path) -> None:
    """A folder of version 0.1 lacks this key: the refusal names the table, a range and a command."""
    car = CAR.replace("shear_per_foundation = 1.8\n", "")
    with pytest.raises(InputErrors) as caught:
        load(write_folder(tmp_path, car=car))
    (error,) = caught.value.errors
    assert error.key == "tyre.slick.shear_per_foundation"
    assert error.line == car.splitlines().index("[tyre.slick]") + 1
    assert "1 to 3 for slicks" in error.expected
    assert "setupopt fit tyre" in error.expected


def test_venue_without_attitude_is_refused(tmp_path: Path) -> None:
    """No attitude, no load cases."""
    empty = "attitude = []\n" + VENUE[: VENUE.index("[[attitude]]")]
    with pytest.raises(InputErrors, match="at least one"):
        load(write_folder(tmp_path, venue=empty))


def test_axles_of_limits_are_optional(tmp_path: Path) -> None:
    """A file with only tolerances is a limits file."""
    tolerance = LIMITS[
        LIMITS.index("[tolerance]") : LIMITS.index("[adjuster.front]")
    ]
    limits = load(write_folder(tmp_path, limits=tolerance)).limits
    assert limits is not None
    assert limits.rear.spring is None
    assert limits.tolerance is not None


def test_keys_of_the_spread_are_optional(tmp_path: Path) -> None:
    """An input that is not named is exact, which is told apart from one that is uncertain by 0 %."""
    named = load(
        write_folder(tmp_path / "a", limits="[spread]\ndrag_percent = 0\n")
    ).limits
    assert named is not None
    assert named.spread == Spread(None, None, 0.0, None, None, None)
    unnamed = load(write_folder(tmp_path / "b", limits="[spread]\n")).limits
    assert unnamed is not None
    assert unnamed.spread == Spread(*[None] * 6)
    missing = load(write_folder(tmp_path / "c", limits="[front]\n")).limits
    assert missing is not None
    assert missing.spread is None


def test_setup_has_no_other_tables(tmp_path: Path) -> None:
    """A car's key in a setup file does not pass unseen."""
    with pytest.raises(InputErrors, match="unknown key"):
        load(write_folder(tmp_path, setup=SETUP + "[tyre]\n"))
