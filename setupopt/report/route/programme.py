"""The test programme of a route: as plain values, as a table for a spreadsheet, and in words."""

from __future__ import annotations

from setupopt.evaluation.result import Field, finite
from setupopt.project.csv_write import rows_text
from setupopt.project.field_types import KMH
from setupopt.report.shared.plain import picked
from setupopt.route.complete import Route
from setupopt.route.programme import Programme, Refused, Run
from setupopt.units import DEG


def programme_fields(found: Programme | None) -> Field | None:
    """The runs, and what was tried in vain after the last of them; None where no programme was asked for."""
    if found is None:
        return None
    return {
        "reaches": found.reaches,
        "least_margin": found.least_margin,
        "runs": [
            run_fields(number, run) for number, run in enumerate(found.runs, 1)
        ],
        "refused": [_refused(one) for one in found.refused],
    }


def run_fields(count: int, run: Run) -> Field:
    """One run."""
    return {
        "run": count,
        "step": run.step,
        "to_deg": finite(run.roll_angle / DEG),
        "speed_m_s": run.speed,
        "speed_km_h": run.speed / KMH,
        **picked(
            run,
            shape="study.paths.shape.name",
            length_m="study.length",
            margin="margin",
            worst_margin="worst",
        ),
        "errors": error_fields(run.errors),
        "tells": run.tells,
        "left": [
            {"input": name, "share": left, "alone": run.alone[name]}
            for name, left in run.left.items()
        ],
        "refused": [_refused(one) for one in run.refused],
    }


def error_fields(errors: dict[str, float]) -> list[Field]:
    """Inputs with their errors, in spreads."""
    return [{"input": name, "error": error} for name, error in errors.items()]


def _refused(one: Refused) -> Field:
    return {"to_deg": finite(one.roll_angle / DEG)} | picked(
        one,
        speed_m_s="speed",
        margin="margin",
        worst_margin="worst",
        broken="limits",
    )


def programme_text(route: Route) -> str | None:
    """The runs as CSV, one column for the share left of each input; None without a programme."""
    if route.programme is None:
        return None
    rows = []
    for count, run in enumerate(route.programme.runs, 1):
        row = run_fields(count, run)
        for name in ("left", "errors", "refused"):
            row.pop(name)
        rows.append(
            row
            | {
                f"left_{name.replace(' ', '_')}": share
                for name, share in run.left.items()
            }
        )
    return rows_text(rows)
