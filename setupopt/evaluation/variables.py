"""The settings a search may change, as the unit box: 0 is the lower end of each range, 1 the upper."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.setup_record import as_setup, by_wheel
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.project.limits_model import Limits
from setupopt.project.model import AXLES, SIDES, AxleLimits, Range, Setup
from setupopt.project.settings import (
    BALANCE,
    SETTINGS,
    STATION,
    WING,
    Setting,
    rounded,
)


@dataclass(frozen=True)
class Slot:
    """One setting of an axle, of one wheel or of the whole car.

    `where`: "front", "front.left", "balance", or "wings" and "ballast" with a name behind a dot. `places`:
    which values of the setting's field in a SETUP record.
    """

    where: str
    setting: Setting
    places: tuple[int, ...]

    @property
    def name(self) -> str:
        """As the files say it, "front.camber_deg"."""
        return f"{self.where}.{self.setting.key}"

    def of(self, rows: Records) -> Floats:
        """Values in SETUP records (setups); the mean of both sides where it moves both."""
        values = rows[self.setting.field].reshape(len(rows), -1)[:, self.places]
        return np.asarray(values.mean(axis=1))

    def value(self, setup: Setup) -> float | None:
        """As the files say it, rounded to 1e-6 of the unit; None where car.toml says it."""
        value = float(self.of(by_wheel(setup))[0])
        return None if np.isnan(value) else rounded(value, self.setting)


@dataclass(frozen=True)
class Variable(Slot):
    """A setting and the range it may move in."""

    range: Range

    @property
    def width(self) -> float:
        """Range in SI."""
        return self.range.upper - self.range.lower

    def grid(self) -> Floats | None:
        """Values that mechanics can set, in the unit box; None where any value will do."""
        if self.range.choices is not None:
            values = np.array(self.range.choices)
        elif self.range.step is not None:
            count = int(np.floor(self.width / self.range.step + 1e-9))
            values = self.range.lower + self.range.step * np.arange(count + 1)
        else:
            return None
        return np.asarray((values - self.range.lower) / self.width)


def variables_of(limits: Limits) -> tuple[Variable, ...]:
    """Every setting with a range that leaves a choice, front axle first."""
    return tuple(v for v in _ranges(limits) if v.range.upper > v.range.lower)


def _ranges(limits: Limits) -> Iterator[Variable]:
    """Every setting with a range. One of a side frees that side, and leaves the axle's range to the other."""
    for axle, (name, ranges) in enumerate(
        zip(AXLES, (limits.front, limits.rear), strict=True)
    ):
        for setting in SETTINGS:
            yield from _of_axle(name, axle, setting, ranges)
    for setting in BALANCE:
        span = getattr(limits.balance, setting.field)
        if span is not None:
            yield Variable("balance", setting, (0,), span)
    for setting, table, allowed in (
        (WING, "wings", limits.wings),
        (STATION, "ballast", limits.ballast),
    ):
        for number, (part, span) in enumerate(allowed):
            yield Variable(f"{table}.{part}", setting, (number,), span)


def _of_axle(
    name: str, axle: int, setting: Setting, ranges: AxleLimits
) -> Iterator[Variable]:
    """The variables of one setting of one axle."""
    places = (2 * axle, 2 * axle + 1)
    whole: Range | None = getattr(ranges, setting.field)
    if setting.per == "axle":
        if whole is not None:
            yield Variable(name, setting, (axle,), whole)
        return
    own = {
        side: getattr(getattr(ranges, side), setting.field, None)
        for side in SIDES
    }
    if whole is not None and not any(own.values()):
        yield Variable(name, setting, places, whole)
        return
    for place, side in zip(places, SIDES, strict=True):
        span = own[side] or whole
        if span is not None:
            yield Variable(f"{name}.{side}", setting, (place,), span)


