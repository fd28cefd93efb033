"""Bumps and seams: at every roll angle and attitude the highest that the car stands.

Stood is what limits.toml allows under [disturbed]: drift, sideslip, time without contact, and to be back in
time. The height at which the instantaneous margin falls to its floor stands beside it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.jobs.chunk_ranges import ChunkRange, chunk_ranges
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.ride_run import STOOD, TRACE
from setupopt.robust.bisection import highest
from setupopt.robust.driver import slowest_reaction
from setupopt.robust.likely_rides import (
    DOUBT,
    DOUBT_BESIDE,
    RIDDEN,
    RIDDEN_BESIDE,
    LikelyRides,
)
from setupopt.robust.obstacle import Obstacle
from setupopt.robust.ride_model import NO_DRIVER

# Lengths looked at first, m, from a stone to a swell; the worst is then closed in on by these ratios.
FIRST_LENGTHS = np.geomspace(0.25, 8.0, 8)
_RATIOS = (1.28, 1.13)
# Of the length that is worst in another case.
_BESIDE = 1.64 ** np.array([-1.0, 0.0, 1.0])
RAMPS = (0.02, 0.2, 1.0)  # m, of seams
MOST = 0.1  # m; higher obstacles are no bumps
_ANGLES_A_CHUNK = 2
_NEAR = 0.1  # under a height that is not stood, the next one is tried first
# What the search for a height leaves open, as a share and in m, and what is kept back for lengths and heights
# between those looked at.
_EXACT, _FINE, _RESERVE = 0.05, 1e-4, 0.06
_INSTANT = 0.3  # of a height that is stood: where the instantaneous number is looked for first
_LOOKS = 4000

# Answer of one case. height, length, track: the highest bump that is stood, by the worst length and track;
# reason: what ends it; instant: the height of that bump that takes the instantaneous margin to the floor;
# seam, ramp: the lowest of both signs of step, and its ramp; growth: of the delayed driver's loop, 1/s;
# reaction: the longest at which gains hold the car, s, of the case that stands least at its roll angle.
_LEVELS = (
    "height",
    "length",
    "instant",
    "seam",
    "ramp",
    "growth",
    "reaction",
)
BUMP = np.dtype(
    [(name, "f8") for name in _LEVELS]
    + [(name, "i8") for name in ("row", "track", "reason")]
)


class Worst(NamedTuple):
    """The worst obstacle of one case, and why it is not stood any higher; no length where `MOST` is stood."""

    obstacle: Obstacle
    reason: int = STOOD
    linear: float = np.inf  # m, the height by the linear answer


@dataclass(frozen=True)
class BumpAllowance:
    """BUMP records (cases) of a sweep.

    Heights are 0 where no driver of that reaction holds the car, and not a number where there is no ride,
    because the car slides or loses contact. Seams are looked at in the case with the least margin of every
    roll angle, not a number elsewhere. A case that stands the least of its roll angle has that, and no
    instantaneous number.
    """

    cases: CaseSet
    floor: float
    found: Records

    def __getattr__(self, name: str) -> Floats:
        if name in BUMP.names:  # type: ignore[operator]
            return self.found[name]
        raise AttributeError(name)

    def obstacle(self, row: int, share: float = 1.0) -> Obstacle:
        """The worst bump of a case, or one of some share of its height."""
        return Obstacle(
            share * float(self.height[row]),
            float(self.length[row]),
            int(self.track[row]),
        )

    @property
    def worst(self) -> int:
        """The case with the lowest allowance; one without a ride has none.

        Cases at one place may share it: the one whose instantaneous number is known stands for them.
        """
        height = np.where(np.isnan(self.height), -1.0, self.height)
        return int(np.lexsort((np.isnan(self.instant), height))[0])

    @property
    def worst_seam(self) -> int:
        """The case with the lowest seam; one without a ride has none."""
        seam = np.where(
            np.isnan(self.height),
            -1.0,
            np.where(np.isnan(self.seam), np.inf, np.abs(self.seam)),
        )
        return int(seam.argmin())


class BumpRides(LikelyRides):
    """One setup's crossings in many cases."""

    def cross(self, row: int, obstacle: Obstacle, **given: object) -> Records:
        """RIDE (1) of one case over an obstacle."""
        speed = self.speed(row)
        step = obstacle.step(speed, self.step)
        road = obstacle.road(self.contacts(row), speed, step)
        return self.disturbed(row, road, step, **given)  # type: ignore[arg-type]

    def trace(self, row: int, obstacle: Obstacle) -> Floats:
        """A crossing as it goes (looks, TRACE)."""
        trace = np.full((_LOOKS, len(TRACE)), np.nan)
        self.cross(row, obstacle, trace=trace, every=1)
        return trace[~np.isnan(trace[:, 0])]

    def lower(self, row: int, worst: Worst, tried: Iterable[Worst]) -> Worst:
        """The worst so far, or a lower one among others; `linear` of each is where its height is looked for."""
        for one in tried:
            sign = np.sign(one.obstacle.height)
            high = abs(worst.obstacle.height)
            is_first = np.isnan(worst.obstacle.length)

            def ends(
                height: float, kind: Obstacle = one.obstacle, sign: float = sign
            ) -> int:
                tall = kind._replace(height=sign * height)
                return int(self.cross(row, tall)["reason"][0])

            if not is_first and ends(high) == STOOD:
                continue
            guess = one.linear if is_first else (1.0 - _NEAR) * high
            height, reason = highest(ends, guess, high, _EXACT, _FINE)
            if height < high:
                kept = one.obstacle._replace(height=sign * height)
                worst = Worst(kept, reason, one.linear)
        return worst

    def likely(
        self, row: int, tried: list[Obstacle], least: Worst | None = None
    ) -> list[Worst]:
        """Obstacles that may be the worst by the linear answer, the worst first."""
        heights = self.linear_heights(row, tried)
        most, count = DOUBT * heights.min(), RIDDEN
        if least is not None:
            most, count = DOUBT_BESIDE * least.linear, RIDDEN_BESIDE
        return [
            Worst(tried[number], STOOD, float(heights[number]))
            for number in np.argsort(heights, kind="stable")[:count]
            if heights[number] <= most
        ]

    def worst_bump(self, row: int, least: Worst | None) -> Worst:
        """The worst bump of one case: over all lengths and tracks; or `least`, the worst of another case at
        that place, where this one stands all that may be worse.
        """
        lengths: Floats = FIRST_LENGTHS
        if least is not None and np.isnan(least.obstacle.length):
            least = None
        if least is not None:
            lengths = self._within(least.obstacle.length * _BESIDE)
        tried = [
            Obstacle(MOST, float(length), track)
            for track in (2, 0, 1)
            for length in lengths
        ]
        worst = least or Worst(Obstacle(MOST, np.nan, 2))
        found = self.lower(row, worst, self.likely(row, tried, least))
        if found is worst:
            return worst
        for ratio in _RATIOS:
            lengths = self._within(
                found.obstacle.length * np.array([1.0 / ratio, ratio])
            )
            beside = [
                found._replace(
                    obstacle=found.obstacle._replace(length=float(length))
                )
                for length in lengths
            ]
            found = self.lower(row, found, beside)
        return found

    def _within(self, lengths: Floats) -> Floats:
        """Lengths no bump is longer or shorter than."""
        return np.unique(np.clip(lengths, FIRST_LENGTHS[0], FIRST_LENGTHS[-1]))

    def worst_seam(self, row: int) -> Worst:
        """The lowest seam of one case, up or down, under both tracks."""
        tried = [
            Obstacle(up, ramp, 2, is_seam=True)
            for ramp in RAMPS
            for up in (1.0, -1.0)
        ]
        start = Worst(Obstacle(MOST, np.nan, 2, is_seam=True))
        return self.lower(row, start, self.likely(row, tried))

    def instant(self, row: int, obstacle: Obstacle, floor: float) -> float:
        """Height, m, of an obstacle of that kind at which the instantaneous margin falls to the floor; `MOST` at
        most. An axle that lifts takes the margin down at once.
        """
        if self.margin[row] <= floor:
            return 0.0

        def falls(height: float) -> int:
            tall = obstacle._replace(height=height)
            ride = self.cross(row, tall, every=1, judged=False)
            return int(ride["least_margin"][0] < floor)

        guess = _INSTANT * obstacle.height + _FINE
        return highest(falls, guess, MOST, _EXACT, _FINE)[0]


