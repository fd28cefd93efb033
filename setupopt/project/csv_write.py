"""Writes CSV: numbers to the last digit, and no text that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

_RUN = "=+-@\uff1d\uff0b\uff0d\uff20"  # also as the wide letters that some spreadsheets take for the same


def csv_text(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table with a line for each row; None is an empty cell, True and False as TOML has them."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return buffer.getvalue()


def columns_text(columns: Mapping[str, Any], head: bool = True) -> str:
    """A table by columns, NumPy arrays or pandas series; a missing number or text is an empty cell.

    `head`: with the line of names.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    if head:
        writer.writerow(columns)
    rows = zip(*map(_cells, columns.values()), strict=True)
    # Through Python for each row, so that other threads have their turn
    writer.writerows(row for row in rows)
    return buffer.getvalue()


def _cells(column: Any) -> list[object]:
    """What the writer puts into the cells of a column: it writes a float as Python reads it again."""
    cells: list[object] = column.tolist()
    if column.dtype.kind in "iub":
        return cells
    if column.dtype.kind == "f":
        return [None if cell != cell else cell for cell in cells]
    return [None if cell != cell else _cell(cell) for cell in cells]


def frame_text(table: pd.DataFrame) -> str:
    """A pandas table without its index; a missing number is an empty cell."""
    return columns_text({name: table[name] for name in table.columns})


def rows_text(rows: Any) -> str:
    """Rows of values by name, or columns by name, as `frame_text` has them."""
    import pandas as pd  # nobody else needs it

    return frame_text(pd.DataFrame(rows))


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    return harmless(value) if isinstance(value, str) else value


def harmless(cell: str) -> str:
    """A cell that no spreadsheet runs as a formula, on one line.

    >>> harmless("=1+1"), harmless("-1.5"), harmless("left\\nright"), harmless("\\t@a")
    ("'=1+1", '-1.5', 'left right', "'@a")
    """
    line = " ".join(cell.split())
    return f"'{line}" if line[:1] in _RUN and not _is_number(line) else line


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return not text
    return True
