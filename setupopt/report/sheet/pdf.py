"""The sheet as a PDF of A4 pages."""

from __future__ import annotations

import datetime
import json
from pathlib import Path

from setupopt.report.sheet.card_fields import proof_effort, speed_words
from setupopt.report.sheet.fields import Sheet, cold_words

_TEMPLATE = Path(__file__).with_name("sheet.typ")


def pdf(sheet: Sheet) -> bytes:
    """Pages: target, change list, today's state, run card; the same bytes for the same sheet."""
    import typst

    words = {
        "standing": sheet.standing,
        "proof_effort": proof_effort(sheet.card),
        "cold": cold_words(sheet),
        "speeds": speed_words(sheet.card),
    }
    data = json.dumps(sheet.as_dict() | words, allow_nan=False)
    return typst.compile(
        _TEMPLATE,
        format="pdf",
        font_paths=[_fonts()],
        ignore_system_fonts=True,
        sys_inputs={"data": data},
        timestamp=datetime.datetime.fromisoformat(sheet.date).replace(
            tzinfo=datetime.UTC
        ),
    )


def _fonts() -> Path:
    """Folder of DejaVu Sans, which comes with matplotlib, and its licence beside it."""
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf"
