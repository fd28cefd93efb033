"""An assessment in words and plain tables, for people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from setupopt.evaluation.assessment import Assessment
from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.losses import Loss
from setupopt.evaluation.result import Field
from setupopt.evaluation.summary import AttitudeWorst, by_angle, by_attitude
from setupopt.project.bodies import worn_words
from setupopt.project.model import WHEELS
from setupopt.report.shared.in_air import in_air_words
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    along_column,
    along_words,
    angle,
    bar,
    number,
    paragraph,
    table,
    thinned,
)
from setupopt.report.shared.words import CLOSING, cautions_text
from setupopt.units import MM

_MOST_ANGLES = 37  # rows; 0 to 180 deg in steps of 5
_MOST_ATTITUDES = 20
_MOST_PRESS = 256.0  # g, the most that a lost case is tried with
NO_PRESS = "no press towards the surface was found that would hold the car."


def text(assessment: Assessment, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict without its tables; lines of at most `width`."""
    a = assessment
    parts = [_head(a, width), _cautions(a, width), _verdict(a, width)]
    if not short:
        parts += [_angles(a, width), _attitudes(a, width), _worst(a, width), _losses(a, width)]
    parts += [_broken(a, width), paragraph(CLOSING, width)]
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(a: Assessment, width: int) -> str:
    project, cases = a.project, a.result.cases
    counts = f"{len(cases)} cases"
    if cases.attitudes:
        counts += f", {cases.angles.size} {cases.stands} x {len(cases.attitudes)} attitudes"
    car = f"{project.car.name}{worn_words(project, project.setup.body)}"
    return paragraph(f'{car}, setup "{project.setup.name}", at {project.venue.name}: {counts}', width)


def _cautions(a: Assessment, width: int) -> str:
    return cautions_text(a.project.cautions, width)


def _verdict(a: Assessment, width: int) -> str:
    lines = [*_contact(a), f"Worst margin: {_margin_words(a)}"]
    if a.floor is not None:
        reached = "not reached" if a.is_under_floor else "reached"
        lines.append(f"Floor asked for: {a.floor:g}, {reached}")
    if a.broken:
        kinds = "limit is" if len(a.broken) == 1 else "limits are"
        lines.append(f"{len(a.broken)} {kinds} BROKEN, see below")
    return "\n".join(paragraph(line, width) for line in lines)


def _contact(a: Assessment) -> list[str]:
    """What becomes of contact, then the wheels in the air if there are any."""
    count = len(a.result.cases)
    lost = a.result.lost()
    contact = f"Contact is kept in {'the only case' if count == 1 else f'all {count} cases'}."
    if lost:
        contact = f"CONTACT LOST in {lost} of {count} cases: there the car comes off the surface."
    return [line for line in (contact, in_air_words(a.result)) if line]


def _margin_words(a: Assessment) -> str:
    worst = a.worst_fields
    place = f"at {angle(worst['roll_angle_deg'])} deg, {along_words(worst)}{worst['attitude']}"
    if a.margin is None:
        return f"none, contact is lost ({place})"
    slides = " (below zero: it slides)" if a.margin < 0.0 else ""
    return f"{number(a.margin, 3)}{slides} {place}"


# --- tables -----------------------------------------------------------------------------------------


