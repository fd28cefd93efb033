"""Gusts: the speed at which the run must stop, by the direction they come from.

The lengths are those of airworthiness standards (physics/gust.py), and shorter ones down to a car's own
length and a little more: at a gap in a wall or a row of trees the car drives through the wind's edge, which
is as long as the gap. A gust that takes two seconds to pass acts as a steady wind, and the limit of that is
told where it is the lower one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.optimize import minimize_scalar

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.physics.balance import COLUMNS
from setupopt.physics.gust import gust_margin
from setupopt.physics.inputs import ANSWER, Floats
from setupopt.project.model import Project, Setup
from setupopt.robust.ride_model import RideModel
from setupopt.robust.wind import STRONGEST, SteadyWind, WindLimit, around

SHORTEST, LONGEST = 6.0, 2.0 * 350.0 * 0.3048  # m
SLOWEST = 2.0  # s to pass
# Lengths looked at first stand at most this ratio apart: what lies between takes no more than a tenth more
# of the margin (tried on 900 gusts and 75 cars).
_RATIO = 1.5
# Every case is tried with gusts of up to 0.4 s, about the longest that a body swings in; those that by these
# stand less than 1.3 times the least gust of all, with gusts of every length.
_QUICK, _NEAR = 0.4, 1.3
_ROUNDS = 4
# What the search leaves open: this share of a gust's speed, or of a light gust of 0.1 m/s.
_CLOSE, _LIGHT = 0.005, 0.1
# A classical Runge-Kutta step is stable to 2.8 over the quickest rate on the real axis (Hairer and Wanner,
# Solving Ordinary Differential Equations II), which is that of a wheel between its dampers.
_STEP, _STABLE = 2e-3, 1.5

# What one direction answers: as in GustLimit, and the limit of steady wind alone.
GUST = np.dtype(
    [("direction", "f8"), ("speed", "f8"), ("case", "i8"), ("length", "f8"), ("steady_speed", "f8"),
     ("steady_case", "i8")]
)  # fmt: skip


@dataclass(frozen=True)
class GustLimit:
    """Least gust, (directions) in m/s at its peak, that takes the worst margin under `floor`, and where.

    The margin is the instantaneous one of a ride. `direction` (directions), rad: where it comes from, 0 from
    ahead, 90 deg from the left. `speed` is the highest that was held, 0 where the floor is missed without
    wind or a case slides or loses contact, infinite where all up to 40 m/s are held. `case` is the row that
    falls first, -1 for none; `length` of the worst gust, m, is not a number
    where a steady wind is worst. `steady` is the limit of steady wind alone.
    """

    floor: float
    direction: Floats
    speed: Floats
    case: np.ndarray
    length: Floats
    steady: WindLimit

    @property
    def worst(self) -> int:
        """The direction with the least gust."""
        return int(self.speed.argmin())


class GustRides(RideModel):
    """One setup's rides through gusts in many cases. Directions in rad, peaks in m/s, lengths in m."""

    @cached_property
    def step(self) -> float:
        """Step in time, s."""
        damping, mass = self.damping[0], self.damping["mass"][0, 3:]
        rates = (np.maximum(damping["bump"], damping["rebound"]) + damping["tyre"]) / mass
        return float(min(_STEP, _STABLE / rates.max()))

    @cached_property
    def windy(self) -> SteadyWind:
        """The cases in a steady wind."""
        return SteadyWind(self.model, self.settings, self.cases, self.result.answers[0])

    def lengths(self, row: int, slowest: float = SLOWEST) -> Floats:
        """Gusts that pass a case within `slowest` s; none where they all act as a steady wind."""
        speed = float(self.cases.records["speed"][row])
        if SLOWEST * speed < SHORTEST:
            return np.empty(0)
        longest = max(SHORTEST, min(LONGEST, slowest * speed))
        steps = int(np.ceil(np.log(longest / SHORTEST) / np.log(_RATIO)))
        return np.geomspace(SHORTEST, longest, steps + 1)

    def margin_in(
        self, row: int, direction: float, peak: float, length: float, floor: float = -np.inf,
        trace: Floats | None = None,
    ) -> float:  # fmt: skip
        """Least margin of a ride; one that is under `floor` is broken off there."""
        bodies, elements, points = self.packed
        states, bed, works = self.scratch()
        least: float = gust_margin(
            bodies[0], elements, points, self.settings[0], self.cases.records[row], self.damping[0],
            self.base(row)[0], states[0], bed, peak, length, direction, self.step, floor, works[0],
            np.zeros((7, COLUMNS)), np.zeros(1, ANSWER)[0], np.empty((0, 5)) if trace is None else trace,
        )  # fmt: skip
        return least

    def trace(self, row: int, direction: float, peak: float, length: float) -> Floats:
        """Time, margin, least wheel load, spare clearance and travel left (looks, 5) of one ride."""
        seconds = length / float(self.cases.records["speed"][row]) + 1.0
        trace = np.full((int(seconds / self.step), 5), np.nan)
        self.margin_in(row, direction, peak, length, trace=trace)
        return trace[~np.isnan(trace[:, 0])]

    def highest(self, row: int, direction: float, length: float, most: float, floor: float) -> float:
        """Highest peak up to `most` that keeps the floor, by halving; the lower end is told."""
        low, high, tried = 0.0, most, most
        while high - low > _CLOSE * max(high, _LIGHT):
            held = self.margin_in(row, direction, tried, length, floor) >= floor
            low, high = (tried, high) if held else (low, tried)
            tried = 0.5 * (low + high)
        return low

    def reach(self, row: int, direction: float, peak: float, floor: float) -> tuple[float, float]:
        """About the gust that a case stands, at quick lengths, and the worst length if it fell at `peak`.

        Under `peak` found by halving; over it guessed, as if the loss grew evenly with the gust.
        """
        spare, least, worst = self.margin[row] - floor, self.margin[row], np.nan
        for length in self.lengths(row, _QUICK):
            margin = self.margin_in(row, direction, peak, length, floor)
            if margin < floor:
                peak, worst = self.highest(row, direction, length, peak, floor), length
            least = min(least, margin)
        if least < floor:
            return peak, float(worst)
        loss = self.margin[row] - least
        return (max(peak, peak * spare / loss) if loss > 0.0 else np.inf), np.nan

    def worst_length(self, row: int, direction: float, peak: float) -> tuple[float, float]:
        """The length that takes most margin, and the margin left: on a grid, then between its neighbours."""
        lengths = self.lengths(row)
        margins = [self.margin_in(row, direction, peak, length) for length in lengths]
        at = int(np.argmin(margins))
        low, high = np.log(lengths[[max(at - 1, 0), min(at + 1, lengths.size - 1)]])
        found = minimize_scalar(
            lambda log: self.margin_in(row, direction, peak, float(np.exp(log))),
            bounds=(float(low), float(high)), method="bounded", options={"xatol": 0.03},
        )  # fmt: skip
        return min((margins[at], float(lengths[at])), (float(found.fun), float(np.exp(found.x))))

    def closer(self, row: int, direction: float, peak: float, floor: float) -> tuple[float, float]:
        """Highest peak up to `peak` that a case stands at all lengths, and the worst of them if it is lower.

        A gust of another speed may have another worst length, so both are sought in turns.
        """
        worst = np.nan
        for _ in range(_ROUNDS):
            margin, length = self.worst_length(row, direction, peak)
            if margin >= floor:
                break
            peak, worst = self.highest(row, direction, length, peak, floor), length
        return peak, worst


