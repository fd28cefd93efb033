"""Load cases as arrays: every roll angle with every attitude, or a list the user brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from setupopt.errors import UserError
from setupopt.physics.inputs import CASE, JOINTS, Floats, Records
from setupopt.project.model import Attitude, DrivenPath, Venue
from setupopt.project.section import evenly
from setupopt.units import MM

if TYPE_CHECKING:
    from setupopt.project.cases_file import CaseTable

_APART = 4.0  # m between the points of a route
# M; radius that makes a length of a step where a section has no arc
_STRAIGHT = 10.0


@dataclass(frozen=True)
class CaseSet:
    """Load cases with their names. `attitude` (cases); `angles` and `attitudes` of a sweep, else empty.

    `is_along`: cases lie at points along a section of parts; several points may have the same roll angle.
    `way` (cases): way driven, of points of a route.
    """

    records: Records
    attitude: tuple[str, ...]
    angles: Floats
    attitudes: tuple[str, ...]
    is_along: bool = False
    way: Floats | None = None

    def __len__(self) -> int:
        return len(self.attitude)

    def pick(self, rows: Sequence[int] | np.ndarray) -> CaseSet:
        """Some of the cases, in the given order."""
        index = np.asarray(rows, dtype=int)
        names = tuple(self.attitude[i] for i in index)
        way = None if self.way is None else self.way[index]
        return CaseSet(
            self.records[index], names, np.empty(0), (), self.is_along, way
        )

    def along(self, row: int) -> dict[str, float]:
        """Position of a case on a section of parts, {"along_mm": ...}; empty on other sections."""
        return (
            {"along_mm": round(float(self.records["along"][row]) / MM, 6)}
            if self.is_along
            else {}
        )

    @property
    def stands(self) -> str:
        """What the cases of a sweep vary beside their attitude, in words."""
        if self.way is not None:
            return "points of a route"
        return "places" if self.is_along else "roll angles"

    @property
    def at(self) -> Floats:
        """Positions of the cases, (cases), in the measure of `sweep_at`."""
        if self.way is not None:
            return self.way
        return np.asarray(
            self.records["along" if self.is_along else "roll_angle"]
        )


def join(first: CaseSet, second: CaseSet) -> CaseSet:
    """All cases of both, as a list of cases."""
    records = np.concatenate([first.records, second.records])
    way = None
    if first.way is not None and second.way is not None:
        way = np.concatenate([first.way, second.way])
    return CaseSet(
        records,
        first.attitude + second.attitude,
        np.empty(0),
        (),
        first.is_along,
        way,
    )


def sweep_at(venue: Venue, refine: int = 1) -> Floats:
    """Positions of the sweep: roll angles, rad; on a section of parts positions along it, m; on a route the
    way driven, m.

    `refine`: times as dense. The last position is always among them.
    """
    if venue.path is not None:
        steps = int(np.ceil(venue.path.length / _APART)) * refine
        return np.linspace(0.0, venue.path.length, steps + 1)
    section = venue.profile
    sweep = venue.sweep
    if section is None:
        return _steps(sweep.start, sweep.stop, sweep.step / refine)
    if sweep.along is not None:
        return _steps(sweep.along[0], sweep.along[1], sweep.along[2] / refine)
    ends = section.stretch(sweep.start, sweep.stop)
    if ends is None:
        raise UserError(
            "venue.toml: the section has none of the roll angles of the sweep"
        )
    spacing = (
        sweep.step
        / refine
        * (1.0 / section.tightest if section.tightest > 0.0 else _STRAIGHT)
    )
    return (
        evenly(*ends, spacing)
        if venue.section == "survey"
        else section.spread(*ends, spacing)
    )


def level(venue: Venue) -> float:
    """Position where the section lies level, or most nearly so, in the measure of `sweep_at`."""
    section = venue.profile
    if section is None:
        return 0.0
    ends = section.stretch(0.0, 0.0)
    return (
        float(np.mean(ends))
        if ends
        else float(section.ends[np.abs(section.end_angles).argmin()])
    )


def _steps(start: float, stop: float, step: float) -> Floats:
    count = int(np.floor((stop - start) / step + 1e-9))
    values = start + np.arange(count + 1) * step
    return (
        np.append(values, stop) if stop - values[-1] > 1e-9 * step else values
    )


def _attitude_columns(
    attitude: Attitude, venue: Venue
) -> dict[str, float | Sequence[float]]:
    """One attitude's entries of CASE, without the roll angle; names that both have are copied."""
    speed = venue.sweep.speed if attitude.speed is None else attitude.speed
    turn = attitude.turn_radius
    copied = {
        name: getattr(attitude, name)
        for name in CASE.names
        if hasattr(attitude, name)
    }
    return copied | {
        "speed": speed,
        "turn_curvature": 0.0 if turn is None else 1.0 / turn,
        "curvature": venue.curvature,
    }


