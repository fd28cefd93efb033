"""Makers of the entries of a table: each carries its unit, its range and the sentence of its refusal."""

from __future__ import annotations

from functools import partial
from typing import Any

from pydantic import Field

from setupopt.project.field_types import Bounds


def _bounded(
    words: str,
    low: float,
    high: float,
    unit: str,
    si_name: str | None = None,
    more: str = "",
    **options: Any,
) -> Any:
    """A field inside `low` to `high`; `default` makes it optional.

    `si_name`: its name in `project.model` where that is not the key without its unit; `more`: what a refusal
    adds.
    """
    bounds = Bounds(low, high, unit)
    extra: Any = {"bounds": tuple(bounds), "unit": unit, "si_name": si_name}
    return Field(
        description=words.format(bounds) + more,
        json_schema_extra=extra,
        **options,
    )


# A number from one to another in a unit; one that may be left out; a list of such numbers; some by name.
number = partial(_bounded, "a number {}")
optional = partial(number, default=None)
numbers = partial(_bounded, "a list of numbers {}", min_length=1)
by_name = partial(_bounded, "by name a number {}", default_factory=dict)
# A share in percent; a number below 1 is a share of one written by mistake.
percent = partial(_bounded, "0, or a number from 1 to 100 %", 0, 100, "%")
# Ranges that may be left out, both ends inside the bounds; and a range in steps, or the list of what there is.
span = partial(_bounded, "{{ from, to }} {}", default=None)
steps = partial(_bounded, "{{ from, to, step }} {}", default=None)
steps_or_list = partial(
    _bounded, "{{ from, to, step }} or a list of numbers, {}"
)


def choice(*names: str) -> Any:
    """One of a few words."""
    first = ", ".join(f'"{name}"' for name in names[:-1])
    last = f'"{names[-1]}"'
    return Field(description=f"{first} or {last}")


def some(**options: Any) -> Any:
    """A list of tables that may be left out."""
    return Field(default_factory=list, **options)
