"""Steady wind: the speed at which the run must stop, by the direction the wind comes from."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics.inputs import Floats, Records
from setupopt.project.model import Setup

STRONGEST = 40.0  # m/s; a wind above it is a storm
# Wind speeds looked at first, m/s; what lies between the last that holds and the first that does not is
# then halved.
_GRID = np.linspace(0.0, STRONGEST, 21)
_HALVINGS = 10


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
    return replace(cases, records=records)


def _worst(
    model: Model, settings: Records, cases: CaseSet, speed: float, direction: float
) -> tuple[float, int]:
    """Worst margin in a wind, minus infinity where contact is lost, and its row."""
    result = model.run(settings, with_wind(cases, speed, direction))
    return float(result.worst_margin[0]), int(result.worst[0])


def around(directions: int) -> Floats:
    """Evenly spread directions that a wind may come from, (directions) in rad, the first from ahead."""
    return 2.0 * np.pi * np.arange(directions) / directions


def steady_limit(
    model: Model, settings: Records, cases: CaseSet, direction: float, floor: float
) -> tuple[float, int]:
    """Highest held wind from one direction, m/s, and the case that falls beyond it, as in WindLimit."""
    low, fallen = 0.0, -1
    high = np.inf
    for speed in _GRID:
        margin, row = _worst(model, settings, cases, float(speed), direction)
        if margin < floor:
            high, fallen = float(speed), row
            break
        low = float(speed)
    if not np.isfinite(high) or high == 0.0:
        return (np.inf, -1) if high > 0.0 else (0.0, fallen)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        margin, row = _worst(model, settings, cases, middle, direction)
        if margin < floor:
            high, fallen = middle, row
        else:
            low = middle
    return low, fallen


def wind_limit(
    model: Model, setup: Setup, cases: CaseSet, floor: float = 0.0, directions: int = 16
) -> WindLimit:
    """The limit from evenly spread directions. The wind is steady and the same round the section."""
    direction, settings = around(directions), model.settings(setup)
    found = [steady_limit(model, settings, cases, float(angle), floor) for angle in direction]
    speed, case = (np.array(column) for column in zip(*found, strict=True))
    return WindLimit(floor, direction, speed, case)
