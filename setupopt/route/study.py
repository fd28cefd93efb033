"""`route`: the best way from the floor over the section and back, for the project's setup."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
from scipy.integrate import cumulative_trapezoid

from setupopt.errors import UserError
from setupopt.jobs.chunk_ranges import Progress
from setupopt.physics.inputs import Floats
from setupopt.physics.jit import workers
from setupopt.project.bodies import with_body
from setupopt.project.car_as_set import car_as_set
from setupopt.project.model import Car, Project
from setupopt.route.goal import Goal, RouteOptions, goal_of
from setupopt.route.judged import Judge, Judged
from setupopt.route.plan import Paths, Plan, Shape, plan, shapes_of
from setupopt.route.raising import Raised, raised, start_merit, unmoved
from setupopt.route.table import (
    EASING,
    Chain,
    ChainSearch,
    MarginTable,
    margin_table,
)

_HALVINGS = 14
_LEFT = 0.01  # of margin; near the margin of straight running at their ends, paths grow long for very little
_SPEED_STEPS = 6  # speeds whose tables are solved in the mode "speed"


@dataclass(frozen=True)
class First:
    """The best first path of a shape on its tables: a chain for each leg. None where there is none.

    `straight`: least margin straight along where legs begin and end, which no path exceeds.
    """

    shape: Shape
    speed: float
    chains: tuple[Chain, ...]
    straight: float

    @property
    def margin(self) -> float:
        """Least margin on the table."""
        return min(self.straight, *(chain.margin for chain in self.chains))

    @property
    def length(self) -> float:
        """Way on the section, m."""
        return sum(chain.length for chain in self.chains) + self.shape.straight


@dataclass(frozen=True)
class RouteStudy:
    """The best route of a project's setup.

    `firsts`: the best first path of every shape, by name; None where the table has none that gets there.
    """

    project: Project
    options: RouteOptions
    goal: Goal
    firsts: dict[str, First | None]
    found: Raised
    room: dict[str, Floats]

    @property
    def car(self) -> Car:
        """The car as its setup sets it."""
        return car_as_set(self.project.car, self.project.setup)

    @property
    def paths(self) -> Paths:
        """The route (1 path)."""
        return self.found.paths

    @property
    def judged(self) -> Judged:
        """Its points with their answers."""
        return self.found.judged

    @property
    def margin(self) -> Floats:
        """Along the route, (points); minus infinity where contact is lost."""
        return self.judged.result.safe_margin[0]

    @property
    def length(self) -> float:
        """Way on the section, m."""
        return float(self.paths.length[0])

    @property
    def roll_angle(self) -> Floats:
        """Along the route, (points), rad; beyond 180 deg on the way over the top."""
        return self.paths.shape.surface.angle(self.judged.points.place[0])

    @property
    def seconds(self) -> Floats:
        """Time since the entry, (points)."""
        points = self.judged.points
        slowness = 1.0 / points.speed[0]
        return cumulative_trapezoid(slowness, points.way[0], initial=0.0)

    @property
    def broken(self) -> tuple[str, ...]:
        """Limits that some point breaks; rounding of the search is no break."""
        return tuple(
            name for name, rows in self.room.items() if rows.min() < -_SLACK
        )

    @property
    def keeps_limits(self) -> bool:
        """Whether the length and every limit are kept at every point."""
        most = np.inf if self.goal.length is None else self.goal.length
        return not self.broken and self.length <= most * (1.0 + _SLACK)

    @property
    def holds(self) -> bool:
        """Whether the least margin too is kept at every point."""
        least = self.goal.least_margin - _SLACK
        return self.keeps_limits and bool(self.margin.min() >= least)

    @property
    def merit(self) -> tuple[bool, float]:
        """What the better one of two routes has more of: limits first, then least margin."""
        return self.keeps_limits, float(self.margin.min())

    @cached_property
    def straight(self) -> float:
        """Margin straight along at the highest angle; minus infinity where contact is lost."""
        leg = self.paths.legs[0]
        judge = Judge(self.project, self.goal)
        return judge.straight(self.paths.shape.top, leg.speed)


_SLACK = 2e-3  # of a margin or of a limit's size: what the search leaves between its points


def study_route(
    project: Project, options: RouteOptions, progress: Progress | None = None
) -> RouteStudy:
    """The best route of the project's setup. Raises UserError where no shape gets to the highest angle."""
    project = with_body(project, project.setup.body)
    goal = goal_of(project, options)
    judge = Judge(project, goal)
    careful = FirstSearch(judge)
    searches = [careful, careful.bold()]
    if options.mode != "margin":
        searches = searches[1:]
    elif options.quick:
        searches = searches[:1]
    firsts = [search.firsts(options) for search in searches]
    tell = progress or (lambda _: None)
    tell(1)
    with ThreadPoolExecutor(workers()) as pool:
        found = [*pool.map(partial(_from_first, judge, options), firsts)]
    tell(1)
    return max(found, key=lambda one: one.merit)


