"""Reads a CSV table of numbers and names, every bad cell named with its line and column."""

from __future__ import annotations

import csv
import difflib
import io
import itertools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple, TextIO

import numpy as np
from numpy.typing import NDArray

from setupopt.errors import InputError, InputErrors
from setupopt.files import open_regular, reason
from setupopt.project.field_types import FACTORS, NAME, Bounds, is_plain
from setupopt.project.toml_positions import key_text, quoted

MOST_ROWS = 2_000_000
MOST_MEASURED_ROWS = 100_000  # of a rig's table, a tunnel's, a sheet
MOST_BYTES = 400_000_000
# Of a table that is read in pieces; a hundred million load cases take some 10 GB
MOST_BYTES_OF_PIECES = 100_000_000_000
_LONGEST_LINE = 1_000_000  # characters
_MOST_COLUMNS = 1000
CHUNK = 50_000  # rows held as text at a time
_ENOUGH = 100  # mistakes after which reading stops
_COMMA = re.compile(r"[-+]?\d+,\d+")
_OTHER_MINUS = re.compile(r"[\u2010-\u2014\u2212\ufe63\uff0d]\d+\.?\d*")


class Column(NamedTuple):
    """What the cells of a column hold, in the unit of `bounds`. An empty cell means `empty`, None where there must
    be a number; where it means infinity (no turn, no curvature), "inf" says so too.

    `is_measured`: an answer, not a condition; its cells may be left empty.
    """

    bounds: Bounds
    required: bool = False  # the column itself
    empty: float | None = None
    is_measured: bool = False

    @property
    def factor(self) -> float:
        """A number of the file times this is in SI."""
        return FACTORS.get(self.bounds.unit, 1.0)

    def holds(self, values: Any) -> Any:
        """Whether numbers of the file lie inside the bounds."""
        return (values >= self.bounds.low) & (values <= self.bounds.high)

    def __str__(self) -> str:
        also = {None: "", math.inf: ", inf or nothing"}.get(
            self.empty, ", or nothing"
        )
        return f"a number {self.bounds}{also}"

    def instead_of(self, cell: str) -> str:
        """What should be in place of a cell."""
        if point := decimal_point(cell):
            return f"{self}{point}"
        if _OTHER_MINUS.fullmatch(cell):
            return f"{self}, with the minus sign of the keyboard: -{cell[1:]}"
        return f"{self}{self.bounds.hint(number(cell))}"


@dataclass(frozen=True, eq=False)
class CsvTable:
    """The columns that the file has: values in SI, names, and each row's line."""

    path: Path
    values: dict[str, NDArray[np.float64]]
    names: dict[str, list[str]]
    lines: NDArray[np.int64]

    def error(
        self, row: int, key: str, found: str, expected: str
    ) -> InputError:
        """A mistake in a row (from 0)."""
        return InputError(
            str(self.path), int(self.lines[row]), key, found, expected
        )


def read_csv(
    path: Path,
    columns: Mapping[str, Column],
    names: Sequence[str] = (),
    unread: Sequence[str] = (),
    most: int | None = None,
) -> CsvTable:
    """The table of a file with a header line, whole. Raises InputErrors; see `csv_pieces`."""
    most = most or MOST_ROWS
    pieces = list(csv_pieces(path, columns, names, unread, CHUNK, most))
    return CsvTable(
        path,
        {
            key: np.concatenate([piece.values[key] for piece in pieces])
            for key in pieces[0].values
        },
        {
            key: list(itertools.chain(*(piece.names[key] for piece in pieces)))
            for key in pieces[0].names
        },
        np.concatenate([piece.lines for piece in pieces]),
    )


