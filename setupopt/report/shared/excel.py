"""A table in CSV as a workbook: numbers as numbers, text as text, whatever it begins with."""

from __future__ import annotations

import csv
from datetime import datetime
from io import BytesIO, StringIO
from typing import Any

_CREATED = datetime(2000, 1, 1)
_WIDEST = 40  # letters


def is_available() -> bool:
    """Whether the extra `excel` is installed."""
    from importlib.util import find_spec

    return find_spec("xlsxwriter") is not None


def workbook(text: str) -> bytes:
    """An .xlsx file of a CSV table: its head, which names the units, stays in sight; no cell is a formula."""
    import xlsxwriter

    buffer = BytesIO()
    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
    }
    book = xlsxwriter.Workbook(buffer, options)
    book.set_properties({"created": _CREATED})
    sheet = book.add_worksheet("table")
    head = book.add_format(
        {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1}
    )
    rows = list(csv.reader(StringIO(text)))
    for number, row in enumerate(rows):
        for column, cell in enumerate(row):
            _write(sheet, number, column, cell, head if number == 0 else None)
    for column in range(len(rows[0]) if rows else 0):
        longest = max(len(row[column]) for row in rows if column < len(row))
        sheet.set_column(column, column, min(max(longest, 8), _WIDEST) + 1)
    sheet.freeze_panes(1, 1)
    book.close()
    return buffer.getvalue()


def _write(sheet: Any, row: int, column: int, cell: str, style: Any) -> None:
    number = None if row == 0 else _number(cell)
    if number is not None:
        sheet.write_number(row, column, number)
    elif cell in ("true", "false"):
        sheet.write_boolean(row, column, cell == "true")
    elif cell:
        sheet.write_string(row, column, cell, style)


def _number(cell: str) -> float | None:
    """A cell as a finite number, None for text; "nan", "inf" and "1_000" are text."""
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if "_" not in cell and abs(value) < float("inf") else None
