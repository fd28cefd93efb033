"""Plain-text tables for a terminal: aligned, in letters that every terminal can show.

>>> print(table([Column("wheel", ["FL", "FR"], numeric=False), Column("load N", ["4143", "90"])], 80))
  wheel  load N
  FL       4143
  FR         90
"""

from __future__ import annotations

import math
import re
import shutil
import textwrap
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import zip_longest
from typing import Any, TypeVar

from setupopt.units import angle

NARROWEST, WIDEST = 80, 160
INDENT = "  "
_GAP = "  "
Row = TypeVar("Row")


@dataclass(frozen=True)
class Column:
    """A column of cells.

    Where space is short, text goes on in more lines, down to `least` places wide (0: one line); where that
    is not enough, columns go, the highest `rank` first; rank 0 stays.
    """

    head: str
    cells: Sequence[str]
    numeric: bool = True
    rank: int = 0
    least: int = 0


def keyed_table(
    rows: Iterable[Any],
    spec: str,
    width: int,
    more: Mapping[str, Any] | None = None,
) -> str:
    """A table of mappings or objects. Its columns as text: HEAD = KEY: HOW MARKS, a semicolon between two.

    KEY: a key or an attribute of the row, with dots one of an attribute; empty: the whole row. HOW shows a
    value: so many decimals, with a plus sign before them always signed; w for words, else the name of a helper,
    of one of `more`, or a format as in Python. MARKS: left, least=N, rank=N as in `Column`; missing=WORD (_ for a
    blank) for None and for a number that is not finite; optional: left out where every value is None.

    >>> print(keyed_table([{"load": 4.25, "of": "FL"}, {}], "load N=load: 1; wheel=of: w", 80))
      load N  wheel
         4.2  FL
           -  -
    """
    cells = {
        **(more or {}),
        "w": str,
        "s": str,
        "upper": str.upper,
        "angle": angle,
        "significant": significant,
    }
    known = list(rows)
    found = (_column(part, cells, known) for part in spec.split(";"))
    return table([column for column in found if column], width)


def _column(
    part: str, cells: Mapping[str, Any], rows: Sequence[Any]
) -> Column | None:
    head, _, rest = part.partition("=")
    key, _, told = rest.partition(":")
    how, *marks = told.split()
    found = dict(mark.partition("=")[::2] for mark in marks)
    values = [_value(row, key.strip()) for row in rows]
    if "optional" in found and all(value is None for value in values):
        return None
    shown = cells.get(how) or (lambda value: format(value, how))
    if how.lstrip("+").isdigit():
        shown = partial(number, digits=int(how), sign=how.startswith("+"))
    missing = found.get("missing", "-").replace("_", " ")
    return Column(
        head.lstrip(),
        [missing if _is_missing(one) else shown(one) for one in values],
        how != "w" and not {"left", "least"} & found.keys(),
        int(found.get("rank", 0)),
        int(found.get("least", 0)),
    )


def _is_missing(value: Any) -> bool:
    return value is None or (
        isinstance(value, float) and not math.isfinite(value)
    )


def _value(row: Any, key: str) -> Any:
    for name in key.split(".") if key else ():
        if row is None:
            return None
        row = row.get(name) if isinstance(row, Mapping) else getattr(row, name)
    return row


def screen_width() -> int:
    """Columns to print in, from 80 to 160."""
    return min(
        max(shutil.get_terminal_size((NARROWEST, 24)).columns, NARROWEST),
        WIDEST,
    )


def table(columns: Sequence[Column], width: int) -> str:
    """The columns under their heads; lines are at most `width` long if text can be broken to fit."""
    kept = _fitting(columns, width)
    widths = _widths(kept, width)
    rows = [
        [column.head for column in kept],
        *zip(*(column.cells for column in kept), strict=True),
    ]
    return "\n".join(line for row in rows for line in _lines(kept, widths, row))


def _lines(
    columns: Sequence[Column],
    widths: Sequence[int],
    cells: Sequence[str],
) -> list[str]:
    """One row, in as many lines as its longest cell needs."""
    pieces = [
        wrapped(cell, width) for cell, width in zip(cells, widths, strict=True)
    ]
    lines = []
    for line in zip_longest(*pieces, fillvalue=""):
        padded = map(_padded, columns, widths, line)
        lines.append((INDENT + _GAP.join(padded)).rstrip())
    return lines


def _padded(column: Column, width: int, cell: str) -> str:
    blank = " " * (width - shown_width(cell))
    return blank + cell if column.numeric else cell + blank


def _natural(column: Column) -> int:
    return max(shown_width(cell) for cell in (column.head, *column.cells))


def _total(widths: Sequence[int]) -> int:
    return len(INDENT) + sum(widths) + len(_GAP) * (len(widths) - 1)


def _fitting(columns: Sequence[Column], width: int) -> list[Column]:
    """The columns that fit, the least important ones left out; text may still have to be broken."""
    kept = list(columns)
    while _total([_least(column) for column in kept]) > width:
        last = max(range(len(kept)), key=lambda place: kept[place].rank)
        if kept[last].rank == 0:
            break
        del kept[last]
    return kept


