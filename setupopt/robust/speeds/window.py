"""Safe windows of speed: every case keeps contact, the minimum margin and all limits, and the power suffices.

The only judgement of a speed: `speeds` and the run card both take their windows from here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from math import ceil, log2

import numpy as np

from setupopt.evaluation.limits_check import Broken, Sense, broken
from setupopt.evaluation.result import Result, degrees
from setupopt.physics.inputs import Floats
from setupopt.project.bodies import with_body
from setupopt.project.model import Project
from setupopt.robust.bisection import bisect
from setupopt.robust.speeds.at_speed import STEP, AtSpeed, scanned_speeds
from setupopt.robust.speeds.motion import PathForces
from setupopt.units import KW

ENDS_TO = 0.05  # m/s
_HALVINGS = ceil(log2(STEP / ENDS_TO))
# Limits that stand in no file, and the power.
CONTACT = "contact"
FLOOR = "floor"
POWER = "car.power_kW"
PLAIN = {
    CONTACT: "contact lost",
    FLOOR: "the minimum margin",
    POWER: "the power",
}


@dataclass(frozen=True, slots=True)
class WindowEnd:
    """The last safe speed on one side, m/s, and what breaks `ENDS_TO` further; none where the scan ends."""

    speed: float
    beyond: tuple[Broken, ...]


@dataclass(frozen=True, slots=True)
class SafeWindow:
    """Speeds at which every case keeps contact, minimum margin and limits, and the power suffices."""

    low: WindowEnd
    high: WindowEnd


def safe_window(project: Project, floor: float = 0.0) -> SafeWindow | None:
    """The window with the sweep's own speed in it, as `speeds` finds it; None where that speed is not safe.

    `floor`: minimum margin. A limit that the setup breaks at rest makes every speed unsafe.
    """
    project = with_body(project, project.setup.body)
    search = WindowSearch(project, floor)
    driven = project.venue.sweep.speed
    if search.broken_at(driven):
        return None
    speeds = scanned_speeds(driven)
    at = int(np.abs(speeds - driven).argmin())
    return SafeWindow(
        search.end_from(speeds, at, -1), search.end_from(speeds, at, 1)
    )


class WindowSearch(AtSpeed):
    """What each speed breaks, and the windows between."""

    def __init__(self, project: Project, floor: float) -> None:
        super().__init__(project)
        self.floor = floor
        self._path = PathForces(project, self.cases.records)

    def windows(
        self, speeds: Floats, found: tuple[tuple[Broken, ...], ...]
    ) -> tuple[SafeWindow, ...]:
        """Runs of scanned speeds that break nothing, each end refined. `found` (speeds): what breaks."""
        groups = groupby(range(speeds.size), key=lambda i: not found[i])
        runs = [list(run) for safe, run in groups if safe]
        return tuple(
            SafeWindow(
                self._end(speeds, run[0], -1), self._end(speeds, run[-1], 1)
            )
            for run in runs
        )

    def end_from(self, speeds: Floats, at: int, side: int) -> WindowEnd:
        """The end of the window around a safe speed of the scan, on one side, -1 or 1."""
        while 0 <= at + side < speeds.size and not self._broken_driven(
            float(speeds[at + side])
        ):
            at += side
        return self._end(speeds, at, side)

    def _end(self, speeds: Floats, safe: int, side: int) -> WindowEnd:
        """Bisection between a safe speed of the scan and its unsafe neighbour on one side."""
        beyond = safe + side
        if not 0 <= beyond < speeds.size:
            return WindowEnd(float(speeds[safe]), ())
        last, first_unsafe = bisect(
            lambda speed: not self._broken_driven(float(speed)),
            speeds[safe],
            speeds[beyond],
            _HALVINGS,
        )
        return WindowEnd(float(last), self._broken_driven(float(first_unsafe)))

    def _broken_driven(self, speed: float) -> tuple[Broken, ...]:
        """What breaks at a speed, without the limits that are broken at rest."""
        return tuple(
            limit for limit in self.broken_at(speed) if limit.case is not None
        )

    def broken_at(self, speed: float) -> tuple[Broken, ...]:
        """What breaks at a speed, m/s."""
        return self.broken_in(self.result(speed))

    def broken_in(self, result: Result) -> tuple[Broken, ...]:
        """Contact first, then the minimum margin, the limits of the project, and the power."""
        limits = broken(self.project, self.project.setup, result)
        found = (
            self._contact(result),
            self._margin(result),
            *limits,
            self._power(result),
        )
        return tuple(one for one in found if one is not None)

    def _contact(self, result: Result) -> Broken | None:
        if not result.lost():
            return None
        row = int(result.worst[0])
        press = float(result.answers["press"][0, row])
        return self._in_case(row, CONTACT, press, "at most", 0.0, "g")

    def _margin(self, result: Result) -> Broken | None:
        """The lowest margin of the cases with contact."""
        margin = np.where(result.contact[0], result.margin[0], np.inf)
        row = int(margin.argmin())
        if margin[row] >= self.floor:
            return None
        return self._in_case(
            row, FLOOR, float(margin[row]), "at least", self.floor, ""
        )

    def _power(self, result: Result) -> Broken | None:
        """The case that takes most power to hold the speed, if the car has less."""
        power = self.project.car.power
        if power is None:
            return None
        needed = self._path.power(result.cases.records["speed"])
        row = int(needed.argmax())
        if needed[row] <= power:
            return None
        return self._in_case(
            row, POWER, needed[row] / KW, "at most", power / KW, "kW"
        )

    def _in_case(
        self,
        row: int,
        limit: str,
        value: float,
        sense: Sense,
        required: float,
        unit: str,
    ) -> Broken:
        angle = degrees(self.cases.records["roll_angle"][row])
        return Broken(
            limit, "", float(value), sense, required, unit, row + 1, angle, self.cases.attitude[row],
            **self.cases.along(row),
        )  # fmt: skip
