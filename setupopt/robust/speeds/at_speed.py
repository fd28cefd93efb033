"""The steady cases of a project's setup at any speed of the sweep."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import Floats, Records
from setupopt.project.model import Project
from setupopt.robust.screening import suspects

STEP = 1.0  # m/s
MOST = 2.0  # times the sweep's speed


def scanned_speeds(driven: float) -> Floats:
    """Speeds of the scan, m/s: in steps of 1 m/s from the sweep's own speed, up to twice that speed."""
    below = int((driven - STEP) / STEP + 1e-9)
    above = int((MOST - 1.0) * driven / STEP + 1e-9)
    return driven + STEP * np.arange(-max(below, 0), above + 1)


class AtSpeed:
    """The project's setup in all cases, at any speed. Attitudes with a speed of their own keep it."""

    def __init__(self, project: Project) -> None:
        self.project = project
        self.model = Model(project.car)
        self.settings: Records = self.model.settings(project.setup)
        self.cases = sweep_cases(project.venue)
        self._solved: dict[float, Records] = {}  # answers (cases) by speed
        own = {
            attitude.name
            for attitude in project.venue.attitudes
            if attitude.speed is not None
        }
        self.varies = np.array(
            [name not in own for name in self.cases.attitude]
        )

    def at(self, speed: float) -> CaseSet:
        """The cases with the sweep at a speed, m/s."""
        records = self.cases.records.copy()
        records["speed"][self.varies] = speed
        return replace(self.cases, source=records)

    def result(self, speed: float) -> Result:
        """Every case solved at a speed, m/s, from the answers at the nearest speed that was solved before."""
        starts = (
            self._solved[min(self._solved, key=lambda one: abs(one - speed))]
            if self._solved
            else None
        )
        found = self.model.run(self.settings, self.at(speed), starts)
        self._solved[speed] = found.answers[0]
        return found

    def near(self, speed: float, start: Result) -> Result:
        """Every case at a speed, m/s, near that of `start`.

        The model gives every trim, and the margin of the cases that may be the lowest of their attitude; the
        other margins are by slope.
        """
        cases = self.at(speed)
        starts = start.answers[0]
        found = self.model.run(self.settings, cases, starts, by_slope=True)
        shape = len(cases.attitudes), cases.angles.size
        low = suspects(
            found.ranked.reshape(shape), start.ranked.reshape(shape)
        ).ravel()
        rows = np.flatnonzero(low & found.contact[0])
        if rows.size:
            found.answers[0, rows] = self.model.run(
                self.settings, cases.pick(rows), starts[rows]
            ).answers[0]
        return found
