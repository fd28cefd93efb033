"""What the tables of the report page show, from assessments and kept answers; page.html prints it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from setupopt.evaluation.assessment import Assessment
from setupopt.evaluation.report_data import Report
from setupopt.evaluation.result import Field, Result
from setupopt.evaluation.summary import by_angle, by_attitude
from setupopt.report.shared.route_file import is_sound
from setupopt.report.shared.tables import low, thinned
from setupopt.report.shared.words import verdict, where_words
from setupopt.sheet.state import Line, state_lines
from setupopt.units import angle

_MOST_ANGLES = (
    20  # rows: both halves, for each setup, on a part of a printed page
)

NONE = "-"


class Cell(NamedTuple):
    """Text of a cell, and smaller text under it; `bad` shows by more than colour."""

    text: str
    under: str = ""
    bad: bool = False


lost = Result.lost
sliding = Result.sliding


def in_air(result: Result) -> int:
    """Cases with a wheel in the air."""
    return int(result.in_air[0].any(axis=1).sum())


# ---- margins -----------------------------------------------------------------------------------------------


def angles(report: Report) -> tuple[list[Any], int]:
    """The worst attitude at each roll angle, in two halves; and of how many neighbours a row is the worst."""
    rows = [by_angle(part.assessment.result) for part in report.parts]
    shown = thinned(
        list(zip(*rows, strict=True)),
        _MOST_ANGLES,
        lambda row: min(low(one["margin"]) for one in row),
    )
    half = -(-len(shown) // 2)
    halves = [some for some in (shown[:half], shown[half:]) if some]
    return halves, -(-len(rows[0]) // _MOST_ANGLES)


def attitudes(report: Report) -> list[Any]:
    """Each attitude at its worst roll angle, of every setup."""
    columns = [by_attitude(part.assessment.result) for part in report.parts]
    return list(zip(*columns, strict=True))


def lost_cases(a: Assessment) -> list[tuple[str, str, str]]:
    """Where contact is lost: of every attitude the stretches of the sweep; empty where it is kept."""
    cases = a.result.cases
    contact = a.result.contact[0].reshape(len(cases.attitudes), -1)
    key = "along_mm" if cases.is_along else "roll_angle_deg"
    at = [row[key] for row in by_angle(a.result)]
    return [
        (name, _stretches(at, ~held), f"{int((~held).sum())} of {held.size}")
        for name, held in zip(cases.attitudes, contact, strict=True)
        if not held.all()
    ]


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


# ---- limits, prices, proof, settings -----------------------------------------------------------------------


_ROUTE = (
    ("least margin on the way", "margin", ""), ("highest roll angle", "to_deg", "deg"),
    ("driven at that angle or beyond", "held_m", "m"), ("length", "length_m", "m"),
    ("time", "seconds", "s"), ("speed at the entry", "speed_m_s", "m/s"),
)  # fmt: skip


def proof(kept: Field) -> list[Any] | None:
    """One row for each requirement; None where the kept answer is not in the form of `prove`."""
    try:
        return [
            (
                Cell(verdict(row["holds"]), "", row["holds"] is False),
                Cell(row["what"], row["how"]),
                _found(row),
                NONE if row["roll_angle_deg"] is None else where_words(row),
            )
            for row in kept["verdicts"]
        ]
    except (KeyError, TypeError, ValueError, AttributeError):
        return None


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


def route(kept: Field | None) -> list[tuple[str, str]]:
    """The kept route in a few rows; empty where there is none, or where it is not in the form of `route`."""
    try:
        return [
            (name, f"{kept[key]:.4g} {unit}")
            for name, key, unit in _ROUTE
            if kept
        ]
    except (KeyError, TypeError, ValueError):
        return []


def programme(kept: Field | None) -> list[Field]:
    """The runs of the kept route's test programme; empty where there is none, or where the file is damaged."""
    found = kept["programme"] if kept and is_sound(kept) else None
    return found["runs"] if found else []


def settings(report: Report) -> list[tuple[Line, list[Line | None]]]:
    """Every setting of any setup, and its line of each setup; None where a setup goes without."""
    columns = [
        state_lines(part.project, part.project.setup) for part in report.parts
    ]
    found = [{line.quantity: line for line in column} for column in columns]
    every: dict[str, Line] = {}
    for column in reversed(found):
        every |= column
    return [
        (line, [column.get(name) for column in found])
        for name, line in every.items()
    ]
