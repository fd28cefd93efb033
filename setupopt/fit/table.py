"""Tables of measurements: every mistake named by line and column, nothing dropped in silence."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from setupopt.errors import InputError, InputErrors
from setupopt.project.csv_read import (
    MOST_MEASURED_ROWS,
    Column,
    CsvTable,
    read_csv,
)

measured = partial(Column, empty=math.nan, is_measured=True)
_MOST_NAMED = 20  # lines in one note, and notes of one kind


@dataclass(frozen=True, eq=False)
class Measurements(CsvTable):
    """A table with `values` of every column asked for, not a number where nothing was measured.

    A column that the file has not is all blank. `notes`: what is odd about the table and no mistake.
    """

    columns: Mapping[str, Column]
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return int(self.lines.size)

    def is_measured(self, key: str) -> np.ndarray:
        """(rows) Whether there is a value."""
        return ~np.isnan(self.values[key])

    def odd(self, row: int, key: str, expected: str) -> InputError:
        """A mistake in a row (from 0), of a value that no range shows to be wrong."""
        found = self.values[key][row] / self.columns[key].factor
        return self.error(row, key, f"{found:.6g}", expected)


def read_measurements(
    path: str | Path, columns: Mapping[str, Column], names: Sequence[str] = ()
) -> Measurements:
    """The table of a CSV file with a header line. Raises InputErrors with every mistake.

    `names` are columns of text.
    """
    read = read_csv(Path(path), columns, names, most=MOST_MEASURED_ROWS)
    values = {
        key: read.values[key]
        if key in read.values
        else column.factor * np.full(read.lines.size, column.empty, float)
        for key, column in columns.items()
    }
    table = Measurements(read.path, values, read.names, read.lines, columns)
    answers = [key for key, column in columns.items() if column.is_measured]
    bare = ~np.any([table.is_measured(key) for key in answers], axis=0)
    if answers and bare.all():
        expected = "at least one value of " + ", ".join(answers)
        raise InputErrors(
            [InputError(str(path), 1, "", "nothing measured", expected)]
        )
    notes = [*_bare(table.lines[bare]), *_copies(table)]
    return replace(table, notes=tuple(notes))


def _bare(lines: np.ndarray) -> Iterator[str]:
    """Rows without any measured value."""
    if lines.size:
        yield f"nothing measured on {lines_text(lines)}: conditions only, they tell nothing"


def _copies(table: Measurements) -> Iterator[str]:
    """Rows that are the same in every cell."""
    rows = pd.DataFrame(table.values | table.names, index=table.lines)
    again = rows[rows.duplicated(keep=False)]
    alike = again.groupby(list(rows), dropna=False, sort=False)
    copies = [same.index.to_numpy() for _, same in alike]
    for lines in copies[:_MOST_NAMED]:
        yield f"{lines_text(lines)} are the same in every cell: taken as repeats; if copied, delete one"
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
