"""Bump allowance: at every roll angle and attitude the highest obstacle that leaves the margin its floor."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from setupopt.cases import CaseSet
from setupopt.physics.inputs import ANSWER, Floats, Records
from setupopt.physics.obstacle import crossing_margin, least_allowed
from setupopt.project.model import Project, Setup
from setupopt.robust.ride_model import RideModel
from setupopt.robust.spans import Span, spans

TRACKS = ("left", "right", "both")
_SHARES = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
# Lengths looked at first, m, from a stone to a swell; the worst is then closed in on.
FIRST_LENGTHS = np.geomspace(0.25, 8.0, 9)
_NARROWINGS = 3
_STEP = 5e-4  # s
MOST = 0.2  # m; higher obstacles are no bumps
_CASES_A_CHUNK = 8

# Allowance of one case.
BUMP = np.dtype([("height", "f8"), ("length", "f8"), ("track", "i8")])


@dataclass(frozen=True)
class BumpAllowance:
    """Highest obstacle of each case, (cases) in metres, with its worst length and track.

    0 where the margin is under the floor without any bump; not a number where contact is lost. A case
    that rides over the highest obstacle looked at, `MOST`, has no worst length.
    """

    cases: CaseSet
    floor: float
    height: Floats
    length: Floats
    track: np.ndarray  # (cases), index into TRACKS

    @property
    def worst(self) -> int:
        """The case that stands least; a lost one stands nothing."""
        return int(np.where(np.isnan(self.height), -1.0, self.height).argmin())


class BumpRides(RideModel):
    """One setup's crossings in many cases."""

    def least(self, row: int, lengths: Floats, floor: float, most: float = MOST) -> tuple[float, int, int]:
        """Least allowed height of one case over lengths and TRACKS, and which; -1 where all allow `most`."""
        (bodies, elements, points), (places, flow, works) = self.model.packed, self.scratch()
        found: tuple[float, int, int] = least_allowed(
            bodies, elements, points, self.settings, self.cases.records[row : row + 1], self.damping,
            self.trim(row), lengths, _SHARES, _STEP, floor, most, places, flow, works, np.zeros((7, 7)),
            np.zeros(1, ANSWER),
        )  # fmt: skip
        return found

    def trace(self, row: int, height: float, length: float, track: int) -> Floats:
        """Time, margin, least wheel load, spare clearance and travel left (looks, 5) of one crossing."""
        (bodies, elements, points), (places, flow, works) = self.model.packed, self.scratch()
        left, right = _SHARES[track]
        trace = np.full((4000, 5), np.nan)
        crossing_margin(
            bodies[0], elements, points, self.settings[0], self.cases.records[row], self.damping[0],
            places[0], flow, self.trim(row), height, length, left, right, _STEP, -np.inf, works[0],
            np.zeros((7, 7)), np.zeros(1, ANSWER)[0], trace,
        )  # fmt: skip
        return trace[~np.isnan(trace[:, 0])]

    def worst_of(self, row: int, floor: float) -> tuple[float, float, int]:
        """Height, length and track of one case: lengths on a grid, then closer around the worst.

        Not a number where contact is lost; no length where `MOST` is ridden over.
        """
        if np.isnan(self.trims[row, 0]):
            return np.nan, np.nan, 0
        height, j, track = self.least(row, FIRST_LENGTHS, floor)
        if j < 0:
            return height, np.nan, 0
        length = FIRST_LENGTHS[j]
        lengths, at = FIRST_LENGTHS, j
        for _ in range(_NARROWINGS):
            low, high = lengths[max(at - 1, 0)], lengths[min(at + 1, lengths.size - 1)]
            lengths = np.geomspace(low, high, 7)
            at = int(np.abs(np.log(lengths / length)).argmin())
            lower, j, k = self.least(row, lengths[1:-1], floor, height)
            if j >= 0:
                height, at, track, length = lower, j + 1, k, lengths[j + 1]
        return height, float(length), track


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

    def jobs(self) -> list[Span]:
        """All cases, a few seconds' work each."""
        return spans(len(self.cases), _CASES_A_CHUNK)

    def __call__(self, job: Span) -> Records:
        return np.array([self.rides.worst_of(row, self.floor) for row in job.items], dtype=BUMP)

    def allowance(self, parts: Iterable[Records]) -> BumpAllowance:
        """The answers of all jobs, in their order, as one."""
        found = np.concatenate(list(parts))
        return BumpAllowance(self.cases, self.floor, found["height"], found["length"], found["track"])
