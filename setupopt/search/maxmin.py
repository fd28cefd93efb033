"""Raising the worst of many values: successive linear programs in a trust region, on any batch function.

Variables live in the unit box. The function answers many points at once: values, whose worst is
raised, and limits, which must not be negative.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.search.linear_step import PENALTY, Rows, Step, best_step


@dataclass(frozen=True)
class Answers:
    """values (points, rows) and limits (points, limit rows); `memory` helps at nearby points."""

    values: Floats
    limits: Floats
    memory: Any = None


class BatchFunction(Protocol):
    """Answers for points (points, variables); `memory` is that of a point nearby, or None."""

    def __call__(self, points: Floats, memory: Any = None) -> Answers: ...


@dataclass(frozen=True)
class Rules:
    """When the search takes a step, and when it ends. Radii are shares of the box."""

    first_radius: float = 0.2
    most_radius: float = 0.5
    least_radius: float = 2e-4
    least_gain: float = 2e-6
    most_steps: int = 80
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


def _slopes(function: BatchFunction, at: Floats, here: Answers, probe: float) -> tuple[Rows, Rows]:
    """Values and limits linearised by one-sided differences, away from the nearer border."""
    signs = np.where(at > 0.5, -probe, probe)
    around = function(at + np.diag(signs), here.memory)
    value_slope = ((around.values - here.values) / signs[:, None]).T
    limit_slope = ((around.limits - here.limits) / signs[:, None]).T
    return Rows(here.values[0], value_slope), Rows(here.limits[0], limit_slope)


def _next_radius(radius: float, ratio: float, move: Floats, rules: Rules) -> float:
    """Longer where the linear program told the truth and wanted more, shorter where it did not."""
    if ratio < 0.25:
        return 0.4 * min(radius, float(np.abs(move).max()) or radius)
    if ratio > 0.7 and np.abs(move).max() > 0.9 * radius:
        return min(2.0 * radius, rules.most_radius)
    return radius


def climb(
    function: BatchFunction,
    start: Floats,
    rules: Rules | None = None,
    progress: Callable[[int], object] | None = None,
) -> Outcome:
    """Raise the worst value from `start` (variables), in the unit box.

    Every step linearises all rows, solves a linear program in the trust region, and is taken only
    if the worst value, checked on the real function, rises. Deterministic.
    """
    rules = rules or Rules()
    at = np.clip(np.asarray(start, dtype=float), 0.0, 1.0)
    here = function(at[None, :])
    best, asked, radius, steps, step, why = float(merit(here.values, here.limits)[0]), 1, rules.first_radius, 0, None, "steps"
    trail, slopes = [best], None
    while steps < rules.most_steps:
        if slopes is None:
            slopes = _slopes(function, at, here, rules.probe)
            asked += at.size
        step = best_step(*slopes, at, radius)
        if step.gain < rules.least_gain:
            why = "no gain left"
            break
        trial = np.clip(at + step.move, 0.0, 1.0)
        there = function(trial[None, :], here.memory)
        reached = float(merit(there.values, there.limits)[0])
        ratio = (reached - best) / step.gain
        radius = _next_radius(radius, ratio, step.move, rules)
        asked, steps = asked + 1, steps + 1
        if ratio > 0.05:
            at, here, best, slopes = trial, there, reached, None
        trail.append(best)
        if progress is not None:
            progress(steps)
        if radius < rules.least_radius:
            why = "steps became too short to set"
            break
    return Outcome(at, here.values[0], here.limits[0], best, steps, asked, why, step, trail, here.memory)


def climb_all(
    function: BatchFunction,
    starts: Floats,
    rules: Rules | None = None,
    progress: Callable[[int], object] | None = None,
) -> list[Outcome]:
    """`climb` from every start (starts, variables), best first."""
    ends = [climb(function, start, rules, progress) for start in starts]
    return sorted(ends, key=lambda end: -end.merit)


def hold(function: BatchFunction, fixed: np.ndarray, at: Floats) -> tuple[BatchFunction, np.ndarray]:
    """The same function with some variables held at `at`; and the indices of those left free."""
    free = np.flatnonzero(~fixed)

    def held(points: Floats, memory: Any = None) -> Answers:
        whole = np.repeat(at[None, :], len(points), axis=0)
        whole[:, free] = points
        return function(whole, memory)

    return held, free


def release(end: Outcome, free: np.ndarray, at: Floats) -> Outcome:
    """An outcome of a held function, with all variables again."""
    whole = at.copy()
    whole[free] = end.point
    return replace(end, point=whole)
