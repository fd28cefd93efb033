"""A project folder without a mistake. Every number is invented, for a car that does not exist.

One key a line, so that a test can break a single line and knows its number.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

CAR = """\
# invented numbers
[car]
name = "Test car"
mass_kg = 780
wheelbase_mm = 2600
front_weight_percent = 45.0
cg_height_mm = 280
driven = "all"
drive_front_percent = 30
brake_front_percent = 58
differential = "locked"
pitch_inertia_kgm2 = 900
roll_inertia_kgm2 = 220
yaw_inertia_kgm2 = 980
power_kW = 400
driver_reaction_s = 0.2
steer_limit_deg = 15
steer_rate_deg_s = 300

[front]
track_mm = 1600
unsprung_mass_kg = 22
unsprung_height_mm = 310
roll_centre_height_mm = 30
camber_gain_deg_per_mm = -0.02
motion_ratio = 0.9
bump_travel_mm = 40
droop_travel_mm = 30
stop_rate_N_per_mm = 400
anti_slope = 0.1
damper_bump_Ns_per_mm = 4.0
damper_rebound_Ns_per_mm = 8.0
wheel_inertia_kgm2 = 0.9
toe_over_mm = 380
tyre = "slick"

[rear]
track_mm = 1580
unsprung_mass_kg = 25
unsprung_height_mm = 315
roll_centre_height_mm = 45
camber_gain_deg_per_mm = -0.015
motion_ratio = 0.85
bump_travel_mm = 45
droop_travel_mm = 35
stop_rate_N_per_mm = 400
anti_slope = 0.15
damper_bump_Ns_per_mm = 5.0
damper_rebound_Ns_per_mm = 9.0
wheel_inertia_kgm2 = 1.1
toe_over_mm = 380
tyre = "slick"

[tyre.slick]
radius_mm = 330
tread_width_mm = 300
crown_radius_mm = 1500
foundation_N_per_mm3 = 0.008
foundation_per_bar_N_per_mm3 = 0.012
shear_per_foundation = 1.8
camber_thrust_share = 0.5
friction_least_pressure_kPa = 60
carcass_N_per_mm = 90
carcass_per_bar_N_per_mm = 120
relaxation_mm = 240
measured_pressure_bar = { from = 1.0, to = 2.0 }
friction = 1.6
friction_pressure_kPa = 200
friction_exponent = 0.15
inclination_compliance_deg_per_kN = 0.2
load_limit_N = 9000
damping_Ns_per_mm = 0.3

[air]
drag_area_m2 = 1.2
drag_height_mm = 400
side_area_m2_per_rad = 3.0
side_station_mm = 1500
side_height_mm = 350
front_ride_station_mm = 0
rear_ride_station_mm = 2600

[[air.element]]
name = "front wing"
station_mm = -700
chord_mm = 400
span_mm = 1500
offset_mm = 40
free_area_m2 = 0.6
ground_area_m2 = 0.5
peak_gap_mm = 60
yaw_loss_per_rad2 = 2.0

[[air.element]]
name = "floor"
station_mm = 1400
chord_mm = 1800
span_mm = 1200
offset_mm = 10
free_area_m2 = 0.4
ground_area_m2 = 2.0
peak_gap_mm = 50
yaw_loss_per_rad2 = 4.0

[[clearance]]
name = "splitter"
station_mm = -800
side_mm = 0
offset_mm = 5
least_gap_mm = 8
least_static_gap_mm = 20
"""

VENUE = """\
# invented numbers
[venue]
name = "Test bore"
section = "circle"
radius_mm = 7500
slope_percent = 1.5
surface_grip = 0.95
air_density_kg_m3 = 1.2
roughness = "B"

[sweep]
roll_angles_deg = { from = 0, to = 180, step = 5 }
speed_m_s = 60

[[attitude]]
name = "steady"

[[attitude]]
name = "climbing"
heading_deg = 8
acceleration_m_s2 = -3.0
path_curvature_per_m = 0.002
yaw_acceleration_rad_s2 = 0.1
turn_radius_m = 300
headwind_m_s = 2.0
crosswind_m_s = 3.0
bump_mm = [0, 5, 0, -5]
speed_m_s = 65
"""

SETUP = """\
# invented numbers
[setup]
name = "baseline"

[front]
camber_deg = -2.5
ride_height_mm = 35
spring_N_per_mm = 140
anti_roll_N_per_mm = 40
third_N_per_mm = 60
pressure_bar = 1.4
toe_mm = 1.0

