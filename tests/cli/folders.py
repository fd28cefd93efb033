"""Project folders for the commands, made from the good folder. Every number is invented."""

from __future__ import annotations

import re
from pathlib import Path

from project.good_folder import CAR, VENUE, write_folder

# One attitude at low roll angles, which the car holds with room to spare
_SWEEP = VENUE[: VENUE.index("[[attitude]]")].replace(
    "to = 180, step = 5", "to = 60, step = 20"
)
HELD_VENUE = f'{_SWEEP}[[attitude]]\nname = "steady"\n\n[[attitude]]\nname = "braking"\nacceleration_m_s2 = -3\n'
HELD_CAR = CAR.replace("load_limit_N = 9000", "load_limit_N = 20000")


def held(folder: Path) -> Path:
    """Every case holds, no limit is broken, nothing is odd."""
    return write_folder(folder, car=HELD_CAR, venue=HELD_VENUE, limits=None)


def sliding(folder: Path) -> Path:
    """Held, but on a slippery surface: on the wall there is not friction enough for any trim."""
    venue = re.sub(r"(?m)^surface_grip = .*$", "surface_grip = 0.3", HELD_VENUE)
    assert venue != HELD_VENUE
    return write_folder(folder, car=HELD_CAR, venue=venue, limits=None)


def lost(folder: Path) -> Path:
    """The good folder as it is: contact is lost near the top, and limits are broken."""
    return write_folder(folder)


def odd(folder: Path) -> Path:
    """Held, but with something worth a caution: a centre of gravity above half the track."""
    car = HELD_CAR.replace("cg_height_mm = 280", "cg_height_mm = 810")
    return write_folder(folder, car=car, venue=HELD_VENUE, limits=None)


def fill(folder: Path, names: str) -> None:
    """Files of these names in a folder, which nobody reads."""
    for name in names.split():
        (folder / name).parent.mkdir(exist_ok=True, parents=True)
        (folder / name).write_text("text")
