"""Bump allowance: at every roll angle and attitude the highest obstacle that leaves the margin its floor."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.jobs.chunk_ranges import ChunkRange, chunk_ranges
from setupopt.physics.balance import COLUMNS
from setupopt.physics.inputs import ANSWER, Floats, Records
from setupopt.physics.obstacle import crossing_margin, least_allowed, time_step
from setupopt.project.model import Project, Setup
from setupopt.robust.ride_model import RideModel

TRACKS = ("left", "right", "both")
_SHARES = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
# Lengths looked at first, m, from a stone to a swell; the worst is then closed in on.
FIRST_LENGTHS = np.geomspace(0.25, 8.0, 9)
_CLOSE = 1.02  # ratio of lengths that is left between two looks
MOST = 0.2  # m; higher obstacles are no bumps
_CASES_A_CHUNK = 8

# What is kept back of a height that was found, for lengths and heights between those looked at.
_RESERVE = 0.01

# Allowance of one case.
BUMP = np.dtype([("height", "f8"), ("length", "f8"), ("track", "i8")])


class Worst(NamedTuple):
    """The worst obstacle of one case: m, m, index into TRACKS."""

    height: float
    length: float
    track: int


def _kept_back(height: float) -> float:
    """The height to be told; `MOST` was looked at itself."""
    return height if height >= MOST else (1.0 - _RESERVE) * height


@dataclass(frozen=True)
class BumpAllowance:
    """Highest obstacle of each case, (cases) in metres, with its worst length and track.

    0 where the margin is under the floor without any bump; not a number where there is no ride, because the
    car slides or loses contact. A case that rides over the highest obstacle looked at, `MOST`, has no worst
    length.
    """

    cases: CaseSet
    floor: float
    height: Floats
    length: Floats
    track: np.ndarray  # (cases), index into TRACKS

    @property
    def worst(self) -> int:
        """The case with the lowest allowance; one without a ride has none."""
        return int(np.where(np.isnan(self.height), -1.0, self.height).argmin())


class BumpRides(RideModel):
    """One setup's crossings in many cases."""

    def least(
        self, row: int, lengths: Floats, floor: float, most: float = MOST, tracks: Sequence[int] = (0, 1, 2)
    ) -> tuple[float, int, int]:
        """Least allowed height of one case over lengths and tracks, and which; -1 where all allow `most`."""
        bodies, elements, points = self.packed
        height, j, k = least_allowed(
            bodies, elements, points, self.settings, self.cases.records[row : row + 1], self.damping,
            self.base(row), float(self.margin[row]), lengths, _SHARES[list(tracks)], floor, most,
            *self.scratch(), np.zeros((7, COLUMNS)), np.zeros(1, ANSWER),
        )  # fmt: skip
        return height, j, tracks[k] if k >= 0 else -1

    def trace(self, row: int, height: float, length: float, track: int) -> Floats:
        """Time, margin, least wheel load, spare clearance and travel left (looks, 5) of one crossing."""
        bodies, elements, points = self.packed
        states, bed, works = self.scratch()
        left, right = _SHARES[track]
        speed = float(self.cases.records["speed"][row])
        trace = np.full((4000, 5), np.nan)
        crossing_margin(
            bodies[0], elements, points, self.settings[0], self.cases.records[row], self.damping[0],
            self.base(row)[0], states[0], bed, height, length, left, right,
            time_step(speed, length), -np.inf, works[0],
            np.zeros((7, COLUMNS)), np.zeros(1, ANSWER)[0], trace,
        )  # fmt: skip
        return trace[~np.isnan(trace[:, 0])]

    def worst_of(self, row: int, floor: float, hint: Worst) -> Worst:
        """Height, length and track of one case: lengths on a grid, closer around the worst, other tracks.

        Not a number where there is no ride; no length where `MOST` is ridden over. `hint`: the worst of a
        case nearby, tried first, so that most others need one crossing.
        """
        if not self.rides(row):
            return Worst(np.nan, np.nan, 0)
        worst = Worst(MOST, np.nan, 0)
        if np.isfinite(hint.length):
            worst = self._lower(row, floor, worst, np.array([hint.length]), [hint.track])
        worst = self._lower(row, floor, worst, FIRST_LENGTHS, (0, 1, 2))
        ratio = FIRST_LENGTHS[1] / FIRST_LENGTHS[0]
        while np.isfinite(worst.length) and ratio > _CLOSE:
            ratio = ratio ** (1.0 / 3.0)
            near = worst.length * ratio ** np.array([-2.0, -1.0, 1.0, 2.0])
            near = near[(near >= FIRST_LENGTHS[0]) & (near <= FIRST_LENGTHS[-1])]
            worst = self._lower(row, floor, worst, near, [worst.track])
        others = [track for track in (0, 1, 2) if track != worst.track]
        return self._lower(row, floor, worst, np.array([worst.length]), others)

    def _lower(self, row: int, floor: float, worst: Worst, lengths: Floats, tracks: Sequence[int]) -> Worst:
        """The worst so far, or a lower one among some lengths and tracks."""
        if not np.isfinite(lengths).all():
            return worst
        height, j, track = self.least(row, lengths, floor, worst.height, tracks)
        return worst if j < 0 else Worst(height, float(lengths[j]), track)


@dataclass(frozen=True)
class BumpSearch:
    """The search for a setup's allowances as work in chunks: called with a job it gives BUMP records."""

    project: Project
    setup: Setup
    cases: CaseSet
    floor: float = 0.0

    @cached_property
    def rides(self) -> BumpRides:
        """Every case about its trim."""
        return BumpRides(self.project, self.setup, self.cases)

    def jobs(self) -> list[ChunkRange]:
        """All cases, a few seconds' work each."""
        return chunk_ranges(len(self.cases), _CASES_A_CHUNK)

    def __call__(self, job: ChunkRange) -> Records:
        found, hint = np.zeros(job.size, dtype=BUMP), Worst(np.nan, np.nan, 0)
        for place, row in enumerate(job.items):
            worst = hint = self.rides.worst_of(row, self.floor, hint)
            found[place] = (_kept_back(worst.height), worst.length, worst.track)
        return found

    def allowance(self, parts: Iterable[Records]) -> BumpAllowance:
        """The answers of all jobs, in their order, as one."""
        found = np.concatenate(list(parts))
        return BumpAllowance(self.cases, self.floor, found["height"], found["length"], found["track"])
