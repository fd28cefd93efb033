"""Reads measured air loads: a row for every attitude of every body."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from setupopt.errors import InputError, InputErrors
from setupopt.fit.air.rows import FORCES, AirRows
from setupopt.fit.air.wings import AngledRows, by_angle
from setupopt.fit.table import Measurements, measured, read_measurements
from setupopt.project.consistency import ROOM
from setupopt.project.csv_read import Column
from setupopt.project.field_types import Bounds
from setupopt.project.model import Car
from setupopt.project.setup_schema import AxleSetupTable
from setupopt.project.static_checks import plan_points, reach
from setupopt.project.venue_schema import VenueTable
from setupopt.units import MM

DENSITY = 1.2  # kg/m3
UNNAMED = "fitted"  # the only body of a table without names
_ANGLE = Column(Bounds(-90, 90, "deg"))
_NAMES, _RADIUS, _DENSITY = (
    "configuration",
    "surface_radius_mm",
    "air_density_kg_m3",
)
_RIDES = ("front_ride_height_mm", "rear_ride_height_mm")


@dataclass(frozen=True, eq=False)
class AirTable:
    """A table of measured air loads: the rows of each configuration by its name, in the names' order.

    `angled`: the same rows by the angles of their wings, of which `rows` has those of the body alone.

    `density`: that of the air where the table names none, kg/m3; `notes`: what is odd about it.
    """

    path: Path
    angled: dict[str, AngledRows]
    density: float
    notes: tuple[str, ...]

    @property
    def rows(self) -> dict[str, AirRows]:
        """Rows of the body of each configuration."""
        return {label: part.rows for label, part in self.angled.items()}


def read_air(path: str | Path, car: Car, density: float = DENSITY) -> AirTable:
    """Read a table; its columns are explained in docs/nomenclature.md. `car` says which elements there are.

    Raises InputErrors with every mistake, also where `car` does not fit into a section.
    """
    keys = {
        f"angle_{element.name}_deg": number
        for number, element in enumerate(car.air.elements)
    }
    columns = _columns(density) | dict.fromkeys(keys, _ANGLE)
    found = read_measurements(path, columns, (_NAMES,))
    errors = [*_unnamed(found), *_too_tight(found, car)]
    if errors:
        raise InputErrors(sorted(errors, key=lambda error: error.line or 0))
    rows = _rows(found)
    names = np.array(found.names.get(_NAMES, [UNNAMED] * len(found)))
    turned = [key for key in keys if found.is_measured(key).any()]
    wings = [keys[key] for key in turned]
    angles = (
        np.array([found.values[key] for key in turned])
        .reshape(len(turned), len(found))
        .T
    )
    angled = {
        str(name): by_angle(
            rows.pick(names == name), wings, angles[names == name]
        )
        for name in np.unique(names)
    }
    notes = (said for part in angled.values() for said in part.notes)
    return AirTable(Path(path), angled, density, (*found.notes, *notes))


def _columns(density: float) -> dict[str, Column]:
    """Ranges as those of the same entries in the project; of angles and loads, what any car stays within."""
    ride = AxleSetupTable.number_bounds("ride_height_mm")
    columns = {
        **{key: Column(ride, required=True) for key in _RIDES},
        "body_roll_deg": Column(Bounds(-15, 15, "deg"), empty=0.0),
        "yaw_deg": Column(Bounds(-45, 45, "deg"), empty=0.0),
        _RADIUS: Column(VenueTable.number_bounds("radius_mm"), empty=math.inf),
        "speed_m_s": Column(Bounds(1, 200, "m/s"), required=True),
        _DENSITY: Column(VenueTable.number_bounds(_DENSITY), empty=density),
    }
    for key in FORCES:
        low, high = (0, 50_000) if key == "drag_N" else (-100_000, 100_000)
        columns[key] = measured(Bounds(low, high, "N"))
    return columns


def _rows(found: Measurements) -> AirRows:
    get = found.values
    return AirRows(
        front_ride=get[_RIDES[0]], rear_ride=get[_RIDES[1]], body_roll=get["body_roll_deg"],
        yaw=get["yaw_deg"], curvature=1.0 / get[_RADIUS], speed=get["speed_m_s"], density=get[_DENSITY],
        forces=np.column_stack([get[key] for key in FORCES]), lines=found.lines,
    )  # fmt: skip


def _unnamed(found: Measurements) -> Iterator[InputError]:
    """Rows without a name between rows that have one."""
    for row, name in enumerate(found.names.get(_NAMES, [])):
        if not name:
            yield found.error(row, _NAMES, "an empty cell", "a name")


def _too_tight(found: Measurements, car: Car) -> Iterator[InputError]:
    """Rows whose section the car does not fit into."""
    least = reach(plan_points(car), 0.0) / ROOM
    for row in np.flatnonzero(found.values[_RADIUS] < least):
        expected = f"at least {least / MM:.0f} mm, so that the car fits in"
        yield found.odd(int(row), _RADIUS, expected)
