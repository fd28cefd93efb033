"""Raising the worst of values over a continuous index, by an exchange of index points.

J. W. Blankenship and J. E. Falk, Infinitely constrained optimization problems, J. Optim. Theory Appl. 19
(1976) 261-281. A local search works on few index points. An oracle scans the whole index for index points
that are worse. These are added, and the local search goes on. It ends where no index point is worse.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from setupopt.search.engine.batch import PENALTY, Floats, StepProgress, silent
from setupopt.search.engine.bfgs import Curvature
from setupopt.search.engine.index_points import (
    IndexPoints,
    OracleResult,
    SemiInfiniteFunction,
    restricted,
)
from setupopt.search.engine.maxmin import (
    STANDARD,
    Outcome,
    TrustRegionOptions,
    maximise_worst,
)

# A first, rough local search ends where a step would bring less.
_ROUGH_GAIN = 3e-3

# Finds the worst index points of a point.
Oracle = Callable[[Floats], OracleResult]


@dataclass(frozen=True)
class ExchangeOptions:
    """When an index point is worse than those known, and how long to go on.

    It is worse if its value is by more than `value_tolerance` under the least one known, or its limit by more
    than `constraint_tolerance` under the least one known and under 0. At most `most_added` are added in each
    of at most `most_rounds` rounds.
    """

    value_tolerance: float = 1e-5
    constraint_tolerance: float = 1e-6
    most_added: int = 40
    most_rounds: int = 25


EXCHANGE = ExchangeOptions()


@dataclass(frozen=True)
class ExchangeResult:
    """The end of an exchange.

    `outcome` is the last local search, on `index_points`. `merit` is the merit of its point over the whole
    index, as far as the oracle sees, and `gap` how much lower that is than on `index_points`. Where
    `settled`, the gap is within the tolerances.
    """

    outcome: Outcome
    index_points: IndexPoints
    merit: float
    gap: float
    settled: bool
    rounds: int
    steps: int


def worse_points(
    level: float,
    room: float,
    seen: OracleResult,
    options: ExchangeOptions,
) -> IndexPoints:
    """The index points seen that are worse than the least value and limit known, the worst first."""
    below = level - seen.value - options.value_tolerance
    broken = min(0.0, room) - seen.limit - options.constraint_tolerance
    short = np.maximum(below, broken)
    order = np.argsort(-short, kind="stable")
    worse = order[short[order] > 0.0]
    return seen.index_points.pick(worse[: options.most_added])


def _merit(end: Outcome, seen: OracleResult) -> float:
    """Merit of a point with the index points seen as well."""
    level = min(float(end.values.min()), float(seen.value.min(initial=np.inf)))
    known = float(-end.limits.min(initial=0.0))
    more = max(0.0, -float(seen.limit.min(initial=0.0)) - known)
    broken = np.maximum(0.0, -end.limits).sum()
    return level - PENALTY * float(broken + more)


_Round = tuple[Outcome, OracleResult, IndexPoints]


def _rough(rules: TrustRegionOptions) -> TrustRegionOptions:
    """Rules for a local search that need not be accurate."""
    gain = max(_ROUGH_GAIN, rules.least_gain)
    return replace(rules, least_gain=gain, least_rise=np.inf)


def exchange(
    function: SemiInfiniteFunction,
    oracle: Oracle,
    start: Floats,
    index_points: IndexPoints | None = None,
    trust_region: TrustRegionOptions = STANDARD,
    options: ExchangeOptions = EXCHANGE,
    progress: StepProgress = silent,
    quick_oracle: Oracle | None = None,
) -> ExchangeResult:
    """Raise the worst value over the whole index from `start` (variables), in the unit box.

    The first local search works on `index_points`, or on the worst ones of the start. With `quick_oracle`,
    one that may miss some, a rough local search comes before it. `progress` gets the count of steps.
    Deterministic.
    """
    point = np.clip(np.asarray(start, dtype=float), 0.0, 1.0)
    working = (
        oracle(point).index_points if index_points is None else index_points
    )
    curvature = Curvature(point.size)
    steps = 0

    def report(step: int) -> None:
        progress(steps + step)

    def searched(look: Oracle, rules: TrustRegionOptions) -> _Round:
        """A local search on the index points known, and what is worse at its end."""
        end = maximise_worst(
            restricted(function, working), point, rules, report, curvature
        )
        seen = look(end.point)
        worse = worse_points(
            float(end.values.min()),
            float(end.limits.min(initial=0.0)),
            seen,
            options,
        )
        return end, seen, worse

    if quick_oracle is not None:
        end, _, worse = searched(quick_oracle, _rough(trust_region))
        steps += end.steps
        point = end.point
        working = working.join(worse)
    for count in range(1, options.most_rounds + 1):
        end, seen, worse = searched(oracle, trust_region)
        steps += end.steps
        point = end.point
        joined = working.join(worse)
        if len(joined) == len(working) or count == options.most_rounds:
            break
        working = joined
    merit = _merit(end, seen)
    return ExchangeResult(
        end,
        working,
        merit,
        end.merit - merit,
        len(worse) == 0,
        count,
        steps,
    )
