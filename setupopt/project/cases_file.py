"""Reads load cases from a table instead of the venue's sweep."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from setupopt.errors import InputError, InputErrors
from setupopt.project.checks import ROOM
from setupopt.project.csv_file import Column, CsvTable, read_csv
from setupopt.project.fields import Bounds, Table
from setupopt.project.model import Car, Venue
from setupopt.project.pad import plan_points
from setupopt.project.schema import AttitudeTable, SweepTable, VenueTable
from setupopt.units import DEG, MM

Numbers = NDArray[np.float64]

BUMPS = ("bump_fl_mm", "bump_fr_mm", "bump_rl_mm", "bump_rr_mm")
LABELS = ("name", "attitude", "case")


@dataclass(frozen=True, eq=False)
class CaseTable:
    """Load cases as arrays in SI, one entry a case; `bump` has the axes (cases, wheels)."""

    roll_angle: Numbers  # rad
    speed: Numbers
    heading: Numbers  # rad
    acceleration: Numbers
    path_curvature: Numbers  # 1/m
    turn_curvature: Numbers  # 1/m of a horizontal turn, 0 for none
    headwind: Numbers
    crosswind: Numbers
    bump: Numbers  # m; FL, FR, RL, RR
    curvature: Numbers  # of the section, 1/m; 0 when flat
    label: list[str]

    def __len__(self) -> int:
        return len(self.label)


def read_cases(path: str | Path, venue: Venue, car: Car | None = None) -> CaseTable:
    """The cases of a CSV file, in its order.

    Without a column `radius_mm` the section is the venue's. With `car`, rows whose section is too
    tight for it are refused. Raises InputErrors.
    """
    table = read_csv(Path(path), _columns(), LABELS)
    cases = _cases(table, venue)
    if car is not None:
        _require_room(table, cases, car)
    return cases


def _columns() -> dict[str, Column]:
    """The columns with the ranges that the same entries have in venue.toml."""
    driven = ("heading_deg", "acceleration_m_s2", "path_curvature_per_m", "headwind_m_s", "crosswind_m_s")
    return {
        "roll_angle_deg": Column(_bounds(SweepTable, "roll_angles_deg"), required=True),
        "speed_m_s": Column(_bounds(SweepTable, "speed_m_s"), required=True),
        **{key: Column(_bounds(AttitudeTable, key), empty=0.0) for key in driven},
        **{key: Column(_bounds(AttitudeTable, "bump_mm"), empty=0.0) for key in BUMPS},
        "turn_radius_m": Column(_bounds(AttitudeTable, "turn_radius_m"), empty=math.inf),
        "radius_mm": Column(_bounds(VenueTable, "radius_mm"), empty=math.inf),
    }


def _bounds(table: type[Table], key: str) -> Bounds:
    bounds = table.bounds(key)
    assert bounds is not None
    return bounds


def _cases(table: CsvTable, venue: Venue) -> CaseTable:
    count = len(table.lines)
    get = {key: np.zeros(count) for key in _columns()} | table.numbers
    flat_or_bent = 1.0 / (get["radius_mm"] * MM) if "radius_mm" in table.numbers else venue.curvature
    turning = 1.0 / get["turn_radius_m"] if "turn_radius_m" in table.numbers else np.zeros(count)
    return CaseTable(
        roll_angle=get["roll_angle_deg"] * DEG,
        speed=get["speed_m_s"],
        heading=get["heading_deg"] * DEG,
        acceleration=get["acceleration_m_s2"],
        path_curvature=get["path_curvature_per_m"],
        turn_curvature=turning,
        headwind=get["headwind_m_s"],
        crosswind=get["crosswind_m_s"],
        bump=np.column_stack([get[key] * MM for key in BUMPS]),
        curvature=np.full(count, flat_or_bent),
        label=_labels(table),
    )


def _labels(table: CsvTable) -> list[str]:
    """The first column of names that there is; a row without a name goes by its number."""
    given = next((table.names[key] for key in LABELS if key in table.names), [""] * len(table.lines))
    return [name or str(row) for row, name in enumerate(given, start=1)]


def _require_room(table: CsvTable, cases: CaseTable, car: Car) -> None:
    sine, cosine = np.sin(cases.heading), np.cos(cases.heading)
    widest = np.zeros(len(cases))
    for x, y in plan_points(car):
        np.maximum(widest, np.abs(x * sine + y * cosine), out=widest)
    tight = np.flatnonzero(widest * cases.curvature > ROOM)
    if tight.size:
        raise InputErrors(_too_tight(table, cases, widest, int(row)) for row in tight[:100])


def _too_tight(table: CsvTable, cases: CaseTable, widest: Numbers, row: int) -> InputError:
    found = f"{1.0 / cases.curvature[row] / MM:.6g}"
    expected = f"at least {widest[row] / ROOM / MM:.0f} mm, so that the car fits in at this heading"
    return table.error(row, "radius_mm", found, expected)
