"""The sheet in words, for the one who prints it; they stand in sheet.txt."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite

from setupopt.evaluation.result import Field
from setupopt.project.model import AXLES
from setupopt.report.shared.tables import number
from setupopt.report.shared.template import rendered
from setupopt.report.sheet.card_fields import proof_effort
from setupopt.report.sheet.fields import Sheet
from setupopt.sheet.pad_state import PadReading
from setupopt.units import DEG, MM


def text(sheet: Sheet, width: int, short: bool = False) -> str:
    """Change list, margins and what the run card lacks; with `short` without the steps."""
    return rendered(
        "sheet/sheet", width, short, sheet=sheet, readings=list(_readings(sheet)), proof_effort=proof_effort,
        is_finite=isfinite,
    )  # fmt: skip


def _readings(sheet: Sheet) -> Iterator[Field]:
    """What the pad reads after each step that asks for it."""
    for step in sheet.changes.steps:
        if step.is_read:
            row: Field = {
                "step": step.number,
                "cross": 100.0 * step.reading.cross_share,
            }
            for axle, name in enumerate(AXLES):
                row[f"{name}_mm"] = step.reading.ride_height[axle] / MM
                row[f"{name}_camber"] = _camber(step.reading, axle)
            yield row


def _camber(reading: PadReading, axle: int) -> str:
    """An axle's two wheels, once where they read the same."""
    left, right = (
        number(float(camber) / DEG, 2)
        for camber in reading.camber[2 * axle : 2 * axle + 2]
    )
    return left if left == right else f"{left} / {right}"
