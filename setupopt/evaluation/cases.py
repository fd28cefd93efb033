"""Load cases as arrays: every roll angle with every attitude, or a list the user brings."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
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


@dataclass(frozen=True, eq=False)
class CaseSet:
    """Load cases with their names. `attitude` (cases); `angles` and `attitudes` of a sweep, else empty.

    `source`: CASE records (cases), or what makes those of some cases, given their rows (rows): records take
    600 bytes a case. `is_along`: cases lie at points along a section of parts; several points may have the same
    roll angle. `way` (cases): way driven, of points of a route. `number` (cases): that in the table of all
    cases, where these are some of it; else they are counted from 1.
    """

    source: Records | Callable[[np.ndarray], Records]
    attitude: tuple[str, ...]
    angles: Floats
    attitudes: tuple[str, ...]
    is_along: bool = False
    way: Floats | None = None
    number: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.attitude)

    @cached_property
    def records(self) -> Records:
        """CASE records (cases)."""
        if callable(self.source):
            return self.source(np.arange(len(self)))
        return self.source

    def _some(self, index: np.ndarray) -> Records:
        if callable(self.source) and "records" not in vars(self):
            return self.source(index)
        return self.records[index]

    @property
    def numbers(self) -> np.ndarray:
        """Number of every case, (cases)."""
        return (
            np.arange(1, len(self) + 1) if self.number is None else self.number
        )

    def pick(self, rows: Sequence[int] | np.ndarray) -> CaseSet:
        """Some of the cases, in the given order, counted anew."""
        index = np.asarray(rows, dtype=int)
        names = tuple(self.attitude[i] for i in index)
        way = None if self.way is None else self.way[index]
        return CaseSet(
            self._some(index), names, np.empty(0), (), self.is_along, way
        )

    def pieces(self, size: int) -> Iterator[CaseSet]:
        """The cases in pieces of `size`, with the numbers they have here."""
        for first in range(0, len(self), size):
            rows = np.arange(first, min(first + size, len(self)))
            yield replace(self.pick(rows), number=self.numbers[rows])

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

    def both(name: str) -> np.ndarray | None:
        parts = [getattr(first, name), getattr(second, name)]
        return None if any(p is None for p in parts) else np.concatenate(parts)

    return CaseSet(
        np.concatenate([first.records, second.records]),
        first.attitude + second.attitude,
        np.empty(0),
        (),
        first.is_along,
        both("way"),
        both("number"),
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


@dataclass(frozen=True, eq=False)
class _Made:
    """Makes CASE records of some cases: `columns` by name, each entry of which holds for `each` cases in a row.

    `at`: positions in the measure of `sweep_at`, again and again; None where the columns have roll angles.
    """

    venue: Venue
    columns: tuple[tuple[str, Floats], ...]
    each: int
    at: Floats | None

    def __call__(self, index: np.ndarray) -> Records:
        rows = index // self.each
        own = {name: column[rows] for name, column in self.columns}
        records = _complete(own, self.venue)
        if self.at is not None:
            put(records, self.venue, self.at[index % self.at.size])
        return records


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
    columns = tuple(
        (name, np.array([row[name] for row in rows], dtype=float))
        for name in rows[0]
    )
    made = _Made(venue, columns, around.size, around)
    names = tuple(a.name for a in venue.attitudes)
    labels = tuple(name for name in names for _ in range(around.size))
    angles = made(np.arange(around.size))["roll_angle"].copy()
    return CaseSet(made, labels, angles, names, venue.profile is not None)


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
    columns = tuple(
        (name, getattr(table, name))
        for name in CASE.names
        if getattr(table, name, None) is not None
    )
    return CaseSet(
        _Made(venue, columns, 1, table.along),
        tuple(table.label),
        np.empty(0),
        (),
        table.along is not None,
    )
