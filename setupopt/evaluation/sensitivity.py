"""Which uncertain input matters here: the worst margin with each of them at both ends of its usual spread.

Only the cases nearest to the worst margin are solved again, all other inputs as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result, finite
from setupopt.project.model import AirElement, Car, Project, Tyre

_MOST_CASES = 40
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
_Change = Callable[[Car, int], Car]


@dataclass(frozen=True)
class Sensitivity:
    """One input: the worst margin at both ends of its spread; None where contact is lost there.

    `spread`: the ends in words. `most`: the largest change of margin, infinite where contact is lost.
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
    score = np.where(
        result.contact[0], result.margin[0], result.search_margin[0] - 1e6
    )
    rows = np.sort(np.argsort(score, kind="stable")[:_MOST_CASES])
    cases = result.cases.pick(rows)
    nominal = float(result.worst_margin[0])

    def margin(car: Car) -> float:
        model = Model(car)
        return float(
            model.run(model.settings(project.setup), cases).worst_margin[0]
        )

    found = []
    for name, spread, change in _inputs(project.car):
        ends = [margin(change(project.car, end)) for end in (0, 1)]
        apart = [
            abs(end - nominal) if np.isfinite(end) else np.inf for end in ends
        ]
        lost = not np.isfinite(nominal)
        low, high = (finite(end) for end in ends)
        found.append(
            (
                0.0 if lost else max(apart),
                Sensitivity(name, spread, low, high, finite(max(apart))),
            )
        )
    return tuple(one for _, one in sorted(found, key=lambda pair: -pair[0]))


def _inputs(car: Car) -> Iterator[tuple[str, str, _Change]]:
    """Name, spread in words, and what makes the car with the input at its lower (0) or upper (1) end."""
    tyres = {
        tyre.name: tyre for axle in (car.front, car.rear) for tyre in axle.tyres
    }
    for tyre in tyres.values():
        for field, factors in _TYRE_FACTORS.items():
            if getattr(tyre, field) or getattr(
                tyre, _WITH_PRESSURE.get(field, field)
            ):
                name = f"{tyre.name}: {_words(field)}"
                yield (
                    name,
                    _factor_words(factors),
                    _tyre_factor(tyre, field, factors),
                )
        for field, values in _TYRE_VALUES.items():
            yield (
                f"tyre.{tyre.name} {field}",
                f"{values[0]:g} to {values[1]:g}",
                _tyre_value(tyre, field, values),
            )
    for element in car.air.elements:
        for field, factors in _AIR_FACTORS.items():
            if getattr(element, field) and not element.settings:
                name = f"{element.name}: {_words(field)}"
                yield (
                    name,
                    _factor_words(factors),
                    _air_factor(element, field, factors),
                )


def _words(field: str) -> str:
    return (
        "lean compliance" if field == "compliance" else field.replace("_", " ")
    )


def _factor_words(factors: tuple[float, float]) -> str:
    return f"{100.0 * (factors[0] - 1.0):+.0f} to {100.0 * (factors[1] - 1.0):+.0f} %"


def _tyre_factor(
    tyre: Tyre, field: str, factors: tuple[float, float]
) -> _Change:
    """The part that goes with the pressure changes alike."""
    names = {field, _WITH_PRESSURE.get(field, field)}

    def change(car: Car, end: int) -> Car:
        return _with_tyre(
            car,
            replace(
                tyre,
                **{name: getattr(tyre, name) * factors[end] for name in names},
            ),
        )

    return change


def _tyre_value(tyre: Tyre, field: str, values: tuple[float, float]) -> _Change:
    def change(car: Car, end: int) -> Car:
        other = replace(tyre, **{field: values[end]})  # type: ignore[arg-type]
        return _with_tyre(car, other)

    return change


def _air_factor(
    element: AirElement, field: str, factors: tuple[float, float]
) -> _Change:
    def change(car: Car, end: int) -> Car:
        other = replace(
            element, **{field: getattr(element, field) * factors[end]}
        )
        elements = tuple(
            other if one.name == element.name else one
            for one in car.air.elements
        )
        return replace(car, air=replace(car.air, elements=elements))

    return change


def _with_tyre(car: Car, tyre: Tyre) -> Car:
    """The car with a tyre of this name replaced wherever it stands on it."""
    axles = {}
    for name, axle in (("front", car.front), ("rear", car.rear)):
        left = tyre if axle.tyre.name == tyre.name else axle.tyre
        right = axle.tyre_right
        right = tyre if right is not None and right.name == tyre.name else right
        axles[name] = replace(axle, tyre=left, tyre_right=right)
    return replace(car, **axles)  # type: ignore[arg-type]
