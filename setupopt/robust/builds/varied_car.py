"""The car with inputs multiplied: mass, downforce, drag, side force, friction and stiffness of the tyres."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

from setupopt.project.model import (
    AXLES,
    AirElement,
    Axle,
    Car,
    Tyre,
    WingSetting,
)  # fmt: skip
from setupopt.project.static_checks import unsprung_mass


def varied_car(car: Car, factors: dict[str, float]) -> Car:
    """The car with inputs multiplied, by their field of Spread; what is not named stays.

    Besides, `downforce_of(NAME)` of one air element and `foundation_of(NAME)` of one tyre. A lighter car
    keeps its wheels: no mass goes so low that the sprung part, or its CG, would be gone.
    """
    downforce, friction = (
        factors.get("downforce", 1.0),
        factors.get("tyre_friction", 1.0),
    )
    drag = factors.get("drag", 1.0)
    elements = tuple(
        replace(
            _scaled(element, own, drag),
            settings=tuple(_scaled(row, own, drag) for row in element.settings),
        )
        for element in car.air.elements
        for own in [downforce * factors.get(downforce_of(element.name), 1.0)]
    )
    air = replace(
        car.air,
        drag_area=drag * car.air.drag_area,
        side_area=factors.get("side_force", 1.0) * car.air.side_area,
        elements=elements,
    )
    front, rear = (
        _on_tyre(getattr(car, axle), friction, factors) for axle in AXLES
    )
    mass = max(
        factors.get("mass", 1.0) * car.mass,
        min(car.mass, _SPRUNG * _wheels_alone(car)),
    )
    return replace(car, mass=mass, air=air, front=front, rear=rear)


# A car stays so much heavier than its wheels.
_SPRUNG = 1.05


_Loads = TypeVar("_Loads", AirElement, WingSetting)


def _scaled(part: _Loads, downforce: float, drag: float) -> _Loads:
    """An air element, or one of its settings, with other loads."""
    own_drag = None if part.drag_area is None else drag * part.drag_area
    free = downforce * part.free_area
    return replace(
        part,
        free_area=free,
        ground_area=downforce * part.ground_area,
        drag_area=own_drag,
    )


def downforce_of(element: str) -> str:
    """The factor on the downforce of one air element."""
    return f"downforce of {element}"


def foundation_of(tyre: str) -> str:
    """The factor on the radial stiffness of one tyre, tread and carcass."""
    return f"foundation of {tyre}"


def _on_tyre(axle: Axle, friction: float, factors: dict[str, float]) -> Axle:
    """The axle on tyres whose friction and stiffness are multiplied."""
    left, right = (
        _tyre(tyre, friction, factors.get(foundation_of(tyre.name), 1.0))
        for tyre in axle.tyres
    )
    return replace(
        axle, tyre=left, tyre_right=None if axle.tyre_right is None else right
    )


def _tyre(tyre: Tyre, friction: float, stiffness: float) -> Tyre:
    stiffer = {name: stiffness * getattr(tyre, name) for name in STIFFNESS}
    return replace(tyre, friction=friction * tyre.friction, **stiffer)


# What makes a tyre stiff radially, of Tyre.
STIFFNESS = (
    "foundation",
    "foundation_per_pressure",
    "carcass",
    "carcass_per_pressure",
)


def _wheels_alone(car: Car) -> float:
    """Mass at which nothing sprung is left, or its CG lies on the road, kg."""
    moment = 2.0 * sum(
        a.unsprung_mass * a.unsprung_height for a in (car.front, car.rear)
    )
    return max(unsprung_mass(car), moment / car.cg_height)
