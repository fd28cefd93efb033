"""An assessment in words and plain tables, for people."""

from __future__ import annotations

from setupopt.evaluation.assessment import Assessment
from setupopt.evaluation.result import Field
from setupopt.evaluation.summary import by_angle, by_attitude
from setupopt.project.bodies import worn_words
from setupopt.project.model import WHEELS
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
    STANDING,
    STANDING_WORDS,
    cautions_text,
    composed,
    contact_words,
    floor_words,
    headed,
    limits_text,
    limits_words,
    lines,
    more_friction,
    slides,
    standing_words,
    where_words,
)
from setupopt.report.shared.would_hold import would_hold_words
from setupopt.units import DEG, MM, MM2

_MOST_ANGLES = 37  # rows; 0 to 180 deg in steps of 5
_MOST_ATTITUDES = 20
_MOST_PRESS = 256.0  # g, the most that a lost case is tried with
NO_PRESS = "no press towards the surface was found that would hold the car."


def text(assessment: Assessment, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict without its tables; lines of at most `width`."""
    tables = () if short else (_angles, _attitudes, _worst, _losses, _ride)
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
        *contact_words(a.result),
        f"Worst margin: {_margin_words(a)}",
        would_hold_words(a.would_hold),
        floor_words(a.floor, not a.is_under_floor),
        limits_words(a.broken),
    ]
    return lines(sentences, width)


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
    some = (
        f" (of every {group} neighbouring angles the worst)"
        if group > 1
        else ""
    )
    length = min(max(width - 72, 8), 40)
    columns = (
        Key("deg", "roll_angle_deg", angle),
        ALONG,
        decimals("margin", "margin", 3),
        Key(
            "",
            "margin",
            lambda margin: _bar(margin, length),
            numeric=False,
            rank=1,
            missing="LOST",
        ),
        *STANDING,
        words("worst attitude", "attitude", least=14),
    )
    head = f"Margin by roll angle, with the worst attitude at each{some}"
    table = keyed_table(shown, columns, width)
    return headed(
        head, f"{table}\n{paragraph(STANDING_WORDS, width, INDENT)}", width
    )


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
        shown = sorted(rows, key=lambda row: _sortable(row.margin))[
            :_MOST_ATTITUDES
        ]
    which = (
        ""
        if len(shown) == len(rows)
        else f", the {len(shown)} worst of {len(rows)}"
    )
    columns = (
        words("attitude", "attitude", least=20),
        Key("worst at deg", "roll_angle_deg", angle),
        ALONG,
        decimals("margin", "margin", 3),
        Key(
            "slides in",
            "",
            lambda row: f"{row.sliding} of {row.cases}" if row.sliding else "-",
        ),
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
    return headed(
        head,
        f"{_sliding(a, width)}{_wheels(a, width)}\n{_car_words(fields, width)}",
        width,
    )


def _sliding(a: Assessment, width: int) -> str:
    """That the numbers of a case that slides are of a car with more friction; empty for another case."""
    if a.margin is None or a.margin >= 0.0:
        return ""
    words = (
        f"THE CAR SLIDES: it finds no trim at the friction there is. The numbers below are of the trim with "
        f"{more_friction(a.margin)}, the least that holds it."
    )
    return f"{paragraph(words, width, INDENT)}\n"


def _lost_words(a: Assessment) -> str:
    more = press_words(a)
    return (
        f"Contact is lost, and {NO_PRESS}"
        if more is None
        else f"Contact is lost: {more}"
    )


def press_words(a: Assessment) -> str | None:
    """How much is missing to contact in a worst case that is lost; None where nothing was found."""
    press = float(a.worst_answer["press"])
    if press > _MOST_PRESS:
        return None
    more = f"{press:.2f} g" if press >= 0.01 else "less than 0.01 g"
    return f"{more} more press towards the surface would be needed to hold the car."


def _wheels(a: Assessment, width: int) -> str:
    answer = a.worst_answer
    columns = [
        Column("wheel", [wheel.upper() for wheel in WHEELS], numeric=False)
    ]
    for head, values, digits, rank in (
        ("load N", answer["load"], 0, 0),
        ("grip N", answer["grip"], 0, 1),
        ("slip angle deg", answer["slip_angle"] / DEG, 2, 0),
        ("inclination deg", answer["inclination"] / DEG, 2, 0),
        ("patch mm2", answer["patch"] / MM2, 0, 2),
        ("bump travel mm", answer["travel"] / MM, 1, 3),
    ):
        columns.append(
            Column(
                head,
                [number(float(value), digits) for value in values],
                rank=rank,
            )
        )
    return table(columns, width)


def _growth_words(fields: Field) -> str:
    """What the car does while nobody steers."""
    rate = fields["growth_per_s"]
    if rate is None:
        return ""
    held = "With steer and the wheels' torques held,"
    if rate > 0.0:
        return f"{held} a sideways motion grows at {number(rate, 2)} 1/s: someone must steer."
    return f"{held} every sideways motion dies away (growth rate {number(rate, 2)} 1/s)."


def _car_words(fields: Field, width: int) -> str:
    used = f" Grip used: front {number(fields['use_front'], 3)}, rear {number(fields['use_rear'], 3)}."
    sentences = [
        f"The {fields['first_axle']} axle reaches its grip first.{'' if fields['balance'] is None else used}",
        f"{standing_words(fields).capitalize()}. Lambda {number(fields['lambda'], 3)}: the least factor on "
        "all friction with which the car finds a trim.",
        _growth_words(fields),
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
        paragraph(_regain_words(budget.regaining), width, INDENT)
        if is_lost
        else "",
        paragraph(
            f"Not in this case: {', '.join(budget.absent)}.",
            width,
            INDENT,
        )
        if budget.absent
        else "",
    ]
    return "\n".join(part for part in parts if part)


def _ride(a: Assessment, width: int) -> str:
    """Ride frequencies and damping ratios, in the worst case and in all."""
    if a.ride is None:
        return ""
    columns = (
        words("", "mode"),
        decimals("Hz", "frequency_hz", 2),
        decimals("of critical", "damping_ratio", 2),
        Key(
            "in all cases",
            "",
            lambda row: _extent(row, "damping_ratio"),
            rank=1,
        ),
        decimals("swings at Hz", "swing_hz", 2),
        decimals("of critical", "swing_damping_ratio", 2),
        Key(
            "in all cases",
            "",
            lambda row: _extent(row, "swing_damping_ratio"),
            rank=1,
        ),
    )
    note = (
        "Small motions about the trim, dampers with the mean of bump and rebound. Heave, pitch and roll are "
        "of body and wheels together, warp and each wheel under a still body. First without damping, as "
        "handbooks give it; then how the damped car swings, - where it creeps back instead."
    )
    head = f"Ride frequencies, and damping as a share of critical, at {where_words(a.result.fields(a.ride.row))}"
    body = f"{keyed_table(a.ride.rows, columns, width)}\n{paragraph(note, width, INDENT)}"
    return headed(head, body, width)


def _extent(row: Field, name: str) -> str:
    """Least and most of all cases."""
    least, most = (number(row[f"{name}_{end}"], 2) for end in ("least", "most"))
    return least if least == most else f"{least} to {most}"


def _regain_words(causes: tuple[str, ...]) -> str:
    if not causes:
        return "No single cause taken away regains contact."
    return f"Contact is regained without {', or without '.join(causes)}."
