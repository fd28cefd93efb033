"""A read-back in words and plain tables, for people; the words stand in readback.txt."""

from __future__ import annotations

from setupopt.report.shared.template import rendered
from setupopt.sheet.readback import ReadBack


def text(read: ReadBack, width: int, short: bool = False) -> str:
    """The whole report, or with `short` without the table of deviations; lines of at most `width`."""
    return rendered("readback/readback", width, short, read=read)