@dataclass(frozen=True, eq=False)
class GustSearch:
    """The gust that a setup stands in all cases, as independent jobs: one direction in, GUST (1) out.

    `cases`: None for the venue's sweep. Every case rides through short gusts, at the least peak so far;
    those that come near the floor through all lengths. What a case stood at a higher peak counts for a
    lower one, for a gust passes through all lower winds on its way up.
    """

    project: Project
    setup: Setup
    floor: float = 0.0
    cases: CaseSet | None = None

    @cached_property
    def rides(self) -> GustRides:
        """All cases about their trims, made ready at the first use. Two threads may both do so: alike."""
        cases = sweep_cases(self.project.venue) if self.cases is None else self.cases
        return GustRides(self.project, self.setup, cases)

    def __call__(self, direction: float) -> np.ndarray:
        rides = self.rides
        steady, fallen = rides.windy.limit(direction, self.floor)
        speed, case, length = steady, fallen, np.nan
        if not rides.has_ride.all():
            speed = 0.0
            case = int(rides.result.worst[0])
        elif steady > 0.0:
            peak, row, worst = self._search(direction, min(steady, STRONGEST))
            speed, case, length = (peak, row, worst) if row >= 0 else (speed, case, length)
        return np.array([(direction, speed, case, length, steady, fallen)], GUST)

    def jobs(self, directions: int = 16) -> list[float]:
        """Evenly spread directions."""
        return [float(direction) for direction in around(directions)]

    def limit(self, answers: Iterable[np.ndarray]) -> GustLimit:
        """All answers together."""
        rows = np.concatenate(list(answers))
        steady = WindLimit(self.floor, rows["direction"], rows["steady_speed"], rows["steady_case"])
        return GustLimit(
            self.floor, rows["direction"], rows["speed"], rows["case"], rows["length"], steady
        )  # fmt: skip

    def _search(self, direction: float, peak: float) -> tuple[float, int, float]:
        """Highest held peak up to `peak`, the case that falls beyond it, -1 for none, and at what length."""
        reach, lengths = self._quick_look(direction, peak)
        case, length = -1, np.nan
        if reach.min() < peak:
            case = int(reach.argmin())
            peak, length = float(reach[case]), float(lengths[case])
        for row in np.argsort(reach, kind="stable"):
            if reach[row] >= _NEAR * peak:
                break
            lower, worst = self.rides.closer(row, direction, peak, self.floor)
            if lower < peak:
                peak, case, length = lower, int(row), worst
        return peak, case, length

    def _quick_look(self, direction: float, peak: float) -> tuple[Floats, Floats]:
        """`GustRides.reach` of all cases, those that a steady wind hits hardest first."""
        rides = self.rides
        windy = rides.windy.margins(peak, direction)
        order = np.argsort(np.minimum(windy, rides.margin), kind="stable")
        reach, lengths = np.full((2, order.size), np.nan)
        for row in order:
            reach[row], lengths[row] = rides.reach(row, direction, peak, self.floor)
            peak = min(peak, reach[row])
        return reach, lengths

    def trace(self, direction: float, peak: float, length: float, row: int) -> Floats:
        """Time, margin, least wheel load, spare clearance and travel left (looks, 5) of one case's ride."""
        return self.rides.trace(row, direction, peak, length)
