"""What more margin, speed or radius costs in length, to first order.

At the route found, margins, limits and length are linearised by the search's variables. A linear program then
shortens the route within a small box, once as it is and once with the change; the price is the difference.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linprog

from setupopt.physics.inputs import Floats
from setupopt.route.kept import as_array, known_way
from setupopt.route.plan import Plan
from setupopt.route.raising import RouteProblem
from setupopt.route.study import RouteStudy

_MARGIN = 0.01
_SPEED = 1.0  # m/s
_RADIUS = 1.0  # m
_PROBE = 1e-5
_BOX = 0.1  # of each variable's range
_PART = 0.01  # of a change of speed or radius, for its slope


@dataclass(frozen=True)
class Price:
    """By how much the shortest route grows, m, for `step` more of something; None: no route has it."""

    what: str
    step: float
    unit: str
    metres: float | None


@dataclass(frozen=True)
class _Here:
    """A route linearised: margins and limits together (rows), length, m; and what must not be undercut."""

    point: Floats
    level: Floats
    slope: Floats  # (rows, variables)
    length: float
    length_slope: Floats
    least: Floats

    def shortest(self, change: Floats, more: float) -> float | None:
        """Length of the shortest route in the box where rows change and lengths grow by `more`."""
        low = np.maximum(-_BOX, -self.point)
        high = np.minimum(_BOX, 1.0 - self.point)
        room = self.level + change - self.least
        found = linprog(
            self.length_slope,
            -self.slope,
            room,
            bounds=np.stack([low, high], axis=1),
            method="highs",
        )
        return (
            None if found.status != 0 else self.length + more + float(found.fun)
        )


def prices(study: RouteStudy) -> tuple[Price, ...]:
    """Prices of a route at the least margin that it has."""
    speed = float(study.paths.legs[0].speed[0])
    index = study.paths.index()
    problem, plan = _problem(study, speed, 0.0, index)
    here, margins = _linearised(problem, plan)
    base = here.shortest(np.zeros(here.level.size), 0.0)
    dearer = np.where(np.arange(here.level.size) < margins, -_MARGIN, 0.0)
    found = [
        _price("least margin", _MARGIN, "", here.shortest(dearer, 0.0), base)
    ]
    changes = [("entry speed", _SPEED, "m/s", (_PART * _SPEED, 0.0))]
    if study.project.venue.section == "circle":
        changes.append(("radius", _RADIUS, "m", (0.0, _PART * _RADIUS)))
    for what, step, unit, (faster, wider) in changes:
        other, its_plan = _problem(study, speed + faster, wider, index)
        moved = other(
            np.stack([here.point] * 2), problem(here.point[None]).warm_start
        )
        change = (
            np.concatenate([moved.values[0], moved.limits[0]]) - here.level
        ) / _PART
        more = (
            float(its_plan.paths(here.point[None]).length[0]) - here.length
        ) / _PART
        found.append(
            _price(what, step, unit, here.shortest(change, more), base)
        )
    return tuple(found)


def _price(
    what: str, step: float, unit: str, length: float | None, base: float | None
) -> Price:
    return Price(
        what,
        step,
        unit,
        None if length is None or base is None else length - base,
    )


def _problem(
    study: RouteStudy, speed: float, wider: float, index: Floats
) -> tuple[RouteProblem, Plan]:
    """The route's problem at a speed, m/s, in a section whose radius is so much wider, m."""
    venue = study.project.venue
    if wider:
        venue = replace(venue, curvature=1.0 / (1.0 / venue.curvature + wider))
    judge, plan = known_way(as_array(study)).placed(
        replace(study.project, venue=venue),
        replace(study.options, speed=speed, length=None),
    )
    return RouteProblem(judge, plan, "margin", index), plan


def _linearised(problem: RouteProblem, plan: Plan) -> tuple[_Here, int]:
    """The route linearised, and how many of its rows are margins."""
    point = plan.start()
    here = problem(point[None])
    signs = np.where(point > 0.5, -_PROBE, _PROBE)
    steps = point + np.diag(signs)
    around = problem(steps, here.warm_start)
    level = np.concatenate([here.values[0], here.limits[0]])
    slope = (np.hstack([around.values, around.limits]) - level).T / signs
    length = float(plan.paths(point[None]).length[0])
    length_slope = (plan.paths(steps).length - length) / signs
    least = np.where(
        np.arange(level.size) < here.values.size,
        here.values.min(),
        np.minimum(level, 0.0),
    )
    return _Here(
        point, level, slope, length, length_slope, least
    ), here.values.size