def _angles(a: Assessment, width: int) -> str:
    rows = by_angle(a.result)
    shown = thinned(rows, _MOST_ANGLES, _sort_margin)
    group = -(-len(rows) // _MOST_ANGLES)
    some = f" (of every {group} neighbouring angles the worst)" if group > 1 else ""
    length = min(width - 50, 60)
    columns = [
        Column("roll angle deg", [angle(row["roll_angle_deg"]) for row in shown]),
        *along_column(shown),
        Column("margin", [number(row["margin"], 3) for row in shown]),
        Column("", [_bar(row["margin"], length) for row in shown], numeric=False, rank=1),
        Column("worst attitude", [row["attitude"] for row in shown], numeric=False, least=20),
    ]
    head = paragraph(f"Margin by roll angle, worst attitude at each{some}", width)
    return f"{head}\n{table(columns, width)}"


def _bar(margin: float | None, length: int) -> str:
    """Full at a margin of 1."""
    if margin is None:
        return "CONTACT LOST"
    return bar(margin, length) if margin >= 0.0 else "SLIDES"


def _sort_margin(row: Field) -> float:
    return -1e9 if row["margin"] is None else float(row["margin"])


def _attitudes(a: Assessment, width: int) -> str:
    rows = by_attitude(a.result)
    shown = rows if len(rows) <= _MOST_ATTITUDES else sorted(rows, key=_sort_worst)[:_MOST_ATTITUDES]
    which = "" if len(shown) == len(rows) else f", the {len(shown)} worst of {len(rows)}"
    columns = [
        Column("attitude", [row.attitude for row in shown], numeric=False, least=20),
        Column("worst at deg", [angle(row.roll_angle_deg) for row in shown]),
        *along_column([asdict(row) for row in shown]),
        Column("margin", [number(row.margin, 3) for row in shown]),
        Column("contact lost in", [f"{row.lost} of {row.cases}" if row.lost else "-" for row in shown]),
    ]
    return f"Each attitude at its worst roll angle{which}\n{table(columns, width)}"


def _sort_worst(row: AttitudeWorst) -> float:
    return -1e9 if row.margin is None else row.margin


def _worst(a: Assessment, width: int) -> str:
    fields = a.worst_fields
    head = (
        f"The worst case: number {fields['case']}, {angle(fields['roll_angle_deg'])} deg, "
        f"{along_words(fields)}{fields['attitude']}, {fields['speed_m_s']:g} m/s"
    )
    if not fields["contact"]:
        return f"{paragraph(head, width)}\n{paragraph(_lost_words(a), width, INDENT)}"
    return f"{paragraph(head, width)}\n{_wheels(a, width)}\n{_car_words(fields, width)}"


def _lost_words(a: Assessment) -> str:
    more = press_words(a)
    return f"Contact is lost, and {NO_PRESS}" if more is None else f"Contact is lost: {more}"


def press_words(a: Assessment) -> str | None:
    """How much is missing to contact in a worst case that is lost; None where nothing was found."""
    press = float(a.worst_answer["press"])
    if press > _MOST_PRESS:
        return None
    more = f"{press:.2f} g" if press >= 0.01 else "less than 0.01 g"
    return f"{more} more press towards the surface would be needed to hold the car."


def _wheels(a: Assessment, width: int) -> str:
    fields = a.worst_fields
    travel = a.worst_answer["travel"]
    columns = [
        Column("wheel", [wheel.upper() for wheel in WHEELS], numeric=False),
        Column("load N", [number(fields[f"load_{wheel}_N"], 0) for wheel in WHEELS]),
        Column("grip N", [number(fields[f"grip_{wheel}_N"], 0) for wheel in WHEELS]),
        Column("inclination deg", [number(fields[f"inclination_{wheel}_deg"], 2) for wheel in WHEELS]),
        Column("patch mm2", [number(fields[f"patch_{wheel}_mm2"], 0) for wheel in WHEELS], rank=1),
        Column("bump travel mm", [number(float(travel[w]) / MM) for w in range(4)], rank=2),
    ]
    return table(columns, width)


def _car_words(fields: Field, width: int) -> str:
    lines = [
        f"The {fields['first_axle']} axle goes first. Grip used: front {number(fields['use_front'], 3)}, "
        f"rear {number(fields['use_rear'], 3)}.",
        f"Gap at the ride-height stations: front {number(fields['front_gap_mm'])} mm, "
        f"rear {number(fields['rear_gap_mm'])} mm. Least clearance of the floor points: "
        f"{number(fields['least_clearance_mm'])} mm. Travel left to a stop: "
        f"{number(fields['travel_left_mm'])} mm.",
        f"Downforce {number(fields['downforce_N'], 0)} N, drag {number(fields['drag_N'], 0)} N.",
    ]
    return "\n".join(paragraph(line, width, INDENT) for line in lines)


def _losses(a: Assessment, width: int) -> str:
    budget, acting = a.budget, [loss for loss in a.budget.losses if loss.in_case]
    columns = [
        Column("without", [loss.cause for loss in acting], numeric=False),
        Column("margin", [_without(loss) for loss in acting]),
        Column("gain", [number(loss.gain, 3, sign=True) for loss in acting]),
    ]
    lines = ["What the worst case loses, each cause taken away alone (gains do not add up)"]
    lines.append(table(columns if budget.margin is not None else columns[:2], width))
    if budget.margin is None:
        lines.append(paragraph(_regain_words(budget.regaining), width, INDENT))
    if budget.absent:
        lines.append(paragraph(f"Not in this case: {', '.join(budget.absent)}.", width, INDENT))
    return "\n".join(lines)


def _without(loss: Loss) -> str:
    return number(loss.margin_without, 3) if loss.margin_without is not None else "contact lost"


def _regain_words(causes: Sequence[str]) -> str:
    if not causes:
        return "No single cause taken away regains contact."
    return f"Contact is regained without {', or without '.join(causes)}."


def _broken(a: Assessment, width: int) -> str:
    if not a.broken:
        return ""
    columns = [
        Column("limit", [limit.limit for limit in a.broken], numeric=False, least=20),
        Column("where", [limit.where for limit in a.broken], numeric=False, least=8),
        Column("value", [f"{number(limit.value)}" for limit in a.broken]),
        Column("required", [f"{limit.sense} {limit.required:g} {limit.unit}" for limit in a.broken]),
        Column("case", [_case_words(limit) for limit in a.broken]),
        Column("at", [_place_words(limit) for limit in a.broken], numeric=False, least=12),
    ]
    return f"LIMITS BROKEN ({len(a.broken)})\n{table(columns, width)}"


def _case_words(limit: Broken) -> str:
    return "at rest" if limit.case is None else str(limit.case)


def _place_words(limit: Broken) -> str:
    if limit.roll_angle_deg is None:
        return "-"
    return f"{angle(limit.roll_angle_deg)} deg, {along_words(asdict(limit))}{limit.attitude}"
