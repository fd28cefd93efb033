"""The car on the setup pad: flat, level, at rest. Only what is needed to judge the input;
the physics is elsewhere."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from functools import reduce
from typing import Any, NamedTuple

import numpy as np

from setupopt.project.model import (
    Air,
    Axle,
    AxleSetup,
    Car,
    Setup,
    Tyre,
    Venue,
)
from setupopt.project.section import Floats
from setupopt.units import GRAVITY

_STRIPS = 60  # across the tread; a per cent is more than a check needs


def axles(car: Car) -> Iterator[tuple[str, Axle, float]]:
    """Name, axle and its share of the weight."""
    yield "front", car.front, car.front_share
    yield "rear", car.rear, 1.0 - car.front_share


def corner_loads(car: Car) -> Floats:
    """Static loads of the wheels, N, driver aboard: statics with the cross weight that is set.

    Moments about the car's length: the CG stands off the centre line by the left weight above half, times
    the mean track. A cross weight loads one diagonal, and moves nothing from front to rear or in roll.
    """
    front = car.front.track
    rear = car.rear.track
    aside = 0.5 * (car.left_share - 0.5) * (front + rear)
    more = car.cross_share - 0.5
    ahead = (aside - more * rear) / (front + rear)
    behind = ahead + more
    even = 0.5 * np.repeat([car.front_share, 1.0 - car.front_share], 2)
    more_left = np.array([ahead, -ahead, behind, -behind])
    return (even + more_left) * (car.mass * GRAVITY)


def tyre_groups(car: Car) -> Iterator[tuple[slice, str, Tyre]]:
    """Wheels of an axle on one tyre: where they stand among all, their name, the tyre."""
    for first, name, axle in ((0, "front", car.front), (2, "rear", car.rear)):
        left, right = axle.tyres
        if left == right:
            yield slice(first, first + 2), name, left
        else:
            yield slice(first, first + 1), f"{name} left", left
            yield slice(first + 1, first + 2), f"{name} right", right


class Corner(NamedTuple):
    """One wheel of the car at rest."""

    axle_name: str
    axle: Axle
    tyre: Tyre
    load: float  # N
    camber: float
    pressure: float


def corners(car: Car, setup: Setup) -> Iterator[Corner]:
    """The wheels of a car that is as the setup sets it: FL, FR, RL, RR."""
    loads = iter(corner_loads(car).tolist())
    for name, axle, _ in axles(car):
        today: AxleSetup = getattr(setup, name)
        pairs = zip(
            axle.tyres,
            today.sides("camber"),
            today.sides("pressure"),
            strict=True,
        )
        for tyre, camber, pressure in pairs:
            assert (
                camber is not None and pressure is not None
            )  # no optional settings
            yield Corner(name, axle, tyre, next(loads), camber, pressure)


def unsprung_mass(car: Car) -> float:
    """All four wheels with what moves with them, kg."""
    return 2.0 * (car.front.unsprung_mass + car.rear.unsprung_mass)


def penetration(
    tyre: Tyre, load: float, camber: float, pressure: float
) -> float:
    """How deep a static load presses tread and carcass in where they are deepest, m.

    The tread alone: at most half the tyre's radius.
    """
    carcass = tyre.carcass + tyre.carcass_per_pressure * pressure
    foundation = tyre.foundation + tyre.foundation_per_pressure * pressure
    rise = _rise(tyre, camber)
    strip = tyre.tread_width / _STRIPS
    low = 0.0
    high = tyre.radius / 2.0
    for _ in range(30):
        middle = (low + high) / 2.0
        pressed = np.maximum(middle - rise, 0.0)
        reach = np.sqrt(2.0 * pressed * tyre.radius)
        if 4.0 / 3.0 * foundation * strip * (reach @ pressed) < load:
            low = middle
        else:
            high = middle
    return high + (load / carcass if carcass > 0.0 else 0.0)


def _rise(tyre: Tyre, camber: float) -> Floats:
    """How far each strip of the crowned, leaning tread lies above the lowest, m."""
    half = tyre.tread_width / 2.0
    lean = math.tan(camber)
    lowest = min(max(lean * tyre.crown_radius, -half), half)
    y = half * ((2.0 * np.arange(_STRIPS) + 1.0) / _STRIPS - 1.0)
    return (lowest - y) * lean - (lowest**2 - y**2) / (2.0 * tyre.crown_radius)


def floor_height(
    air: Air, ride_heights: tuple[Any, Any], station: float
) -> Any:
    """Height of the floor line at a station, m: straight through both ride heights, numbers or arrays."""
    front, rear = ride_heights
    along = (station - air.front_ride_station) / (
        air.rear_ride_station - air.front_ride_station
    )
    return front + along * (rear - front)


def plan_points(car: Car) -> list[tuple[float, float]]:
    """Wheels, ends of the air elements and named floor points: ahead of the CG, and to either side, m."""
    ahead = (1.0 - car.front_share) * car.wheelbase
    corners = [
        (0.0, car.front.track / 2.0),
        (car.wheelbase, car.rear.track / 2.0),
    ]
    for element in car.air.elements:
        for end in (-element.chord / 2.0, element.chord / 2.0):
            corners.append((element.station + end, element.span / 2.0))
    corners += [(point.station, abs(point.side)) for point in car.clearance]
    return [(ahead - station, half) for station, half in corners]


def reach(points: Iterable[tuple[float, float]], heading: Any) -> Any:
    """How far the points reach round the section at a heading (rad) or an array of them, m."""
    along = np.abs(np.sin(heading))
    across = np.abs(np.cos(heading))
    return reduce(
        np.maximum, (abs(x) * along + abs(y) * across for x, y in points)
    )


def widest(car: Car, venue: Venue) -> float:
    """How far the car reaches round the section at the headings that are driven, m."""
    headings = [attitude.heading for attitude in venue.attitudes]
    return float(reach(plan_points(car), headings).max())
