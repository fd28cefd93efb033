"""A report for scripts: plain Python values."""

from __future__ import annotations

from setupopt.evaluation.drawn_parts import Gap, Wheel
from setupopt.evaluation.report_data import PROPOSED, TODAY, Part, Report
from setupopt.evaluation.result import Field
from setupopt.project.checksum import project_checksum
from setupopt.project.writing import setup_as_dict
from setupopt.report.shared.words import CLOSING, NO_PRICES
from setupopt.units import KPA, MM


def as_dict(report: Report) -> Field:
    """Plain Python values, None for what has no answer."""
    prices = report.prices
    project = report.today.project
    return {
        "car": project.car.name,
        "venue": project.venue.name,
        "date": report.date,
        "project_checksum": project_checksum(project),
        "holds": report.holds,
        "target": report.target.role,
        TODAY: _part(report.today),
        PROPOSED: report.proposed and _part(report.proposed),
        "alone": report.alone or None,
        "limit_prices": prices and prices["limit_prices"],
        "limit_prices_missing": None if prices else NO_PRICES,
        "limit_prices_near_margin": prices and prices.get("near"),
        "cautions": list(report.cautions),
        "closing": CLOSING,
    }


def _part(part: Part) -> Field:
    """One setup; `assessment` as `assess --json` gives it."""
    setup = setup_as_dict(part.project.setup)
    return {
        "setup": {**setup["setup"], "checksum": part.checksum},
        "front": setup["front"],
        "rear": setup["rear"],
        "holds": part.assessment.holds,
        "assessment": part.assessment.as_dict(),
        "gaps": [_gap(gap) for gap in part.drawn.gaps],
        "peak_pressure_kPa": {
            wheel.name: peak_kpa(wheel) for wheel in part.drawn.wheels
        },
        "proof": part.proof,
    }


def _gap(gap: Gap) -> Field:
    least = None if gap.least is None else gap.least / MM
    return {"where": gap.name, "gap_mm": gap.gap / MM, "least_gap_mm": least}


def peak_kpa(wheel: Wheel) -> float | None:
    """Highest contact pressure; None where contact is lost."""
    return None if wheel.patch is None else wheel.patch.peak / KPA
