"""A study of speeds in words and plain tables, for people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

import numpy as np

from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.result import Field
from setupopt.project.bodies import worn_words
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    along_words,
    angle,
    number,
    paragraph,
    table,
    thinned,
)
from setupopt.report.shared.words import CLOSING, cautions_text
from setupopt.report.speeds.fields import by_attitude, by_limit, coast_fields, curve
from setupopt.robust.speeds.at_speed import STEP
from setupopt.robust.speeds.motion import RunUp
from setupopt.robust.speeds.study import SpeedStudy
from setupopt.robust.speeds.window import CONTACT, ENDS_TO, FLOOR, POWER, SafeWindow, WindowEnd

_MOST_SPEEDS, _MOST_ANGLES = 25, 19
_RUN_UP_LINES = 10
_PLAIN = {CONTACT: "contact lost", FLOOR: "the floor of the margin", POWER: "the power"}


def text(study: SpeedStudy, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the safe windows alone; lines of at most `width`."""
    parts = [_head(study, width), cautions_text(study.project.cautions, width), _verdict(study, width),
             _windows(study, width)]  # fmt: skip
    if not short:
        parts += [_curve(study, width), _attitudes(study, width), _run_up(study, width)]
        parts.append(_coasting(study, width))
    parts.append(paragraph(CLOSING, width))
    return "\n\n".join(part for part in parts if part) + "\n"


def limit_words(limit: Broken) -> str:
    """What breaks, as people say it."""
    return _plain(limit.limit)


def _plain(key: str) -> str:
    return _PLAIN.get(key, key)


def _head(study: SpeedStudy, width: int) -> str:
    project = study.project
    return paragraph(
        f'{project.car.name}{worn_words(project, study.setup.body)}, setup "{study.setup.name}", at '
        f"{project.venue.name}: safe speeds of {study.cases} cases, margin at least {study.floor:g}",
        width,
    )


# ---- windows -----------------------------------------------------------------------------------------------


def _verdict(study: SpeedStudy, width: int) -> str:
    window, driven = study.window, f"The sweep's {study.driven:g} m/s"
    if window is not None:
        said = f"{driven} is inside the safe window, {_speed(window.low)} to {_speed(window.high)} m/s."
    else:
        said = f"UNSAFE: {driven} breaks {_list(study.at_driven)}."
    lines = [paragraph(said, width)]
    if study.at_rest:
        lines.append(paragraph(f"UNSAFE at any speed, broken on the pad: {_list(study.at_rest)}.", width))
    return "\n".join(lines)


def _list(limits: Sequence[Broken]) -> str:
    """What breaks and where, in words."""
    return "; ".join(f"{limit_words(limit)}{_where_words(limit)}" for limit in limits)


def _where_words(limit: Broken) -> str:
    place = f", {limit.where}" if limit.where else ""
    if limit.roll_angle_deg is None:
        return place
    return f"{place} at {angle(limit.roll_angle_deg)} deg, {along_words(asdict(limit))}{limit.attitude}"


def _speed(end: WindowEnd) -> str:
    return number(end.speed, 2)


def _windows(study: SpeedStudy, width: int) -> str:
    first, last = study.speeds[0], study.speeds[-1]
    looked = f"looked at from {first:g} to {last:g} m/s in steps of {STEP:g} m/s"
    if not study.windows:
        head = f"No safe speed ({looked})"
    else:
        head = f"Safe windows, {looked}; ends to {ENDS_TO:g} m/s, on the safe side"
    power = [paragraph(f"Power is not looked at. {study.missing}", width)] if study.missing else []
    ends = [_window(window, width) for window in study.windows]
    return "\n".join([paragraph(head, width), *ends, *_limits(study, width), *power])


def _window(window: SafeWindow, width: int) -> str:
    lines = [f"from {_end(window.low, 'slower')}", f"to {_end(window.high, 'faster')}"]
    return "\n".join(paragraph(line, width, INDENT) for line in lines)


