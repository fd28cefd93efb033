"""The sheet in words, for the one who prints it; they stand in sheet.txt."""

from __future__ import annotations

from setupopt.report.shared.template import rendered
from setupopt.report.sheet.card_fields import proof_effort
from setupopt.report.sheet.fields import Sheet


def text(sheet: Sheet, width: int, short: bool = False) -> str:
    """Change list, margins and what the run card lacks; with `short` without the steps."""
    return rendered(
        "sheet/sheet", width, short, sheet=sheet, proof_effort=proof_effort
    )
