"""Raising the worst of values over a continuous index: an exchange of places.

J. W. Blankenship and J. E. Falk, Infinitely constrained optimization problems, J. Optim. Theory Appl. 19
(1976) 261-281. A climb on few places; a scan of the whole index, refined between the points of its grid,
for places that are worse; these are added, and the climb goes on. It ends where no place is worse.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.search.engine.index_points import IndexPoints, OracleResult, SemiInfiniteFunction, on
from setupopt.search.engine.maxmin import Outcome, TrustRegionOptions, maximise_worst
from setupopt.search.engine.trust_region_subproblem import PENALTY

# Finds where a point stands worst.
Oracle = Callable[[Floats], OracleResult]


@dataclass(frozen=True)
class Exchange:
    """When a place counts as worse, and how long to go on.

    `notice`: a value so much under the least of the working places; `touch`: a limit so much under the
    most broken of them, or under 0. At most `added` places a round, at most `rounds` rounds.
    """

    notice: float = 1e-5
    touch: float = 1e-6
    added: int = 40
    rounds: int = 25


@dataclass(frozen=True)
class ExchangeResult:
    """Where an exchange ended.

    `outcome` is the last climb on `places`; `merit` is what its point is worth over the whole index, as
    far as the oracle sees; `lag` how much worse that is than on the places: where `settled`, no more than
    `notice` and the price of a limit broken by `touch`.
    """

    outcome: Outcome
    places: IndexPoints
    merit: float
    lag: float
    settled: bool
    rounds: int
    steps: int


def worse_places(level: float, room: float, seen: OracleResult, rules: Exchange) -> IndexPoints:
    """The places seen that are worse than the least value and the least limit known, the worst first."""
    short = np.maximum(level - seen.value - rules.notice, min(0.0, room) - seen.limit - rules.touch)
    order = np.argsort(-short, kind="stable")
    return seen.places.pick(order[short[order] > 0.0][: rules.added])


def _merit(end: Outcome, seen: OracleResult) -> float:
    """What a point is worth with the places seen as well."""
    level = min(float(end.values.min()), float(seen.value.min(initial=np.inf)))
    broken = np.maximum(0.0, -end.limits).sum()
    more = max(0.0, -float(seen.limit.min(initial=0.0)) - float(-end.limits.min(initial=0.0)))
    return level - PENALTY * float(broken + more)


def exchange(
    function: SemiInfiniteFunction,
    oracle: Oracle,
    start: Floats,
    places: IndexPoints | None = None,
    climbing: TrustRegionOptions | None = None,
    rules: Exchange | None = None,
    progress: Callable[[int], object] | None = None,
) -> ExchangeResult:
    """Raise the worst value over the whole index from `start` (variables), in the unit box.

    `places` to begin with, those where the start stands worst unless given. Deterministic.
    """
    rules, steps = rules or Exchange(), 0
    at = np.clip(np.asarray(start, dtype=float), 0.0, 1.0)
    working = oracle(at).places if places is None else places
    for count in range(1, rules.rounds + 1):
        told = None if progress is None else (lambda step, done=steps: progress(done + step))
        end = maximise_worst(on(function, working), at, climbing, told)
        steps, at, seen = steps + end.steps, end.point, oracle(end.point)
        worse = worse_places(float(end.values.min()), float(end.limits.min(initial=0.0)), seen, rules)
        if len(worse) == 0 or count == rules.rounds:
            break
        working = working.join(worse)
    true = _merit(end, seen)
    return ExchangeResult(end, working, true, end.merit - true, len(worse) == 0, count, steps)
