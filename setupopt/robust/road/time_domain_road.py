"""Rides in time over many random roads, or over a measured one: rms values and crossings with their doubt."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

import numpy as np
from scipy.stats import t as student

from setupopt.jobs.chunk_ranges import ChunkRange, chunk_ranges
from setupopt.physics.inputs import Floats, Records
from setupopt.physics.ride_run import STOOD
from setupopt.robust.level_crossings import clopper_pearson
from setupopt.robust.ride_model import REASONS, RideModel
from setupopt.robust.road.spectrum import Road, Tracks, synthesise

_EVERY = 2  # steps between two looks
_RUN_IN = 1.5  # s before anything counts; the road fades in over the first two thirds of it
_SPACING = 0.05  # m between the points of a drawn road
_CHUNK_SECONDS = 60.0  # of road in one chunk, which bounds the memory

# What a ride is asked for, in the order of all arrays below.
QUANTITIES = ("margin", "load fl", "load fr", "load rl", "load rr", "gap front", "gap rear",
              "travel fl", "travel fr", "travel rl", "travel rr")  # fmt: skip


class Roads(Protocol):
    """Where rides take their roads from."""

    def __len__(self) -> int: ...

    def tracks(self, job: ChunkRange) -> list[Tracks]:
        """Some of the roads, each of two tracks."""
        ...


@dataclass(frozen=True)
class DrawnRoads:
    """Random roads, one a seed: `seeds` of them from `seed` on, at least `length` m long."""

    road: Road
    track: float
    length: float
    seeds: int
    seed: int = 0

    def __len__(self) -> int:
        return self.seeds

    def tracks(self, job: ChunkRange) -> list[Tracks]:
        """The roads of some seeds; each depends on its own seed alone."""
        numbers = [self.seed + number for number in job.items]
        longest = max(self.length, 1.0 / self.road.band[0])
        drawn = synthesise(self.road, longest, _SPACING, self.track, numbers)
        return [
            Tracks(drawn.spacing, heights, is_closed=True)
            for heights in drawn.heights
        ]


@dataclass(frozen=True, eq=False)
class MeasuredRoads:
    """One measured profile, driven forwards and backwards; two tracks also with their sides exchanged."""

    profile: Tracks

    def __len__(self) -> int:
        return 2 * len(self.profile.heights)

    def tracks(self, job: ChunkRange) -> list[Tracks]:
        """As measured, backwards (which exchanges the sides), and both again with the sides exchanged."""
        return [self._variant(number) for number in job.items]

    def _variant(self, number: int) -> Tracks:
        along = (
            self.profile.heights
            if number % 2 == 0
            else self.profile.heights[::-1, ::-1]
        )
        sides = along if number < 2 else along[::-1]
        return Tracks(self.profile.spacing, np.ascontiguousarray(sides))


@dataclass(frozen=True)
class RoadRides:
    """One setup in one case, the first of `model`, over roads, as work in chunks: called with a job it
    gives RIDE records (rides).

    `seconds`: of each ride that count; on a measured profile as many as it lasts, if fewer.
    """

    model: RideModel
    roads: Roads
    seconds: float
    floor: float = 0.0

    @property
    def speed(self) -> float:
        """Of the case, m/s."""
        return self.model.speed(0)

    @property
    def run_in(self) -> float:
        """Seconds before anything counts."""
        return min(_RUN_IN, 0.25 * (self.seconds + _RUN_IN))

    def jobs(self) -> list[ChunkRange]:
        """All roads, in pieces that bound the memory."""
        size = max(1, int(_CHUNK_SECONDS / (self.seconds + _RUN_IN)))
        return chunk_ranges(len(self.roads), size)

    def __call__(self, job: ChunkRange) -> Records:
        skip = round(self.run_in / self.model.step)
        return self.model.ride(
            0,
            self._heights(job),
            0.5 * self.model.step,
            _EVERY,
            skip,
            self.floor,
        )

    def _heights(self, job: ChunkRange) -> Floats:
        """Roads as the case meets them, (rides, samples, columns), faded in."""
        contacts = self.model.contacts(0)
        step = 0.5 * self.model.step
        time = (
            np.arange(2 * round(0.5 * (self.seconds + self.run_in) / step) + 1)
            * step
        )
        begun = np.clip(time / (self.run_in / 1.5), 0.0, 1.0)
        fade = begun * begun * (3.0 - 2.0 * begun)
        tracks = self.roads.tracks(job)
        met = [
            track.under(track.start + self.speed * time, contacts)
            for track in tracks
        ]
        return np.ascontiguousarray(np.moveaxis(np.array(met) * fade, 1, 2))


def ride_length(speed: float, seconds: float) -> float:
    """Metres of road that a ride of so many counted seconds needs, with its run-in and the car's length."""
    return speed * (seconds + _RUN_IN) + 20.0


def profile_seconds(profile: Tracks, speed: float) -> float:
    """Seconds that count on a measured profile."""
    whole = (profile.heights.shape[-1] - 1) * profile.spacing / speed
    return whole - min(_RUN_IN, 0.25 * whole)


class Spread(NamedTuple):
    """An rms value with the interval that holds it at 95 %."""

    mean: float
    rms: float  # deviation from the mean
    low: float
    high: float