def _from_first(
    judge: Judge, options: RouteOptions, firsts: dict[str, First | None]
) -> RouteStudy:
    """The best route near the best of the first paths."""
    best = best_first(firsts, options.mode)
    way = plan(
        best.shape,
        list(best.chains),
        best.speed,
        judge.goal.speeds,
        options.mode == "speed",
    )
    return _study(judge, options, firsts, _raised(judge, way, best, options))


def _study(
    judge: Judge,
    options: RouteOptions,
    firsts: dict[str, First | None],
    found: Raised,
) -> RouteStudy:
    room = judge.room(found.judged)
    return RouteStudy(judge.project, options, judge.goal, firsts, found, room)


@dataclass(frozen=True)
class KnownWay:
    """A route that is known by its shape, entry speed, m/s, courses, rad, and coasting shares."""

    shape: str
    speed: float
    courses: tuple[Floats, ...]
    coasting: tuple[float, ...]

    def driven(self, project: Project, options: RouteOptions) -> RouteStudy:
        """Judged as it is."""
        judge, way = self.placed(project, options)
        return _study(judge, options, {}, unmoved(judge, way, options.quick))

    def merit(self, project: Project, options: RouteOptions) -> float:
        """What a search near it starts from: least margin, less the cost of broken limits."""
        return start_merit(*self.placed(project, options), options.quick)

    def improved(self, project: Project, options: RouteOptions) -> RouteStudy:
        """The best route near it."""
        judge, way = self.placed(project, options)
        found = raised(judge, way, options.mode, options.quick)
        return _study(judge, options, {}, found)

    def placed(
        self, project: Project, options: RouteOptions
    ) -> tuple[Judge, Plan]:
        """On a project: what judges it, and the plan that begins with it."""
        project = with_body(project, project.setup.body)
        goal = goal_of(project, options)
        judge = Judge(project, goal)
        shapes = {one.name: one for one in shapes_of(goal, judge.surface, None)}
        way = Plan(
            shapes[self.shape],
            self.courses,
            self.speed,
            goal.speeds,
            False,
            self.coasting,
        )
        return judge, way


def _raised(
    judge: Judge, way: Plan, best: First, options: RouteOptions
) -> Raised:
    """The best route near the first path.

    For the shortest or the slowest one the margin is raised first, at the length of the first path: that
    search starts from what the limits allow.
    """
    if options.mode == "margin":
        return raised(judge, way, "margin", options.quick)
    goal = judge.goal
    judge.goal = replace(goal, length=best.length * _MORE_LENGTH)
    start = raised(judge, replace(way, frees_speed=False), "margin")
    judge.goal = goal
    return raised(
        judge,
        replace(way, course=start.courses, coasting=start.coasting),
        options.mode,
    )


_MORE_LENGTH = 1.05  # of the first path's


