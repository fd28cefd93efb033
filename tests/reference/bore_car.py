"""The car of the slip model's table: an invented single-seater in a bore of 8 m radius, before and after a
search.

Files of its own, so that it stays as it is whatever becomes of the examples. Rigid carcass, no toe, no
inertias in
yaw and of the wheels, friction without a least pressure, shear_per_foundation 1.8, camber_thrust_share 0.5.
"""

import tomllib
from pathlib import Path
from typing import Any

Table = dict[str, Any]
FOLDER = Path(__file__).parent / "data" / "bore"
PROPOSED = {
    "front": {
        "camber_deg": -7.1,
        "ride_height_mm": 28.0,
        "spring_N_per_mm": 200.0,
        "anti_roll_N_per_mm": 10.0,
        "pressure_bar": 1.2,
    },
    "rear": {
        "camber_deg": -7.2,
        "ride_height_mm": 36.5,
        "spring_N_per_mm": 200.0,
        "anti_roll_N_per_mm": 60.0,
        "pressure_bar": 1.2,
    },
}


def read(name: str) -> Table:
    return tomllib.loads((FOLDER / name).read_text(encoding="utf-8"))


def bore_project(proposed: bool) -> tuple[Table, Table, Table]:
    """Car, venue and setup in file units: as raced on a flat circuit, or the proposal in the body long-
    floor.
    """
    car, venue, setup = read("car.toml"), read("venue.toml"), read("setup.toml")
    if proposed:
        car |= read("long-floor.toml")
        for end, settings in PROPOSED.items():
            setup[end] |= settings
    return car, venue, setup


def bore_case(**changes: Any) -> Table:
    """150 deg of roll at 50 m/s, straight along the bore."""
    return {"roll_angle_deg": 150.0, "speed_m_s": 50.0} | changes


# The table of a page on this car, by a program written apart. Proposed, crosswind m/s: margin, wheel loads N
PAGE = {
    (False, 0.0): (-0.161, None),
    (False, 6.0): (0.001, (570, 410, 0, 1250)),
    (False, -6.0): (-0.863, None),
    (True, 0.0): (0.263, (730, 450, 0, 1460)),
    (True, 6.0): (0.295, (700, 500, 0, 1490)),
    (True, -6.0): (0.021, (470, 380, 0, 1110)),
}