def _complete(columns: dict[str, Floats], venue: Venue) -> Records:
    """CASE records: the columns given, and what the venue gives to every case."""
    records = np.zeros(columns["speed"].size, dtype=CASE)
    records["slope"] = venue.slope
    records["surface_grip"] = venue.surface_grip
    records["air_density"] = venue.air_density
    records["lean"] = 1.0
    records["transfer"] = 1.0
    records["crab"] = 1.0
    for name, column in columns.items():
        records[name] = column
    records["floor_curvature"] = records["curvature"]
    records["surface_heading"] = records["heading"]
    return records


def put(records: Records, venue: Venue, at: Floats) -> None:
    """Move cases to positions `at`, (cases), in the measure of `sweep_at`: roll angle and section there."""
    if venue.profile is None:
        records["roll_angle"] = at
        return
    seen = venue.profile.surroundings(at, JOINTS)
    records["along"] = at
    records["roll_angle"] = venue.profile.angle(at)
    records["curvature"] = records["floor_curvature"] = seen.curvature
    records["joints"] = records["floor_joints"] = seen.joints
    records["joint"] = seen.joint
    records["beyond"] = seen.beyond


def sweep_cases(venue: Venue, at: Floats | None = None) -> CaseSet:
    """The venue's sweep: attitudes slowest, roll angles fastest. `at` replaces those of `sweep_at`."""
    around = sweep_at(venue) if at is None else np.asarray(at, dtype=float)
    if venue.path is not None:
        driven = _driven(venue, venue.path, around)
        angles = driven.records["roll_angle"].copy()
        return replace(
            driven, angles=angles, attitudes=(venue.attitudes[0].name,)
        )
    rows = [_attitude_columns(attitude, venue) for attitude in venue.attitudes]
    columns = {
        name: np.repeat(
            np.array([row[name] for row in rows], dtype=float),
            around.size,
            axis=0,
        )
        for name in rows[0]
    }
    records = _complete(columns, venue)
    put(records, venue, np.tile(around, len(rows)))
    names = tuple(a.name for a in venue.attitudes)
    labels = tuple(name for name in names for _ in range(around.size))
    angles = records["roll_angle"][: around.size].copy()
    return CaseSet(records, labels, angles, names, venue.profile is not None)


def placed_cases(venue: Venue, attitude: np.ndarray, at: Floats) -> CaseSet:
    """Single cases of a sweep: attitudes by number, positions `at` in the measure of `sweep_at`; (cases)."""
    if venue.path is not None:
        return _driven(venue, venue.path, at)
    one = sweep_cases(venue, np.zeros(1))
    records = one.records[attitude]
    put(records, venue, at)
    names = tuple(one.attitudes[i] for i in attitude)
    return CaseSet(records, names, np.empty(0), (), venue.profile is not None)


def _driven(venue: Venue, path: DrivenPath, way: Floats) -> CaseSet:
    """Points of a route after ways driven, (cases)."""
    pairs = zip(path.names, path.table[:, 1:].T, strict=True)
    columns = {
        name: np.interp(way, path.table[:, 0], column) for name, column in pairs
    }
    at = columns.pop("at")
    return replace(
        path_cases(venue, venue.attitudes[0].name, at, **columns), way=way
    )


def path_cases(
    venue: Venue, name: str, at: Floats, **columns: Floats
) -> CaseSet:
    """Points of a path: positions `at` in the measure of `sweep_at`, and columns of CASE; (cases) each."""
    full = {
        key: np.broadcast_to(column, at.shape).astype(float)
        for key, column in columns.items()
    }
    full["curvature"] = np.full(at.size, venue.curvature)
    records = _complete(full, venue)
    put(records, venue, at)
    return CaseSet(
        records, (name,) * at.size, np.empty(0), (), venue.profile is not None
    )


def table_cases(table: CaseTable, venue: Venue) -> CaseSet:
    """Cases that the user listed in a file."""
    columns = {
        name: getattr(table, name)
        for name in CASE.names
        if getattr(table, name, None) is not None
    }
    records = _complete(columns, venue)
    if table.along is not None:
        put(records, venue, table.along)
    return CaseSet(
        records, tuple(table.label), np.empty(0), (), table.along is not None
    )
