"""The pieces of a route and the variables that a search may move.

Shapes: "over": one leg up one side, over the top and down the other; "back": climb, straight at the
highest angle, and descent on the same side; "climb": without the descent. Way at or beyond the highest angle
counts as held: over the top the car may hold on a course of its own, straight it needs all the press from the
air.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, partial, reduce

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.route.goal import Goal
from setupopt.route.leg import Legs, PathPoints, straight
from setupopt.route.surface import Unrolled
from setupopt.route.table import MOST_COURSE, Chain

_KNOT_SPACING = 11.0  # m between the knots of a course
_FEWEST_KNOTS = 8
_MOST_KNOTS = 32  # of all legs together
SPACING = 4.0  # m between the points of a search
_MOST_POINTS = 100  # of a search on a long way
_END = 1e-12  # share of the last piece; an index below its end belongs to it
_COASTING = 0.3  # share that a search starts from
_FAR = 0.08  # first trust radius from a chain that turns at once
SHAPES = ("over", "back", "climb")


@dataclass(frozen=True)
class Stretch:
    """Where a leg goes, m round the section, and whether its last course is 0."""

    start: float
    end: float
    ends_level: bool

    @property
    def side(self) -> float:
        """Sign of its courses."""
        return 1.0 if self.end > self.start else -1.0

    @property
    def ends(self) -> tuple[float, float]:
        """Both ends."""
        return self.start, self.end


@dataclass(frozen=True)
class Shape:
    """A shape on a section: the legs, and where the car goes straight between them."""

    name: str
    stretches: tuple[Stretch, ...]
    top: float  # m round the section, of the highest angle
    hold: float  # m
    surface: Unrolled

    @property
    def straight(self) -> float:
        """Length of the piece straight at the top, m; 0 where there is none."""
        return 0.0 if self.name == "over" else self.hold

    @property
    def pieces(self) -> tuple[str, ...]:
        """Names of the pieces in the order driven."""
        if self.name == "over":
            return ("over",)
        hold = ("hold",) if self.hold > 0.0 else ()
        return (
            ("climb", *hold, "descent")
            if self.name == "back"
            else ("climb", *hold)
        )


def shapes_of(goal: Goal, surface: Unrolled, over: bool | None) -> list[Shape]:
    """The shapes that a section allows; `over`: only that one, or only the others."""
    start = surface.place(goal.start)
    top = surface.place(goal.top)
    climb = Stretch(start, top, goal.returns or goal.hold > 0.0)
    if not goal.returns:
        return [Shape("climb", (climb,), top, goal.hold, surface)]
    found = []
    if surface.round_trip is not None and over is not False:
        whole = Stretch(start, start + climb.side * surface.round_trip, True)
        found.append(Shape("over", (whole,), top, goal.hold, surface))
    if over is not True:
        found.append(
            Shape(
                "back",
                (climb, Stretch(top, start, True)),
                top,
                goal.hold,
                surface,
            )
        )
    return found


@dataclass(frozen=True)
class Plan:
    """A shape with the courses of its first path, from which a search starts.

    Variables in the unit box: inner courses of each leg (and a free last one) over 40 deg, the coasting share
    of each leg, and, with `frees_speed`, the entry speed within the goal's range.
    """

    shape: Shape
    course: tuple[Floats, ...]  # (knots) of each leg
    speed: float
    speeds: tuple[float, float]
    frees_speed: bool
    coasting: tuple[float, ...]
    first_radius: float = 0.04  # of a search's trust region

    @cached_property
    def _counts(self) -> list[int]:
        """Free courses of each leg."""
        pairs = zip(self.course, self.shape.stretches, strict=True)
        return [
            course.size - (2 if stretch.ends_level else 1)
            for course, stretch in pairs
        ]

    def start(self) -> Floats:
        """The first path as a point of the box."""
        parts = [
            stretch.side * course[1 : 1 + count] / MOST_COURSE
            for course, stretch, count in zip(
                self.course, self.shape.stretches, self._counts, strict=True
            )
        ]
        parts.append(np.array(self.coasting))
        if self.frees_speed:
            low, high = self.speeds
            parts.append(np.array([(self.speed - low) / max(high - low, 1e-9)]))
        return np.clip(np.concatenate(parts), 0.0, 1.0)

    def paths(self, points: Floats) -> Paths:
        """Points of the box (paths, variables) as paths."""
        legs: list[Legs] = []
        speed = np.full(points.shape[0], self.speed)
        if self.frees_speed:
            low, high = self.speeds
            speed = low + (high - low) * points[:, -1]
        column = 0
        coasting = sum(self._counts)
        for number, (stretch, count) in enumerate(
            zip(self.shape.stretches, self._counts, strict=True)
        ):
            course = np.zeros((points.shape[0], self.course[number].size))
            course[:, 1 : 1 + count] = (
                stretch.side * MOST_COURSE * points[:, column : column + count]
            )
            column += count
            entry = legs[-1].last_speed if legs else speed
            share = points[:, coasting + number]
            legs.append(
                Legs(
                    self.shape.surface,
                    *stretch.ends,
                    course,
                    entry,
                    share,
                    stretch.ends_level,
                )
            )
        return Paths(self.shape, tuple(legs))


def plan(
    shape: Shape,
    chains: list[Chain],
    speed: float,
    speeds: tuple[float, float],
    free: bool,
) -> Plan:
    """The plan that begins with a chain for each leg."""
    courses = []
    most = _MOST_KNOTS // len(chains)
    for chain in chains:
        by_length = min(most, int(chain.length / _KNOT_SPACING))
        knots = max(_FEWEST_KNOTS, by_length) + 1
        course = chain.courses_at(np.linspace(0.0, 1.0, knots))
        course[0] = 0.0
        courses.append(course)
    found = Plan(
        shape, tuple(courses), speed, speeds, free, (_COASTING,) * len(courses)
    )
    eased = all(chain.easing for chain in chains)
    return found if eased else replace(found, first_radius=_FAR)


@dataclass(frozen=True)
class Paths:
    """Paths of one shape. A point of a path has an index: the number of its piece plus its share of it."""

    shape: Shape
    legs: tuple[Legs, ...]

    def one(self, row: int) -> Paths:
        """One of the paths."""
        legs = tuple(
            replace(
                leg,
                **{
                    k: getattr(leg, k)[row : row + 1]
                    for k in ("course", "speed", "coasting")
                },
            )
            for leg in self.legs
        )
        return replace(self, legs=legs)

    @property
    def length(self) -> Floats:
        """Of the whole way, (paths), m."""
        return np.asarray(
            sum(leg.length for leg in self.legs) + self.shape.straight
        )

    @property
    def held(self) -> Floats:
        """Way at or beyond the highest angle, (paths), m."""
        if self.shape.name != "over":
            return np.full(self.length.shape, self.shape.hold)
        leg = self.legs[0]
        return leg.between(
            (self.shape.top, leg.start + leg.end - self.shape.top)
        )

    def index(self, finer: float = 1.0) -> Floats:
        """Indices of the points of a search, by the first path, or of so many times as many."""
        longest = float(self.length[0])
        spacing = max(SPACING, longest / _MOST_POINTS) / finer
        pieces = []
        for number, length in enumerate(self._lengths()):
            count = max(4, int(np.ceil(length / spacing)))
            pieces.append(number + np.arange(count) / count)
        return np.append(np.concatenate(pieces), len(pieces) - _END)

    def points(self, index: Floats) -> PathPoints:
        """The points at ascending indices."""
        found: list[PathPoints] = []
        way = np.zeros(self.length.size)
        along = np.zeros(self.length.size)
        for number, piece in enumerate(self._pieces()):
            shares = index[(index >= number) & (index < number + 1)] - number
            found.append(piece(shares).moved(way, along))
            end = piece(np.ones(1))
            way = way + end.way[:, 0]
            along = along + end.along[:, 0]
        return reduce(PathPoints.then, found)

    def _lengths(self) -> list[float]:
        lengths = [float(leg.length[0]) for leg in self.legs]
        return (
            [lengths[0], self.shape.straight, *lengths[1:]]
            if "hold" in self.shape.pieces
            else lengths
        )

    def _pieces(self) -> list[Callable[[Floats], PathPoints]]:
        pieces: list[Callable[[Floats], PathPoints]] = [
            leg.points for leg in self.legs
        ]
        if "hold" in self.shape.pieces:
            pieces.insert(
                1,
                partial(
                    straight,
                    self.shape.top,
                    self.shape.straight,
                    self.legs[0].last_speed,
                ),
            )
        return pieces
