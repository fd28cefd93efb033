"""Warnings that one file alone gives: values that look like another unit, letters that no font here has."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import cache
from typing import Any

from setupopt.project.field_types import (
    KMH,
    Bounds,
    Span,
    Table,
    numbers_in,
    parts_of,
)
from setupopt.project.toml_positions import Loc, key_text, quoted

FASTEST = 90.0  # m/s; 324 km/h
_QUARTER = math.pi / 2.0
_SURELY_PRINTED = 0x250  # letters below are Latin, which every font has


def file_cautions(file: str, table: Table, loc: Loc = ()) -> Iterator[str]:
    """What looks odd in a table and the tables inside it."""
    for key, value in table:
        bounds = table.bounds(key)
        place = (*loc, key)
        if bounds is not None:
            yield from _unit_cautions(
                f"{file} {key_text(place)}", key, value, bounds
            )
        elif isinstance(value, str) and (letters := unprintable(value)):
            yield (
                f"{file} {key_text(place)}: the font of the sheet and of pictures lacks {quoted(letters)}; "
                "an empty box is printed in its place"
            )
        for inside, part in parts_of(value):
            if isinstance(part, Table) and not isinstance(part, Span):
                yield from file_cautions(file, part, (*place, *inside))


def _unit_cautions(
    label: str, key: str, value: Any, bounds: Bounds
) -> Iterator[str]:
    """One caution at most for a list or a range."""
    for _, number in numbers_in(value):
        if other := _other_unit(key, number, bounds):
            yield f"{label}: {number:g} {bounds.unit} {other}"
            return


def _other_unit(key: str, number: float, bounds: Bounds) -> str:
    """What a number inside its range looks like; empty where it looks right."""
    size = abs(number)
    if bounds.unit == "m/s" and size > FASTEST:
        return f"looks like km/h, which makes {number * KMH:.4g} m/s"
    if bounds.unit == "mm" and 0.0 < size < _least_length(key, bounds):
        return f"looks like metres, which makes {number * 1000.0:.4g} mm"
    if bounds.unit == "deg" and bounds.high >= 180.0 and _is_quarter_turn(size):
        return f"looks like radians, which makes {math.degrees(number):.4g} deg"
    return ""


def _least_length(key: str, bounds: Bounds) -> float:
    """Shorter lengths, mm, are not what an entry is about; 0 where any length may be meant."""
    if "station" in key:
        return 10.0
    return 1.0 if bounds.high >= 500.0 and not key.startswith("least") else 0.0


def _is_quarter_turn(angle: float) -> bool:
    """Whether a number is, to three digits, one to four quarter turns in radians."""
    quarters = round(angle / _QUARTER)
    return 1 <= quarters <= 4 and abs(angle / _QUARTER - quarters) < 2e-3


def unprintable(text: str) -> str:
    """The letters of a text that the font of sheet and pictures lacks.

    >>> unprintable("Přehrada"), unprintable("\\u6c34 a")
    ('', '水')
    """
    rare = {letter for letter in text if ord(letter) >= _SURELY_PRINTED}
    return "".join(sorted(rare - _printed())) if rare else ""


@cache
def _printed() -> frozenset[str]:
    """All letters of DejaVu Sans, which comes with matplotlib."""
    from pathlib import Path

    import matplotlib as mpl
    from matplotlib.ft2font import FT2Font

    font = FT2Font(
        str(Path(mpl.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf")
    )
    return frozenset(map(chr, font.get_charmap()))