def _end(end: WindowEnd, side: str) -> str:
    """An end in words, and what breaks beyond it."""
    if not end.beyond:
        return f"{_speed(end)} m/s; nothing {side} was looked at"
    told = "; ".join(f"{limit_words(limit)}{_where_words(limit)} ({_numbers(limit)})" for limit in end.beyond)
    return f"{_speed(end)} m/s; {side} breaks {told}"


def _numbers(limit: Broken) -> str:
    """What is found, and what is needed."""
    unit = f" {limit.unit}" if limit.unit else ""
    return f"{number(limit.value, 3)}, {limit.sense} {limit.required:g}{unit} is needed"


def _limits(study: SpeedStudy, width: int) -> list[str]:
    """Each limit by itself; none where nothing breaks anywhere."""
    rows = list(by_limit(study))
    if not rows:
        return []
    columns = [
        Column("broken next, from the sweep", [_plain(row["limit"]) for row in rows],
               numeric=False),
        *_sides(rows, "down", "down at m/s"),
        *_sides(rows, "up", "up at m/s"),
    ]  # fmt: skip
    return [table(columns, width)]


def _sides(rows: list[Field], side: str, head: str) -> list[Column]:
    """Speed and place on one side of the sweep's."""
    places = [row[side] for row in rows]
    return [
        Column(head, [number(place["speed_m_s"]) if place else "-" for place in places]),
        Column("deg", [angle(place["roll_angle_deg"]) if place else "-" for place in places], rank=1),
        Column("attitude", [str(place["attitude"]) if place else "-" for place in places], numeric=False,
               rank=2, least=12),
    ]  # fmt: skip


# ---- margin against speed ----------------------------------------------------------------------------------


def _curve(study: SpeedStudy, width: int) -> str:
    rows = thinned(list(curve(study)), _MOST_SPEEDS, lambda row: abs(row["speed_m_s"] - study.driven))
    columns = [
        Column("m/s", [number(row["speed_m_s"]) for row in rows]),
        Column("worst margin", [_margin(row) for row in rows]),
        Column("at deg", [angle(row["roll_angle_deg"]) for row in rows]),
        Column("attitude", [row["attitude"] for row in rows], numeric=False, least=12),
        Column("breaks", [_breaks(row["breaks"]) for row in rows], numeric=False, least=16),
    ]
    head = "Margin against speed, the worst of all roll angles and attitudes"
    return f"{paragraph(head, width)}\n{table(columns, width)}"


def _margin(row: Field) -> str:
    return "contact lost" if row["margin"] is None else number(row["margin"], 3)


def _breaks(names: Sequence[str]) -> str:
    """The first, and how many more."""
    every = list(dict.fromkeys(names))
    more = f" +{len(every) - 1}" if len(every) > 1 else ""
    return _plain(every[0]) + more if every else "-"


def _attitudes(study: SpeedStudy, width: int) -> str:
    rows = list(by_attitude(study))
    columns = [
        Column("attitude", [row["attitude"] for row in rows], numeric=False, least=12),
        Column("margin", [_margin(row) for row in rows]),
        Column("at deg", [angle(row["roll_angle_deg"]) for row in rows]),
        Column("keeps the floor from m/s", [number(row["keeps_from_m_s"]) for row in rows]),
        Column("to m/s", [number(row["keeps_to_m_s"]) for row in rows]),
    ]
    head = f"By attitude: margin with the sweep at {study.driven:g} m/s, and the speeds around that"
    own = any(attitude.speed is not None for attitude in study.project.venue.attitudes)
    note = [paragraph("An attitude with a speed of its own keeps it at every speed of the sweep.", width)]
    return "\n".join([paragraph(head, width), table(columns, width), *(note if own else [])])


# ---- run-up and coasting -----------------------------------------------------------------------------------


