"""The setup as a max-min problem: points of the unit box in, margins and limits at index points out.

An index point is an attitude at a roll angle, of the exact car or of one with build errors.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, fields, replace
from functools import cached_property, lru_cache, partial
from typing import Any

import numpy as np

from setupopt.evaluation.cases import CaseSet, placed_cases, sweep_at
from setupopt.evaluation.limits import LimitRows, PackagingLimits
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.evaluation.setup_record import by_wheel
from setupopt.evaluation.variables import (
    Variable,
    fixed_by_limits,
    from_setup,
    is_kept,
    to_setup,
    to_setups,
    variables_of,
)
from setupopt.physics.inputs import ANSWER, Floats, Records
from setupopt.project.limits_model import Limits
from setupopt.project.model import Project, Setup
from setupopt.robust.builds.build_variation import BuildErrors
from setupopt.robust.linear_stood import KINDS
from setupopt.search.engine.index_points import (
    Index,
    IndexPoints,
    SemiInfiniteEvaluation,
)
from setupopt.search.handling import HANDLING, asked, handling_rows
from setupopt.search.objective import Objective
from setupopt.search.requirement import Requirement

# A minimum margin missed by this much counts as one in the search.
MINIMUM_MARGIN_SCALE = 0.1


@dataclass
class CaseCounter:
    """How many load cases were solved."""

    count: int = 0


@dataclass(frozen=True, eq=False)
class SetupProblem:
    """A semi-infinite function for the engine, changed by `replace`.

    Families are the attitudes of the exact car, then those of each build. `builds`: errors of each build, in
    the order of their names in BuildErrors. `loosened`: the number of a packaging limit, and by how much it
    is looser, in SI. `counter` counts the cases solved, and is shared with problems made by `replace`.
    `requirement`: what must be stood, None without. `least_built`: the margin that builds must keep where
    they are not raised, None where they are. `has_builds`, `has_spread`: what builds err in.
    """

    project: Project
    objective: Objective
    fixed_settings: frozenset[str] = frozenset()
    builds: tuple[Floats, ...] = ()
    loosened: tuple[int, float] | None = None
    counter: CaseCounter = field(default_factory=CaseCounter)
    requirement: Requirement | None = None
    least_built: float | None = None
    has_builds: bool = True
    has_spread: bool = False

    def __getstate__(self) -> dict[str, Any]:
        """The fields alone: what is derived from them is derived again on another machine."""
        return {one.name: getattr(self, one.name) for one in fields(self)}

    @property
    def limits(self) -> Limits:
        """Ranges and packaging limits of the project, which must have some."""
        assert self.project.limits is not None
        return self.project.limits

    @cached_property
    def model(self) -> Model:
        """The car, packed for the kernels."""
        return Model(self.project.car)

    @cached_property
    def variables(self) -> tuple[Variable, ...]:
        """The settings that may change."""
        return tuple(
            v
            for v in variables_of(self.limits)
            if not is_kept(v, self.fixed_settings)
        )

    @cached_property
    def base(self) -> Setup:
        """A setup with the settings that may not change."""
        return fixed_by_limits(
            self.project.setup, self.limits, self.fixed_settings
        )

    @cached_property
    def _base(self) -> Records:
        """`base` as a SETUP record (1)."""
        return by_wheel(self.base)

    @cached_property
    def packaging(self) -> PackagingLimits:
        """The packaging limits."""
        has_four_heights = any(
            v.setting.field == "ride_height" and len(v.places) == 1
            for v in self.variables
        )
        limits = PackagingLimits(
            self.project.car,
            self.limits.packaging,
            has_four_heights,
            self.model.cars,
        )
        return (
            limits if self.loosened is None else limits.widened(*self.loosened)
        )

    @cached_property
    def start(self) -> Floats:
        """Today's setup, (variables)."""
        return from_setup(self.variables, self.project.setup)

    @cached_property
    def limit_names(self) -> tuple[str, ...]:
        """Names of all limits, by the numbers in `limit_rows`: packaging, minimum margins, what must be
        stood, builds, handling.
        """
        minimums = (
            f'minimum margin of "{name}"' for name in self.objective.names
        )
        handling = (limit.name for limit in HANDLING)
        return (
            *(limit.name for limit in self.packaging.limits),
            *minimums,
            *KINDS,
            "build",
            *handling,
        )

    @property
    def attitudes(self) -> int:
        """How many attitudes the venue has."""
        return len(self.objective.names)

    @cached_property
    def index(self) -> Index:
        """The sweep of the exact car."""
        return Index(self.attitudes, sweep_at(self.project.venue))

    @cached_property
    def cases(self) -> Callable[[IndexPoints], CaseSet]:
        """The load cases at index points; those of the last ones are kept."""
        venue = self.project.venue
        return lru_cache(1)(
            lambda points: placed_cases(
                venue, points.family % self.attitudes, points.at
            )
        )

    def setup(self, point: Floats, name: str) -> Setup:
        """The setup at a point (variables)."""
        return to_setup(
            self.variables,
            point,
            self.base,
            name,
        )

    def setups(self, points: Floats) -> Records:
        """SETUP records of the setups at points (points, variables)."""
        return to_setups(self.variables, np.atleast_2d(points), self._base)

    @cached_property
    def _ready(self) -> Callable[[int, bytes], tuple[Records, Records]]:
        """SETUP and SETTING records of so many points, as bytes; those of the last ones are kept."""

        def made(count: int, points: bytes) -> tuple[Records, Records]:
            rows = np.frombuffer(points).reshape(count, len(self.variables))
            setups = self.setups(rows)
            return setups, self.model.settings(setups)

        return lru_cache(1)(made)

    def with_build(self, errors: Floats) -> tuple[SetupProblem, int]:
        """The problem with one more build, unless it is known; and the number of the build's first family."""
        known = [
            number
            for number, build in enumerate(self.builds)
            if np.array_equal(build, errors)
        ]
        if known:
            return self, self.attitudes * (1 + known[0])
        return replace(self, builds=(*self.builds, errors)), self.attitudes * (
            1 + len(self.builds)
        )

    # ---- evaluation -------------------------------------------------------------------------------------

    def result(
        self,
        points: Floats,
        cases: CaseSet,
        warm_start: Records | None = None,
        quick: bool = False,
    ) -> Result:
        """Points (points, variables) of the exact car in any cases; `warm_start`: see `answers`.

        `quick`: enough for a search, see `physics.sweep.run`; what is reported is solved in full.
        """
        self.counter.count += len(points) * len(cases)
        settings = self._ready(len(points), points.tobytes())[1]
        by_slope = _are_steps(points, warm_start)
        return self._run(
            settings, cases, warm_start, by_slope=by_slope, quick=quick
        )

    def errors(self, setup: Setup | Records) -> BuildErrors:
        """The box of errors of setups."""
        tolerance = self.limits.tolerance if self.has_builds else None
        spread = self.limits.spread if self.has_spread else None
        return BuildErrors(self.project.car, setup, tolerance, spread)

    @cached_property
    def _run(self) -> Callable[..., Result]:
        """The model, with rates of growth where they are limited."""
        growth = self.objective.most_growth is not None
        return partial(self.model.run, growth=growth)

    def answers(
        self,
        points: Floats,
        index_points: IndexPoints,
        warm_start: Records | None = None,
    ) -> Records:
        """ANSWER records (points, index points). `warm_start` (index points): answers of a point nearby.

        Several points with one warm start are small steps from it: their margins come from its slopes. With
        one for each of them (points, index points) they are solved from there.
        """
        build = index_points.family // self.attitudes
        cases = self.cases(index_points)
        if not build.any():
            return self.result(points, cases, warm_start, True).answers
        answers = np.zeros((len(points), len(index_points)), ANSWER)
        whole = self.setups(points)
        for number in np.unique(build):
            own = np.flatnonzero(build == number)
            starts = None if warm_start is None else warm_start[..., own]
            by_slope = _are_steps(points, warm_start)
            if number > 0 and self.has_spread:
                row = self.builds[number - 1]
                found = self.errors(whole).of_setups(
                    row, cases.pick(own), starts, by_slope
                )
                answers[:, own] = found.reshape(len(whole), -1)
                continue
            settings = self._settings(whole, int(number))
            answers[:, own] = self._run(
                settings, cases.pick(own), starts, by_slope=by_slope, quick=True
            ).answers
        self.counter.count += answers.size
        return answers

    def _settings(self, whole: Records, build: int) -> Records:
        """SETTING records of setups; build 0 is the exact car."""
        if build == 0 or self.limits.tolerance is None:
            return self.model.settings(whole)
        return self.errors(whole).settings(
            self.builds[build - 1][None, :], self.model
        )

    def __call__(
        self,
        points: Floats,
        index_points: IndexPoints,
        warm_start: Any = None,
    ) -> SemiInfiniteEvaluation:
        """Weighted margins at the index points whose attitude has a weight, and all limits."""
        answers = self.answers(points, index_points, warm_start)
        attitude = index_points.family % self.attitudes
        is_raised = self.objective.weights[attitude] > 0.0
        if self.least_built is not None:
            is_raised &= index_points.family < self.attitudes
        raised = np.flatnonzero(is_raised)
        values = self.objective.weighted(
            attitude[raised], answers["search_margin"][:, raised]
        )
        limits = self.limit_rows(points, index_points, answers)
        return SemiInfiniteEvaluation(
            values, limits.rows, answers[0], raised, limits.case
        )

    def limit_rows(
        self,
        points: Floats,
        index_points: IndexPoints,
        answers: Records,
    ) -> LimitRows:
        """Packaging limits of the exact car, then minimum margins and handling limits of all builds.

        Cases are index points.
        """
        pieces = [
            self._packaging_rows(points, index_points, answers),
            self._minimum_margin_rows(index_points, answers),
            *self._required_rows(points, index_points, answers),
            *self._handling_rows(index_points, answers),
        ]
        return LimitRows(
            np.concatenate([piece.rows for piece in pieces], axis=1),
            np.concatenate([piece.owner for piece in pieces]),
            np.concatenate([piece.case for piece in pieces]),
        )

    def _packaging_rows(
        self,
        points: Floats,
        index_points: IndexPoints,
        answers: Records,
    ) -> LimitRows:
        exact = np.flatnonzero(index_points.family < self.attitudes)
        if exact.size == 0:
            return LimitRows(np.empty((len(answers), 0)), exact, exact)
        setups, settings = self._ready(len(points), points.tobytes())
        cases = self.cases(index_points)
        if exact.size == len(cases):
            return self.packaging.rows(setups, cases, answers, settings)
        own = np.ascontiguousarray(answers[:, exact])
        found = self.packaging.rows(setups, cases.pick(exact), own, settings)
        return replace(
            found, case=np.where(found.case >= 0, exact[found.case], -1)
        )

    def _minimum_margin_rows(
        self, index_points: IndexPoints, answers: Records
    ) -> LimitRows:
        attitude = index_points.family % self.attitudes
        least = self.objective.minimum_margins[attitude]
        own = np.flatnonzero(np.isfinite(least))
        spare = (
            answers["search_margin"][:, own] - least[own]
        ) / MINIMUM_MARGIN_SCALE
        return LimitRows(spare, len(self.packaging.limits) + attitude[own], own)

    def _required_rows(
        self, points: Floats, index_points: IndexPoints, answers: Records
    ) -> Iterator[LimitRows]:
        """What must be stood at its places, and builds that must keep a margin."""
        first = len(self.packaging.limits) + self.attitudes
        if self.requirement is not None:
            which = self.requirement.at(index_points)
            rows, _, _ = self.requirement.room(
                self.model,
                self.setups(points),
                self.cases(index_points),
                answers,
                which,
            )
            kind, _, case = np.array(which, dtype=int).reshape(-1, 3).T
            yield LimitRows(rows, first + kind, case)
        if self.least_built is not None:
            own = np.flatnonzero(index_points.family >= self.attitudes)
            spare = (
                answers["search_margin"][:, own] - self.least_built
            ) / MINIMUM_MARGIN_SCALE
            yield LimitRows(spare, np.full(own.size, first + len(KINDS)), own)

    def _handling_rows(
        self, index_points: IndexPoints, answers: Records
    ) -> Iterator[LimitRows]:
        """The band of the worst margin is that of the index points given."""
        own = np.flatnonzero(
            self.objective.counts[index_points.family % self.attitudes]
        )
        first = len(self.limit_names) - len(HANDLING)
        for number, limit in asked(self.objective):
            rows = handling_rows(limit, self.objective, answers[:, own])
            yield LimitRows(rows, np.full(own.size, first + number), own)


def _are_steps(points: Floats, warm_start: Records | None) -> bool:
    """Whether the points are small steps from the one whose answers are known."""
    return warm_start is not None and warm_start.ndim == 1 and len(points) > 1
