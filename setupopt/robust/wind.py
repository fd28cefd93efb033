"""Steady wind: the speed at which the run must stop, by the direction the wind comes from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics.inputs import Floats, Records
from setupopt.robust.bisection import bisect

STRONGEST = 40.0  # m/s; a wind above it is a storm
# Wind speeds looked at first, m/s; what lies between the last that holds and the first that does not is
# then halved.
_GRID = np.linspace(0.0, STRONGEST, 11)
_HALVINGS = 7
# Cases whose margin by slope is over the floor by less are solved, and so many of the lowest at least.
_BAND = 0.1
_FIRST = 8


def with_wind(cases: CaseSet, speed: float, direction: float) -> CaseSet:
    """The cases with a wind added to what blows in them already.

    A wind from ahead adds to the headwind, one from the left to the crosswind; both along the car.
    """
    records = cases.records.copy()
    records["headwind"] += speed * np.cos(direction)
    records["crosswind"] += speed * np.sin(direction)
    return replace(cases, source=records)


def around(directions: int) -> Floats:
    """Evenly spread directions that a wind may come from, (directions) in rad, the first from ahead."""
    return 2.0 * np.pi * np.arange(directions) / directions


@dataclass(frozen=True, eq=False)
class SteadyWind:
    """One setup in a steady wind. `calm` (cases): its answers without the wind."""

    model: Model
    settings: Records
    cases: CaseSet
    calm: Records

    def margins(self, speed: float, direction: float) -> Floats:
        """Margins by the slopes of the calm answers, (cases); minus infinity where contact is lost."""
        cases = with_wind(self.cases, speed, direction)
        return self.model.run(
            self.settings, cases, self.calm, by_slope=True
        ).safe_margin[0]

    def limit(self, direction: float, floor: float) -> tuple[float, int]:
        """Highest held wind from one direction, m/s, and the row of the first case to fall beyond it.

        0 where the floor is missed without any wind; infinite and -1 where every wind up to 40 m/s is held. The
        search solves the cases that may be the first to fall. All cases are solved at the wind that it ends at;
        where one is under the floor there after all, every case is solved at every wind.
        """
        rows = np.arange(len(self.cases))
        few = partial(self._lowest_of_few, direction, floor)
        every = partial(self._lowest, rows, direction, floor)
        speed, case = _search(few)
        if speed > 0.0 and every(min(speed, STRONGEST)) >= 0:
            return _search(every)
        return speed, case

    def _lowest_of_few(
        self, direction: float, floor: float, speed: float
    ) -> int:
        """`_lowest` of the cases that are near the floor by slope, and of a few more."""
        near = self.margins(speed, direction)
        order = np.argsort(near, kind="stable")
        fallen = self._lowest(order[:_FIRST], direction, floor, speed)
        count = int((near < floor + _BAND).sum())
        if fallen >= 0 or count <= _FIRST:
            return fallen
        return self._lowest(order[_FIRST:count], direction, floor, speed)

    def _lowest(
        self, rows: np.ndarray, direction: float, floor: float, speed: float
    ) -> int:
        """The lowest of some cases where its margin is under `floor`, else -1."""
        cases = with_wind(self.cases.pick(rows), speed, direction)
        result = self.model.run(self.settings, cases, self.calm[rows])
        return (
            int(rows[result.worst[0]]) if result.worst_margin[0] < floor else -1
        )


def _search(lowest: Callable[[float], int]) -> tuple[float, int]:
    """The limit, where `lowest` gives the case that falls in a wind, -1 for none."""
    fallen = (place for place, speed in enumerate(_GRID) if lowest(speed) >= 0)
    first = next(fallen, None)
    if first is None:
        return np.inf, -1
    low, high = _GRID[max(first - 1, 0)], _GRID[first]
    if first > 0:
        low, high = bisect(
            lambda speed: lowest(speed) < 0, low, high, _HALVINGS
        )
    return float(low), lowest(float(high))