def best_first(firsts: dict[str, First | None], mode: str) -> First:
    """The shape to raise. Raises UserError where there is none."""
    known = [first for first in firsts.values() if first is not None]
    if not known:
        raise UserError(
            "no route keeps contact all the way on the table of margins: give more speed, a longer way, a "
            "lower highest angle or no hold"
        )
    if mode == "margin":
        return max(known, key=lambda first: first.margin)
    return min(
        known,
        key=lambda first: first.length if mode == "length" else first.speed,
    )


class FirstSearch:
    """First paths by dynamic programming, global on their tables.

    A careful one keeps limits and lets curvature grow over some metres; the other knows neither.
    """

    def __init__(self, judge: Judge, careful: bool = True) -> None:
        self.judge = judge
        self.careful = careful
        self._tables: dict[tuple[float, float, float], MarginTable] = {}

    def bold(self) -> FirstSearch:
        """The one that is not careful, on the same tables."""
        other = FirstSearch(self.judge, careful=False)
        other._tables = self._tables
        return other

    def firsts(self, options: RouteOptions) -> dict[str, First | None]:
        """The best first path of every shape. A quick search leaves out a shape that cannot be better."""
        found: dict[str, First | None] = {}
        goal = self.judge.goal
        for shape in shapes_of(goal, self.judge.surface, options.over):
            known = [one.margin for one in found.values() if one is not None]
            if known and options.quick and options.mode == "margin":
                most = self.judge.straight(shape.top, np.full(1, goal.speed))
                if most <= max(known):
                    continue
            found[shape.name] = self.first(shape, options.mode)
        return found

    def first(self, shape: Shape, mode: str) -> First | None:
        """The best first path of a shape; where none reaches the least margin, the one of the highest."""
        goal = self.judge.goal
        if mode != "speed":
            return self._at_speed(shape, goal.speed, mode)
        for speed in np.linspace(*goal.speeds, _SPEED_STEPS):
            found = self._at_speed(shape, float(speed), "length")
            if (
                found is not None
                and found.margin >= goal.least_margin
                and self._is_short(found)
            ):
                return found
        return self._at_speed(shape, goal.speeds[1], "margin")

    def _is_short(self, first: First) -> bool:
        length = self.judge.goal.length
        return length is None or first.length <= length

    def _at_speed(self, shape: Shape, speed: float, mode: str) -> First | None:
        searches = [
            ChainSearch(
                self._table(stretch.ends, speed),
                stretch.ends,
                stretch.ends_level,
                EASING * self.careful,
            )
            for stretch in shape.stretches
        ]
        if mode == "length":
            found = _chains(
                shape, speed, searches, self.judge.goal.least_margin
            )
            if (
                found is not None
                and found.margin >= self.judge.goal.least_margin
            ):
                return found
        return self._highest(shape, speed, searches)

    def _highest(
        self, shape: Shape, speed: float, searches: list[ChainSearch]
    ) -> First | None:
        """The chains of the highest level whose length is allowed; else the shortest that keep contact.

        The level stays `_LEFT` under the margin of straight running at their ends, which no path exceeds.
        """
        low = -1.9
        high = 1.0
        most = min(search.least for search in searches) - _LEFT
        found = _chains(shape, speed, searches, low)
        for _ in range(_HALVINGS):
            level = 0.5 * (low + high)
            trial = None
            if level <= most:
                trial = _chains(shape, speed, searches, level)
            if trial is not None and self._is_short(trial):
                found = trial
                low = level
            else:
                high = level
        return found

    def _table(self, ends: tuple[float, float], speed: float) -> MarginTable:
        key = (*ends, speed)
        if key not in self._tables:
            self._tables[key] = margin_table(self.judge, ends, speed)
        table = self._tables[key]
        return table.keeping() if self.careful else table


def _chains(
    shape: Shape, speed: float, searches: list[ChainSearch], level: float
) -> First | None:
    """The shortest chain of every leg at a level."""
    chains = [search.shortest(level) for search in searches]
    if any(chain is None for chain in chains):
        return None
    straight = min(search.least for search in searches)
    return First(
        shape,
        speed,
        tuple(chain for chain in chains if chain is not None),
        straight,
    )
