"""Cautions about limits.toml: settings outside their ranges, limits that no ride height keeps."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product

from setupopt.project.bodies import OWN
from setupopt.project.limits_model import Adjuster, Limits
from setupopt.project.model import (
    AXLES,
    SIDES,
    AxleLimits,
    AxleSetup,
    Car,
    Range,
    Setup,
    Tyre,
)
from setupopt.project.settings import SETTINGS, Setting, rounded
from setupopt.project.static_checks import axles
from setupopt.project.underbody import static_gap, undersides
from setupopt.units import BAR, MM, N_PER_MM

_GUESS = "a search of the pressure rests on a guess"
_SAME = (
    "is as stiff at every pressure, foundation_per_bar_N_per_mm3 and carcass_per_bar_N_per_mm are 0; "
    "a search of the pressure changes nothing"
)
MOST_LISTED = 12  # values in one caution


def limit_cautions(car: Car, setup: Setup, limits: Limits) -> Iterator[str]:
    """What is odd about the limits of a car in its body and setup."""
    yield from _limits(setup, limits)
    yield from _pressures(car, limits)
    yield from out_of_reach(car, setup, limits, OWN)


def _pressures(car: Car, limits: Limits) -> Iterator[str]:
    """Pressures to choose from, of which the tyre's numbers say nothing."""
    for name, axle, _ in axles(car):
        allowed = getattr(limits, name).pressure
        if allowed is None or allowed.upper == allowed.lower:
            continue
        for tyre in dict.fromkeys(axle.tyres):
            if odd := _odd_pressure(tyre, allowed):
                yield f"limits.toml {name}.pressure_bar: tyre {tyre.name!r} {odd}"


def _odd_pressure(tyre: Tyre, allowed: Range) -> str:
    """What a tyre's numbers do not say about a range of pressures."""
    ends = tyre.measured_pressure
    if tyre.foundation_per_pressure == 0.0 and tyre.carcass_per_pressure == 0.0:
        return _SAME
    if ends is None:
        return f"does not say at which pressures it was measured, measured_pressure_bar; {_GUESS}"
    if not (_within(allowed.lower, *ends) and _within(allowed.upper, *ends)):
        return f"was measured from {ends[0] / BAR:g} to {ends[1] / BAR:g} bar only; outside, {_GUESS}"
    return ""


def _limits(setup: Setup, limits: Limits) -> Iterator[str]:
    for name in AXLES:
        yield from _axle_limits(
            name, getattr(setup, name), getattr(limits, name)
        )
        yield from _adjuster(
            name, getattr(setup, name), getattr(limits, f"adjuster_{name}")
        )
    rake = setup.ride_heights[1] - setup.ride_heights[0]
    allowed = limits.packaging.rake
    if allowed is not None and not _within(rake, *allowed):
        yield (
            f"setup.toml: a rake of {in_mm(rake)} mm lies outside packaging.rake_mm of limits.toml, "
            f"{in_mm(allowed[0])} to {in_mm(allowed[1])} mm"
        )


def out_of_reach(
    car: Car, setup: Setup, limits: Limits, file: str
) -> Iterator[str]:
    """Limits of the floor on the pad that no ride heights inside limits.toml keep."""
    if limits.front.ride_height is None and limits.rear.ride_height is None:
        return
    ends = product(
        _ends(setup.front, limits.front), _ends(setup.rear, limits.rear)
    )
    corners = [replace(setup, front=front, rear=rear) for front, rear in ends]
    fault = "is out of reach: with the ride heights of limits.toml"
    for point in car.clearance:
        most = max(
            static_gap(car, corner.ride_heights, point) for corner in corners
        )
        if (
            point.least_static_gap is not None
            and most < point.least_static_gap - 1e-9
        ):
            yield (
                f"{file} clearance {point.name!r}: least_static_gap_mm {fault} it comes no higher "
                f"than {in_mm(most)} mm"
            )
    least = limits.packaging.ground_clearance_least
    reached = [
        (max(static_gap(car, c.ride_heights, part) for c in corners), part.name)
        for part in undersides(car)
    ]
    most, name = min(reached)
    if least is not None and most < least - 1e-9:
        yield (
            f"{file}: packaging.ground_clearance_least_mm {fault} {name!r} comes no higher "
            f"than {in_mm(most)} mm"
        )


def _ends(today: AxleSetup, limits: AxleLimits) -> list[AxleSetup]:
    """An axle at both ends of its ride height; as it stands where that has no range."""
    span = limits.ride_height
    return (
        [today]
        if span is None
        else [
            replace(today, ride_height=end) for end in (span.lower, span.upper)
        ]
    )


def _axle_limits(
    name: str, today: AxleSetup, limits: AxleLimits
) -> Iterator[str]:
    """Of each wheel by its own range, or else the axle's; both in one caution where they are alike."""
    for setting in SETTINGS:
        field = setting.field
        allowed = getattr(limits, field)
        if setting.per != "wheel":
            yield from _outside(name, setting, getattr(today, field), allowed)
            continue
        wheels = [
            (today.of(field, side), _range_of(limits, side, field) or allowed)
            for side in SIDES
        ]
        if wheels[0] == wheels[1]:
            yield from _outside(name, setting, *wheels[0])
            continue
        for side, (value, own) in zip(SIDES, wheels, strict=True):
            yield from _outside(f"{name}.{side}", setting, value, own)


def _range_of(limits: AxleLimits, side: str, field: str) -> Range | None:
    own = getattr(limits, side)
    found: Range | None = None if own is None else getattr(own, field)
    return found


def _outside(
    name: str, setting: Setting, value: float | None, allowed: Range | None
) -> Iterator[str]:
    """A setting that is not among what limits.toml allows."""
    if allowed is None or value is None:
        return
    label = f"setup.toml {name}.{setting.key}: {rounded(value, setting):g} {setting.unit}"
    if allowed.choices is not None and not _among(value, allowed.choices):
        yield f"{label} is none of the {_listed(allowed.choices, setting)} of limits.toml"
    elif allowed.choices is None and not _within(
        value, allowed.lower, allowed.upper
    ):
        low = allowed.lower / setting.factor
        high = allowed.upper / setting.factor
        yield f"{label} lies outside limits.toml's {low:g} to {high:g} {setting.unit}"


def _listed(values: Sequence[float], setting: Setting) -> str:
    if len(values) > MOST_LISTED:
        low = min(values) / setting.factor
        high = max(values) / setting.factor
        return f"{len(values)} values from {low:g} to {high:g} {setting.unit}"
    return (
        ", ".join(f"{value / setting.factor:g}" for value in values)
        + f" {setting.unit}"
    )


def _adjuster(
    name: str, today: AxleSetup, adjuster: Adjuster | None
) -> Iterator[str]:
    positions = adjuster.anti_roll_positions if adjuster else ()
    if positions and not _among(today.anti_roll, positions):
        rate = today.anti_roll / N_PER_MM
        label = f"setup.toml {name}.anti_roll_N_per_mm"
        yield f"{label}: {rate:g} N/mm is none of the positions of adjuster.{name} of limits.toml"


def _within(value: float, low: float, high: float) -> bool:
    slack = 1e-9 * max(abs(low), abs(high))
    return low - slack <= value <= high + slack


def _among(value: float, choices: Iterable[float]) -> bool:
    return any(
        math.isclose(value, choice, rel_tol=1e-9, abs_tol=1e-12)
        for choice in choices
    )


def in_mm(length: float) -> str:
    """A length in mm, for a sentence."""
    return f"{length / MM:.4g}"
