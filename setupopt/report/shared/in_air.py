"""Wheels in the air, in words: the same sentence on every screen, sheet and page."""

from __future__ import annotations

from setupopt.evaluation.result import IN_AIR, Result
from setupopt.evaluation.summary import WheelsInAir, wheels_in_air
from setupopt.report.shared.tables import angle
from setupopt.units import PERCENT


def in_air_words(result: Result, setup: int = 0) -> str:
    """How many cases have a wheel in the air, then attitudes, wheels and angles; empty where none has."""
    rows = wheels_in_air(result, setup)
    if not rows:
        return ""
    count = sum(row.cases for row in rows)
    least = f"under {IN_AIR / PERCENT:g} % of a quarter of the car's weight"
    listed = "; ".join(_attitude_words(row) for row in rows)
    return f"A WHEEL IS IN THE AIR ({least}) in {count} of {result.count} cases: {listed}."


def _attitude_words(row: WheelsInAir) -> str:
    wheels = ", ".join(wheel.upper() for wheel in row.wheels)
    span = (
        f"{angle(row.from_deg)} deg"
        if row.from_deg == row.to_deg
        else f"{angle(row.from_deg)} to {angle(row.to_deg)} deg"
    )
    return f"{row.attitude}: {wheels} at {span} ({row.cases} {'case' if row.cases == 1 else 'cases'})"
