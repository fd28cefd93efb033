"""The tables of the report page as rows of cells, their numbers from assessments and kept answers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import Any

from setupopt.evaluation.assessment import Assessment
from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.report_data import Part, Report
from setupopt.evaluation.result import Field, Result
from setupopt.evaluation.summary import AttitudeWorst, by_angle, by_attitude
from setupopt.project.bodies import body_label
from setupopt.project.stored_proof import proof_extent
from setupopt.report.page.grid import (
    NONE,
    Cell,
    Grid,
    Row,
    grid,
    margin_cell,
    place,
)
from setupopt.report.shared.tables import (
    along_words,
    angle,
    number,
    significant,
    thinned,
)
from setupopt.report.shared.words import verdict as verdict_words
from setupopt.sheet.state import Line, state_lines

_MOST_ANGLES = (
    20  # rows: both halves, for each setup, on a part of a printed page
)


# ---- the verdict -------------------------------------------------------------------------------------------


def verdict(report: Report) -> Grid:
    """What matters most of each setup."""
    project = report.today.project
    floor = report.today.assessment.floor
    wanted: list[tuple[str, Callable[[Part], Cell]]] = [
        ("worst margin", _worst_cell),
        ("cases that lose contact", _count_cell(Result.lost)),
        ("cases that slide", _count_cell(Result.sliding)),
        ("cases with a wheel in the air", _count_cell(_in_air)),
        ("limits", _limits_cell),
        *(
            []
            if floor is None
            else [(f"minimum margin {floor:g}", _minimum_cell)]
        ),
        ("proved against bumps, wind, road, build error", _proof_cell),
        (
            "setup",
            lambda part: Cell(
                part.project.setup.name, f"checksum {part.checksum}"
            ),
        ),
        *(
            [("body", lambda part: Cell(body_label(part.project.setup.body)))]
            if project.bodies
            else []
        ),
    ]
    rows: list[Row] = [
        [name, *map(cell, report.parts)] for name, cell in wanted
    ]
    return grid(["", *(part.role for part in report.parts)], rows)


def _worst_cell(part: Part) -> Cell:
    return margin_cell(
        part.assessment.margin, place(part.assessment.worst_fields)
    )


def _count_cell(count: Callable[[Result], int]) -> Callable[[Part], Cell]:
    """Of how many cases something is true that should be of none."""

    def cell(part: Part) -> Cell:
        result = part.assessment.result
        found = count(result)
        return Cell(f"{found} of {len(result.cases)}", "", found > 0)

    return cell


def _in_air(result: Result) -> int:
    return int(result.in_air[0].any(axis=1).sum())


def _limits_cell(part: Part) -> Cell:
    count = len(part.assessment.broken)
    return Cell(f"FAIL: {count} broken" if count else "pass", "", count > 0)


def _minimum_cell(part: Part) -> Cell:
    under = part.assessment.is_under_floor
    return Cell("FAIL" if under else "pass", "", under)


def _proof_cell(part: Part) -> Cell:
    proof = part.proof
    if proof is None:
        return Cell("not proved")
    if not proof["holds"]:
        return Cell("FAIL", "", True)
    extent = proof_extent(proof)
    quick = "QUICK, for a first look; " if extent and extent.is_quick else ""
    return Cell("pass", f"{quick}at a minimum margin of {proof['floor']:g}")


# ---- margins -----------------------------------------------------------------------------------------------


def angles(report: Report) -> tuple[list[Grid], int]:
    """The worst attitude at each roll angle, in two halves; and of how many neighbours a row is the worst."""
    rows = [by_angle(part.assessment.result) for part in report.parts]
    group = -(-len(rows[0]) // _MOST_ANGLES)
    shown = thinned(
        list(zip(*rows, strict=True)),
        _MOST_ANGLES,
        lambda row: min(map(_sort_margin, row)),
    )
    cells: list[Row] = [
        [
            _angle_cell(row[0]),
            *(margin_cell(one["margin"], one["attitude"]) for one in row),
        ]
        for row in shown
    ]
    heads = ["roll angle deg", *(part.role for part in report.parts)]
    half = -(-len(cells) // 2)
    return [
        grid(heads, rows) for rows in (cells[:half], cells[half:]) if rows
    ], group


def _angle_cell(row: Field) -> Cell:
    """A roll angle, and on a section of parts which of its places."""
    return Cell(angle(row["roll_angle_deg"]), along_words(row).rstrip(", "))


def _sort_margin(row: Field) -> float:
    return -1e9 if row["margin"] is None else float(row["margin"])


def attitudes(report: Report) -> Grid:
    """Each attitude at its worst roll angle."""
    columns = [by_attitude(part.assessment.result) for part in report.parts]
    rows: list[Row] = [
        [row[0].attitude, *map(_attitude_cell, row)]
        for row in zip(*columns, strict=True)
    ]
    return grid(["attitude", *(part.role for part in report.parts)], rows)


def _attitude_cell(row: AttitudeWorst) -> Cell:
    lost = f", contact lost in {row.lost} of {row.cases}" if row.lost else ""
    at = f"at {angle(row.roll_angle_deg)} deg, {along_words(asdict(row))}".rstrip(
        ", "
    )
    return margin_cell(row.margin, at + lost)


def lost_cases(a: Assessment) -> Grid | None:
    """Where contact is lost: of every attitude the stretches of the sweep; None where it is kept."""
    if not a.result.lost():
        return None
    cases = a.result.cases
    contact = a.result.contact[0].reshape(len(a.result.cases.attitudes), -1)
    key, unit = (
        ("along_mm", "mm along")
        if cases.is_along
        else ("roll_angle_deg", "deg")
    )
    at = [row[key] for row in by_angle(a.result)]
    rows: list[Row] = [
        [name, _stretches(at, ~held), f"{int((~held).sum())} of {held.size}"]
        for name, held in zip(cases.attitudes, contact, strict=True)
        if not held.all()
    ]
    return grid(["attitude", f"contact lost at {unit}", "cases"], rows)


def _stretches(degrees: Sequence[float], lost: Any) -> str:
    """Neighbouring angles as one stretch.

    >>> _stretches([0, 5, 10, 15], [True, True, False, True])
    '0 to 5, 15'
    """
    found: list[list[float]] = []
    for i, one in enumerate(degrees):
        if lost[i] and i and lost[i - 1]:
            found[-1][1:] = [one]
        elif lost[i]:
            found.append([one])
    return ", ".join(" to ".join(angle(end) for end in ends) for ends in found)


# ---- the worst case ----------------------------------------------------------------------------------------


_ROUTE = (
    ("least margin on the way", "margin", ""), ("highest roll angle", "to_deg", "deg"),
    ("driven at that angle or beyond", "held_m", "m"), ("length", "length_m", "m"),
    ("time", "seconds", "s"), ("speed at the entry", "speed_m_s", "m/s"),
)  # fmt: skip


# ---- limits, prices, proof, settings -----------------------------------------------------------------------


def broken(a: Assessment) -> Grid:
    """The broken limits."""
    rows: list[Row] = [
        [
            Cell(limit.limit, limit.where),
            Cell(number(limit.value, 2), limit.unit, True),
            Cell(f"{limit.sense} {limit.required:g}", limit.unit),
            _limit_place(limit),
        ]
        for limit in a.broken
    ]
    return grid(["limit", "found", "required", "worst at"], rows, 4)


def _limit_place(limit: Broken) -> str:
    return "at rest" if limit.roll_angle_deg is None else place(asdict(limit))


def prices(proposal: dict[str, Any]) -> Grid:
    """The gain of margin by one unit more of each limit."""
    rows: list[Row] = [
        [
            Cell(row["limit"], row["key"]),
            Cell(significant(row["margin_per_unit"]), f"per {row['unit']}"),
            Cell(
                significant(row["solved_again"]),
                "" if row["agrees"] else "DIFFERS",
                not row["agrees"],
            ),
        ]
        for row in proposal["limit_prices"]
    ]
    return grid(["limit", "margin", "solved again"], rows)


def proof(kept: dict[str, Any]) -> Grid | None:
    """One row for each requirement; None where the kept answer is not in the form of `prove`."""
    try:
        rows: list[Row] = [
            [
                _judged(row),
                Cell(row["what"], row["how"]),
                _found(row),
                _proof_place(row),
            ]
            for row in kept["verdicts"]
        ]
    except (KeyError, TypeError, ValueError, AttributeError):
        return None
    return grid(["", "what", "found", "fails first at"], rows, 4)


def _judged(row: Field) -> Cell:
    return Cell(verdict_words(row["holds"]), "", row["holds"] is False)


def _found(row: Field) -> Cell:
    """A chance has an upper limit, everything else a lower one."""
    missing = "none" if row["what"] == "margin as set" else "all tried"
    value = (
        missing if row["found"] is None else f"{row['found']:.3g} {row['unit']}"
    )
    if row["asked"] is None:
        return Cell(value)
    sense = "at most" if row["unit"] == "% of runs" else "at least"
    return Cell(value, f"{sense} {row['asked']:.3g} required")


def _proof_place(row: Field) -> str:
    return NONE if row["roll_angle_deg"] is None else place(row)


def route(kept: Field | None) -> Grid | None:
    """The kept route in a few rows; None where there is none, or where it is not in the form of `route`."""
    try:
        rows = (
            []
            if kept is None
            else [
                [name, f"{kept[key]:.4g} {unit}"] for name, key, unit in _ROUTE
            ]
        )
    except (KeyError, TypeError, ValueError):
        return None
    return grid(["the way up and back", ""], rows) if rows else None


def programme(kept: Field | None) -> Grid | None:
    """The runs of the kept route's test programme; None where there is none, or not in the form of `route`."""
    try:
        runs = [] if kept is None else (kept["programme"] or {})["runs"]
        rows: list[Row] = [
            [
                f"{run['run']}",
                angle(run["to_deg"]),
                f"{run['speed_m_s']:.4g}",
                margin_cell(run["margin"]),
                margin_cell(run["worst_margin"]),
                run["tells"] or NONE,
            ]
            for run in runs
        ]
    except (KeyError, TypeError, ValueError):
        return None
    heads = ("run", "to deg", "m/s", "margin", "worst", "tells most about")
    return grid(heads, rows) if rows else None


