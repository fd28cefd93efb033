"""Raising the worst of many values: a local search by successive programs in a trust region."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from setupopt.search.engine.batch import (
    PENALTY,
    BatchFunction,
    Evaluation,
    Floats,
    StepProgress,
    merit,
    silent,
)
from setupopt.search.engine.bfgs import Curvature
from setupopt.search.engine.trust_region_subproblem import (
    LinearModel,
    Step,
    SubproblemError,
    best_step,
)

# A step that brings this share of the predicted gain needs no second program.
_GOOD = 0.4
# A step that brings less than this share is not taken.
_TAKEN = 0.05
# A step that brings less than this share makes the trust region smaller, and shows the curvature along it.
_POOR = 0.25
# While steps are chosen, a broken limit costs so many times its weight, and no less than this: at its full
# cost, curved limits would allow none but short steps.
_ABOVE = 4.0
_LEAST_PENALTY = 0.05
# A gain that is none.
_NONE = 1e-15


@dataclass(frozen=True)
class TrustRegionOptions:
    """When a step is taken, and when the local search ends. Radii are shares of the box.

    Where no gain is left within the radius, the trust region is reset to `second_radius`, until that has
    raised the value by less than `least_rise`. `probe`: step of the differences that give the slopes.
    """

    first_radius: float = 0.2
    most_radius: float = 0.5
    least_radius: float = 2e-4
    least_gain: float = 2e-6
    second_radius: float = 0.05
    least_rise: float = 5e-5
    most_steps: int = 200
    probe: float = 1e-5


STANDARD = TrustRegionOptions()


@dataclass(frozen=True)
class Outcome:
    """The end of a local search: its `point` (variables), values and limits there, and the merit.

    `why`: the reason to end. `trail`: the merit of the start and of the best point after each step.
    """

    point: Floats
    values: Floats
    limits: Floats
    merit: float
    steps: int
    why: str
    trail: list[float]


_Slopes = tuple[LinearModel, LinearModel]


def _slopes(
    function: BatchFunction,
    at: Floats,
    here: Evaluation,
    probe: float,
) -> _Slopes:
    """Values and limits linearised by one-sided differences, away from the nearer bound."""
    signs = np.where(at > 0.5, -probe, probe)
    around = function(at + np.diag(signs), here.warm_start)
    value_slope = ((around.values - here.values) / signs[:, None]).T
    limit_slope = ((around.limits - here.limits) / signs[:, None]).T
    return LinearModel(here.values[0], value_slope), LinearModel(
        here.limits[0], limit_slope
    )


def _next_radius(
    radius: Floats,
    ratio: float,
    move: Floats,
    last: Floats,
    options: TrustRegionOptions,
) -> Floats:
    """Each variable's own radius, (variables).

    It is smaller where the variable turned back and larger where it goes on. All are smaller where the
    linear model was far from the truth. With one radius for all, one curved direction would hold back all
    the straight ones.
    """
    if ratio < _POOR:
        return 0.6 * np.minimum(radius, np.maximum(np.abs(move), 0.1 * radius))
    turned = move * last < 0.0
    full = np.abs(move) > 0.9 * radius
    longer = 3.0 if ratio > 0.5 else 1.0
    factor = np.where(turned, 0.5, np.where(full, longer, 1.0))
    return np.clip(
        radius * factor, 0.1 * options.least_radius, options.most_radius
    )


def _next_penalty(penalty: float, weights: Floats) -> float:
    """What a broken limit costs while a step is chosen; `weights` (limits) are those of the step."""
    enough = max(_LEAST_PENALTY, _ABOVE * weights.max(initial=0.0))
    return min(PENALTY, max(enough, 0.5 * penalty))


class _Iterate(NamedTuple):
    """A point with its evaluation and its merit."""

    point: Floats
    found: Evaluation
    merit: float


def _merit(iterate: _Iterate) -> float:
    return iterate.merit


class _LocalSearch:
    """The state of a local search: where it stands, the slopes there, and the trust region.

    `best`: the iterate with the highest merit of all. The search may go on from another one, which breaks
    limits by so little that `penalty`, the present cost, lets it pass.
    """

    def __init__(
        self,
        function: BatchFunction,
        start: Floats,
        options: TrustRegionOptions,
        curvature: Curvature,
    ) -> None:
        self.function = function
        self.options = options
        self.at = self.best = self.evaluated(
            np.clip(np.asarray(start, dtype=float), 0.0, 1.0), None
        )
        size = self.at.point.size
        self.penalty = PENALTY
        self.trail = [self.best.merit]
        self.radius = np.full(size, options.first_radius)
        self.last_move = np.zeros(size)
        self.curvature = curvature
        self.slopes: _Slopes | None = None
        self.step: Step | None = None
        # Point and slopes of the iterate before
        self.previous: tuple[Floats, _Slopes] | None = None
        self.merit_at_reset = -np.inf

    def evaluated(self, point: Floats, warm_start: Any) -> _Iterate:
        """A point (variables) evaluated."""
        found = self.function(point[None, :], warm_start)
        return _Iterate(
            point, found, float(merit(found.values, found.limits)[0])
        )

    def moved(self, step: Step) -> _Iterate:
        """The end of a step, evaluated."""
        return self.evaluated(
            np.clip(self.at.point + step.move, 0.0, 1.0),
            self.at.found.warm_start,
        )

    def advance(self) -> str:
        """Try one step, or reset the trust region. Returns why to stop; empty to go on.

        Raises SubproblemError.
        """
        slopes = self.linearised()
        step = self.solved(slopes)
        self.step = step
        why = ""
        if step.gain < self.options.least_gain:
            why = "no gain left"
        elif self.radius.max() < self.options.least_radius:
            why = "steps became too short to set"
        if not why:
            self.take(slopes, step)
            return ""
        return "" if self.is_reset() else why

    def linearised(self) -> _Slopes:
        """All values and limits linearised where the search stands; the curvature learns from the change."""
        if self.slopes is None:
            point = self.at.point
            self.slopes = _slopes(
                self.function,
                point,
                self.at.found,
                self.options.probe,
            )
            if self.previous is not None and self.step is not None:
                before, slopes = self.previous
                change = _weighted(slopes, self.step) - _weighted(
                    self.slopes, self.step
                )
                self.curvature.update(point - before, change)
        return self.slopes

    def solved(self, slopes: _Slopes) -> Step:
        """The best step inside the trust region."""
        return best_step(
            *slopes,
            self.at.point,
            self.radius,
            self.curvature.root(),
        )

    def rise(self, there: _Iterate) -> float:
        """By how much an iterate is better than where the search stands, at the present penalty."""
        before, after = (
            merit(one.found.values, one.found.limits, self.penalty)[0]
            for one in (self.at, there)
        )
        return float(after - before)

    def foreseen(self, slopes: _Slopes, move: Floats) -> float:
        """The rise that the slopes alone let expect of a move (variables)."""
        values, limits = slopes
        before = merit(values.level, limits.level, self.penalty)
        after = merit(values.at(move), limits.at(move), self.penalty)
        return float(after - before)

    def tried(self, slopes: _Slopes, step: Step, gain: float) -> _Iterate:
        """The end of a step, or of a second one where it falls short of the predicted gain.

        The second program starts from the true values and limits at the end of the first step.
        """
        first = self.moved(step)
        if self.rise(first) > _GOOD * gain:
            return first
        true = (first.found.values[0], first.found.limits[0])
        values, limits = (
            LinearModel(level - model.slope @ step.move, model.slope)
            for level, model in zip(true, slopes, strict=True)
        )
        second = self.moved(self.solved((values, limits)))
        return second if self.rise(second) > self.rise(first) else first

    def take(self, slopes: _Slopes, step: Step) -> None:
        """Try a step, set the next radius, and go there if it is better."""
        self.penalty = _next_penalty(self.penalty, step.limit_weights)
        gain = self.foreseen(slopes, step.move)
        gain = max(gain - self.curvature.along(step.move), _NONE)
        there = self.tried(slopes, step, gain)
        rise = self.rise(there)
        ratio = rise / gain
        move = there.point - self.at.point
        if ratio < _POOR:
            self.curvature.learn_fall(move, self.foreseen(slopes, move) - rise)
        self.radius = _next_radius(
            self.radius,
            ratio,
            move,
            self.last_move,
            self.options,
        )
        self.last_move = move
        if ratio > _TAKEN:
            self.previous = (self.at.point, slopes)
            self.at = there
            self.slopes = None
        self.best = max(self.best, there, key=_merit)
        self.trail.append(self.best.merit)

    def is_reset(self) -> bool:
        """Reset the trust region at a stationary point; not where the last reset brought nothing."""
        if self.best.merit - self.merit_at_reset < self.options.least_rise:
            return False
        self.merit_at_reset = self.best.merit
        self.previous = None
        self.radius = np.maximum(self.radius, self.options.second_radius)
        self.curvature.forget()
        return True

    def outcome(self, why: str) -> Outcome:
        """The best iterate, for the caller."""
        point, found, reached = self.best
        return Outcome(
            point,
            found.values[0],
            found.limits[0],
            reached,
            len(self.trail) - 1,
            why,
            self.trail,
        )


def _weighted(slopes: _Slopes, step: Step) -> Floats:
    """Slope of the binding constraints, times their weights, (variables)."""
    values, limits = slopes
    return np.asarray(
        step.value_weights @ values.slope + step.limit_weights @ limits.slope
    )


def maximise_worst(
    function: BatchFunction,
    start: Floats,
    options: TrustRegionOptions = STANDARD,
    progress: StepProgress = silent,
    curvature: Curvature | None = None,
) -> Outcome:
    """Raise the worst value from `start` (variables), in the unit box.

    Every step linearises all values and limits and solves a subproblem in the trust region: a linear program
    at first, later a quadratic one with the curvature learned from the slopes. `curvature`: what is known of
    it, which learns on. A step is taken only if the true function rises, a broken limit at its present cost;
    the outcome is the best point at the full cost. Where a subproblem has no solution, the search ends. Deterministic.
    """
    size = np.size(start)
    search = _LocalSearch(
        function, start, options, curvature or Curvature(size)
    )
    for _ in range(options.most_steps if size else 0):
        taken = len(search.trail)
        try:
            why = search.advance()
        except SubproblemError as failed:
            why = str(failed)
        if why:
            return search.outcome(why)
        if len(search.trail) > taken:
            progress(len(search.trail) - 1)
    return search.outcome("steps")
