"""Rows of cells, and the few cells that many tables share."""

from __future__ import annotations

from typing import NamedTuple

from setupopt.evaluation.result import Field
from setupopt.report.shared.tables import (
    along_words,
    angle,
    number,
)

LOST = "CONTACT LOST"


NONE = "-"


class Cell(NamedTuple):
    """Text of a cell, and smaller text under it; `bad` shows by more than colour."""

    text: str
    under: str = ""
    bad: bool = False


def place(row: Field) -> str:
    """Where and how a case is driven."""
    return f"{angle(row['roll_angle_deg'])} deg, {along_words(row)}{row['attitude']}"


def margin_cell(margin: float | None, under: str = "") -> Cell:
    """A margin, or that there is none; below zero the car slides."""
    if margin is None:
        return Cell(LOST, under, True)
    words = [*(["slides"] if margin < 0.0 else []), *([under] if under else [])]
    return Cell(number(margin, 3), "; ".join(words), margin < 0.0)
