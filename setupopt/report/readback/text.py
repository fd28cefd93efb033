"""A read-back in words and plain tables, for people; the words stand in readback.txt."""

from __future__ import annotations

from setupopt.report.shared.tables import number
from setupopt.report.shared.template import rendered
from setupopt.sheet.deviations import Deviation
from setupopt.sheet.readback import Correction, ReadBack


def text(read: ReadBack, width: int, short: bool = False) -> str:
    """The whole report, or with `short` without the table of deviations; lines of at most `width`."""
    return rendered(
        "readback/readback", width, short, read=read, tolerance=_tolerance, loss=_loss,
        correction=_correction,
    )  # fmt: skip


def _tolerance(row: Deviation) -> str:
    if row.tolerance is None:
        return "-"
    return f"{row.tolerance:.3g} {'OUTSIDE' if row.is_outside else 'inside'}"


def _loss(margin: float) -> str:
    """What a deviation costs; one that raises the margin has gained it."""
    return (
        number(margin, 4) if margin >= 0.0 else f"gained {number(-margin, 4)}"
    )


def _correction(correction: Correction) -> str:
    d = correction.deviation
    return f"{d.name} {d.found:.6g} -> {d.target:g} {d.unit}: {correction.how}"