[rear]
camber_deg = -2.0
ride_height_mm = 45
spring_N_per_mm = 160
anti_roll_N_per_mm = 20
third_N_per_mm = 80
pressure_bar = 1.3
toe_mm = -0.5
"""

LIMITS = """\
speed_m_s = { from = 50, to = 54, step = 2 }
# invented numbers
[front]
camber_deg = { from = -6, to = 0, step = 0.25 }
ride_height_mm = { from = 25, to = 60, step = 1 }
anti_roll_N_per_mm = [20, 40, 0]
third_N_per_mm = { from = 0, to = 200, step = 20 }
pressure_bar = { from = 1.0, to = 2.0, step = 0.05 }
toe_mm = { from = -3, to = 3, step = 0.5 }
springs_N_per_mm = [160, 120, 140, 140]

[rear]
camber_deg = { from = -6, to = 0, step = 0.25 }
ride_height_mm = { from = 30, to = 70, step = 1 }
anti_roll_N_per_mm = { from = 0, to = 60, step = 10 }
third_N_per_mm = [0, 80]
pressure_bar = { from = 1.0, to = 2.0, step = 0.05 }
toe_mm = { from = -3, to = 3, step = 0.5 }
springs_N_per_mm = [120, 140, 160, 180]

[packaging]
rake_mm = { from = 0, to = 25 }
wheel_load_least_N = 200
travel_left_least_mm = 2
ground_clearance_least_mm = 25

[[packaging.arch]]
axle = "front"
room_mm = 45
room_mm_per_deg = 2.0

[[packaging.wheel_load]]
attitude = "steady"
least_N = 250

[tolerance]
camber_deg = 0.1
ride_height_mm = 1
spring_percent = 2
pressure_bar = 0.02

[adjuster.front]
camber_deg_per_mm_shim = 0.3
shims_mm = [0.5, 1, 2]
ride_height_mm_per_turn = 1.5
anti_roll_positions_N_per_mm = [20, 40]

[adjuster.rear]
camber_deg_per_mm_shim = 0.28
shims_mm = [0.5, 1, 2]
ride_height_mm_per_turn = 1.25
anti_roll_positions_N_per_mm = [0, 20]

[disturbed]
drift_mm = 250
sideslip_deg = 5
airborne_ms = 80
within_s = 2.5

[require]
bump_mm = 5
seam_mm = 3
gust_m_s = 6
road = true
builds = true
spread = true

[route]
from_deg = 0
to_deg = 150
hold_m = 20
least_margin = 0.2
wheel_load_least_N = 100
wheel_load_most_N = 9000
steer_rate_deg_s = 200
stop_m_s2 = 8
speed_m_s = { from = 45, to = 65, step = 5 }
radius_mm = { from = 6000, to = 9000, step = 500 }

[spread]
surface_grip_percent = 6
downforce_percent = 5
drag_percent = 4
side_force_percent = 10
mass_percent = 0.5
tyre_friction_percent = 3
"""

FILES = {
    "car.toml": CAR,
    "venue.toml": VENUE,
    "setup.toml": SETUP,
    "limits.toml": LIMITS,
}


def write_folder(folder: Path, **changed: str | bytes | None) -> Path:
    """A good folder; `car=text` writes another car.toml, `limits=None` leaves limits.toml out."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in FILES.items():
        content = changed.get(name.removesuffix(".toml"), text)
        if content is not None:
            raw = content.encode() if isinstance(content, str) else content
            (folder / name).write_bytes(raw)
    return folder


def line_of(file: str, key: str) -> str:
    """The first line with a key."""
    found = re.search(rf"(?m)^{re.escape(key)} = .*\n", FILES[file])
    assert found is not None, key
    return found[0]


def changed(folder: Path, file: str, *changes: tuple[str, str]) -> Path:
    """A good folder but for changes of one file, each of which must be one."""
    text = FILES[file]
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return write_folder(folder, **{file.removesuffix(".toml"): text})


def with_line(folder: Path, file: str, line: str) -> Path:
    """A good folder but for the first line of a key; a key alone leaves that line out."""
    key, equals, _ = line.partition(" = ")
    new = f"{line}\n" if equals else ""
    return changed(folder, file, (line_of(file, key), new))


def lines_of(table: dict[str, Iterable[str]]) -> list[tuple[str, str]]:
    """Every file with each of its lines."""
    return [(file, line) for file, lines in table.items() for line in lines]
