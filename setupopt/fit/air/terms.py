"""The numbers of a body that measurements can change: which there are, and the body that they make."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from setupopt.physics.inputs import Floats
from setupopt.project.car_schema import AirTable, ElementTable
from setupopt.project.field_types import Table
from setupopt.project.model import Air
from setupopt.units import MM

_PEAK_RANGE = 4.0  # times and parts of the peak gap of the body it is like; common practice, no source
_LOSS = 1.0  # per rad2: 3 % of an element's downforce at 10 deg; nobody knows it better

# field of the model: table and key of the files, factor of the key's unit
_KEYS: dict[str, tuple[type[Table], str, float]] = {
    "free_area": (ElementTable, "free_area_m2", 1.0),
    "ground_area": (ElementTable, "ground_area_m2", 1.0),
    "peak_gap": (ElementTable, "peak_gap_mm", MM),
    "yaw_loss": (ElementTable, "yaw_loss_per_rad2", 1.0),
    "drag_area": (AirTable, "drag_area_m2", 1.0),
    "side_area": (AirTable, "side_area_m2_per_rad", 1.0),
}
_OF_ELEMENT = ("free_area", "ground_area", "peak_gap", "yaw_loss")
_OF_BODY = ("drag_area", "side_area")
_OF_WING = ("free_area", "ground_area", "peak_gap", "drag_area")


@dataclass(frozen=True)
class Term:
    """One number of a body: `field` of an element by its number, or of the body where that is None. SI."""

    element: int | None
    field: str
    part: str  # the element's name; empty for the body
    like: float  # of the body it is like; never 0

    @property
    def key(self) -> str:
        """Of the file, unit and all."""
        return _KEYS[self.field][1]

    @property
    def unit(self) -> float:
        """Factor of the key's unit."""
        return _KEYS[self.field][2]

    @property
    def name(self) -> str:
        """For people."""
        return f"{self.part} {self.key}".lstrip()

    @property
    def is_area(self) -> bool:
        """Whether it is an area that makes downforce."""
        return self.field in ("free_area", "ground_area")

    @property
    def range(self) -> tuple[float, float]:
        """Where it may go: an area keeps its sign, a peak gap stays near the one that it is like."""
        table, key, unit = _KEYS[self.field]
        low, high, _ = table.number_bounds(key)
        if self.field == "peak_gap":
            return max(low * unit, self.like / _PEAK_RANGE), min(
                high * unit, self.like * _PEAK_RANGE
            )
        return (low, 0.0) if self.like < 0.0 else (0.0, high)

    def scale(self, factor: float) -> float:
        """An error as large means that nothing is known of it: the number itself; areas by the factor that
        there is more downforce."""
        if self.is_area:
            return factor * abs(self.like)
        return (
            max(abs(self.like), _LOSS)
            if self.field == "yaw_loss"
            else abs(self.like)
        )


def terms_of(air: Air, wing: int | None = None) -> tuple[Term, ...]:
    """What can be fitted of a body. What is 0 in it stays 0: a part that feels no ground, one that loses
    nothing in yaw; and then it has no peak gap either.

    With `wing`, only what changes as that element is turned: its areas, its peak gap and the drag.
    """
    found = [
        Term(number, field, element.name, getattr(element, field))
        for number, element in enumerate(air.elements)
        for field in _OF_ELEMENT
        if field != "peak_gap" or element.ground_area > 0.0
    ]
    found += [Term(None, field, "", getattr(air, field)) for field in _OF_BODY]
    fields = (*_OF_ELEMENT, *_OF_BODY) if wing is None else _OF_WING
    return tuple(
        term
        for term in found
        if term.like != 0.0
        and term.field in fields
        and (wing is None or term.element in (None, wing))
    )


def with_terms(air: Air, terms: Sequence[Term], values: Floats) -> Air:
    """The body with other values of its terms."""
    own: dict[int | None, dict[str, Any]] = {}
    for term, value in zip(terms, values, strict=True):
        own.setdefault(term.element, {})[term.field] = float(value)
    parts = tuple(
        replace(e, **own.get(number, {}))
        for number, e in enumerate(air.elements)
    )
    return replace(air, elements=parts, **own.get(None, {}))
