"""The setup as a max-min problem: a point of the unit box in, margins and limits of every place out.

A place is an attitude at a roll angle, of the car as it should be or as it may be built.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from setupopt.evaluation.cases import CaseSet, placed_cases, sweep_at
from setupopt.evaluation.limits import LimitRows, PackagingLimits
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.evaluation.variables import fixed_by_limits, from_setup, to_setup, to_setups, variables_of
from setupopt.physics.inputs import ANSWER, Floats, Records
from setupopt.project.model import Limits, Project, Setup
from setupopt.robust.builds.build_variation import BuildErrors
from setupopt.search.engine.index_points import Index, IndexPoints, SemiInfiniteEvaluation
from setupopt.search.objective import Goal, goal_of


class SetupProblem:
    """A placed function of the engine. Counts the cases it solves in `solved`.

    Each axle of each case is a value of its own: their lesser has a bend that no slope can tell of.
    Families are attitudes, first of the car as it should be, then of every build that was added.
    """

    floor_scale = 0.1  # the size of a broken floor that counts as one in the search

    def __init__(
        self, project: Project, limits: Limits, goal: Goal | None = None, kept: Iterable[str] = ()
    ) -> None:
        pinned = set(kept)
        self.project, self.goal = project, goal or goal_of(project.venue)
        self.model, self.limits = Model(project.car), limits
        self.variables = tuple(v for v in variables_of(limits) if v.name not in pinned)
        self.base = fixed_by_limits(project.setup, limits, pinned)
        self.packaging = PackagingLimits(project.car, limits.packaging)
        self.start = from_setup(self.variables, project.setup)
        self.attitudes = len(project.venue.attitudes)
        self.index = Index(self.attitudes, sweep_at(project.venue))
        self.builds: list[Floats] = []  # errors of added builds, see robust.tolerance.NAMES
        self.solved = 0
        self._cases: tuple[IndexPoints, CaseSet] | None = None

    # ---- points and places ------------------------------------------------------------------------------

    def setup(self, point: Floats, name: str) -> Setup:
        """The setup at a point (variables)."""
        return to_setup(self.variables, point, self.base, name)

    def setups(self, points: Floats) -> Records:
        """SETUP records of the setups at points (points, variables)."""
        return to_setups(self.variables, np.atleast_2d(points), self.base)

    def add_build(self, errors: Floats) -> int:
        """A build to reckon with; the number of its first family."""
        known = [i for i, build in enumerate(self.builds) if np.array_equal(build, errors)]
        if not known:
            self.builds.append(errors)
        return self.attitudes * (1 + (known[0] if known else len(self.builds) - 1))

    def cases(self, places: IndexPoints) -> CaseSet:
        """The load cases at places."""
        if self._cases is None or self._cases[0] is not places:
            found = placed_cases(self.project.venue, places.family % self.attitudes, places.at)
            self._cases = places, found
        return self._cases[1]

    # ---- answers ----------------------------------------------------------------------------------------

    def result(self, points: Floats, cases: CaseSet, memory: Floats | None = None) -> Result:
        """Points (points, variables) as they should be built, in any cases; `memory`: trims nearby."""
        self.solved += len(points) * len(cases)
        return self.model.run(self.model.settings(self.setups(points)), cases, memory)

    def answers(self, points: Floats, places: IndexPoints, memory: Floats | None = None) -> Records:
        """ANSWER records (points, places)."""
        build, cases = places.family // self.attitudes, self.cases(places)
        if not build.any():
            return self.result(points, cases, memory).answers
        answers, whole = np.zeros((len(points), len(places)), ANSWER), self.setups(points)
        for number in np.unique(build):
            own = np.flatnonzero(build == number)
            known = None if memory is None else memory[own]
            found = self.model.run(self._settings(whole, int(number)), cases.pick(own), known)
            answers[:, own] = found.answers
        self.solved += answers.size
        return answers

    def _settings(self, whole: Records, build: int) -> Records:
        """SETTING records of setups as one of the builds."""
        if build == 0 or self.limits.tolerance is None:
            return self.model.settings(whole)
        errors = BuildErrors(self.project.car, whole, self.limits.tolerance)
        return errors.settings(self.builds[build - 1][None, :], self.model)

    def __call__(self, points: Floats, places: IndexPoints, memory: Any = None) -> SemiInfiniteEvaluation:
        answers = self.answers(points, places, memory)
        values, value_place = self._values(answers, places)
        limits = self.limit_rows(points, places, answers)
        return SemiInfiniteEvaluation(values, limits.rows, _memory(answers[0]), value_place, limits.case)

    def _values(self, answers: Records, places: IndexPoints) -> tuple[Floats, np.ndarray]:
        """Margins as they count, both axles of the places whose attitude counts, and their places."""
        attitude = places.family % self.attitudes
        counted = np.flatnonzero(self.goal.weights[attitude] > 0.0)
        axles = answers["axle_search_margin"][:, counted]
        values = self.goal.counts(attitude[counted][:, None], axles)
        return values.reshape(len(answers), 2 * counted.size), np.repeat(counted, 2)

    def limit_rows(self, points: Floats, places: IndexPoints, answers: Records) -> LimitRows:
        """Packaging limits of the car as it should be, then floors of all builds; `case` is the place."""
        packed, floors = self._packed(points, places, answers), self._floors(places, answers)
        return LimitRows(
            np.concatenate([packed.rows, floors.rows], axis=1),
            np.concatenate([packed.owner, floors.owner]),
            np.concatenate([packed.case, floors.case]),
        )

    def _packed(self, points: Floats, places: IndexPoints, answers: Records) -> LimitRows:
        exact = np.flatnonzero(places.family < self.attitudes)
        if exact.size == 0:
            return LimitRows(np.empty((len(answers), 0)), exact, exact)
        whole, cases = self.setups(points), self.cases(places).records[exact]
        own = np.ascontiguousarray(answers[:, exact])
        found = self.packaging.rows(whole, self.model.settings(whole), cases, own)
        return replace(found, case=np.where(found.case >= 0, exact[found.case], -1))

    def _floors(self, places: IndexPoints, answers: Records) -> LimitRows:
        attitude = places.family % self.attitudes
        held = np.flatnonzero(np.isfinite(self.goal.floors[attitude]))
        spare = (answers["search_margin"][:, held] - self.goal.floors[attitude[held]]) / self.floor_scale
        return LimitRows(spare, len(self.packaging.limits) + attitude[held], held)


def _memory(answers: Records) -> Floats:
    """Trim and press of the places, (places, 8)."""
    return np.column_stack([answers["state"], answers["press"]])
