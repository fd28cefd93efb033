"""Parts of the floor that may be lowest on the setup pad, and their gaps there."""

from __future__ import annotations

from typing import Any, NamedTuple

from setupopt.project.model import Car, ClearancePoint
from setupopt.project.static_checks import floor_height


class Underside(NamedTuple):
    """A place on the underside of the car. `name`: of the axle, the floor point or the air element."""

    name: str
    station: float
    offset: float  # above the floor line
    half: float = 0.0  # reaches so far to both sides of the centre line
    side: float = 0.0


def undersides(car: Car) -> tuple[Underside, ...]:
    """The ride-height points, every named point, and both ends of every air element.

    The floor line is straight, so no point between the ends of an element is lower than both.
    """
    air = car.air
    found = [
        Underside("front", air.front_ride_station, 0.0),
        Underside("rear", air.rear_ride_station, 0.0),
    ]
    found += [
        Underside(p.name, p.station, p.offset, side=p.side)
        for p in car.clearance
    ]
    for element in air.elements:
        for end in (-element.chord / 2.0, element.chord / 2.0):
            found.append(
                Underside(
                    element.name,
                    element.station + end,
                    element.offset,
                    0.5 * element.span,
                )
            )
    return tuple(found)


def static_gap(
    car: Car,
    ride_heights: tuple[Any, Any],
    part: Underside | ClearancePoint,
    roll: Any = 0.0,
) -> Any:
    """Gap of a place on the pad, m; as many as there are ride heights, front and rear.

    `roll`: of the floor on the pad, left side up, rad.
    """
    half = part.half if isinstance(part, Underside) else 0.0
    return (
        floor_height(car.air, ride_heights, part.station)
        + part.offset
        + part.side * roll
        - half * abs(roll)
    )
