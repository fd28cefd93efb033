"""A table in CSV as a workbook: numbers as numbers, text as text, whatever it begins with."""

from __future__ import annotations

from datetime import datetime
from io import BytesIO, StringIO
from math import isfinite

_CREATED = datetime(2000, 1, 1)


def is_available() -> bool:
    """Whether the extra `excel` is installed."""
    from importlib.util import find_spec

    return find_spec("xlsxwriter") is not None


def workbook(text: str) -> bytes:
    """An .xlsx file of a CSV table: its head, which names the units, stays in sight; no cell is a formula."""
    import pandas as pd

    table = pd.read_csv(StringIO(text), dtype=str, keep_default_na=False)
    buffer = BytesIO()
    plain = {"strings_to_formulas": False, "strings_to_urls": False}
    options = {"options": {"in_memory": True, **plain}}
    with pd.ExcelWriter(
        buffer, engine="xlsxwriter", engine_kwargs=options
    ) as writer:
        table.map(_cell).to_excel(
            writer, sheet_name="table", index=False, freeze_panes=(1, 1)
        )
        writer.book.set_properties({"created": _CREATED})
        writer.sheets["table"].autofit()
    return buffer.getvalue()


def _cell(cell: str) -> str | bool | float:
    """A cell as a finite number, true or false, else as text: also "nan", "inf" and "1_000"."""
    if cell in ("true", "false"):
        return cell == "true"
    try:
        value = float(cell)
    except ValueError:
        return cell
    return value if "_" not in cell and isfinite(value) else cell
