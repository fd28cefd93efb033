"""Raising the worst of many values: successive programs in a trust region, on any batch function.

Variables live in the unit box. The function answers many points at once: values, whose worst is
raised, and limits, which must not be negative.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.search.engine.bfgs import Curvature
from setupopt.search.engine.trust_region_subproblem import (
    PENALTY,
    LinearModel,
    Step,
    SubproblemError,
    best_step,
)

# A step that brings this share of the predicted gain needs no second program; one that brings less than
# the other is not taken.
_GOOD, _TAKEN = 0.4, 0.05


@dataclass(frozen=True)
class Evaluation:
    """values (points, rows) and limits (points, limit rows); `memory` helps at nearby points."""

    values: Floats
    limits: Floats
    memory: Any = None


class BatchFunction(Protocol):
    """Answers for points (points, variables); `memory` is that of a point nearby, or None."""

    def __call__(self, points: Floats, memory: Any = None) -> Evaluation: ...


@dataclass(frozen=True)
class TrustRegionOptions:
    """When the search takes a step, and when it ends. Radii are shares of the box.

    Where nothing more is to be gained within the radius, trust is renewed to `second_radius`, until
    that has raised the value by less than `least_rise`.
    """

    first_radius: float = 0.2
    most_radius: float = 0.5
    least_radius: float = 2e-4
    least_gain: float = 2e-6
    second_radius: float = 0.05
    least_rise: float = 5e-5
    most_steps: int = 200
    probe: float = 1e-5


@dataclass(frozen=True)
class Outcome:
    """Where a search ended. `why` says what ended it; `step` is the last linear program's answer."""

    point: Floats
    values: Floats
    limits: Floats
    merit: float
    steps: int
    points_asked: int
    why: str
    step: Step | None
    trail: list[float] = field(default_factory=list)
    memory: Any = None


def merit(values: Floats, limits: Floats) -> Floats:
    """Worst value of each point, less what broken limits cost, (points)."""
    broken = np.maximum(0.0, -limits).sum(axis=-1)
    return np.asarray(values.min(axis=-1) - PENALTY * broken)


_Slopes = tuple[LinearModel, LinearModel]


def _slopes(function: BatchFunction, at: Floats, here: Evaluation, probe: float) -> _Slopes:
    """Values and limits linearised by one-sided differences, away from the nearer border."""
    signs = np.where(at > 0.5, -probe, probe)
    around = function(at + np.diag(signs), here.memory)
    value_slope = ((around.values - here.values) / signs[:, None]).T
    limit_slope = ((around.limits - here.limits) / signs[:, None]).T
    return LinearModel(here.values[0], value_slope), LinearModel(here.limits[0], limit_slope)


def _next_radius(
    radius: Floats, ratio: float, move: Floats, last: Floats, rules: TrustRegionOptions
) -> Floats:
    """Each variable's own trust: less where it turned back, more where it goes on; less for all
    where the linear program was far from the truth. Without this one curved direction would hold
    back all the straight ones.
    """
    if ratio < 0.25:
        return 0.4 * np.minimum(radius, np.maximum(np.abs(move), 0.1 * radius))
    turned, full = move * last < 0.0, np.abs(move) > 0.9 * radius
    factor = np.where(turned, 0.5, np.where(full, 2.0 if ratio > 0.5 else 1.0, 1.0))
    return np.clip(radius * factor, 0.1 * rules.least_radius, rules.most_radius)


class _Place(NamedTuple):
    """A point, its answers and its merit."""

    point: Floats
    answers: Evaluation
    merit: float


