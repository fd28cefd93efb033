"""The settings a search may change, as the unit box: 0 is the lower end of each range, 1 the upper."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from setupopt.evaluation.pack import as_setup, by_wheel
from setupopt.physics.inputs import Floats, Records
from setupopt.project.model import AXLES, Limits, Range, Setup
from setupopt.project.settings import SETTINGS, Setting


@dataclass(frozen=True)
class Variable:
    """One setting of one axle and the range it may move in."""

    axle: Literal["front", "rear"]
    setting: Setting
    range: Range

    @property
    def name(self) -> str:
        """As the files say it, "front.camber_deg"."""
        return f"{self.axle}.{self.setting.key}"

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
    found = []
    for axle, ranges in zip(AXLES, (limits.front, limits.rear), strict=True):
        for setting in SETTINGS:
            span: Range | None = getattr(ranges, setting.field)
            if span is not None and span.upper > span.lower:
                found.append(Variable(axle, setting, span))
    return tuple(found)


def from_setup(variables: tuple[Variable, ...], setup: Setup) -> Floats:
    """Place of a setup in the unit box, (variables); outside its ranges it is brought to their ends."""
    values = [getattr(getattr(setup, v.axle), v.setting.field) for v in variables]
    return np.array(
        [np.clip((x - v.range.lower) / v.width, 0.0, 1.0) for x, v in zip(values, variables, strict=True)]
    )


def fixed_by_limits(setup: Setup, limits: Limits, kept: Collection[str] = ()) -> Setup:
    """The setup with every setting whose range is a single value put there; those `kept` by name stay."""
    axles = {}
    for axle, ranges in zip(AXLES, (limits.front, limits.rear), strict=True):
        free = [s.field for s in SETTINGS if f"{axle}.{s.key}" not in kept]
        spans = {name: getattr(ranges, name) for name in free}
        single = {name: r.lower for name, r in spans.items() if r is not None and r.upper == r.lower}
        axles[axle] = replace(getattr(setup, axle), **single)
    return replace(setup, front=axles["front"], rear=axles["rear"])


def to_setups(variables: tuple[Variable, ...], points: Floats, base: Setup) -> Records:
    """Points (points, variables) as SETUP records (points); what does not vary comes from `base`."""
    rows = np.repeat(by_wheel(base), len(points))
    for column, variable in zip(points.T, variables, strict=True):
        setting = variable.setting
        slots = setting.slots(AXLES.index(variable.axle))
        rows[setting.field][:, slots] = (variable.range.lower + column * variable.width)[:, None]
    return rows


def to_setup(variables: tuple[Variable, ...], point: Floats, base: Setup, name: str) -> Setup:
    """One point as a setup of a file."""
    return as_setup(to_setups(variables, point[None, :], base)[0], replace(base, name=name))
