"""Words that the parts of the robustness report have in common."""

from __future__ import annotations

from setupopt.evaluation.result import Field
from setupopt.report.shared.tables import (
    angle,
)


def verdict_word(holds: bool | None) -> str:
    """The verdict on a requirement; None: nothing is required.

    >>> verdict_word(True), verdict_word(False), verdict_word(None)
    ('pass', 'FAIL', 'for information')
    """
    if holds is None:
        return "for information"
    return "pass" if holds else "FAIL"


def degrees(place: Field) -> str:
    if place["roll_angle_deg"] is None:
        return "-"
    along = (
        f" ({place['along_mm']:.0f} mm along)" if "along_mm" in place else ""
    )
    return angle(place["roll_angle_deg"]) + along
