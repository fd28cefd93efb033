"""The folder of bodies: one file NAME.toml for each."""

from __future__ import annotations

import re
from collections.abc import Iterator
from os.path import lexists
from pathlib import Path
from typing import TYPE_CHECKING

from setupopt.errors import InputError
from setupopt.project.bodies import FOLDER
from setupopt.project.toml_file import TomlFile
from setupopt.project.toml_positions import quoted

if TYPE_CHECKING:
    from setupopt.project.car_schema import AirTable

# Letters without accents: file systems do not agree on how the others are written
_NAME = re.compile(r"[A-Za-z0-9_-]([A-Za-z0-9 _-]{0,38}[A-Za-z0-9_-])?")
_STATIONS = ("front_ride_station_mm", "rear_ride_station_mm")


def find_bodies(home: Path) -> tuple[dict[str, Path], list[InputError]]:
    """The files of a project's bodies by name, in the order of the names; and what is wrong with the folder.

    Hidden files, folders and files of another suffix are not looked at.
    """
    folder = home / FOLDER
    if not lexists(folder):
        return {}, []
    try:
        files = [
            path
            for path in folder.iterdir()
            if (
                path.suffix == ".toml"
                and not path.name.startswith(".")
                and not path.is_dir()
            )
        ]
    except OSError as error:
        found = f"that it cannot be read ({error.strerror})"
        expected = "a folder with a file NAME.toml for each body"
        return {}, [InputError(str(folder), None, "", found, expected)]
    named = {path.stem: path for path in files if _NAME.fullmatch(path.stem)}
    return dict(sorted(named.items())), [
        _misnamed(path) for path in sorted(files) if path.stem not in named
    ]


def _misnamed(path: Path) -> InputError:
    expected = (
        "a name of 1 to 40 letters from A to Z, digits, spaces inside, - and _"
    )
    return InputError(
        str(path.parent),
        None,
        "",
        f"a body of the name {quoted(path.stem)}",
        expected,
    )


def other_stations(
    file: TomlFile, body: AirTable, car: AirTable
) -> Iterator[InputError]:
    """Ride-height stations of a body's file that are not those of car.toml."""
    for key in _STATIONS:
        wanted = getattr(car, key)
        if getattr(body, key) != wanted:
            expected = f"{wanted:.10g} as in car.toml: the ride heights are measured there"
            yield file.error(("air", key), expected)
