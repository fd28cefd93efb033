"""Gusts and wind steps: the highest that the car stands, by the direction they come from.

The discrete gust of airworthiness standards: U(s) = (Uds / 2) (1 - cos(pi s / H)) for 0 <= s <= 2 H, with the
gradient distance H from 30 to 350 ft, that is 9.14 to 106.7 m (14 CFR 25.341(a)(2); quoted from memory); and
shorter ones down to a car's own length and a little more: at a gap in a wall or a row of trees the car
drives through the wind's edge. Here `peak` is Uds and `length` 2 H. A gust is frozen in the air, met at the
car's own speed over the ground, and the same over the whole car.

A wind step is there from one moment to the next, and stays: the car must come from its trim in calm air to
the one in the wind.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from setupopt.jobs.chunk_ranges import ChunkRange, chunk_ranges
from setupopt.physics.inputs import Floats, Records
from setupopt.physics.ride_run import REST, STOOD
from setupopt.robust.bisection import highest
from setupopt.robust.likely_rides import DOUBT, LikelyRides
from setupopt.robust.ride_model import NO_DRIVER, RideModel
from setupopt.robust.wind import (
    STRONGEST,
    SteadyWind,
    around,
    with_wind,
)

SHORTEST, LONGEST = 6.0, 2.0 * 350.0 * 0.3048  # m
_LINEAR_CHUNK = 32  # cases
SLOWEST = 2.0  # s to pass
_LENGTHS = 4
# From each direction ride so many cases and lengths at most, those that the linear answer finds worst, and
# the longest gust in so many cases that a steady wind hits hardest.
RIDDEN = 6
WINDY = 2
# How close a limit is found, as a share and in m/s; under a gust that is not stood, the next is tried first.
_EXACT = 0.05
_FINE = 0.05
_NEAR = 0.9

# What one direction answers: speed and case of the least gust, its length, why it is not stood; instant: the
# gust of that length at which the instantaneous margin falls to its floor; step: the highest wind step, in
# the same case; and the limit of steady wind alone.
GUST = np.dtype(
    [
        (name, "f8")
        for name in (
            "direction",
            "speed",
            "length",
            "instant",
            "step",
            "steady_speed",
        )
    ]
    + [(name, "i8") for name in ("case", "reason", "steady_case")]
)


@dataclass(frozen=True)
class GustLimit:
    """GUST records (directions), of the gusts and wind steps that the car stands.

    `direction`, rad: where the wind comes from, 0 from ahead, 90 deg from the left. `speed`, m/s at its peak,
    is the highest that was stood, 0 where a case slides or loses contact without wind, infinite where all up
    to 40 m/s are stood; `case` the row that falls first, -1 for none. `steady_speed`, `steady_case`: the same of
    steady wind, by the margin.
    """

    found: Records

    @property
    def worst(self) -> int:
        """The direction with the least gust."""
        return int(self.found["speed"].argmin())

    @property
    def worst_steady(self) -> int:
        """The direction with the least steady wind."""
        return int(self.found["steady_speed"].argmin())

    @property
    def worst_step(self) -> int:
        """The direction with the least wind step."""
        return int(np.nan_to_num(self.found["step"], nan=np.inf).argmin())


class GustRides(LikelyRides):
    """One setup's rides through gusts in many cases. Directions in rad, peaks in m/s, lengths in m."""

    @cached_property
    def windy(self) -> SteadyWind:
        """The cases in a steady wind."""
        return SteadyWind(
            self.model, self.settings, self.cases, self.result.answers[0]
        )

    def lengths(self, row: int) -> Floats:
        """Gusts that pass a case within two seconds; none where they all act as a steady wind."""
        speed = self.speed(row)
        if SLOWEST * speed < SHORTEST:
            return np.empty(0)
        return np.geomspace(
            SHORTEST, max(SHORTEST, min(LONGEST, SLOWEST * speed)), _LENGTHS
        )

    def through(
        self,
        row: int,
        direction: float,
        peak: float,
        length: float,
        **given: object,
    ) -> Records:
        """RIDE (1) of one case through a gust."""
        speed = self.speed(row)
        samples = 2 * int(length / (speed * REST)) + 3
        s = 0.5 * speed * REST * np.arange(samples)
        strength = np.where(
            s < length,
            0.5 * peak * (1.0 - np.cos(2.0 * np.pi * s / length)),
            0.0,
        )
        wind = strength[:, None] * np.array(
            [np.cos(direction), np.sin(direction)]
        )
        road = np.zeros((samples, self.columns))
        return self.disturbed(row, road, REST, wind=wind, **given)  # type: ignore[arg-type]

    def ends(
        self, row: int, direction: float, length: float, peak: float
    ) -> int:
        """How one case ends a gust: STOOD, or why not (physics/ride_run.py)."""
        ride = self.through(row, direction, peak, length)
        return int(ride["reason"][0])

    def linear_peaks(self, row: int, direction: Floats) -> Floats:
        """Peaks that one case stands by the linear answer, (directions, _LENGTHS) in m/s.

        Infinite without a ride, and where every gust acts as a steady wind.
        """
        found = np.full((direction.size, _LENGTHS), np.inf)
        lengths = self.lengths(row)
        if not self.rides(row) or not lengths.size:
            return found
        car = self.linear_car(row)
        seen = self.stood.in_gusts(car, lengths / self.speed(row))
        for peaks, angle in zip(found, direction, strict=True):
            blows = np.array([np.cos(angle), np.sin(angle)])
            peaks[:] = self.stood.judged(car, np.moveaxis(seen, 2, 3) @ blows)
        return found

    def likely(self, peaks: Floats) -> list[tuple[float, int, float]]:
        """What may be the worst gust: its peak by the linear answer, case and length, the worst first.

        `peaks` (cases, _LENGTHS): `linear_peaks` from one direction.
        """
        order = np.argsort(peaks, axis=None, kind="stable")[:RIDDEN]
        places = (divmod(int(place), _LENGTHS) for place in order)
        return [
            (float(peaks[row, at]), row, float(self.lengths(row)[at]))
            for row, at in places
            if peaks[row, at] <= DOUBT * peaks.min() < np.inf
        ]

    def instant(
        self,
        row: int,
        direction: float,
        guess: float,
        length: float,
        floor: float,
    ) -> float:
        """Peak, m/s, at which the instantaneous margin falls to the floor."""

        def falls(peak: float) -> int:
            ride = self.through(
                row, direction, peak, length, every=1, judged=False
            )
            return int(ride["least_margin"][0] < floor)

        return highest(falls, guess, STRONGEST, _EXACT, _FINE)[0]

    def step_ends(self, row: int, direction: float, speed: float) -> int:
        """How one case ends a wind that is there at once and stays: STOOD, or why not."""
        case = with_wind(self.cases.pick([row]), speed, direction)
        trim = self.model.run(self.settings, case, self.base(row))
        windy = RideModel(self.project, self.setup, case, trim.answers[0])
        if not windy.is_driven():
            return NO_DRIVER
        road = np.zeros((3, windy.columns))
        ride = windy.disturbed(0, road, windy.step, start=self.motion(row))
        return int(ride["reason"][0])


