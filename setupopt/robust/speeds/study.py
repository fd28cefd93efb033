"""At which speeds a setup is safe: windows, margin against speed, run-up, and loss of drive."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from setupopt.errors import InputError
from setupopt.evaluation.limits_check import Broken, Sense, broken
from setupopt.evaluation.result import Result, degrees
from setupopt.physics.inputs import Floats
from setupopt.project.bodies import with_body
from setupopt.project.model import Project, Setup
from setupopt.robust.speeds.at_speed import MOST, STEP, AtSpeed
from setupopt.robust.speeds.coast import Coasting, coast
from setupopt.robust.speeds.motion import Path, RunUp, run_up
from setupopt.units import KW

ENDS_TO = 0.05  # m/s
# Speeds solved in one batch: enough for every core, few enough to show progress.
_AT_ONCE = 4
# Contact lost counts as worse than any margin, by this; among lost cases the farthest from contact is told.
_LOST = 1e6
CONTACT, FLOOR, POWER = "contact", "floor", "car.power_kW"


@dataclass(frozen=True, slots=True)
class WindowEnd:
    """The last safe speed on one side, m/s, and what breaks `ENDS_TO` further; none where the scan ends."""

    speed: float
    beyond: tuple[Broken, ...]


@dataclass(frozen=True, slots=True)
class SafeWindow:
    """Speeds at which every case keeps contact, floor and limits, and the power suffices."""

    low: WindowEnd
    high: WindowEnd


@dataclass(frozen=True)
class SpeedStudy:
    """One setup at all speeds of the sweep, m/s; attitudes with a speed of their own keep it.

    `margin` (speeds, attitudes) is the least over the roll angles, minus infinity where contact is lost;
    `angle` (speeds, attitudes), rad, is where. `broken` (speeds): what each speed breaks. `at_rest`:
    limits that the car breaks on the pad, at any speed. `missing`: what has to be given before power and
    `run_up` are looked at; empty where nothing has.
    """

    project: Project
    setup: Setup
    floor: float
    driven: float
    speeds: Floats
    attitudes: tuple[str, ...]
    margin: Floats
    angle: Floats
    broken: tuple[tuple[Broken, ...], ...]
    at_rest: tuple[Broken, ...]
    windows: tuple[SafeWindow, ...]
    run_up: RunUp | None
    missing: str
    coasting: Coasting

    @property
    def window(self) -> SafeWindow | None:
        """The window with the sweep's own speed in it."""
        inside = (w for w in self.windows if w.low.speed <= self.driven <= w.high.speed)
        return next(inside, None)

    @property
    def at_driven(self) -> tuple[Broken, ...]:
        """What breaks at the sweep's own speed."""
        return self.broken[int(np.abs(self.speeds - self.driven).argmin())]

    @property
    def holds(self) -> bool:
        """Whether the sweep's own speed is safe."""
        return self.window is not None and not self.at_rest

    @property
    def cases(self) -> int:
        """How many roll angles and attitudes stand behind each speed."""
        return len(self.coasting.cases)


def scanned_speeds(driven: float) -> Floats:
    """Speeds that are looked at, m/s: in steps from the sweep's own, up to `MOST` times it."""
    below, above = int((driven - STEP) / STEP + 1e-9), int((MOST - 1.0) * driven / STEP + 1e-9)
    return np.asarray(driven + STEP * np.arange(-max(below, 0), above + 1))


def study_speeds(
    project: Project, setup: Setup, floor: float = 0.0, progress: Callable[[int], object] | None = None
) -> SpeedStudy:
    """All of it for one setup. `progress` is told how many of `scanned_speeds` were added.

    Raises UserError where there is no such body. A missing power is told, not raised.
    """
    project = with_body(project, setup.body)
    driven = project.venue.sweep.speed
    search = _Speeds(project, setup, floor)
    speeds = scanned_speeds(driven)
    margin, angle, every = search.scan(speeds, progress)
    kept = tuple(tuple(limit for limit in found if limit.case is not None) for found in every)
    climbed, missing = _run_up(project, setup)
    return SpeedStudy(
        project, setup, floor, driven, speeds, search.cases.attitudes, margin, angle, kept,
        tuple(limit for limit in every[0] if limit.case is None), search.windows(speeds, kept),
        climbed, missing, coast(search, floor),
    )  # fmt: skip


