"""Reads load cases from a table instead of the venue's sweep."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from setupopt.errors import InputError, InputErrors
from setupopt.project.consistency import ROOM
from setupopt.project.csv_read import CHUNK, Column, CsvTable, csv_pieces
from setupopt.project.field_types import Bounds
from setupopt.project.model import Car, Venue
from setupopt.project.static_checks import plan_points, reach
from setupopt.project.venue_schema import AttitudeTable, SweepTable, VenueTable
from setupopt.units import DEG, MM

Numbers = NDArray[np.float64]

BUMPS = ("bump_fl_mm", "bump_fr_mm", "bump_rl_mm", "bump_rr_mm")
LABELS = ("name", "attitude", "case")
_ENOUGH = 100  # mistakes
_ONE_POSITION = "a roll angle that the section has at one place, or a column along_mm in its stead"


@dataclass(frozen=True, eq=False)
class CaseTable:
    """Load cases as arrays in SI, one entry a case; `bump` has the axes (cases, wheels)."""

    roll_angle: Numbers  # rad
    speed: Numbers
    heading: Numbers  # rad
    acceleration: Numbers
    path_curvature: Numbers  # 1/m
    turn_curvature: Numbers  # 1/m of a horizontal turn, 0 for none
    yaw_acceleration: Numbers  # rad/s2
    headwind: Numbers
    crosswind: Numbers
    bump: Numbers  # m; FL, FR, RL, RR
    curvature: Numbers  # of the section, 1/m; 0 when flat
    label: list[str]
    # M along a section of parts; the roll angle and the section are those there
    along: Numbers | None = None

    def __len__(self) -> int:
        return len(self.label)


def case_tables(
    path: str | Path, venue: Venue, car: Car | None = None, size: int = CHUNK
) -> Iterator[CaseTable]:
    """The cases of a CSV file in its order, in tables of at most `size` rows.

    Without a column `radius_mm` the section is the venue's; on one of parts a column `along_mm` may say
    where, in place of roll angles. With `car`, rows whose section is too tight for it are refused.
    Raises InputErrors at the end; no table comes after the first mistake.
    """
    errors: list[InputError] = []
    before = 0
    for table in csv_pieces(Path(path), _columns(venue), LABELS, size=size):
        try:
            cases = _checked(table, venue, car, before)
        except InputErrors as wrong:
            errors += wrong.errors
            if len(errors) >= _ENOUGH:
                break
        before += len(table.lines)
        if not errors:
            yield cases
    if errors:
        raise InputErrors(errors[:_ENOUGH])


def _checked(
    table: CsvTable, venue: Venue, car: Car | None, before: int
) -> CaseTable:
    """The cases of a table, which has so many rows before it in the file."""
    cases = _cases(table, venue, before)
    if car is not None:
        widest = reach(plan_points(car), cases.heading)
        tight = np.flatnonzero(widest * cases.curvature > ROOM)
        if tight.size:
            raise InputErrors(
                _too_tight(table, cases, widest, int(row))
                for row in tight[:_ENOUGH]
            )
        if venue.profile is not None and cases.along is not None:
            _require_sight(table, widest, venue.profile.sight)
    return cases


def _columns(venue: Venue) -> dict[str, Column]:
    """The columns with the ranges that the same entries have in venue.toml."""
    section = venue.profile
    along = (
        {}
        if section is None
        else {"along_mm": Column(Bounds(0.0, section.length / MM, "mm"))}
    )
    driven = (
        "heading_deg",
        "acceleration_m_s2",
        "path_curvature_per_m",
        "yaw_acceleration_rad_s2",
        "headwind_m_s",
        "crosswind_m_s",
    )
    return {
        "roll_angle_deg": Column(
            SweepTable.number_bounds("roll_angles_deg"),
            required=section is None,
        ),
        "speed_m_s": Column(
            SweepTable.number_bounds("speed_m_s"), required=True
        ),
        **{
            key: Column(AttitudeTable.number_bounds(key), empty=0.0)
            for key in driven
        },
        **{
            key: Column(AttitudeTable.number_bounds("bump_mm"), empty=0.0)
            for key in BUMPS
        },
        "turn_radius_m": Column(
            AttitudeTable.number_bounds("turn_radius_m"), empty=math.inf
        ),
        "radius_mm": Column(
            VenueTable.number_bounds("radius_mm"), empty=math.inf
        ),
        **along,
    }


def _cases(table: CsvTable, venue: Venue, before: int) -> CaseTable:
    count = len(table.lines)
    get = {key: np.zeros(count) for key in _columns(venue)} | table.values
    along = _along(table, venue)
    flat_or_bent = (
        1.0 / get["radius_mm"]
        if "radius_mm" in table.values
        else venue.curvature
    )
    turning = (
        1.0 / get["turn_radius_m"]
        if "turn_radius_m" in table.values
        else np.zeros(count)
    )
    # The first column of names that there is; a row without a name goes by its number in the file
    given = next(
        (table.names[key] for key in LABELS if key in table.names),
        [""] * len(table.lines),
    )
    return CaseTable(
        roll_angle=get["roll_angle_deg"],
        speed=get["speed_m_s"],
        heading=get["heading_deg"],
        acceleration=get["acceleration_m_s2"],
        path_curvature=get["path_curvature_per_m"],
        turn_curvature=turning,
        yaw_acceleration=get["yaw_acceleration_rad_s2"],
        headwind=get["headwind_m_s"],
        crosswind=get["crosswind_m_s"],
        bump=np.column_stack([get[key] for key in BUMPS]),
        curvature=np.full(count, flat_or_bent),
        label=[name or str(row) for row, name in enumerate(given, before + 1)],
        along=along,
    )


def _along(table: CsvTable, venue: Venue) -> Numbers | None:
    """Where along the venue's section of parts the cases are, m; None on another section."""
    section = venue.profile
    one = {"along_mm", "roll_angle_deg"} & set(table.values)
    if section is not None and len(one) != 1:
        found = "both columns" if one else "neither"
        raise InputErrors(
            [
                InputError(
                    str(table.path),
                    1,
                    "along_mm",
                    found,
                    "along_mm or roll_angle_deg",
                )
            ]
        )
    if section is None or "radius_mm" in table.values:
        return None
    if "along_mm" in one:
        return np.clip(table.values["along_mm"], 0.0, section.length)
    angles = table.values["roll_angle_deg"]
    stretches = [section.where(float(angle)) for angle in angles]
    wrong = [
        table.error(
            row, "roll_angle_deg", f"{angles[row] / DEG:g}", _ONE_POSITION
        )
        for row, ends in enumerate(stretches)
        if ends is None or ends[1] - ends[0] > MM
    ]
    if wrong:
        raise InputErrors(wrong[:_ENOUGH])
    return np.array([ends[0] for ends in stretches if ends is not None])


def _require_sight(table: CsvTable, widest: Numbers, sight: float) -> None:
    """No car may reach further round a section than its joints are seen."""
    expected = f"a heading at which the car reaches at most {sight / MM:.0f} mm round the section"
    wrong = [
        table.error(
            int(row),
            "heading_deg",
            f"a reach of {widest[row] / MM:.0f} mm",
            expected,
        )
        for row in np.flatnonzero(widest > sight)[:_ENOUGH]
    ]
    if wrong:
        raise InputErrors(wrong)


def _too_tight(
    table: CsvTable, cases: CaseTable, widest: Numbers, row: int
) -> InputError:
    found = f"{1.0 / cases.curvature[row] / MM:.6g}"
    expected = f"at least {widest[row] / ROOM / MM:.0f} mm, so that the car fits in at this heading"
    return table.error(
        row,
        "radius_mm" if cases.along is None else "heading_deg",
        found,
        expected,
    )