@dataclass(frozen=True, eq=False)
class GustSearch:
    """The gust that a setup stands in all cases, as independent jobs: one direction in, GUST (1) out.

    `directions`: how many, evenly spread.
    """

    rides: GustRides
    floor: float = 0.0
    directions: int = 16

    def linear(self, job: ChunkRange) -> Floats:
        """Peaks by the linear answer of some cases, (cases, directions, lengths)."""
        angles = around(self.directions)
        return np.array(
            [self.rides.linear_peaks(row, angles) for row in job.items]
        )

    def linear_jobs(self) -> list[ChunkRange]:
        """All cases, some at a time."""
        return chunk_ranges(len(self.rides.cases), _LINEAR_CHUNK)

    def __call__(self, number: int, peaks: Floats | None = None) -> np.ndarray:
        """One direction by its number. `peaks`: the answers of `linear`, all together, if they are known."""
        rides = self.rides
        direction = float(around(self.directions)[number])
        steady, fallen = rides.windy.limit(direction, self.floor)
        found = np.zeros(1, GUST)
        found["direction"], found["steady_speed"], found["steady_case"] = (
            direction,
            steady,
            fallen,
        )
        found["length"] = found["instant"] = found["step"] = np.nan
        if not rides.has_ride.all():
            found["case"], found["step"] = int(rides.result.worst[0]), 0.0
            return found
        if peaks is None:
            peaks = np.concatenate([*map(self.linear, self.linear_jobs())])
        self._search(
            direction, peaks[:, number], min(steady, STRONGEST), found[0]
        )
        return found

    def limit(self, answers: Iterable[np.ndarray]) -> GustLimit:
        """All answers together."""
        return GustLimit(np.concatenate(list(answers)))

    def _search(
        self, direction: float, peaks: Floats, usual: float, found: Records
    ) -> None:
        """Fill in the least gust and wind step: of the cases and lengths that are likely the worst, and of the
        longest gust in the cases that a wind of `usual` m/s hits hardest.
        """
        rides = self.rides
        margins = np.minimum(
            rides.windy.margins(usual, direction), rides.margin
        )
        hit = [int(row) for row in np.argsort(margins, kind="stable")[:WINDY]]
        windy = [
            (usual, row, float(length))
            for row in hit
            for length in rides.lengths(row)[-1:]
        ]
        found["speed"], found["case"] = np.inf, -1
        for guess, row, length in [*rides.likely(peaks), *windy]:
            if not rides.driver(row).holds:
                found["speed"], found["case"], found["step"] = 0.0, row, 0.0
                return
            ends = partial(rides.ends, row, direction, length)
            most = min(float(found["speed"]), STRONGEST)
            if ends(most) == STOOD:
                continue
            near = max(min(guess, _NEAR * most), _FINE)
            peak, reason = highest(ends, near, most, _EXACT, _FINE)
            found["speed"], found["case"] = peak, row
            found["length"], found["reason"] = length, reason
        self._beside(direction, hit[0], found)

    def _beside(self, direction: float, hit: int, found: Records) -> None:
        """Fill in the instantaneous number of the least gust, and the wind step of its case, or else of `hit`."""
        rides = self.rides
        row = int(found["case"])
        peak = min(float(found["speed"]), STRONGEST)
        if row >= 0:
            length = float(found["length"])
            found["instant"] = rides.instant(
                row, direction, max(0.5 * peak, _FINE), length, self.floor
            )
        case = row if row >= 0 else hit
        ends = partial(rides.step_ends, case, direction)
        guess = max(_NEAR * peak, _FINE)
        found["step"] = highest(ends, guess, STRONGEST, _EXACT, _FINE)[0]