def _run_up(study: SpeedStudy, width: int) -> str:
    found = study.run_up
    if found is None:
        return paragraph(f"Run-up: not told. {study.missing}", width)
    if found.top == 0.0:
        return paragraph("Run-up: the car does not get going on the flat floor of the section.", width)
    places = np.linspace(0, found.speed.size - 1, _RUN_UP_LINES + 1).round().astype(int)[1:]
    columns = [
        Column("m/s", [number(found.speed[i]) for i in places]),
        Column("metres", [number(found.metres[i]) for i in places]),
        Column("seconds", [number(found.seconds[i], 2) for i in places]),
        Column("gains m/s2", [number(found.acceleration[i], 2) for i in places]),
        Column("held back by", ["grip" if found.by_grip[i] else "power" for i in places], numeric=False),
    ]
    return f"{paragraph(_run_up_words(found), width)}\n{table(columns, width)}"


def _run_up_words(found: RunUp) -> str:
    done = f"{number(found.metres[-1])} m in {number(found.seconds[-1], 2)} s"
    doubt = f"doubt of the sum {_doubt(found.doubt_m, 0.1)} m, {_doubt(found.doubt_s, 0.01)} s"
    lead = "Run-up on the flat floor (roll angle 0, straight, no wind)"
    if found.top is not None:
        return (
            f"{lead}: {found.target:g} m/s is NOT REACHED, nothing is left to gain at {number(found.top, 2)} "
            f"m/s; {done} to 99 % of it ({doubt}). All the power there is, no time for shifts."
        )
    grip = f"grip limits up to about {found.grip_until:.0f} m/s" if found.by_grip.any() else "power limits"
    return f"{lead}: {done} to {found.target:g} m/s; {grip} ({doubt}). All the power, no time for shifts."


def _doubt(value: float, least: float) -> str:
    return f"under {least:g}" if value < least else number(value, 2)


def _coasting(study: SpeedStudy, width: int) -> str:
    c = study.coasting
    if not c.driven.any():
        return paragraph("Loss of drive: no case is driven, so that none can be lost.", width)
    return "\n".join([paragraph(_coast_words(study), width), *_coast_table(study, width)])


def _coast_words(study: SpeedStudy) -> str:
    worst, count = study.coasting.worst, int(study.coasting.driven.sum())
    lead = f"Loss of drive, coasting where the car is ({count} driven cases)"
    if worst is None:
        return f"{lead}: every one keeps the margin at {study.floor:g} until it stands or slows no more."
    row = coast_fields(study, worst)
    place = f"at {angle(row['roll_angle_deg'])} deg, {row['attitude']}"
    if row["seconds"] == 0.0:
        return f"{lead}: NO TIME, the margin is under {study.floor:g} at once {place}."
    speeds = f"from {row['from_m_s']:g} to {number(row['to_m_s'], 2)} m/s"
    return (
        f"{lead}: the margin goes under {study.floor:g} after {number(row['seconds'], 2)} s and "
        f"{number(row['metres'])} m {place}, {speeds}."
    )


def _coast_table(study: SpeedStudy, width: int) -> list[str]:
    """The least time of every roll angle; none where every case stands it."""
    rows = [coast_fields(study, row) for row in study.coasting.least_by_angle()]
    if study.coasting.worst is None:
        return []
    rows = thinned(rows, _MOST_ANGLES, lambda row: np.inf if row["seconds"] is None else row["seconds"])
    columns = [
        Column("at deg", [angle(row["roll_angle_deg"]) for row in rows]),
        Column("seconds", [_kept_or(row, "seconds", 2) for row in rows]),
        Column("metres", [_kept_or(row, "metres", 1) for row in rows]),
        Column("then m/s", [_kept_or(row, "to_m_s", 2) for row in rows]),
        Column("attitude", [row["attitude"] if row["seconds"] is not None else "all" for row in rows],
               numeric=False, least=12),
    ]  # fmt: skip
    return [table(columns, width)]


def _kept_or(row: Field, key: str, digits: int) -> str:
    return "kept" if row["seconds"] is None else number(row[key], digits)
