"""Faults at every roll angle: whether the car stands them, and how long the driver has."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from setupopt.jobs.chunk_ranges import ChunkRange, chunk_ranges
from setupopt.physics.inputs import Records
from setupopt.physics.ride_run import NOT_BACK, STOOD
from setupopt.robust.event import Event, faults
from setupopt.robust.ride_model import NO_DRIVER, RideModel

_ANGLES_A_CHUNK = 3
# Kinds of faults, and the words that the names of each have in common.
KINDS = {
    "loss of drive": "drive",
    "one wheel locked": "locked",
    "flat tyre": "flat",
    "2 deg too much steer": "steer",
}

# One fault in one case: why it is not stood (0: it is), the most drift and sideslip with the driver; and the
# time until limits are left where he keeps the steer still, s, infinite where that takes longer than judged.
FAULT = np.dtype(
    [(name, "i8") for name in ("row", "fault", "reason")]
    + [(name, "f8") for name in ("drift", "sideslip", "seconds")]
)


@dataclass(frozen=True)
class FaultStudy:
    """FAULT records of all faults, `names`, in the case with the least margin of every roll angle."""

    names: tuple[str, ...]
    found: Records

    def of(self, words: str) -> Records:
        """Those whose names have some words in them."""
        chosen = [
            number for number, name in enumerate(self.names) if words in name
        ]
        return self.found[np.isin(self.found["fault"], chosen)]


@dataclass(frozen=True)
class FaultSearch:
    """All faults as work in chunks of roll angles: called with a job it gives FAULT records."""

    rides: RideModel

    @cached_property
    def rows(self) -> np.ndarray:
        """The case with the least margin of every roll angle, of those that have a ride."""
        place = self.rides.places
        margin = np.where(self.rides.has_ride, self.rides.margin, np.inf)
        order = np.lexsort((margin, place[:, 1], place[:, 0]))
        _, first = np.unique(place[order], axis=0, return_index=True)
        rows = order[first]
        return rows[np.isfinite(margin[rows])]

    @cached_property
    def faults(self) -> list[Event]:
        """Every fault by name."""
        return faults(
            self.rides.project.car, self.rides.setup, self.rides.reaction
        )

    def jobs(self) -> list[ChunkRange]:
        """All roll angles, some at a time."""
        return chunk_ranges(self.rows.size, _ANGLES_A_CHUNK)

    def __call__(self, job: ChunkRange) -> Records:
        return np.array(
            [
                self._one(int(self.rows[place]), number)
                for place in job.items
                for number in range(len(self.faults))
            ],
            dtype=FAULT,
        )

    def _one(self, row: int, number: int) -> tuple[float, ...]:
        """One fault in one case, with the driver and without."""
        event = self.faults[number]
        rides = self.rides
        road = event.road(rides.columns, rides.step)
        left = rides.disturbed(
            row, road, rides.step, event=event, driven=False
        )[0]
        is_left = left["reason"] not in (STOOD, NOT_BACK)
        seconds = float(left["failed"]) if is_left else np.inf
        if not rides.driver(row).holds:
            return row, number, NO_DRIVER, np.nan, np.nan, seconds
        ride = rides.disturbed(row, road, rides.step, event=event)[0]
        return (
            row,
            number,
            int(ride["reason"]),
            float(ride["drift"]),
            float(ride["sideslip"]),
            seconds,
        )

    def study(self, parts: Iterable[Records]) -> FaultStudy:
        """The answers of all jobs, in their order, as one."""
        found = [np.zeros(0, FAULT), *parts]
        return FaultStudy(
            tuple(event.name for event in self.faults), np.concatenate(found)
        )
