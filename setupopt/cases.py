"""Load cases as arrays: every roll angle with every attitude, or a list the user brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from setupopt.physics.inputs import CASE, Floats, Records
from setupopt.project.model import Attitude, Sweep, Venue

if TYPE_CHECKING:
    from setupopt.project.cases_file import CaseTable


@dataclass(frozen=True)
class CaseSet:
    """Load cases with their names. `attitude` (cases); `angles` and `attitudes` of a sweep, else empty."""

    records: Records
    attitude: tuple[str, ...]
    angles: Floats
    attitudes: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.attitude)

    def pick(self, rows: Sequence[int] | np.ndarray) -> CaseSet:
        """Some of the cases, in the order asked for."""
        index = np.asarray(rows, dtype=int)
        return CaseSet(self.records[index], tuple(self.attitude[i] for i in index), np.empty(0), ())


def join(first: CaseSet, second: CaseSet) -> CaseSet:
    """All cases of both, as a list of cases."""
    records = np.concatenate([first.records, second.records])
    return CaseSet(records, first.attitude + second.attitude, np.empty(0), ())


def sweep_angles(sweep: Sweep, refine: int = 1) -> Floats:
    """Roll angles of the sweep, rad; `refine` times as dense. The last angle is always among them."""
    count = int(np.floor((sweep.stop - sweep.start) / sweep.step * refine + 1e-9))
    angles = sweep.start + np.arange(count + 1) * (sweep.step / refine)
    if sweep.stop - angles[-1] > 1e-9 * sweep.step:
        angles = np.append(angles, sweep.stop)
    return angles


def _attitude_columns(attitude: Attitude, venue: Venue) -> dict[str, float | Sequence[float]]:
    """One attitude's entries of CASE, without the roll angle."""
    speed = venue.sweep.speed if attitude.speed is None else attitude.speed
    return {
        "heading": attitude.heading,
        "speed": speed,
        "acceleration": attitude.acceleration,
        "path_curvature": attitude.path_curvature,
        "turn_curvature": 0.0 if attitude.turn_radius is None else 1.0 / attitude.turn_radius,
        "headwind": attitude.headwind,
        "crosswind": attitude.crosswind,
        "bump": attitude.bump,
        "curvature": venue.curvature,
    }


def _complete(columns: dict[str, Floats], venue: Venue) -> Records:
    """CASE records: the columns given, and what the venue gives to every case."""
    records = np.zeros(columns["roll_angle"].size, dtype=CASE)
    records["slope"], records["surface_grip"] = venue.slope, venue.surface_grip
    records["air_density"], records["lean"] = venue.air_density, 1.0
    records["transfer"] = 1.0
    for name, column in columns.items():
        records[name] = column
    records["floor_curvature"], records["surface_heading"] = records["curvature"], records["heading"]
    return records


def sweep_cases(venue: Venue, angles: Floats | None = None) -> CaseSet:
    """The venue's sweep: attitudes slowest, roll angles fastest. `angles` in rad replace the sweep's."""
    around = sweep_angles(venue.sweep) if angles is None else np.asarray(angles, dtype=float)
    rows = [_attitude_columns(attitude, venue) for attitude in venue.attitudes]
    columns = {
        name: np.repeat(np.array([row[name] for row in rows], dtype=float), around.size, axis=0)
        for name in rows[0]
    }
    columns["roll_angle"] = np.tile(around, len(rows))
    names = tuple(a.name for a in venue.attitudes)
    labels = tuple(name for name in names for _ in range(around.size))
    return CaseSet(_complete(columns, venue), labels, around, names)


def placed_cases(venue: Venue, attitude: np.ndarray, angles: Floats) -> CaseSet:
    """Single cases of a sweep: attitudes by number, each at a roll angle of its own, rad; (cases)."""
    one = sweep_cases(venue, np.zeros(1))
    records = one.records[attitude]
    records["roll_angle"] = angles
    return CaseSet(records, tuple(one.attitudes[i] for i in attitude), np.empty(0), ())


def table_cases(table: CaseTable, venue: Venue) -> CaseSet:
    """Cases that the user listed in a file."""
    columns = {name: getattr(table, name) for name in CASE.names if hasattr(table, name)}
    return CaseSet(_complete(columns, venue), tuple(table.label), np.empty(0), ())
