"""The steady cases of a project's setup at any speed of the sweep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import Floats, Records
from setupopt.project.model import Project

STEP = 1.0  # m/s
MOST = 2.0  # times the sweep's speed


def scanned_speeds(driven: float) -> Floats:
    """Speeds of the scan, m/s: in steps of 1 m/s from the sweep's own speed, up to twice that speed."""
    below = int((driven - STEP) / STEP + 1e-9)
    above = int((MOST - 1.0) * driven / STEP + 1e-9)
    return np.asarray(driven + STEP * np.arange(-max(below, 0), above + 1))


class AtSpeed:
    """The project's setup in all cases, at any speed. Attitudes with a speed of their own keep it."""

    def __init__(self, project: Project) -> None:
        self.project = project
        self.model = Model(project.car)
        self.settings: Records = self.model.settings(project.setup)
        self.cases = sweep_cases(project.venue)
        own = {attitude.name for attitude in project.venue.attitudes if attitude.speed is not None}
        self.varies = np.array([name not in own for name in self.cases.attitude])

    def at(self, speed: float) -> CaseSet:
        """The cases with the sweep at a speed, m/s."""
        records = self.cases.records.copy()
        records["speed"][self.varies] = speed
        return replace(self.cases, records=records)

    def results(self, speeds: Sequence[float]) -> list[Result]:
        """Results at every speed, m/s, solved in one batch."""
        sweeps = [self.at(speed) for speed in speeds]
        records = np.concatenate([sweep.records for sweep in sweeps])
        every = CaseSet(records, self.cases.attitude * len(sweeps), np.empty(0), ())
        whole = self.model.run(self.settings, every)
        answers = whole.answers.reshape(len(sweeps), 1, len(self.cases))
        return [Result(sweep, own, whole.car) for sweep, own in zip(sweeps, answers, strict=True)]
