"""Cautions that only the solved cases show."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

import numpy as np

from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import Floats
from setupopt.physics.stability import REACTION, STEADY
from setupopt.project.model import Car, Tyre
from setupopt.project.static_checks import tyre_groups
from setupopt.units import KPA, angle

_FAST = "fast"


def case_cautions(
    car: Car, result: Result, counts: Mapping[str, int]
) -> Iterator[str]:
    """All of them; `counts` as `caution_counts` has them, of all cases."""
    yield from _low_pressures(car, result, counts)
    yield from _two_positions(result)
    if counts[_FAST]:
        yield _hardly_held(car, result, counts[_FAST])


def caution_counts(car: Car, result: Result) -> Counter[str]:
    """In how many cases each caution holds."""
    low = {
        f"{axle} {tyre.name}": int(
            (own < tyre.friction_pressure).any(axis=1).sum()
        )
        for axle, tyre, own in _pressures(car, result)
    }
    fast = _growth(result) * _reaction(car) > STEADY
    return Counter({**low, _FAST: int(np.count_nonzero(fast))})


def caution_rows(car: Car, result: Result) -> list[int]:
    """The cases that cautions name, and those whose numbers they have."""
    lowest = [
        int(np.nan_to_num(own, nan=np.inf).min(axis=1).argmin())
        for _, _, own in _pressures(car, result)
    ]
    return [*lowest, int(_growth(result).argmax())]


def _growth(result: Result) -> Floats:
    return np.nan_to_num(result.answers["growth"][0])


def _reaction(car: Car) -> float:
    return car.driver_reaction or REACTION


def _pressures(car: Car, result: Result) -> Iterator[tuple[str, Tyre, Floats]]:
    """Mean contact pressures (cases, wheels), Pa, of tyres that gain friction without end as they fall."""
    answers = result.answers[0]
    has_trim = is_judged(answers)[:, None]
    patch = np.where(
        has_trim & (answers["patch"] > 0.0), answers["patch"], np.nan
    )
    pressure = answers["load"] / patch
    for wheels, axle, tyre in tyre_groups(car):
        if tyre.friction_exponent > 0.0 and tyre.friction_least_pressure == 0.0:
            yield axle, tyre, pressure[:, wheels]


def _low_pressures(
    car: Car, result: Result, counts: Mapping[str, int]
) -> Iterator[str]:
    """Cases in which the friction law is used at contact pressures under the one it was measured at.

    A tyre with a least pressure is clamped there; one without it gains friction without end.
    """
    for axle, tyre, own in _pressures(car, result):
        count = counts[f"{axle} {tyre.name}"]
        if count:
            yield (
                f"car.toml tyre.{tyre.name}: in {count} of {result.count} cases the mean contact pressure of "
                f"a {axle} wheel lies under friction_pressure_kPa ({np.nanmin(own) / KPA:.0f} kPa "
                f"at the least, {tyre.friction_pressure / KPA:.0f} kPa in the file); the higher friction "
                "there is extrapolated, not measured: give friction_least_pressure_kPa"
            )


def _two_positions(result: Result) -> Iterator[str]:
    """Cases that have two trims at full friction: the answer is that of the lower margin."""
    if result.higher is None:
        return
    gain = np.nan_to_num(result.higher[0] - result.margin[0])
    if gain.any():
        row = int(gain.argmax())
        case = result.fields(row)
        yield (
            f"in {np.count_nonzero(gain)} of {gain.size} cases the car has two positions, and the lower "
            f"margin counts: at {angle(case['roll_angle_deg'])} deg, {case['attitude']}, it is "
            f"{result.margin[0, row]:.4f} in one and {result.higher[0, row]:.4f} in the other"
        )


def _hardly_held(car: Car, result: Result, count: int) -> str:
    """Cases that the car leaves faster than a driver with his reaction time can bring it back."""
    growth = _growth(result)
    row = int(growth.argmax())
    case = result.fields(row)
    return (
        f"in {count} of {result.count} cases a sideways motion grows faster than "
        f"{STEADY / _reaction(car):.1f} 1/s, the fastest at {growth[row]:.1f} 1/s at "
        f"{angle(case['roll_angle_deg'])} deg, {case['attitude']}: a driver who reacts after "
        f"{_reaction(car):g} s hardly holds that"
    )
