"""Tables of measurements: every mistake named by line and column, nothing dropped in silence."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from setupopt.errors import InputError, InputErrors
from setupopt.physics.inputs import Floats
from setupopt.project.csv_read import MOST_MEASURED_ROWS, Column, read_csv

measured = partial(Column, empty=math.nan, is_measured=True)
_MOST_NAMED = 20  # lines in one note, and notes of one kind


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

    `names` are columns of text.
    """
    read = read_csv(Path(path), columns, names, most=MOST_MEASURED_ROWS)
    answers = [key for key, column in columns.items() if column.is_measured]
    given = [read.numbers[key] for key in answers if key in read.numbers]
    if answers and np.isnan(given).all():
        raise InputErrors(
            [
                InputError(
                    str(path),
                    1,
                    "",
                    "nothing measured",
                    "at least one value of " + ", ".join(answers),
                )
            ]
        )
    blank = {
        key: column.factor * np.full(read.lines.size, column.empty, float)
        for key, column in columns.items()
        if key not in read.numbers
    }
    texts = {
        key: [cell.strip() for cell in cells]
        for key, cells in read.names.items()
    }
    whole = read.numbers | blank
    values: dict[str, Floats] = {key: whole[key] for key in columns}
    table = Measurements(Path(path), columns, values, texts, read.lines)
    return replace(table, notes=tuple(_notes(table)))


def _notes(table: Measurements) -> Iterator[str]:
    """Rows without any measured value, and rows that are the same in every cell."""
    values = table.values
    lines = table.lines
    answers = [
        values[key]
        for key, column in table.columns.items()
        if column.is_measured
    ]
    if answers:
        bare = np.isnan(answers).all(axis=0)
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
