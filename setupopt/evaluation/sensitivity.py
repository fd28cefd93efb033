"""Which uncertain input matters here: the worst margin with each of them at both ends of its usual spread.

Only the cases nearest to the worst margin are solved again, all other inputs as they are.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result, finite
from setupopt.evaluation.summary import LOWEST
from setupopt.project.model import AirElement, Car, Project, Tyre

# Factors on a value, and plain values, at both ends; common practice, no source.
_TYRE_FACTORS = {
    "friction": (0.9, 1.1),
    "foundation": (0.75, 1.25),
    "friction_exponent": (0.5, 1.5),
    "compliance": (0.5, 1.5),
    "carcass": (0.75, 1.25),
}
_TYRE_VALUES = {
    "shear_per_foundation": (1.0, 3.0),
    "camber_thrust_share": (0.3, 0.8),
}
_AIR_FACTORS = {
    "free_area": (0.85, 1.15),
    "ground_area": (0.8, 1.2),
    "peak_gap": (0.7, 1.3),
    "yaw_loss": (0.5, 1.5),
}
_WITH_PRESSURE = {
    "foundation": "foundation_per_pressure",
    "carcass": "carcass_per_pressure",
}
# Growth of a radius that the file does not say: this share of it at a speed, with the square of speeds
_GROWN = 0.01
_GROWN_AT = 50.0  # m/s
_SPEEDS = tuple(25.0 * row for row in range(1, 9))


@dataclass(frozen=True)
class Sensitivity:
    """One input: the worst margin at both ends of its spread; None where contact is lost there.

    `spread`: the ends in words. `most`: the largest change of margin; None where the input decides whether
    contact is lost.
    """

    input: str
    spread: str
    low_margin: float | None
    high_margin: float | None
    most: float | None


def sensitivities(project: Project, result: Result) -> tuple[Sensitivity, ...]:
    """Every uncertain input of the car that is not 0, the one that matters most first.

    `result`: of the project's setup in the cases that count.
    """
    lowest = np.argsort(result.ranked[0], kind="stable")
    rows = np.sort(lowest[:LOWEST])
    cases = result.cases.pick(rows)
    nominal = float(result.worst_margin[0])

    def margin(car: Car) -> float:
        model = Model(car)
        return float(
            model.run(model.settings(project.setup), cases).worst_margin[0]
        )

    found = []
    for name, spread, cars in _inputs(project.car):
        ends = [margin(car) for car in cars]
        low, high = (finite(end) for end in ends)
        apart = [0.0 if end == nominal else abs(end - nominal) for end in ends]
        found.append(Sensitivity(name, spread, low, high, finite(max(apart))))
    return tuple(sorted(found, key=_change, reverse=True))


def _change(one: Sensitivity) -> float:
    return np.inf if one.most is None else one.most


def _inputs(car: Car) -> Iterator[tuple[str, str, list[Car]]]:
    """Name, spread in words, and the cars with the input at its lower and at its upper end."""
    tyres = {
        tyre.name: tyre for axle in (car.front, car.rear) for tyre in axle.tyres
    }
    for tyre in tyres.values():
        for field, spread, ends in _of_tyre(tyre):
            cars = [_with_tyre(car, replace(tyre, **end)) for end in ends]  # type: ignore[arg-type]
            yield f"{tyre.name}: {_words(field)}", spread, cars
    for element in car.air.elements:
        for field, factors in _AIR_FACTORS.items():
            if getattr(element, field) and not element.settings:
                ends = _times(element, [field], factors)
                cars = [_with_element(car, element, end) for end in ends]
                name = f"{element.name}: {_words(field)}"
                yield name, _factor_words(factors), cars


_End = dict[str, Any]


def _of_tyre(tyre: Tyre) -> Iterator[tuple[str, str, list[_End]]]:
    """Field, spread in words, and what replaces it; the part that goes with the pressure changes alike."""
    for field, factors in _TYRE_FACTORS.items():
        names = list({field, _WITH_PRESSURE.get(field, field)})
        if any(getattr(tyre, name) for name in names):
            ends = _times(tyre, names, factors)
            yield field, _factor_words(factors), ends
    for field, values in _TYRE_VALUES.items():
        spread = f"{values[0]:g} to {values[1]:g}"
        yield field, spread, [{field: value} for value in values]
    if not tyre.radius_growth:
        grown = tuple(
            _GROWN * tyre.radius * (v / _GROWN_AT) ** 2 for v in _SPEEDS
        )
        end = {"radius_growth_speed": _SPEEDS, "radius_growth": grown}
        spread = f"0 to {100.0 * _GROWN:g} % at {_GROWN_AT:g} m/s"
        yield "radius_growth", spread, [{}, end]


def _times(
    owner: Tyre | AirElement, names: list[str], factors: tuple[float, float]
) -> list[_End]:
    return [
        {name: getattr(owner, name) * factor for name in names}
        for factor in factors
    ]


def _words(field: str) -> str:
    return (
        "lean compliance" if field == "compliance" else field.replace("_", " ")
    )


def _factor_words(factors: tuple[float, float]) -> str:
    return f"{100.0 * (factors[0] - 1.0):+.0f} to {100.0 * (factors[1] - 1.0):+.0f} %"


def _with_element(car: Car, element: AirElement, end: _End) -> Car:
    """The car with values of an air element replaced."""
    other = replace(element, **end)  # type: ignore[arg-type]
    elements = tuple(
        other if one is element else one for one in car.air.elements
    )
    return replace(car, air=replace(car.air, elements=elements))


def _with_tyre(car: Car, tyre: Tyre) -> Car:
    """The car with a tyre of this name replaced wherever it stands on it."""
    axles = {}
    for name, axle in (("front", car.front), ("rear", car.rear)):
        left = tyre if axle.tyre.name == tyre.name else axle.tyre
        right = axle.tyre_right
        right = tyre if right is not None and right.name == tyre.name else right
        axles[name] = replace(axle, tyre=left, tyre_right=right)
    return replace(car, **axles)  # type: ignore[arg-type]
