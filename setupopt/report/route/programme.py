"""The test programme of a route: as plain values, as a table for a spreadsheet, and in words."""

from __future__ import annotations

from setupopt.evaluation.result import Field, finite
from setupopt.project.csv_write import rows_text
from setupopt.project.field_types import KMH
from setupopt.report.shared.tables import (
    Key,
    angle,
    decimals,
    keyed_table,
    number,
    words,
)
from setupopt.report.shared.words import headed, lines, verdict
from setupopt.route.complete import Route
from setupopt.route.programme import Programme, Refused, Run
from setupopt.units import DEG, PERCENT


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
        "shape": run.study.paths.shape.name,
        "length_m": run.study.length,
        "margin": finite(run.margin),
        "worst_margin": finite(run.worst),
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
    return {
        "to_deg": finite(one.roll_angle / DEG),
        "speed_m_s": one.speed,
        "margin": finite(one.margin),
        "worst_margin": finite(one.worst),
        "broken": list(one.limits),
    }


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


RUN_KEYS = (
    decimals("run", "run", 0),
    words("step", "step"),
    Key("to deg", "to_deg", angle),
    decimals("m/s", "speed_m_s"),
    decimals("km/h", "speed_km_h", 0, rank=1),
    words("shape", "shape", rank=2),
    decimals("metres", "length_m", 0, rank=3),
    decimals("margin", "margin", 3),
    decimals("worst", "worst_margin", 3, missing="lost"),
)


def programme_words(route: Route, width: int) -> str:
    """The runs in a table, the steps that were refused, and the verdict; nothing without a programme."""
    found = route.programme
    if found is None:
        return ""
    fields = [run_fields(count, run) for count, run in enumerate(found.runs, 1)]
    keys = [
        *RUN_KEYS,
        words(
            "tells most about, share of its spread left", "", _tells, least=14
        ),
    ]
    head = (
        f"Test programme, each run the smallest step that keeps a least margin of {found.least_margin:g}, at "
        f"the worst of [spread] too. Reaches the goal: {verdict(found.reaches)}"
    )
    said = [
        _refused_words(f"Before run {row['run']}", row["refused"])
        for row in fields
    ]
    said.append(
        _refused_words(
            "After the last one", [_refused(one) for one in found.refused]
        )
    )
    table = keyed_table(fields, keys, width)
    return headed(
        head, "\n".join(filter(None, [table, lines(said, width)])), width
    )


def _tells(row: Field) -> str:
    """The input that a run adds most to, and what is left of it."""
    found = [one for one in row["left"] if one["input"] == row["tells"]]
    return (
        f"{row['tells']} {number(found[0]['share'] / PERCENT, 0)} %"
        if found
        else "no spread given"
    )


def _refused_words(when: str, refused: list[Field]) -> str:
    """Steps that were refused, with their margins at the worst of the spread."""
    steps = [
        f"{angle(one['to_deg'])} deg at {number(one['speed_m_s'])} m/s ("
        + (
            "contact lost)"
            if one["worst_margin"] is None
            else f"{number(one['worst_margin'], 3)})"
        )
        for one in refused
    ]
    return (
        f"{when}, refused, with the worst margin: {', '.join(steps)}."
        if steps
        else ""
    )