def slots(setups: Sequence[Setup]) -> tuple[Slot, ...]:
    """What a list of setups shows: sides where they differ in one of them, and what any of them sets."""
    rows = by_wheel_each(setups)
    found = []
    for axle, name in enumerate(AXLES):
        for setting in SETTINGS:
            values = np.stack(
                [row[setting.field][setting.slots(axle)] for row in rows]
            )
            if np.isnan(values).all():
                continue
            if setting.per == "axle" or np.array_equal(
                values[:, 0], values[:, 1], equal_nan=True
            ):
                found.append(
                    Slot(name, setting, tuple(range(6))[setting.slots(axle)])
                )
            else:
                found += [
                    Slot(f"{name}.{side}", setting, (2 * axle + i,))
                    for i, side in enumerate(SIDES)
                ]
    found += [
        Slot("balance", s, (0,))
        for s in BALANCE
        if not np.isnan([row[s.field] for row in rows]).all()
    ]
    wings = {
        name: number
        for setup in setups
        for number, (name, _) in enumerate(setup.wings)
    }
    found += [
        Slot(f"wings.{name}", WING, (number,)) for name, number in wings.items()
    ]
    pieces = {
        piece.name: number
        for setup in setups
        for number, piece in enumerate(setup.ballast)
    }
    return (
        *found,
        *(
            Slot(f"ballast.{name}", STATION, (number,))
            for name, number in pieces.items()
        ),
    )


def by_wheel_each(setups: Sequence[Setup]) -> list[Record]:
    """SETUP record of each setup, whatever body it wears."""
    return [by_wheel(setup)[0] for setup in setups]


def from_setup(variables: tuple[Variable, ...], setup: Setup) -> Floats:
    """Place of a setup in the unit box, (variables); outside its ranges it is brought to their ends."""
    rows = by_wheel(setup)
    shares = [(v.of(rows)[0] - v.range.lower) / v.width for v in variables]
    return np.clip(np.nan_to_num(shares, nan=0.5), 0.0, 1.0)


def is_kept(slot: Slot, kept: Collection[str]) -> bool:
    """Whether a setting is named to stay: itself, its key, or a place that it is part of.

    >>> is_kept(Slot("front.left", SETTINGS[0], (0,)), ["front.camber_deg"])
    True
    """
    where = slot.where.split(".")
    places = [".".join(where[:count]) for count in range(1, len(where) + 1)]
    names = {
        slot.setting.key,
        *places,
        *(f"{place}.{slot.setting.key}" for place in places),
    }
    return not names.isdisjoint(kept)


def with_value(setup: Setup, slot: Slot, value: float) -> Setup:
    """The setup with one setting at a value, SI."""
    rows = by_wheel(setup).copy()
    _put(rows, slot, np.array([value]))
    return as_setup(rows[0], setup)


def fixed_by_limits(
    setup: Setup, limits: Limits, kept: Collection[str] = ()
) -> Setup:
    """The setup with every setting whose range is a single value put there; those `kept` by name stay."""
    rows = by_wheel(setup)
    for variable in _ranges(limits):
        if variable.range.upper == variable.range.lower and not is_kept(
            variable, kept
        ):
            _put(rows, variable, np.array([variable.range.lower]))
    return as_setup(rows[0], setup)


def _put(rows: Records, slot: Slot, values: Floats) -> None:
    """Put values (setups), SI, into SETUP records (setups)."""
    whole = rows[slot.setting.field]
    if whole.ndim == 1:
        whole[:] = values
    else:
        whole[:, slot.places] = values[:, None]


def to_setups(
    variables: tuple[Variable, ...], points: Floats, base: Setup | Records
) -> Records:
    """Points (points, variables) as SETUP records (points); what does not vary comes from `base`."""
    rows = np.repeat(by_wheel(base), len(points))
    for column, variable in zip(points.T, variables, strict=True):
        _put(rows, variable, variable.range.lower + column * variable.width)
    return rows


def to_setup(
    variables: tuple[Variable, ...], point: Floats, base: Setup, name: str
) -> Setup:
    """One point as a setup of a file."""
    return as_setup(
        to_setups(variables, point[None, :], base)[0], replace(base, name=name)
    )