def _least(column: Column) -> int:
    """Width below which a column says nothing any more."""
    natural = _natural(column)
    return (
        min(natural, max(column.least, shown_width(column.head)))
        if column.least
        else natural
    )


def _widths(columns: Sequence[Column], width: int) -> list[int]:
    """Natural widths, or text columns made narrower, first those with most to spare."""
    widths = [_natural(column) for column in columns]
    while _total(widths) > width:
        spare = [
            w - _least(column)
            for w, column in zip(widths, columns, strict=True)
        ]
        if max(spare) <= 0:
            break
        widths[spare.index(max(spare))] -= 1
    return widths


def shown_width(text: str) -> int:
    """Places that a text takes on the screen.

    >>> shown_width("Brücken"), shown_width("車")
    (7, 2)
    """
    return sum(_letter_width(letter) for letter in text)


def _letter_width(letter: str) -> int:
    if unicodedata.combining(letter) or unicodedata.category(letter) == "Cf":
        return 0
    return 2 if unicodedata.east_asian_width(letter) in "WF" else 1


def wrapped(text: str, width: int) -> list[str]:
    """The text in lines of at most `width` places, broken at blanks; a longer word where its parts meet.

    >>> wrapped("bump under one wheel", 10), wrapped("front.ride_height_mm", 12)
    (['bump under', 'one wheel'], ['front.ride_', 'height_mm'])
    """
    if shown_width(text) <= width:
        return [text]
    lines = [""]
    for word in text.split():
        if lines[-1] and shown_width(f"{lines[-1]} {word}") <= width:
            lines[-1] += f" {word}"
        else:
            lines += _pieces(word, width)
    return lines[1:]


def _pieces(word: str, width: int) -> list[str]:
    """A word in pieces of at most `width` places, broken after points and underscores if that will do."""
    parts = re.split(r"(?<=[._])", word)
    if any(shown_width(part) > width for part in parts):
        parts = list(word)
    pieces = [""]
    for part in parts:
        if pieces[-1] and shown_width(pieces[-1] + part) > width:
            pieces.append("")
        pieces[-1] += part
    return pieces


def cut(text: str, width: int) -> str:
    """The text, or its beginning and two points, in at most `width` places.

    >>> cut("climbing hard", 8)
    'climbi..'
    """
    if shown_width(text) <= width:
        return text
    while text and shown_width(text) > width - 2:
        text = text[:-1]
    return text + ".."


def number(value: float | None, digits: int = 1, sign: bool = False) -> str:
    """A number for a cell, a dash where there is none.

    >>> number(0.12345, 3), number(None), number(2.0, 2, sign=True), number(-0.0001, 2)
    ('0.123', '-', '+2.00', '0.00')
    """
    if value is None or math.isnan(value):
        return "-"
    rounded = round(value, digits) + 0.0  # + 0.0 makes -0.0 plain
    return f"{rounded:+.{digits}f}" if sign else f"{rounded:.{digits}f}"


def significant(value: float | None, digits: int = 3) -> str:
    """A number to so many digits that tell something, never as a power of ten.

    >>> significant(0.0000366142), significant(0.03275), significant(1234.5), significant(None)
    ('0.0000366', '0.0328', '1234', '-')
    """
    if value is None or value == 0.0 or not math.isfinite(value):
        return number(value, digits)
    return number(
        value, max(0, digits - 1 - math.floor(math.log10(abs(value))))
    )


def margin_words(margin: float) -> str:
    """A margin to three digits, or that contact is lost where it is not finite.

    >>> margin_words(0.12345), margin_words(-math.inf)
    ('0.123', 'contact lost')
    """
    return number(margin, 3) if math.isfinite(margin) else "contact lost"


def thinned(
    rows: Sequence[Row], most: int, value: Callable[[Row], float | None]
) -> list[Row]:
    """At most so many rows: of each equal number of neighbours the one with the least value.

    >>> thinned([3, 1, 2, 5, 4], 3, float)
    [1, 2, 4]
    """
    step = -(-len(rows) // most)
    return [
        min(rows[first : first + step], key=lambda row: low(value(row)))
        for first in range(0, len(rows), step)
    ]


def low(value: float | None) -> float:
    """For an order: what is missing, as a margin without contact, is lower than any number."""
    return -math.inf if value is None else value


def along_words(row: Mapping[str, object]) -> str:
    """Where a case stands on a section of parts, if it stands on one.

    >>> along_words({"along_mm": 4210.0}), along_words({}), along_words({"along_mm": None})
    ('4210 mm along, ', '', '')
    """
    return (
        ""
        if row.get("along_mm") is None
        else f"{row['along_mm']:.0f} mm along, "
    )


def bar(share: float, length: int) -> str:
    """A bar for a share of one.

    >>> bar(0.5, 10)
    '#####'
    """
    return "#" * round(min(max(share, 0.0), 1.0) * length)


def paragraph(text: str, width: int, lead: str = "") -> str:
    """Text in lines of at most `width`; `lead` before the first, blanks before the others."""
    return textwrap.fill(
        text,
        width,
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_on_hyphens=False,
    )