def csv_pieces(
    path: Path,
    columns: Mapping[str, Column],
    names: Sequence[str] = (),
    unread: Sequence[str] = (),
    size: int = CHUNK,
    most: int | None = None,
) -> Iterator[CsvTable]:
    """Tables of at most `size` rows, in the order of a file with a header line; `most`: rows that it may have.

    Columns may come in any order; `names` are the columns of text, all optional; `unread` may hold anything.
    Raises InputErrors at the end with all mistakes; no table comes after the first of them.
    """
    reading = _Reading(path, columns, names, unread)
    try:
        file = open_regular(path, MOST_BYTES if most else MOST_BYTES_OF_PIECES)
        with io.TextIOWrapper(file, encoding="utf-8-sig", newline="") as stream:
            yield from reading.tables(stream, size, most)
    except UnicodeDecodeError as error:
        reading.report(
            reading.line + 1,
            "",
            f"the byte 0x{error.object[error.start]:02x}",
            "UTF-8 text",
        )
    except csv.Error as error:
        reading.report(
            reading.line + 1,
            "",
            f"a mistake of form ({error})",
            "cells between commas",
        )
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reading.report(
            None,
            "",
            f"that it cannot be read ({reason(error)})",
            "a table to read",
        )
    if reading.errors:
        raise reading.refused()


@dataclass
class _Reading:
    """One pass over a file, and the mistakes found on the way."""

    path: Path
    columns: Mapping[str, Column]
    names: Sequence[str]
    unread: Sequence[str]
    errors: list[InputError] = field(default_factory=list)
    line: int = 0  # the last one read

    def report(
        self, line: int | None, key: str, found: str, expected: str
    ) -> None:
        self.errors.append(
            InputError(str(self.path), line, key, found, expected)
        )

    def refused(self) -> InputErrors:
        return InputErrors(
            sorted(self.errors, key=lambda error: error.line or 0)
        )

    def tables(
        self, stream: TextIO, size: int, most: int | None
    ) -> Iterator[CsvTable]:
        rows = self.rows(stream)
        header = self.header(next(rows, (None, [])))
        whole = self.whole(rows, len(header))
        count = 0
        while len(self.errors) < _ENOUGH and (
            found := list(itertools.islice(whole, size))
        ):
            count += len(found)
            if most is not None and count > most:
                self.report(
                    found[0][0],
                    "",
                    "more rows than that",
                    f"at most {most} rows",
                )
                break
            table = self.piece(header, found)
            if not self.errors:
                yield table
        if not count and not self.errors:
            self.report(
                self.line, "", "no rows", "at least one row under the header"
            )

    def rows(self, stream: TextIO) -> Iterator[tuple[int, list[str]]]:
        reader = csv.reader(_lines(stream), strict=True)
        for row in reader:
            self.line = reader.line_num
            if any(map(str.strip, row)):  # spreadsheets leave rows of commas
                yield self.line, row

    def whole(
        self, rows: Iterator[tuple[int, list[str]]], width: int
    ) -> Iterator[tuple[int, list[str]]]:
        """The rows of as many cells as the header; no row is held that is not."""
        for line, row in rows:
            if len(row) == width:
                yield line, row
            elif len(self.errors) < _ENOUGH:
                why = (
                    " (a decimal comma starts a new cell)"
                    if len(row) > width
                    else ""
                )
                self.report(
                    line,
                    "",
                    f"{len(row)} cells",
                    f"{width}, as in the header{why}",
                )
            else:
                return

    def header(self, found: tuple[int | None, list[str]]) -> list[str]:
        line = found[0]
        header = [cell.strip() for cell in found[1]]
        if not header:
            self.report(
                None,
                "",
                "an empty file",
                "a header line with " + ", ".join(self.known()),
            )
        elif len(header) == 1 and (";" in header[0] or "\t" in header[0]):
            marks = "tabs" if "\t" in header[0] else "semicolons"
            self.report(
                line,
                "",
                marks,
                "commas between the columns, and points in the numbers",
            )
        elif len(header) > _MOST_COLUMNS:
            self.report(
                line,
                "",
                f"{len(header)} columns",
                "some of " + ", ".join(self.known()),
            )
        else:
            self.check_header(line, header)
        if self.errors:
            raise self.refused()
        return header

    def near(self, name: str) -> list[str]:
        """The known column that a name is or may be meant for, if there is one."""
        return difflib.get_close_matches(name[:80], self.known(), 1)

    def known(self) -> list[str]:
        return [*self.columns, *self.names, *self.unread]

    def check_header(self, line: int | None, header: list[str]) -> None:
        if self.known() and not any(self.near(name) for name in header):
            # A file of another kind, whose text is nobody's business here
            self.report(
                line,
                "",
                "no column that is known",
                "some of " + ", ".join(self.known()),
            )
            return
        for index, name in enumerate(header):
            if name not in self.known():
                near = self.near(name)
                expected = (
                    near[0] if near else "one of " + ", ".join(self.known())
                )
                self.report(
                    line, key_text((name,)), "an unknown column", expected
                )
            elif name in header[:index]:
                self.report(line, name, "it a second time", "every column once")
        for name, column in self.columns.items():
            if column.required and name not in header:
                self.report(line, name, "no such column", str(column))

    def piece(
        self, header: list[str], found: list[tuple[int, list[str]]]
    ) -> CsvTable:
        lines = [line for line, _ in found]
        columns = zip(*(row for _, row in found), strict=True)
        cells = dict(zip(header, columns, strict=True))
        numbers = {
            key: self.numbers(key, cells[key], lines)
            for key in self.columns
            if key in cells
        }
        names = {
            key: self.texts(key, cells[key], lines)
            for key in self.names
            if key in cells
        }
        return CsvTable(self.path, numbers, names, np.array(lines))

    def numbers(
        self, key: str, cells: Sequence[str], lines: list[int]
    ) -> NDArray[np.float64]:
        column = self.columns[key]
        empty = math.nan if column.empty is None else column.empty
        values = _floats(cells, empty)
        good = column.holds(values)
        if column.empty is not None:
            good |= values == empty
            if math.isnan(empty):
                good |= [not cell.strip() for cell in cells]
        for row in np.flatnonzero(~good)[:_ENOUGH]:
            cell = cells[row].strip()
            self.report(
                lines[row],
                key,
                quoted(cell) if cell else "an empty cell",
                column.instead_of(cell),
            )
        return np.where(good, values, 0.0) * column.factor

    def texts(
        self, key: str, cells: Sequence[str], lines: list[int]
    ) -> list[str]:
        odd = [
            row
            for row, cell in enumerate(cells)
            if cell.strip() and not is_plain(cell)
        ]
        for row in odd[:_ENOUGH]:
            self.report(lines[row], key, quoted(cells[row]), NAME)
        return [cell.strip() for cell in cells]


