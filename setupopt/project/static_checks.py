"""The car on the setup pad: flat, level, at rest. Only what is needed to judge the input;
the physics is elsewhere."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Any

from setupopt.project.model import Air, Axle, Car, Tyre
from setupopt.units import GRAVITY

_STRIPS = 60  # across the tread; a per cent is more than a check needs


def axles(car: Car) -> Iterator[tuple[str, Axle, float]]:
    """Name, axle and its share of the weight."""
    yield "front", car.front, car.front_share
    yield "rear", car.rear, 1.0 - car.front_share


def corner_load(car: Car, share: float) -> float:
    """Static load of one wheel of an axle that carries `share` of the weight, N."""
    return car.mass * GRAVITY * share / 2.0


def unsprung_mass(car: Car) -> float:
    """All four wheels with what moves with them, kg."""
    return 2.0 * (car.front.unsprung_mass + car.rear.unsprung_mass)


def penetration(tyre: Tyre, load: float, camber: float, pressure: float) -> float:
    """How deep a static load presses tread and carcass in where they are deepest, m.

    The tread alone: at most half the tyre's radius.
    """
    carcass = tyre.carcass + tyre.carcass_per_pressure * pressure
    low = 0.0
    high = tyre.radius / 2.0
    for _ in range(30):
        middle = (low + high) / 2.0
        if _carried(tyre, middle, camber, pressure) < load:
            low = middle
        else:
            high = middle
    return high + (load / carcass if carcass > 0.0 else 0.0)


def _carried(tyre: Tyre, deepest: float, camber: float, pressure: float) -> float:
    """Load at a penetration, N: an elastic foundation under the crowned, leaning tread."""
    stiffness = tyre.foundation + tyre.foundation_per_pressure * pressure
    half = tyre.tread_width / 2.0
    lean = math.tan(camber)
    total = 0.0
    lowest = min(max(lean * tyre.crown_radius, -half), half)  # where the tread comes down furthest
    strip = tyre.tread_width / _STRIPS
    for index in range(_STRIPS):
        y = (index + 0.5) * strip - half
        rise = (lowest - y) * lean - (lowest**2 - y**2) / (2.0 * tyre.crown_radius)
        pressed = max(0.0, deepest - rise)
        total += 4.0 / 3.0 * stiffness * math.sqrt(2.0 * pressed * tyre.radius) * pressed * strip
    return total


def floor_height(air: Air, ride_heights: tuple[Any, Any], station: float) -> Any:
    """Height of the floor line at a station, m: straight through both ride heights, numbers or arrays."""
    front, rear = ride_heights
    along = (station - air.front_ride_station) / (air.rear_ride_station - air.front_ride_station)
    return front + along * (rear - front)


def plan_points(car: Car) -> list[tuple[float, float]]:
    """Wheels, corners of the air elements and named floor points seen from the CG: x ahead, y left, m."""
    ahead = (1.0 - car.front_share) * car.wheelbase
    corners = [(0.0, car.front.track / 2.0), (car.wheelbase, car.rear.track / 2.0)]
    for element in car.air.elements:
        for end in (-element.chord / 2.0, element.chord / 2.0):
            corners.append((element.station + end, element.span / 2.0))
    corners += [(point.station, abs(point.side)) for point in car.clearance]
    return [(ahead - station, side * half) for station, half in corners for side in (1.0, -1.0)]


def reach(points: Iterable[tuple[float, float]], heading: float) -> float:
    """How far the points reach round the section at a heading (rad), m."""
    return max(abs(x * math.sin(heading) + y * math.cos(heading)) for x, y in points)
