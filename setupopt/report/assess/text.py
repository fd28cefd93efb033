"""An assessment in words and plain tables, for people."""

from __future__ import annotations

from setupopt.evaluation.assessment import Assessment
from setupopt.evaluation.result import Field
from setupopt.evaluation.summary import by_angle, by_attitude
from setupopt.project.bodies import worn_words
from setupopt.project.model import WHEELS
from setupopt.report.shared.in_air import in_air_words
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    Key,
    angle,
    bar,
    decimals,
    keyed_table,
    number,
    paragraph,
    table,
    thinned,
    words,
)
from setupopt.report.shared.words import (
    ALONG,
    cautions_text,
    composed,
    floor_words,
    headed,
    limits_text,
    limits_words,
    lines,
    slides,
    where_words,
)
from setupopt.units import MM

_MOST_ANGLES = 37  # rows; 0 to 180 deg in steps of 5
_MOST_ATTITUDES = 20
_MOST_PRESS = 256.0  # g, the most that a lost case is tried with
NO_PRESS = "no press towards the surface was found that would hold the car."


def text(assessment: Assessment, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict without its tables; lines of at most `width`."""
    tables = () if short else (_angles, _attitudes, _worst, _losses)
    return composed(
        (_head, _cautions, _verdict, *tables, _broken),
        assessment,
        width,
    )


def _head(a: Assessment, width: int) -> str:
    project = a.project
    cases = a.result.cases
    counts = f"{len(cases)} cases"
    if cases.attitudes:
        counts += f", {cases.angles.size} {cases.stands} x {len(cases.attitudes)} attitudes"
    car = f"{project.car.name}{worn_words(project, project.setup.body)}"
    return paragraph(
        f'{car}, setup "{project.setup.name}", at {project.venue.name}: {counts}',
        width,
    )


def _cautions(a: Assessment, width: int) -> str:
    return cautions_text(a.cautions, width)


def _verdict(a: Assessment, width: int) -> str:
    sentences = [
        *_contact(a),
        f"Worst margin: {_margin_words(a)}",
        floor_words(a.floor, not a.is_under_floor),
        limits_words(a.broken),
    ]
    return lines(sentences, width)


def _contact(a: Assessment) -> list[str]:
    """What becomes of contact, then the wheels in the air if there are any."""
    count = len(a.result.cases)
    lost = a.result.lost()
    contact = f"Contact is kept in {'the only case' if count == 1 else f'all {count} cases'}."
    if lost:
        contact = f"CONTACT LOST in {lost} of {count} cases: there the car comes off the surface."
    sliding = a.result.sliding()
    slide = f"IT SLIDES in {sliding} of {count} cases: limits are not judged there." if sliding else ""
    return [line for line in (contact, slide, in_air_words(a.result)) if line]


def _margin_words(a: Assessment) -> str:
    place = f"at {where_words(a.worst_fields)}"
    if a.margin is None:
        return f"none, contact is lost ({place})"
    return f"{number(a.margin, 3)}{slides(a.margin)} {place}"


def _broken(a: Assessment, width: int) -> str:
    return limits_text(a.broken, width)


# --- tables -----------------------------------------------------------------------------------------


def _angles(a: Assessment, width: int) -> str:
    rows = by_angle(a.result)
    shown = thinned(rows, _MOST_ANGLES, _sort_margin)
    group = -(-len(rows) // _MOST_ANGLES)
    some = f" (of every {group} neighbouring angles the worst)" if group > 1 else ""
    length = min(width - 50, 60)
    columns = (
        Key("roll angle deg", "roll_angle_deg", angle),
        ALONG,
        decimals("margin", "margin", 3),
        Key(
            "",
            "margin",
            lambda margin: _bar(margin, length),
            numeric=False,
            rank=1,
            missing="CONTACT LOST",
        ),
        words("worst attitude", "attitude", least=20),
    )
    head = f"Margin by roll angle, with the worst attitude at each{some}"
    return headed(head, keyed_table(shown, columns, width), width)


def _bar(margin: float, length: int) -> str:
    """Full at a margin of 1."""
    return bar(margin, length) if margin >= 0.0 else "SLIDES"


def _sort_margin(row: Field) -> float:
    return _sortable(row["margin"])


def _sortable(margin: float | None) -> float:
    """Lost contact is worse than any margin."""
    return -1e9 if margin is None else margin


def _attitudes(a: Assessment, width: int) -> str:
    rows = by_attitude(a.result)
    shown = rows
    if len(rows) > _MOST_ATTITUDES:
        shown = sorted(rows, key=lambda row: _sortable(row.margin))[:_MOST_ATTITUDES]
    which = "" if len(shown) == len(rows) else f", the {len(shown)} worst of {len(rows)}"
    columns = (
        words("attitude", "attitude", least=20),
        Key("worst at deg", "roll_angle_deg", angle),
        ALONG,
        decimals("margin", "margin", 3),
        Key(
            "contact lost in",
            "",
            lambda row: f"{row.lost} of {row.cases}" if row.lost else "-",
        ),
    )
    return f"Each attitude at its worst roll angle{which}\n{keyed_table(shown, columns, width)}"


def _worst(a: Assessment, width: int) -> str:
    fields = a.worst_fields
    head = f"The worst case: number {fields['case']}, {where_words(fields)}, {fields['speed_m_s']:g} m/s"
    if not fields["contact"]:
        return headed(head, paragraph(_lost_words(a), width, INDENT), width)
    return headed(head, f"{_wheels(a, width)}\n{_car_words(fields, width)}", width)


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


_WHEELS = (
    ("load N", "load_{}_N", 0, 0),
    ("grip N", "grip_{}_N", 0, 0),
    ("inclination deg", "inclination_{}_deg", 2, 0),
    ("patch mm2", "patch_{}_mm2", 0, 1),
)


def _wheels(a: Assessment, width: int) -> str:
    fields = a.worst_fields
    columns = [Column("wheel", [wheel.upper() for wheel in WHEELS], numeric=False)]
    for head, key, digits, rank in _WHEELS:
        columns.append(
            Column(
                head,
                [number(fields[key.format(w)], digits) for w in WHEELS],
                rank=rank,
            )
        )
    travel = [number(float(value) / MM) for value in a.worst_answer["travel"]]
    return table([*columns, Column("bump travel mm", travel, rank=2)], width)


def _car_words(fields: Field, width: int) -> str:
    sentences = [
        f"The {fields['first_axle']} axle reaches its grip first. Grip used: front "
        f"{number(fields['use_front'], 3)}, rear {number(fields['use_rear'], 3)}.",
        f"Gap at the ride-height stations: front {number(fields['front_gap_mm'])} mm, "
        f"rear {number(fields['rear_gap_mm'])} mm. Least clearance of the floor points: "
        f"{number(fields['least_clearance_mm'])} mm. Travel left to a stop: "
        f"{number(fields['travel_left_mm'])} mm.",
        f"Downforce {number(fields['downforce_N'], 0)} N, drag {number(fields['drag_N'], 0)} N.",
    ]
    return lines(sentences, width, INDENT)


def _losses(a: Assessment, width: int) -> str:
    budget = a.budget
    acting = [loss for loss in budget.losses if loss.in_case]
    columns = [
        words("without", "cause"),
        decimals("margin", "margin_without", 3, missing="contact lost"),
        Key("gain", "gain", lambda gain: number(gain, 3, sign=True)),
    ]
    is_lost = budget.margin is None
    parts = [
        "What the worst case loses: each cause is taken away alone (gains do not add up)",
        keyed_table(acting, columns[:2] if is_lost else columns, width),
        paragraph(_regain_words(budget.regaining), width, INDENT) if is_lost else "",
        paragraph(
            f"Not in this case: {', '.join(budget.absent)}.",
            width,
            INDENT,
        )
        if budget.absent
        else "",
    ]
    return "\n".join(part for part in parts if part)


def _regain_words(causes: tuple[str, ...]) -> str:
    if not causes:
        return "No single cause taken away regains contact."
    return f"Contact is regained without {', or without '.join(causes)}."
