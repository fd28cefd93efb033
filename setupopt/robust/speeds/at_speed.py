"""Between which steady speeds every case keeps the floor and every limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.limits_check import broken
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import Records
from setupopt.project.model import Project, Setup

STEP = 1.0  # m/s
MOST = 2.0  # times the sweep's speed


@dataclass(frozen=True)
class SpeedWindow:
    """Lowest and highest speed, m/s, around the sweep's own, `driven`. The ends were looked at themselves.

    `below`, `above`: what breaks at the next lower and the next higher speed; nothing where there is none
    that was looked at. Attitudes with a speed of their own keep it.
    """

    driven: float
    low: float
    high: float
    below: str
    above: str


def speed_window(project: Project, setup: Setup, floor: float) -> SpeedWindow | None:
    """The window in steps of 1 m/s; None where the sweep's own speed does not keep floor and limits."""
    driven = project.venue.sweep.speed
    search = _Search(project, setup, floor)
    if search.breaks(driven):
        return None
    low, below = _end(search, driven, -STEP, STEP)
    high, above = _end(search, driven, STEP, MOST * driven)
    return SpeedWindow(driven, low, high, below, above)


def _end(search: _Search, speed: float, step: float, last: float) -> tuple[float, str]:
    """The last speed on one side that keeps everything, and what breaks at the next."""
    while step * (last - speed - step) >= 0.0:
        broken_there = search.breaks(speed + step)
        if broken_there:
            return speed, broken_there
        speed += step
    return speed, ""


class AtSpeed:
    """One setup's steady cases at any speed of the sweep. Attitudes with a speed of their own keep it."""

    def __init__(self, project: Project, setup: Setup) -> None:
        self.project, self.setup = project, setup
        self.model = Model(project.car)
        self.settings: Records = self.model.settings(setup)
        self.cases = sweep_cases(project.venue)
        own = {attitude.name for attitude in project.venue.attitudes if attitude.speed is not None}
        self.moves = np.array([name not in own for name in self.cases.attitude])

    def at(self, speed: float) -> CaseSet:
        """The cases with the sweep at a speed, m/s."""
        records = self.cases.records.copy()
        records["speed"][self.moves] = speed
        return replace(self.cases, records=records)

    def results(self, speeds: Sequence[float]) -> list[Result]:
        """Answers at every speed, m/s, solved in one batch."""
        sweeps = [self.at(speed) for speed in speeds]
        records = np.concatenate([sweep.records for sweep in sweeps])
        every = CaseSet(records, self.cases.attitude * len(sweeps), np.empty(0), ())
        whole = self.model.run(self.settings, every)
        answers = whole.answers.reshape(len(sweeps), 1, len(self.cases))
        return [Result(sweep, own, whole.car) for sweep, own in zip(sweeps, answers, strict=True)]


class _Search(AtSpeed):
    """What a speed breaks."""

    def __init__(self, project: Project, setup: Setup, floor: float) -> None:
        super().__init__(project, setup)
        self.floor = floor

    def breaks(self, speed: float) -> str:
        """What a speed breaks first: contact, the floor, or a limit by its key; nothing where all is kept."""
        (result,) = self.results([speed])
        if result.lost():
            return "contact"
        if result.worst_margin[0] < self.floor:
            return "the floor of the margin"
        limits = broken(self.project, self.setup, result)
        return limits[0].limit if limits else ""