class _Climb:
    """Where a climb stands: the point, its answers and slopes, the trust, and what has been asked."""

    def __init__(self, function: BatchFunction, start: Floats, rules: TrustRegionOptions) -> None:
        self.function, self.rules = function, rules
        self.at = np.clip(np.asarray(start, dtype=float), 0.0, 1.0)
        self.here = function(self.at[None, :])
        self.best = float(merit(self.here.values, self.here.limits)[0])
        self.asked, self.trail = 1, [self.best]
        self.radius, self.last = np.full(self.at.size, rules.first_radius), np.zeros(self.at.size)
        self.curvature = Curvature(self.at.size)
        self.slopes: _Slopes | None = None
        self.step: Step | None = None
        self.left: tuple[Floats, _Slopes] | None = None  # the place before this one
        self.checked = -np.inf  # best value when the trust was last renewed

    def ask(self, points: Floats) -> tuple[Evaluation, Floats]:
        """Answers and merits of points around here."""
        self.asked += len(points)
        answers = self.function(points, self.here.memory)
        return answers, merit(answers.values, answers.limits)

    def look(self, point: Floats) -> _Place:
        """One point with its answers and its merit."""
        answers, merits = self.ask(point[None, :])
        return _Place(point, answers, float(merits[0]))

    def move(self, place: _Place) -> None:
        """Stand at a better point."""
        self.at, self.here, self.best = place

    def advance(self) -> str:
        """One step further, or trust anew; why to stop, empty to go on. Raises NoAnswerError."""
        slopes, step = self.program()
        why = _why(step, self.radius, self.rules)
        if not why:
            self.take(slopes, step)
        elif self.is_renewed():
            return ""
        return why

    def program(self) -> tuple[_Slopes, Step]:
        """All rows linearised here, and the best step in the trust region."""
        if self.slopes is None:
            self.asked += self.at.size
            self.slopes = _slopes(self.function, self.at, self.here, self.rules.probe)
            if self.left is not None and self.step is not None:
                before, after = (_weighed(slopes, self.step) for slopes in (self.left[1], self.slopes))
                self.curvature.learn(self.at - self.left[0], before - after)
        self.step = best_step(*self.slopes, self.at, self.radius, self.curvature.root())
        return self.slopes, self.step

    def try_step(self, slopes: _Slopes, step: Step) -> _Place:
        """Where a step leads; where it falls short, where one leads that allows for the bend of the rows.

        The second program starts from what the rows really were at the first one's end.
        """
        first = self.look(np.clip(self.at + step.move, 0.0, 1.0))
        if first.merit - self.best > _GOOD * step.gain:
            return first
        rows = (first.answers.values[0], first.answers.limits[0])
        bent = [LinearModel(row - s.slope @ step.move, s.slope) for row, s in zip(rows, slopes, strict=True)]
        better = best_step(bent[0], bent[1], self.at, self.radius, self.curvature.root())
        second = self.look(np.clip(self.at + better.move, 0.0, 1.0))
        return second if second.merit > first.merit else first

    def take(self, slopes: _Slopes, step: Step) -> None:
        """Try a step, learn how far to trust the next, and stand where it leads if that is better."""
        there = self.try_step(slopes, step)
        ratio, moved = (there.merit - self.best) / step.gain, there.point - self.at
        self.radius = _next_radius(self.radius, ratio, moved, self.last, self.rules)
        self.last = moved
        if ratio > _TAKEN:
            self.left = self.at, slopes
            self.move(there)
            self.slopes = None
        self.trail.append(self.best)

    def is_renewed(self) -> bool:
        """Trust anew where nothing more was to be gained; not where the last time has brought nothing."""
        if self.best - self.checked < self.rules.least_rise:
            return False
        self.checked, self.left = self.best, None
        self.radius = np.maximum(self.radius, self.rules.second_radius)
        self.curvature = Curvature(self.at.size)
        return True

    def outcome(self, why: str) -> Outcome:
        """Where it stands, for the caller."""
        return Outcome(
            self.at, self.here.values[0], self.here.limits[0], self.best, len(self.trail) - 1, self.asked,
            why, self.step, self.trail, self.here.memory,
        )  # fmt: skip


def _weighed(slopes: _Slopes, step: Step) -> Floats:
    """Slope of the rows that bind, by their weights, (variables)."""
    values, limits = slopes
    return np.asarray(step.value_weights @ values.slope + step.limit_weights @ limits.slope)


def _why(step: Step, radius: Floats, rules: TrustRegionOptions) -> str:
    """Why to stop; empty to go on."""
    if step.gain < rules.least_gain:
        return "no gain left"
    return "steps became too short to set" if radius.max() < rules.least_radius else ""


def maximise_worst(
    function: BatchFunction,
    start: Floats,
    rules: TrustRegionOptions | None = None,
    progress: Callable[[int], object] | None = None,
) -> Outcome:
    """Raise the worst value from `start` (variables), in the unit box.

    Every step linearises all rows, solves a program in the trust region, linear at first and then with the
    bend that the slopes have told of, and is taken only if the worst value, checked on the real function,
    rises. Deterministic. Where a program has no answer the climb ends where it stands.
    """
    rules = rules or TrustRegionOptions()
    maximise_worst = _Climb(function, start, rules)
    for _ in range(rules.most_steps if maximise_worst.at.size else 0):
        taken = len(maximise_worst.trail)
        try:
            why = maximise_worst.advance()
        except SubproblemError as failed:
            why = str(failed)
        if why:
            return maximise_worst.outcome(why)
        if progress is not None and len(maximise_worst.trail) > taken:
            progress(len(maximise_worst.trail) - 1)
    return maximise_worst.outcome("steps")