def _run_up(project: Project, setup: Setup) -> tuple[RunUp | None, str]:
    """The run-up, or what has to be given for it."""
    try:
        return run_up(project, setup), ""
    except InputError as missing:
        return None, str(missing)


class _Speeds(AtSpeed):
    """What speeds break."""

    def __init__(self, project: Project, setup: Setup, floor: float) -> None:
        super().__init__(project, setup)
        self.floor = floor
        self._path = Path(project.car, self.cases.records)

    def scan(
        self, speeds: Floats, progress: Callable[[int], object] | None
    ) -> tuple[Floats, Floats, list[tuple[Broken, ...]]]:
        """Least margin and its angle (speeds, attitudes), and what breaks (speeds)."""
        shape = len(self.cases.attitudes), self.cases.angles.size
        rows, worst, found = [], [], []
        for first in range(0, speeds.size, _AT_ONCE):
            results = self.results([float(v) for v in speeds[first : first + _AT_ONCE]])
            for result in results:
                rows.append(np.where(result.contact[0], result.margin[0], -np.inf).reshape(shape))
                score = np.where(result.contact[0], result.margin[0], result.search_margin[0] - _LOST)
                worst.append(score.reshape(shape).argmin(axis=1))
                found.append(self._broken(result))
            if progress is not None:
                progress(len(results))
        return np.array(rows).min(axis=2), self.cases.angles[np.array(worst)], found

    def windows(self, speeds: Floats, found: tuple[tuple[Broken, ...], ...]) -> tuple[SafeWindow, ...]:
        """Runs of speeds that break nothing, each end brought to where something breaks."""
        groups = groupby(range(speeds.size), key=lambda i: not found[i])
        runs = [list(run) for safe, run in groups if safe]
        return tuple(
            SafeWindow(self._end(speeds, run[0], run[0] - 1), self._end(speeds, run[-1], run[-1] + 1))
            for run in runs
        )

    def _end(self, speeds: Floats, safe: int, beyond: int) -> WindowEnd:
        """Bisection between a safe speed of the scan and its neighbour that is none."""
        if not 0 <= beyond < speeds.size:
            return WindowEnd(float(speeds[safe]), ())
        low, high = float(speeds[safe]), float(speeds[beyond])
        there = self._moving(high)
        while abs(high - low) > ENDS_TO:
            middle = 0.5 * (low + high)
            found = self._moving(middle)
            low, high, there = (low, middle, found) if found else (middle, high, there)
        return WindowEnd(low, there)

    def _moving(self, speed: float) -> tuple[Broken, ...]:
        """What breaks at a speed, but for what is broken at rest already."""
        (result,) = self.results([speed])
        return tuple(limit for limit in self._broken(result) if limit.case is not None)

    def _broken(self, result: Result) -> tuple[Broken, ...]:
        """Contact first, then the floor, the limits of the project, and the power."""
        found = (self._contact(result), self._floor(result), *broken(self.project, self.setup, result),
                 self._power(result))  # fmt: skip
        return tuple(one for one in found if one is not None)

    def _contact(self, result: Result) -> Broken | None:
        if not result.lost():
            return None
        row = int(result.worst[0])
        press = float(result.answers["press"][0, row])
        return self._at(row, CONTACT, press, "at most", 0.0, "g")

    def _floor(self, result: Result) -> Broken | None:
        """The worst of the cases with contact."""
        margin = np.where(result.contact[0], result.margin[0], np.inf)
        row = int(margin.argmin())
        if margin[row] >= self.floor:
            return None
        return self._at(row, FLOOR, float(margin[row]), "at least", self.floor, "")

    def _power(self, result: Result) -> Broken | None:
        """The case that takes most power to hold the speed, if the car has less."""
        if self.project.car.power is None:
            return None
        needed = self._path.power(result.cases.records["speed"])
        row = int(needed.argmax())
        if needed[row] <= self.project.car.power:
            return None
        return self._at(row, POWER, needed[row] / KW, "at most", self.project.car.power / KW, "kW")

    def _at(self, row: int, limit: str, value: float, sense: Sense, required: float, unit: str) -> Broken:
        angle = degrees(self.cases.records["roll_angle"][row])
        return Broken(
            limit, "", float(value), sense, required, unit, row + 1, angle, self.cases.attitude[row],
            **self.cases.along(row),
        )  # fmt: skip
