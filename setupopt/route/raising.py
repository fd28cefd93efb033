"""The best route near a first one: its courses, coasting shares and, where asked for, its speed.

The max-min engine of `search/` works on points along the route. Points that turn out worse in between are
added, and the search goes on, as in its exchange of index points.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.route.judged import Judge, Judged, Near
from setupopt.route.plan import Paths, Plan
from setupopt.search.engine.batch import Evaluation, merit
from setupopt.search.engine.maxmin import TrustRegionOptions, maximise_worst

_NEAR = 0.6  # of the largest growth rate; under it a small step needs no growth rates
DENSE = 10  # times as many points in the final judgement
_ROUNDS = 5
_GUARD = 0.02  # room that the search asks for: a soft penalty, and points in between, may take as much
# A quick search: so many times as many points, and so many of them in the final judgement
_COARSE = 1.0 / 1.5
_FINER = 4
_LITTLE = 1e-3  # of margin; a quick search ends where no more is left
_STEEP = 5e-3  # the most that a value or a limit may change in a small step
_WORSE = 1e-3  # of margin or room; points that are worse by less are not added
# A quick search whose path has more margin solves the next one from its answers; with less there are folds
# that this would not see
_CALM = 0.4
_OPTIONS = TrustRegionOptions(least_gain=1e-4, least_rise=5e-4, most_steps=40)


class _Known(NamedTuple):
    """A path that small steps start from."""

    near: Near
    values: Floats
    limits: Floats


@dataclass(frozen=True, eq=False)
class RouteProblem:
    """The batch function of a route: points of the unit box to values and limits."""

    judge: Judge
    plan: Plan
    mode: str
    index: Floats
    quick: bool = False

    def __call__(self, points: Floats, warm_start: Any = None) -> Evaluation:
        """Values and limits (paths, ...). Several points are small steps from the one of `warm_start`."""
        paths = self.plan.paths(points)
        several = points.shape[0] > 1
        known = warm_start
        is_known = self.quick and known and known.values.min() > _CALM
        near: Any = known.near if several or is_known else None
        growth = not several or bool(
            (near.answers["growth"] > _NEAR * self.judge.goal.growth).any()
        )
        found = self.judge.judged(
            paths.points(self.index), near, growth, several
        )
        kept = self.judge.room(found)
        if several and not growth and np.isfinite(near.answers["growth"]).any():
            kept |= {"growth_per_s": np.ones(found.steer_rate.shape)}
        rooms = [
            *(room - _GUARD for room in kept.values()),
            *self._of_whole(paths),
        ]
        margin = found.column("search_margin")
        values = margin
        if self.mode == "length":
            values = (
                -paths.length[:, None]
                / self.plan.paths(self.plan.start()[None]).length
            )
        if self.mode == "speed":
            values = -paths.legs[0].speed[:, None] / self.judge.goal.speeds[1]
        if self.mode != "margin":
            rooms.append(margin - self.judge.goal.least_margin)
        rooms.append(np.ones((points.shape[0], 1)))
        limits = np.concatenate(rooms, axis=1)
        if several:
            values = _near(known.values, values)
            limits = _near(known.limits, limits)
            return Evaluation(values, limits, known)
        return Evaluation(values, limits, _Known(found.near, values, limits))

    def _of_whole(self, paths: Paths) -> list[Floats]:
        """Limits of the whole route: its length, and how far it holds."""
        rooms = []
        if self.judge.goal.length is not None and self.mode != "length":
            rooms.append(1.0 - paths.length[:, None] / self.judge.goal.length)
        if paths.shape.name == "over" and self.judge.goal.hold > 0.0:
            rooms.append(paths.held[:, None] / self.judge.goal.hold - 1.0)
        return rooms


def _near(known: Floats, found: Floats) -> Floats:
    """Values of a small step: a wheel that leaves the ground, or another trim, is no slope."""
    return known + np.clip(found - known, -_STEEP, _STEEP)


@dataclass(frozen=True)
class Raised:
    """A route (1 path), its points `DENSE` times as many as were searched on, and the trail of the search."""

    paths: Paths
    index: Floats
    judged: Judged
    point: Floats
    steps: int

    @property
    def courses(self) -> tuple[Floats, ...]:
        """Courses of each leg at its knots, rad."""
        return tuple(leg.course[0] for leg in self.paths.legs)

    @property
    def coasting(self) -> tuple[float, ...]:
        """Coasting share of each leg."""
        return tuple(float(leg.coasting[0]) for leg in self.paths.legs)


def raised(judge: Judge, plan: Plan, mode: str, quick: bool = False) -> Raised:
    """The best route near a plan's first one. `quick`: on fewer points, in fewer steps, judged on fewer."""
    point = plan.start()
    first = plan.paths(point[None])
    index = first.index(_COARSE if quick else 1.0)
    dense = first.index(_FINER if quick else DENSE)
    steps = 0
    options = replace(_OPTIONS, first_radius=plan.first_radius)
    if quick:
        options = replace(options, least_gain=_LITTLE, least_rise=_LITTLE)
    for _ in range(1 if quick else _ROUNDS):
        outcome = maximise_worst(
            RouteProblem(judge, plan, mode, index, quick), point, options
        )
        steps += outcome.steps
        point = outcome.point
        paths = plan.paths(point[None])
        judged = judge.judged(paths.points(dense))
        worse = _worse(judge, judged, dense, index)
        if worse.size == 0:
            break
        index = np.union1d(index, worse)
    return Raised(paths, dense, judged, point, steps)


def start_merit(judge: Judge, plan: Plan, quick: bool = False) -> float:
    """Merit of a plan's first route at the points that a search begins with."""
    start = plan.start()[None]
    index = plan.paths(start).index(_COARSE if quick else 1.0)
    found = RouteProblem(judge, plan, "margin", index)(start)
    return float(merit(found.values, found.limits)[0])


def unmoved(judge: Judge, plan: Plan, quick: bool = False) -> Raised:
    """A plan's first route as it is."""
    paths = plan.paths(plan.start()[None])
    dense = paths.index(_FINER if quick else DENSE)
    return Raised(
        paths, dense, judge.judged(paths.points(dense)), plan.start(), 0
    )


def _worse(
    judge: Judge, judged: Judged, dense: Floats, index: Floats
) -> Floats:
    """Indices of local minima of margin and rooms that are worse than what the search saw."""
    columns = {"margin": judged.column("search_margin")} | judge.room(judged)
    seen = np.searchsorted(dense, index).clip(0, dense.size - 1)
    found = []
    for name, rows in columns.items():
        row = rows[0]
        known = float(row[seen].min())
        known = known if name == "margin" else min(0.0, known)
        low = lowest(row)
        found.append(dense[low[row[low] < known - _WORSE]])
    return np.setdiff1d(np.concatenate(found), index)


def lowest(values: Floats) -> np.ndarray:
    """Rows of the local minima between both ends."""
    return (
        np.flatnonzero(
            (values[1:-1] <= values[:-2]) & (values[1:-1] <= values[2:])
        )
        + 1
    )
