"""A leg: a way between two places round the section, by its course along its length.

The course is a spline of the fifth degree over the share u of the length; its first two derivatives, and so
the path's curvature and yaw acceleration, are zero at both ends, so that pieces join smoothly. Its length L
follows: the way round is the integral of sin(course), so L = (end - start) / integral of sin(course) du. The
path's curvature is course' / L and continuous, its change course'' / L2. On the unrolled section a constant
course is a straight line, on a circle a helix.

The speed may give way to height: v2 = v02 - 2 g c z with the height z climbed and the coasting share c, from
0 (the drive holds the speed) to 1 (the drive only meets the drag).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
from scipy.interpolate import BSpline, CubicSpline, PPoly, make_interp_spline

from setupopt.evaluation.cases import CaseSet, path_cases
from setupopt.physics.inputs import Floats
from setupopt.project.model import Venue
from setupopt.route.surface import Unrolled
from setupopt.units import GRAVITY

_FINE = 481  # shares at which sin(course) is integrated, by a cubic spline
# M/s; where height would take all speed, so that every case exists
_SLOWEST = 1.0


@dataclass(frozen=True)
class PathPoints:
    """Points of legs, (legs, points) each, SI: way driven, along the axis, round the section, and so on."""

    way: Floats
    along: Floats
    place: Floats
    course: Floats
    curvature: Floats
    yaw_acceleration: Floats
    speed: Floats
    acceleration: Floats

    def then(self, more: PathPoints) -> PathPoints:
        """These, then others."""
        pairs = ((getattr(self, name), getattr(more, name)) for name in _NAMES)
        return PathPoints(*(np.concatenate(pair, axis=1) for pair in pairs))

    def moved(self, way: Floats, along: Floats) -> PathPoints:
        """The points of a piece that begins after so much way, driven and along the axis, (paths), m."""
        return replace(
            self, way=self.way + way[:, None], along=self.along + along[:, None]
        )


_NAMES = tuple(field.name for field in fields(PathPoints))


def straight(
    place: float, length: float, speed: Floats, shares: Floats
) -> PathPoints:
    """Points at shares of a way straight along the axis at a place, with constant speeds (legs)."""
    ones = np.ones((speed.size, shares.size))
    nothing = 0.0 * ones
    way = length * shares * ones
    return PathPoints(
        way,
        way.copy(),
        place * ones,
        nothing,
        nothing,
        nothing,
        speed[:, None] * ones,
        nothing,
    )


@dataclass(frozen=True)
class Legs:
    """Several legs from `start` to `end`, m round the section.

    `course` (legs, knots) at equal shares of the length, ends included, rad; `speed` and `coasting` (legs).
    `ends_flat`: no curvature at the end; else it is free there, with no third and fourth derivative.
    """

    surface: Unrolled
    start: float
    end: float
    course: Floats
    speed: Floats
    coasting: Floats
    ends_flat: bool = True

    @cached_property
    def _course(self) -> BSpline:
        shares = np.linspace(0.0, 1.0, self.course.shape[1])
        none = np.zeros(self.course.shape[0])
        flat = [(1, none), (2, none)]
        free = [(3, none), (4, none)]
        return make_interp_spline(
            shares,
            self.course.T,
            5,
            bc_type=(flat, flat if self.ends_flat else free),
        )

    @cached_property
    def _round(self) -> PPoly:
        """Integral of sin(course) from the beginning."""
        fine = np.linspace(0.0, 1.0, _FINE)
        return CubicSpline(fine, np.sin(self._course(fine))).antiderivative()

    @cached_property
    def _along(self) -> PPoly:
        fine = np.linspace(0.0, 1.0, _FINE)
        return CubicSpline(fine, np.cos(self._course(fine))).antiderivative()

    @property
    def length(self) -> Floats:
        """(legs), m."""
        return np.asarray((self.end - self.start) / self._round(1.0))

    @property
    def last_speed(self) -> Floats:
        """(legs), m/s."""
        return self.points(np.ones(1)).speed[:, 0]

    def between(self, places: tuple[float, float]) -> Floats:
        """The way driven between two places round the section, (legs), m."""
        fine = np.linspace(0.0, 1.0, _FINE)
        gone = (self._round(fine) * self.length).T
        ends = np.array(places) - self.start
        side = np.sign(self.end - self.start)
        shares = np.array(
            [np.interp(side * ends, side * row, fine) for row in gone]
        )
        return np.asarray(np.abs(shares[:, 1] - shares[:, 0]) * self.length)

    def points(self, shares: Floats) -> PathPoints:
        """The points at shares of the length, (points)."""
        length = self.length[:, None]
        course = self._course(shares).T
        curvature = self._course(shares, 1).T / length
        place = self.start + length * self._round(shares).T
        climbed = self.surface.height(place) - self.surface.height(
            np.array([self.start])
        )
        given_up = GRAVITY * self.coasting[:, None]
        squared = self.speed[:, None] ** 2 - 2.0 * given_up * climbed
        speed = np.sqrt(np.maximum(squared, _SLOWEST**2))
        acceleration = (
            -given_up * np.sin(self.surface.angle(place)) * np.sin(course)
        )
        yaw = (
            speed**2 * self._course(shares, 2).T / length**2
            + acceleration * curvature
        )
        return PathPoints(
            length * shares,
            length * self._along(shares).T,
            place,
            course,
            curvature,
            yaw,
            speed,
            acceleration,
        )


def cases_of(
    venue: Venue, surface: Unrolled, points: PathPoints, name: str
) -> CaseSet:
    """The points as cases, legs slowest. Without wind."""
    return path_cases(
        venue,
        name,
        surface.at(points.place.ravel()),
        heading=points.course.ravel(),
        speed=points.speed.ravel(),
        acceleration=points.acceleration.ravel(),
        path_curvature=points.curvature.ravel(),
        yaw_acceleration=points.yaw_acceleration.ravel(),
        turn_curvature=turn_of(venue),
    )


def turn_of(venue: Venue) -> Floats:
    """Curvature of the horizontal turn, 1/m: a place that bends does so as in its first attitude."""
    radius = venue.attitudes[0].turn_radius if venue.attitudes else None
    return np.array(0.0 if radius is None else 1.0 / radius)
