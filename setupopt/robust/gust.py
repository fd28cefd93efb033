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

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.physics.inputs import Floats, Records
from setupopt.physics.ride_run import STOOD
from setupopt.project.model import Project, Setup
from setupopt.robust.bisection import bisect
from setupopt.robust.ride_model import RideModel
from setupopt.robust.wind import (
    STRONGEST,
    SteadyWind,
    WindLimit,
    around,
    with_wind,
)

SHORTEST, LONGEST = 6.0, 2.0 * 350.0 * 0.3048  # m
SLOWEST = 2.0  # s to pass
_LENGTHS = 4
# From each direction ride the cases that a steady wind hits hardest, so many.
_RIDDEN = 4
LEAST = 0.05  # m/s; a gust is looked for between it and the strongest, in equal ratios
_HALVINGS = 7

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
    to 40 m/s are stood; `case` the row that falls first, -1 for none. `steady`: the limit of steady wind, by
    the margin.
    """

    floor: float
    found: Records
    steady: WindLimit

    @property
    def worst(self) -> int:
        """The direction with the least gust."""
        return int(self.found["speed"].argmin())

    @property
    def worst_step(self) -> int:
        """The direction with the least wind step."""
        return int(np.nan_to_num(self.found["step"], nan=np.inf).argmin())


class GustRides(RideModel):
    """One setup's rides through gusts in many cases. Directions in rad, peaks in m/s, lengths in m."""

    @cached_property
    def windy(self) -> SteadyWind:
        """The cases in a steady wind."""
        return SteadyWind(
            self.model, self.settings, self.cases, self.result.answers[0]
        )

    def lengths(self, row: int) -> Floats:
        """Gusts that pass a case within two seconds; none where they all act as a steady wind."""
        speed = float(self.cases.records["speed"][row])
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
        speed = float(self.cases.records["speed"][row])
        samples = 2 * int(length / (speed * self.step)) + 3
        s = 0.5 * speed * self.step * np.arange(samples)
        strength = np.where(
            s < length,
            0.5 * peak * (1.0 - np.cos(2.0 * np.pi * s / length)),
            0.0,
        )
        wind = strength[:, None] * np.array(
            [np.cos(direction), np.sin(direction)]
        )
        road = np.zeros((samples, self.columns))
        return self.disturbed(row, road, self.step, wind=wind, **given)  # type: ignore[arg-type]

    def stands(
        self, row: int, direction: float, peak: float, length: float
    ) -> bool:
        """Whether one case stands a gust."""
        return bool(
            self.through(row, direction, peak, length)["reason"][0] == STOOD
        )

    def instant(
        self,
        row: int,
        direction: float,
        most: float,
        length: float,
        floor: float,
    ) -> float:
        """Peak, m/s, at which the instantaneous margin falls to the floor; `most` at most."""

        def keeps(peak: float) -> bool:
            ride = self.through(
                row, direction, float(peak), length, every=2, judged=False
            )
            return bool(ride["least_margin"][0] >= floor)

        return (
            most
            if keeps(most)
            else float(bisect(keeps, 0.0, most, _HALVINGS)[0])
        )


def stands_step(
    project: Project,
    setup: Setup,
    calm: GustRides,
    row: int,
    direction: float,
    speed: float,
) -> bool:
    """Whether a case stands a wind that is there at once and stays."""
    windy = RideModel(
        project, setup, with_wind(calm.cases.pick([row]), speed, direction)
    )
    if not windy.rides(0) or not windy.driver(0).holds:
        return False
    road = np.zeros((3, windy.columns))
    ride = windy.disturbed(0, road, windy.step, start=calm.motion(row))
    return bool(ride["reason"][0] == STOOD)


@dataclass(frozen=True, eq=False)
class GustSearch:
    """The gust that a setup stands in all cases, as independent jobs: one direction in, GUST (1) out.

    `cases`: None for the venue's sweep. From each direction the cases ride that a steady wind hits hardest.
    """

    project: Project
    setup: Setup
    floor: float = 0.0
    cases: CaseSet | None = None

    @cached_property
    def rides(self) -> GustRides:
        """All cases about their trims, made ready at the first use. Two threads may both do so: alike."""
        cases = (
            sweep_cases(self.project.venue)
            if self.cases is None
            else self.cases
        )
        return GustRides(self.project, self.setup, cases)

    def __call__(self, direction: float) -> np.ndarray:
        rides = self.rides
        steady, fallen = rides.windy.limit(direction, self.floor)
        found = np.zeros(1, GUST)
        found["direction"], found["steady_speed"], found["steady_case"] = (
            direction,
            steady,
            fallen,
        )
        found["length"] = found["instant"] = found["step"] = np.nan
        if not rides.has_ride.all():
            found["case"] = int(rides.result.worst[0])
            return found
        self._search(direction, min(steady, STRONGEST), found[0])
        return found

    def jobs(self, directions: int = 16) -> list[float]:
        """Evenly spread directions."""
        return [float(direction) for direction in around(directions)]

    def limit(self, answers: Iterable[np.ndarray]) -> GustLimit:
        """All answers together."""
        rows = np.concatenate(list(answers))
        steady = WindLimit(
            self.floor,
            rows["direction"],
            rows["steady_speed"],
            rows["steady_case"],
        )
        return GustLimit(self.floor, rows, steady)

    def _stands(
        self, row: int, direction: float, length: float, peak: float
    ) -> bool:
        return self.rides.stands(row, direction, float(np.exp(peak)), length)

    def _search(self, direction: float, usual: float, found: Records) -> None:
        """Fill in the least gust and wind step of the cases that a wind of `usual` m/s hits hardest."""
        rides = self.rides
        order = np.argsort(
            np.minimum(rides.windy.margins(usual, direction), rides.margin),
            kind="stable",
        )
        peak = STRONGEST
        found["speed"], found["case"] = np.inf, -1
        for row in order[:_RIDDEN]:
            if not rides.driver(row).holds:
                found["speed"], found["case"], found["step"] = 0.0, row, 0.0
                return
            for length in rides.lengths(row):
                if rides.stands(row, direction, peak, length):
                    continue
                stands = partial(
                    self._stands, int(row), direction, float(length)
                )
                low, high = np.exp(
                    bisect(stands, np.log(LEAST), np.log(peak), _HALVINGS)
                )
                peak = float(low)
                found["speed"], found["case"], found["length"] = (
                    peak,
                    row,
                    length,
                )
                found["reason"] = int(
                    rides.through(row, direction, float(high), length)[
                        "reason"
                    ][0]
                )
        row = int(found["case"]) if found["case"] >= 0 else int(order[0])
        if found["case"] >= 0:
            found["instant"] = rides.instant(
                row, direction, STRONGEST, float(found["length"]), self.floor
            )
        found["step"] = np.exp(bisect(
            lambda log: stands_step(self.project, self.setup, rides, row, direction, float(np.exp(log))),
            np.log(LEAST), np.log(STRONGEST), _HALVINGS - 1,
        )[0])  # fmt: skip
