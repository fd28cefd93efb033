"""A table of margins (roll angle x course x path curvature) at one speed, and the best first path on it.

Between two layers S of the section a path has constant curvature. d(cos course)/dS = -curvature then holds
exactly, so a path is a chain of courses, one for each layer, and its length between two layers is the change
of course over the curvature. The shortest chain whose margins all reach a level is found by dynamic
programming; the highest level for a length by bisection. Both are global on the table, which knows no yaw
acceleration and no change of speed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from setupopt.evaluation.cases import path_cases
from setupopt.physics.inputs import Floats
from setupopt.route.judged import Judge
from setupopt.route.leg import turn_of
from setupopt.route.surface import Unrolled

_PLACES = 13
MOST_COURSE = np.radians(40.0)
_COURSES = np.linspace(0.0, MOST_COURSE, 9)
_SIDEWAYS = np.array(
    [-24.0, -12.0, 12.0, 24.0]
)  # m/s2 across the path, beside none
# Courses of a chain, deg, and layers: each step rounds its course, so few layers and fine courses are best
_CHAIN_DEG = np.concatenate(
    [np.arange(0.0, 4.0, 0.125), np.arange(4.0, 40.1, 0.25)]
)
_LAYERS = 16
_NONE = -2.0  # margin that stands for lost contact
_HOPELESS = (
    -0.3
)  # under this margin without path curvature, none with it is solved
EASING = 12.0  # m
_WINDOW = 25  # points of a mean over the easing
# What the table shows as margin where a limit is just kept, and how fast it falls where one is broken
_KEPT = 1.0
_DEAR = 3.0


@dataclass(frozen=True)
class MarginTable:
    """Margins (places, courses, curvatures) at a speed; `side`: 1 where courses lead up S, -1 down."""

    surface: Unrolled
    places: Floats
    courses: Floats
    curvatures: Floats
    margin: Floats
    room: Floats | None = None  # the least of all limits; negative: broken

    def keeping(self) -> MarginTable:
        """The table with margins lowered where a limit is broken."""
        if self.room is None:
            return self
        lowered = np.maximum(_NONE, _KEPT + _DEAR * self.room)
        return replace(self, margin=np.minimum(self.margin, lowered), room=None)

    @cached_property
    def _at(self) -> RegularGridInterpolator:
        axes = (self.places, np.round(self.courses, 12), self.curvatures)
        return RegularGridInterpolator(
            axes, self.margin, bounds_error=False, fill_value=_NONE
        )

    def of(self, place: Floats, course: Floats, curvature: Floats) -> Floats:
        """Margins by linear interpolation; those outside of the table count as lost."""
        return self._at((place, course, curvature))


def margin_table(
    judge: Judge, ends: tuple[float, float], speed: float
) -> MarginTable:
    """Solve the table for a leg between two places, m, at a speed, m/s."""
    side = 1.0 if ends[1] > ends[0] else -1.0
    courses = np.sort(side * _COURSES)
    places = np.linspace(min(ends), max(ends), _PLACES)
    place, course = (
        grid.ravel() for grid in np.meshgrid(places, courses, indexing="ij")
    )
    straight = _solved(judge, speed, place, course, np.zeros(place.size))
    curvatures = _SIDEWAYS / speed**2
    bent = np.full((2, place.size, curvatures.size), _NONE)
    some = np.flatnonzero(straight[0] > _HOPELESS)
    rows, columns = np.meshgrid(some, np.arange(curvatures.size), indexing="ij")
    bent[:, rows, columns] = _solved(
        judge, speed, place[rows], course[rows], curvatures[columns]
    )
    half = curvatures.size // 2
    parts = (bent[..., :half], straight[..., None], bent[..., half:])
    shape = (2, places.size, courses.size, -1)
    margin, room = np.concatenate(parts, axis=2).reshape(shape)
    whole = np.concatenate([curvatures[:half], [0.0], curvatures[half:]])
    return MarginTable(judge.surface, places, courses, whole, margin, room)


def _solved(
    judge: Judge,
    speed: float,
    place: Floats,
    course: Floats,
    curvature: Floats,
) -> Floats:
    """Margins, `_NONE` where contact is lost, and least rooms of limits, (2, ...)."""
    cases = path_cases(
        judge.project.venue,
        "table",
        judge.surface.at(place.ravel()),
        heading=course.ravel(),
        path_curvature=curvature.ravel(),
        speed=np.array(speed),
        turn_curvature=turn_of(judge.project.venue),
    )
    result = judge.model.run(judge.settings, cases)
    margin = np.maximum(result.safe_margin[0], _NONE)
    rooms = judge.point_room(result, judge.power(cases))
    least = np.min([np.ones(margin.size), *rooms.values()], axis=0)
    return np.stack([margin, least]).reshape(2, *place.shape)


@dataclass(frozen=True)
class Chain:
    """A path on the table: courses at places, (layers), the way to each, m, and the least margin of all."""

    place: Floats
    course: Floats
    way: Floats
    margin: float
    easing: float = 0.0

    @property
    def length(self) -> float:
        """Of the whole way with its curvature eased, m."""
        level = int(self.course[0] == 0.0) + int(self.course[-1] == 0.0)
        return float(self.way[-1]) + 0.5 * self.easing * level

    def courses_at(self, shares: Floats) -> Floats:
        """Courses at shares of the whole way: the mean over `easing`, m, of those of the chain.

        A chain turns at once, a path's curvature needs way to grow. Where a chain begins or ends level, half
        of the easing is added to it, straight on.
        """
        before = 0.5 * self.easing * (self.course[0] == 0.0)
        window = np.linspace(-0.5, 0.5, _WINDOW) * self.easing
        way = shares[:, None] * self.length - before + window
        return np.interp(way, self.way, self.course).mean(axis=1)


class ChainSearch:
    """Chains from course 0 at the beginning of a leg to course 0, or to any course, at its end."""

    def __init__(
        self,
        table: MarginTable,
        ends: tuple[float, float],
        ends_level: bool,
        easing: float = 0.0,
    ) -> None:
        self.easing = easing
        share = np.linspace(0.0, 1.0, _LAYERS + 1)
        closer = share**2 * (
            3.0 - 2.0 * share
        )  # near the ends, where a path gains little way round
        self.place = ends[0] + (ends[1] - ends[0]) * closer
        side = 1.0 if ends[1] > ends[0] else -1.0
        self.course = side * np.radians(_CHAIN_DEG)
        self.ends_level = ends_level
        step = np.diff(self.place)[:, None, None]
        change = self.course[None, :] - self.course[:, None]
        curvature = (
            np.cos(self.course)[:, None] - np.cos(self.course)[None, :]
        ) / step
        with np.errstate(divide="ignore", invalid="ignore"):
            self.way = np.where(
                change == 0.0,
                step / np.sin(self.course)[:, None],
                change / curvature,
            )
        first = table.of(
            self.place[:-1, None, None], self.course[:, None], curvature
        )
        last = table.of(
            self.place[1:, None, None], self.course[None, :], curvature
        )
        self.margin = np.minimum(
            first, last
        )  # (layers, from, to): the lower one of both ends of a step
        # a path begins straight along without curvature, and where it ends level it ends so
        straight = np.array(ends[: 1 + ends_level])
        self.least = float(table.of(straight, np.zeros(1), np.zeros(1)).min())

    def shortest(self, level: float) -> Chain | None:
        """The shortest chain with no margin under a level; None where there is none."""
        steps = np.where(
            self.margin >= level, self.way, np.inf
        )  # (layers, from, to)
        way = np.full((_LAYERS + 1, self.course.size), np.inf)
        way[0, 0] = 0.0
        came = np.zeros(way.shape, dtype=int)
        for layer in range(_LAYERS):
            total = way[layer][:, None] + steps[layer]
            came[layer + 1] = total.argmin(axis=0)
            way[layer + 1] = total.min(axis=0)
        last = 0 if self.ends_level else int(way[-1].argmin())
        if not np.isfinite(way[-1, last]):
            return None
        nodes = [last]
        for layer in range(_LAYERS, 0, -1):
            nodes.append(int(came[layer, nodes[-1]]))
        nodes.reverse()
        reached = way[np.arange(_LAYERS + 1), nodes]
        least = self.margin[np.arange(_LAYERS), nodes[:-1], nodes[1:]].min()
        return Chain(
            self.place, self.course[nodes], reached, float(least), self.easing
        )