def _lines(stream: TextIO) -> Iterator[str]:
    """The lines; a file that has none is not taken into memory as a single one."""
    while line := stream.readline(_LONGEST_LINE):
        if len(line) == _LONGEST_LINE:
            raise csv.Error(f"a line of over {_LONGEST_LINE} characters")
        yield line


def _floats(cells: Sequence[str], empty: float) -> NDArray[np.float64]:
    """The cells as numbers, NaN for what is none."""
    together = "".join(cells)
    if (
        together.isascii() and "_" not in together
    ):  # Python reads 1_000 and digits of other scripts
        try:
            return np.array([float(cell) if cell else empty for cell in cells])
        except ValueError:
            pass
    return np.array([number(cell.strip(), empty) for cell in cells])


def number(cell: str, empty: float = math.nan) -> float:
    """A cell as a number, NaN for what is none: Python also reads 1_000 and digits of other scripts."""
    if not cell:
        return empty
    try:
        return float(cell) if cell.isascii() and "_" not in cell else math.nan
    except ValueError:
        return math.nan


def decimal_point(cell: str) -> str:
    """What to say of a number with a decimal comma; empty for any other cell.

    >>> decimal_point("3,2"), decimal_point("3.2")
    (', with a decimal point: 3.2', '')
    """
    is_comma = _COMMA.fullmatch(cell)
    return (
        f", with a decimal point: {cell.replace(',', '.')}" if is_comma else ""
    )
