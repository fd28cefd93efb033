"""The setup as a max-min problem: a point of the unit box in, margins and limits of every case out."""

from __future__ import annotations

from typing import Any

import numpy as np

from setupopt.cases import CaseSet
from setupopt.evaluation import Model
from setupopt.packaging import LimitRows, PackagingLimits
from setupopt.physics.inputs import Floats
from setupopt.project.model import Limits, Project, Setup
from setupopt.result import Result
from setupopt.search.maxmin import Answers
from setupopt.variables import fixed_by_limits, from_setup, to_setup, to_setups, variables_of


class SetupProblem:
    """A batch function for `maxmin`. Counts the cases it solves in `solved`.

    Each axle of each case is a value of its own: their lesser has a bend that no slope can tell of.
    """

    def __init__(self, project: Project, limits: Limits, cases: CaseSet) -> None:
        self.model, self.cases = Model(project.car), cases
        self.variables = variables_of(limits)
        self.base = fixed_by_limits(project.setup, limits)
        self.packaging = PackagingLimits(project.car, limits.packaging)
        self.start = from_setup(self.variables, project.setup)
        self.solved = 0

    def with_cases(self, cases: CaseSet) -> None:
        """Go on with other cases."""
        self.cases = cases

    def setup(self, point: Floats, name: str) -> Setup:
        """The setup at a point (variables)."""
        return to_setup(self.variables, point, self.base, name)

    def result(self, points: Floats, memory: Any = None, cases: CaseSet | None = None) -> Result:
        """Points (points, variables) in every case. `memory`: trims (cases, 8) of a point nearby."""
        wanted = cases or self.cases
        whole = to_setups(self.variables, points, self.base)
        self.solved += len(points) * len(wanted)
        return self.model.run(self.model.settings(whole), wanted, memory)

    def limit_rows(self, points: Floats, result: Result) -> LimitRows:
        """Packaging limits of points, (points, variables) or one point, over a result of theirs."""
        whole = to_setups(self.variables, np.atleast_2d(points), self.base)
        return self.packaging.rows(whole, result.answers)

    def __call__(self, points: Floats, memory: Any = None) -> Answers:
        result = self.result(points, memory)
        limits = self.limit_rows(points, result).rows
        each_axle = result.answers["axle_steer"].reshape(len(points), -1)
        return Answers(each_axle, limits, _memory(result))


def _memory(result: Result) -> Floats:
    """Trim and press of the first setup, (cases, 8)."""
    answers = result.answers[0]
    return np.column_stack([answers["state"], answers["press"]])
