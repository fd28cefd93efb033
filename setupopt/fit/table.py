"""Tables of measurements: every mistake named by line and column, nothing dropped in silence."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from setupopt.errors import InputError, InputErrors
from setupopt.physics.inputs import Floats
from setupopt.project.csv_read import (
    CsvTable,
    decimal_point,
    number,
    read_csv,
)
from setupopt.project.field_types import Bounds
from setupopt.project.toml_positions import quoted

_MOST_NAMED = 20  # lines in one note, and notes of one kind


@dataclass(frozen=True)
class Column:
    """What the cells of a column hold.

    `bounds` in the file's unit, of which `factor` makes SI; `others`: how much of the file's unit one of
    another unit is that is written by mistake. An empty cell means `empty`; None: there must be a number.
    `is_measured`: an answer, not a condition; it may be left empty, which is not a number in the table.
    """

    bounds: Bounds
    factor: float = 1.0
    is_measured: bool = False
    is_needed: bool = False  # the column itself
    empty: float | None = None
    others: Mapping[str, float] = field(default_factory=dict)

    @property
    def blank(self) -> float | None:
        """What an empty cell means."""
        return (
            math.nan if self.is_measured and self.empty is None else self.empty
        )

    def expected(self, cell: str) -> str:
        """What should stand in place of a cell."""
        said = f"a number {self.bounds}" + (
            "" if self.blank is None else ", or nothing"
        )
        if point := decimal_point(cell):
            return said + point
        value, unit = number(cell), self.bounds.unit
        meant = {
            other: value * size
            for other, size in self.others.items()
            if self.holds(value * size)
        }
        return said + "".join(
            f"; {cell} {other} is {size:.6g} {unit}"
            for other, size in meant.items()
        )

    def holds(self, value: float) -> bool:
        """Whether a value is plausible."""
        return self.bounds.low <= value <= self.bounds.high


@dataclass(frozen=True, eq=False)
class Measurements:
    """A table in SI: `values` of every column asked for (rows), not a number where nothing was measured.

    A column that the file has not is all blank. `lines`: where each row stands in the file. `notes`: what is
    odd about the table and no mistake.
    """

    path: Path
    columns: Mapping[str, Column]
    values: dict[str, Floats]
    names: dict[str, list[str]]
    lines: np.ndarray
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return int(self.lines.size)

    def is_measured(self, key: str) -> np.ndarray:
        """(rows) Whether there is a value."""
        return ~np.isnan(self.values[key])

    def error(self, row: int, key: str, expected: str) -> InputError:
        """A mistake in a row (from 0), of a value that no range shows to be wrong."""
        found = f"{self.values[key][row] / self.columns[key].factor:.6g}"
        return InputError(
            str(self.path), int(self.lines[row]), key, found, expected
        )


def read_measurements(
    path: str | Path, columns: Mapping[str, Column], names: Sequence[str] = ()
) -> Measurements:
    """The table of a CSV file with a header line. Raises InputErrors with every mistake.

    `names` are columns of text. Rows of nothing but commas, as spreadsheets leave them, are no rows.
    """
    read = read_csv(Path(path), {}, (*columns, *names))
    rows = [
        row
        for row in range(len(read.lines))
        if any(cells[row].strip() for cells in read.names.values())
    ]
    errors = list(_missing(read, columns))
    values: dict[str, Floats] = {}
    for key, column in columns.items():
        given = read.names.get(key, [""] * len(read.lines))
        cells = [given[row].strip() for row in rows]
        with np.errstate(over="ignore"):  # refused below
            values[key] = (
                np.array([_value(column, cell) for cell in cells])
                * column.factor
            )
        for row, cell in zip(rows, cells, strict=True):
            is_wrong = bool(cell) and not column.holds(number(cell))
            is_missing = not cell and column.blank is None
            if key in read.names and (is_wrong or is_missing):
                found = quoted(cell) if cell else "an empty cell"
                errors.append(
                    read.error(row, key, found, column.expected(cell))
                )
    if not rows:
        errors.append(
            InputError(
                str(path),
                None,
                "",
                "no rows",
                "at least one row under the header",
            )
        )
    if errors:
        raise InputErrors(sorted(errors, key=lambda error: error.line or 0))
    texts = {
        key: [read.names[key][row].strip() for row in rows]
        for key in names
        if key in read.names
    }
    table = Measurements(Path(path), columns, values, texts, read.lines[rows])
    return replace(table, notes=tuple(_notes(table)))


def _value(column: Column, cell: str) -> float:
    blank = math.nan if column.blank is None else column.blank
    return number(cell) if cell else blank


def _missing(
    read: CsvTable, columns: Mapping[str, Column]
) -> Iterator[InputError]:
    """Columns that must be there, and any of those measured."""
    for key, column in columns.items():
        if column.is_needed and key not in read.names:
            yield InputError(
                str(read.path),
                1,
                key,
                "no such column",
                f"a number {column.bounds}",
            )
    measured = [key for key, column in columns.items() if column.is_measured]
    if measured and not any(
        cell.strip() for key in measured for cell in read.names.get(key, [])
    ):
        expected = "at least one value of " + ", ".join(measured)
        yield InputError(str(read.path), 1, "", "nothing measured", expected)


def _notes(table: Measurements) -> Iterator[str]:
    """Rows without any measured value, and rows that are the same in every cell."""
    values = table.values
    lines = table.lines
    measured = [
        values[key]
        for key, column in table.columns.items()
        if column.is_measured
    ]
    if measured:
        bare = np.isnan(measured).all(axis=0)
        if bare.any():
            yield f"nothing measured on {lines_text(lines[bare])}: conditions only, they tell nothing"
    seen: dict[tuple[str, ...], list[int]] = {}
    for row, line in enumerate(lines):
        cells = (
            *(str(column[row]) for column in values.values()),
            *(text[row] for text in table.names.values()),
        )
        seen.setdefault(cells, []).append(int(line))
    copies = [same for same in seen.values() if len(same) > 1]
    for same in copies[:_MOST_NAMED]:
        yield f"{lines_text(same)} are the same in every cell: taken as repeats; if copied, delete one"
    if len(copies) > _MOST_NAMED:
        yield f"{len(copies) - _MOST_NAMED} more rows stand there again in every cell, taken as repeats too"


def lines_text(lines: Sequence[int] | np.ndarray) -> str:
    """Lines of a file in words.

    >>> lines_text([3]), lines_text([3, 5, 9])
    ('line 3', 'lines 3, 5 and 9')
    """
    return _listed([str(int(line)) for line in lines])


def _listed(said: Sequence[str]) -> str:
    if len(said) == 1:
        return f"line {said[0]}"
    if len(said) > _MOST_NAMED:
        return f"lines {', '.join(said[:_MOST_NAMED])} and {len(said) - _MOST_NAMED} more"
    return f"lines {', '.join(said[:-1])} and {said[-1]}"


def unfit_text(found: Sequence[tuple[int, str]]) -> str:
    """Measured values that do not fit, given by line and quantity.

    >>> unfit_text([(5, "drag_N"), (3, "drag_N"), (5, "side_force_N")])
    'what was measured on lines 3 (drag_N) and 5 (drag_N, side_force_N) does not fit, and counts less'
    """
    by_line: dict[int, list[str]] = {}
    for line, key in sorted(found):
        by_line.setdefault(line, []).append(key)
    said = [f"{line} ({', '.join(keys)})" for line, keys in by_line.items()]
    return f"what was measured on {_listed(said)} does not fit, and counts less"
