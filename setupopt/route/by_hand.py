"""The way up that a driver finds by hand: a ramp from the floor to one heading, kept up to the highest angle."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.route.judged import Judge
from setupopt.route.leg import Legs
from setupopt.route.study import RouteStudy

_HEADINGS = np.radians(np.arange(6.0, 25.0, 3.0))
_RAMPS = np.array([0.5, 1.0, 1.5])  # s; the first is 20 m at 40 m/s
_KNOTS = np.linspace(0.0, 1.0, 9)
_COARSE = 16  # points of a way
_FINE = 91


@dataclass(frozen=True)
class ByHand:
    """The best way of one heading, at the entry speed held, beside the route up to the same angle; SI.

    `margin`: the least one of it, `steady`: of the heading alone, without the ramp; minus infinity where
    contact is lost.
    """

    heading: float
    ramp: float
    length: float
    margin: float
    steady: float
    route_length: float
    route_margin: float


def by_hand(study: RouteStudy) -> ByHand:
    """The best of some ramps to the heading of the options, or to one of several."""
    wanted = study.options.heading
    headings = _HEADINGS if wanted is None else np.array([wanted])
    top = study.paths.shape.top
    ways = _ways(study, top, headings)
    best = int(_least(study, ways, _COARSE).argmax())
    way = replace(ways, course=ways.course[best : best + 1])
    heading = way.course[:, -1]
    points = study.judged.points
    side = np.sign(heading)
    last = int((side * (points.place[0] - top) >= -1e-9).argmax())
    return ByHand(
        float(abs(heading[0])),
        float(points.speed[0, 0] * _RAMPS[best % _RAMPS.size]),
        float(way.length[0]),
        float(_least(study, way, _FINE)[0]),
        float(_least(study, _steady(study, top, heading), _COARSE)[0]),
        float(points.way[0, last]),
        float(study.margin[: last + 1].min()),
    )


def _ways(study: RouteStudy, top: float, headings: Floats) -> Legs:
    """Ways up with every ramp to every heading, ramps fastest."""
    leg = study.paths.legs[0]
    heading = np.repeat(headings, _RAMPS.size)[:, None]
    ramp = np.tile(_RAMPS * leg.speed[0], headings.size)[:, None]
    climbed = ramp * (1.0 - np.cos(heading)) / heading
    rest = (abs(top - leg.start) - climbed) / np.sin(heading)
    turned = np.minimum(_KNOTS * (ramp + np.maximum(rest, 0.0)) / ramp, 1.0)
    side = np.sign(top - leg.start)
    return replace(
        leg, end=top, course=side * heading * turned, ends_flat=False
    )


def _steady(study: RouteStudy, end: float, heading: Floats) -> Legs:
    """A way up on one heading (1) to a place, m, without a ramp."""
    leg = study.paths.legs[0]
    return replace(leg, end=end, course=heading[:, None] * np.ones(_KNOTS.size))


def _least(study: RouteStudy, ways: Legs, count: int) -> Floats:
    """Least margins of ways, at the entry speed of the route's first leg, at so many points of each."""
    speed = study.paths.legs[0].speed[0]
    nothing = np.zeros(ways.course.shape[0])
    held = replace(ways, speed=speed + nothing, coasting=nothing)
    points = held.points(np.linspace(0.0, 1.0, count))
    found = Judge(study.project, study.goal).judged(points, growth=False)
    return found.result.safe_margin.reshape(-1, count).min(axis=1)