@dataclass
class RideSums:
    """Rides summed up; takes the same room for ten as for ten million. Lost rides count as lost alone."""

    floor: float = 0.0
    step: float = 1.5e-3  # s
    rides: int = 0
    lost: int = 0
    under: int = 0  # rides that went under the floor, lost ones among them
    reasons: Floats = field(
        default_factory=lambda: np.zeros(len(REASONS))
    )  # rides by their end
    drift: float = 0.0  # the most of all rides, m, and rad
    sideslip: float = 0.0
    crossings: float = 0.0
    seconds: float = 0.0
    time_under: float = 0.0  # shares of the time, summed over rides
    off_surface: float = 0.0
    on_stop: float = 0.0
    least_margin: float = np.inf
    least_clearance: float = np.inf
    least_load: Floats = field(default_factory=lambda: np.full(4, np.inf))
    # sums over rides of first and second moments and their products, (5, QUANTITIES)
    sums: Floats = field(default_factory=lambda: np.zeros((5, len(QUANTITIES))))

    def add(self, rides: Records) -> None:
        """Add RIDE records."""
        lost = (rides["lost"] > 0.0) | (rides["samples"] == 0.0)
        self.lost += int(lost.sum())
        self.reasons += np.bincount(
            rides["reason"].astype(int), minlength=len(REASONS)
        )
        self.drift = max(self.drift, float(rides["drift"].max()))
        self.sideslip = max(self.sideslip, float(rides["sideslip"].max()))
        self.under += int((lost | (rides["least_margin"] < self.floor)).sum())
        kept = rides[~lost]
        self.rides += len(kept)
        if not len(kept):
            return
        self._add_counts(kept)
        first, second = _moments(kept)
        parts = (first, second, first * first, first * second, second * second)
        self.sums += np.array([part.sum(axis=0) for part in parts])

    def _add_counts(self, rides: Records) -> None:
        samples = rides["samples"]
        self.crossings += float(rides["crossings"].sum())
        self.seconds += float(samples.sum()) * _EVERY * self.step
        self.time_under += float((rides["under_floor"] / samples).sum())
        self.off_surface += float((rides["off_surface"] / samples).sum())
        self.on_stop += float((rides["on_stop"] / samples).sum())
        self.least_margin = min(
            self.least_margin, float(rides["least_margin"].min())
        )
        self.least_clearance = min(
            self.least_clearance, float(rides["least_clearance"].min())
        )
        self.least_load = np.minimum(
            self.least_load, rides["least_load"].min(axis=0)
        )

    @property
    def share_under(self) -> float:
        """Share of the time under the floor."""
        return self.time_under / max(self.rides, 1)

    @property
    def share_off_surface(self) -> float:
        """Share of the time with a wheel off the surface."""
        return self.off_surface / max(self.rides, 1)

    @property
    def share_on_stop(self) -> float:
        """Share of the time with a wheel on a bump or droop stop."""
        return self.on_stop / max(self.rides, 1)

    def chance_under(self) -> tuple[float, float, float]:
        """Share of the rides that went under the floor, and the interval that holds it at 95 %."""
        return _chance(self.under, self.rides + self.lost)

    def chance_fallen(self) -> tuple[float, float, float]:
        """Share of the rides that were not stood, and the interval that holds it at 95 %."""
        trials = int(self.reasons.sum())
        return _chance(trials - int(self.reasons[STOOD]), trials)

    def spread(self, quantity: str) -> Spread:
        """Mean and rms of a quantity over all rides; not a number where all were lost.

        The doubt of the variance v = m2 - m1^2 by its slopes: var(v) = var(m2) - 4 m1 cov(m1, m2) +
        4 m1^2 var(m1), of the rides' own moments; Student's factor for few rides.
        """
        n = self.rides
        if n == 0:
            return Spread(np.nan, np.nan, np.nan, np.nan)
        m1, m2, m11, m12, m22 = self.sums[:, QUANTITIES.index(quantity)] / n
        rms = float(np.sqrt(max(m2 - m1 * m1, 0.0)))
        if n < 2 or rms == 0.0:
            return Spread(float(m1), rms, 0.0, np.inf)
        scatter = (
            (m22 - m2 * m2)
            - 4.0 * m1 * (m12 - m1 * m2)
            + 4.0 * m1 * m1 * (m11 - m1 * m1)
        )
        doubt = float(np.sqrt(max(scatter, 0.0) / (n - 1))) / (2.0 * rms)
        reach = float(student.ppf(0.975, n - 1)) * doubt
        return Spread(float(m1), rms, max(0.0, rms - reach), rms + reach)


def _chance(count: int, trials: int) -> tuple[float, float, float]:
    low, high = clopper_pearson(count, trials) if trials else (0.0, 1.0)
    return count / max(trials, 1), low, high


def _moments(rides: Records) -> tuple[Floats, Floats]:
    """First and second moment of every quantity in every ride, (rides, QUANTITIES) each."""
    names = ("margin", "load", "gap", "travel")
    first = np.column_stack([rides[name] for name in names])
    second = np.column_stack([rides[f"{name}_square"] for name in names])
    samples = rides["samples"][:, None]
    return first / samples, second / samples