@dataclass(frozen=True)
class BumpSearch:
    """The search for a setup's allowances as work in chunks: called with a job it gives BUMP records."""

    rides: BumpRides
    floor: float = 0.0

    @cached_property
    def places(self) -> list[np.ndarray]:
        """The rows at each roll angle, those with the least margin first."""
        _, number = np.unique(self.rides.places, axis=0, return_inverse=True)
        order = np.argsort(
            np.nan_to_num(self.rides.margin, nan=-np.inf), kind="stable"
        )
        number = number.ravel()
        return [order[number[order] == one] for one in range(number.max() + 1)]

    def jobs(self) -> list[ChunkRange]:
        """All roll angles, a few seconds' work each."""
        return chunk_ranges(len(self.places), _ANGLES_A_CHUNK)

    def __call__(self, job: ChunkRange) -> Records:
        return np.concatenate(
            [self._place(self.places[number]) for number in job.items]
        )

    def _place(self, rows: np.ndarray) -> Records:
        """BUMP of all cases at one roll angle."""
        found = np.zeros(rows.size, BUMP)
        least = None
        for one, row in zip(found, rows, strict=True):
            one["row"] = row
            for name in _LEVELS:
                one[name] = np.nan
            if self.rides.rides(row):
                least = self._case(int(row), least, one)
        lowest = int(np.nan_to_num(found["height"], nan=np.inf).argmin())
        if np.isfinite(found["height"][lowest]):
            slopes = self.rides.loop(int(rows[lowest])).slopes
            found["reaction"][lowest] = slowest_reaction(slopes)
        return found

    def _case(self, row: int, least: Worst | None, one: Record) -> Worst | None:
        """Fill in BUMP of one case; returns the least of its place so far. The first has seams too."""
        driver = self.rides.driver(row)
        one["growth"] = driver.growth
        if not driver.holds:
            one["height"], one["seam"], one["reason"] = 0.0, 0.0, NO_DRIVER
            return least
        worst = self.rides.worst_bump(row, least)
        height, length, track, _ = worst.obstacle
        one["height"], one["length"], one["track"] = (
            _kept_back(height),
            length,
            track,
        )
        one["reason"] = worst.reason
        if worst is not least and np.isfinite(length):
            one["instant"] = self.rides.instant(row, worst.obstacle, self.floor)
        if least is None:
            seam = self.rides.worst_seam(row).obstacle
            one["seam"], one["ramp"] = _kept_back(seam.height), seam.length
        return worst

    def allowance(self, parts: Iterable[Records]) -> BumpAllowance:
        """The answers of all jobs, in their order, as one."""
        found = np.concatenate(list(parts))
        return BumpAllowance(
            self.rides.cases, self.floor, found[np.argsort(found["row"])]
        )


def _kept_back(height: float) -> float:
    """The height to be told; `MOST` was looked at itself."""
    return height if abs(height) >= MOST else (1.0 - _RESERVE) * height