def settings(report: Report) -> Grid:
    """Every setting front and rear, left / right where they differ, with what it changes to."""
    columns = [
        state_lines(part.project, part.project.setup) for part in report.parts
    ]
    lines = {
        line.quantity: line for column in reversed(columns) for line in column
    }
    found = [{line.quantity: line for line in column} for column in columns]
    rows: list[Row] = [
        [
            Cell(
                f"{line.words} {line.unit}",
                line.tolerance and f"± {line.tolerance}",
            ),
            *(_setting_cell(found, line, wheel) for wheel in (0, 2)),
        ]
        for line in lines.values()
    ]
    return grid(["setting", "front", "rear"], rows)


def _setting_cell(
    found: Sequence[dict[str, Line]], line: Line, wheel: int
) -> Cell:
    """Today's value, and the proposed one where it is another; left and right where they differ."""
    values = [
        _sides(column.get(line.quantity), wheel, line.digits)
        for column in found
    ]
    return (
        Cell(values[0])
        if len(set(values)) == 1
        else Cell(f"{values[0]} → {values[1]}", "change")
    )


def _sides(line: Line | None, wheel: int, digits: int) -> str:
    """The value of an axle, or of both sides; 0 where a setup goes without."""
    if line is None:
        return number(0.0, digits)
    left, right = (line.values[wheel + side] for side in (0, 1))
    if left is None:
        return NONE
    if right is None or right == left:
        return number(left, digits)
    return f"{number(left, digits)} / {number(right, digits)}"
