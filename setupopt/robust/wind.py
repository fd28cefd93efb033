"""Steady wind: the speed at which the run must stop, by the direction the wind comes from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics.inputs import Floats, Records

STRONGEST = 40.0  # m/s; a wind above it is a storm
# Wind speeds looked at first, m/s; what lies between the last that holds and the first that does not is
# then halved.
_GRID = np.linspace(0.0, STRONGEST, 11)
_HALVINGS = 7
# Cases whose margin by slope is over the floor by less are solved, and so many of the lowest at least.
_BAND = 0.1
_FIRST = 8


@dataclass(frozen=True)
class WindLimit:
    """Least wind, (directions) in m/s, that takes the worst margin under `floor`, and where.

    `direction` (directions), rad: where the wind comes from, 0 from ahead, 90 deg from the left.
    `speed` is the highest that was held, 0 where the floor is missed without any wind, infinite where
    every wind up to 40 m/s is held. `case` is the row of the first case to fall, -1 for none.
    """

    floor: float
    direction: Floats
    speed: Floats
    case: np.ndarray

    @property
    def worst(self) -> int:
        """The direction with the least wind."""
        return int(self.speed.argmin())


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


class SteadyWind:
    """One setup in a steady wind. `calm` (cases): its answers without the wind."""

    def __init__(
        self, model: Model, settings: Records, cases: CaseSet, calm: Records
    ) -> None:
        self.model = model
        self.settings = settings
        self.cases = cases
        self.calm = calm

    def margins(self, speed: float, direction: float) -> Floats:
        """Margins by the slopes of the calm answers, (cases); minus infinity where contact is lost."""
        cases = with_wind(self.cases, speed, direction)
        return self.model.run(
            self.settings, cases, self.calm, by_slope=True
        ).safe_margin[0]

    def limit(self, direction: float, floor: float) -> tuple[float, int]:
        """Highest held wind from one direction, m/s, and the case that falls beyond it, as in WindLimit.

        The search solves the cases that may be the first to fall. All cases are solved at the wind that it
        ends at; where one is under the floor there after all, every case is solved at every wind.
        """
        speed, case = self._search(self._lowest_of_few, direction, floor)
        held = min(speed, STRONGEST)
        if (
            speed > 0.0
            and self._lowest(np.arange(len(self.cases)), held, direction, floor)
            >= 0
        ):
            return self._search(self._lowest_of_all, direction, floor)
        return speed, case

    def _search(
        self,
        lowest: Callable[[float, float, float], int],
        direction: float,
        floor: float,
    ) -> tuple[float, int]:
        """The limit, where `lowest` gives the case that falls in a wind, -1 for none."""
        low = 0.0
        for high in _GRID:
            fallen = lowest(float(high), direction, floor)
            if fallen >= 0:
                break
            low = float(high)
        if fallen < 0:
            return np.inf, -1
        if high == 0.0:
            return 0.0, fallen
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            found = lowest(middle, direction, floor)
            if found >= 0:
                high = middle
                fallen = found
            else:
                low = middle
        return low, fallen

    def _lowest_of_few(
        self, speed: float, direction: float, floor: float
    ) -> int:
        """`_lowest` of the cases that are near the floor by slope, and of a few more."""
        near = self.margins(speed, direction)
        order = np.argsort(near, kind="stable")
        fallen = self._lowest(order[:_FIRST], speed, direction, floor)
        count = int((near < floor + _BAND).sum())
        if fallen >= 0 or count <= _FIRST:
            return fallen
        return self._lowest(order[_FIRST:count], speed, direction, floor)

    def _lowest_of_all(
        self, speed: float, direction: float, floor: float
    ) -> int:
        return self._lowest(np.arange(len(self.cases)), speed, direction, floor)

    def _lowest(
        self, rows: np.ndarray, speed: float, direction: float, floor: float
    ) -> int:
        """The lowest of some cases where its margin is under `floor`, else -1."""
        cases = with_wind(self.cases.pick(rows), speed, direction)
        result = self.model.run(self.settings, cases, self.calm[rows])
        return (
            int(rows[result.worst[0]]) if result.worst_margin[0] < floor else -1
        )
