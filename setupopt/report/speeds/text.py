"""The safe speeds in words and plain tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

import numpy as np

from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.result import Field
from setupopt.project.bodies import worn_words
from setupopt.report.shared.tables import (
    INDENT,
    Key,
    along_words,
    angle,
    decimals,
    keyed_table,
    number,
    paragraph,
    thinned,
    words,
)
from setupopt.report.shared.words import CLOSING, cautions_text
from setupopt.report.speeds.fields import (
    by_attitude,
    by_limit,
    coast_fields,
    curve,
)
from setupopt.robust.speeds.at_speed import STEP
from setupopt.robust.speeds.motion import RunUp
from setupopt.robust.speeds.study import SpeedStudy
from setupopt.robust.speeds.window import (
    CONTACT,
    ENDS_TO,
    FLOOR,
    POWER,
    SafeWindow,
    WindowEnd,
)

_MOST_SPEEDS = 25
_MOST_ANGLES = 19
_RUN_UP_LINES = 10
_PLAIN = {
    CONTACT: "contact lost",
    FLOOR: "the minimum margin",
    POWER: "the power",
}


def text(study: SpeedStudy, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the safe windows alone; lines of at most `width`."""
    parts = [
        _head(study, width),
        cautions_text(study.project.cautions, width),
        _verdict(study, width),
        _windows(study, width),
    ]
    if not short:
        parts += [
            _curve(study, width),
            _attitudes(study, width),
            _run_up(study, width),
        ]
        parts.append(_coasting(study, width))
    parts.append(paragraph(CLOSING, width))
    return "\n\n".join(part for part in parts if part) + "\n"


def limit_words(limit: Broken) -> str:
    """A limit in words."""
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
    window = study.window
    driven = f"The sweep's {study.driven:g} m/s"
    if window is not None:
        said = f"{driven} is inside the safe window, {_speed(window.low)} to {_speed(window.high)} m/s."
    else:
        said = f"UNSAFE: {driven} fails {_list(study.at_driven)}."
    lines = [paragraph(said, width)]
    if study.at_rest:
        lines.append(
            paragraph(
                f"UNSAFE at any speed, already on the pad: {_list(study.at_rest)}.",
                width,
            )
        )
    return "\n".join(lines)


def _list(limits: Sequence[Broken]) -> str:
    """Limits and cases in words."""
    return "; ".join(
        f"{limit_words(limit)}{_where_words(limit)}" for limit in limits
    )


def _where_words(limit: Broken) -> str:
    place = f", {limit.where}" if limit.where else ""
    if limit.roll_angle_deg is None:
        return place
    return f"{place} at {angle(limit.roll_angle_deg)} deg, {along_words(asdict(limit))}{limit.attitude}"


def _speed(end: WindowEnd) -> str:
    return number(end.speed, 2)


def _windows(study: SpeedStudy, width: int) -> str:
    first = study.speeds[0]
    last = study.speeds[-1]
    looked = f"computed from {first:g} to {last:g} m/s in steps of {STEP:g} m/s"
    if not study.windows:
        head = f"No safe speed ({looked})"
    else:
        head = (
            f"Safe windows, {looked}; ends to {ENDS_TO:g} m/s, on the safe side"
        )
    power = (
        [paragraph(f"Power is not checked. {study.missing}", width)]
        if study.missing
        else []
    )
    ends = [_window(window, width) for window in study.windows]
    return "\n".join(
        [paragraph(head, width), *ends, *_limits(study, width), *power]
    )


def _window(window: SafeWindow, width: int) -> str:
    lines = [
        f"from {_end(window.low, 'slower')}",
        f"to {_end(window.high, 'faster')}",
    ]
    return "\n".join(paragraph(line, width, INDENT) for line in lines)


def _end(end: WindowEnd, side: str) -> str:
    """An end in words, and what fails beyond it."""
    if not end.beyond:
        return f"{_speed(end)} m/s; nothing {side} was computed"
    limits = "; ".join(
        f"{limit_words(limit)}{_where_words(limit)} ({_numbers(limit)})"
        for limit in end.beyond
    )
    return f"{_speed(end)} m/s; {side} fails {limits}"


def _numbers(limit: Broken) -> str:
    """What is found, and what is needed."""
    unit = f" {limit.unit}" if limit.unit else ""
    return f"{number(limit.value, 3)}, {limit.sense} {limit.required:g}{unit} is needed"


def _limits(study: SpeedStudy, width: int) -> list[str]:
    """Each limit by itself; none where nothing fails at any speed."""
    rows = list(by_limit(study))
    if not rows:
        return []
    keys = [
        words("fails next, from the sweep", "limit", _plain),
        *_sides("down", "down at m/s"),
        *_sides("up", "up at m/s"),
    ]
    return [keyed_table(rows, keys, width)]


def _sides(side: str, head: str) -> list[Key]:
    """Speed and case on one side of the sweep's."""
    return [
        Key(head, side, lambda found: number(found["speed_m_s"])),
        Key("deg", side, lambda found: angle(found["roll_angle_deg"]), rank=1),
        words(
            "attitude",
            side,
            lambda found: str(found["attitude"]),
            least=12,
            rank=2,
        ),
    ]


# ---- margin against speed ----------------------------------------------------------------------------------


def _curve(study: SpeedStudy, width: int) -> str:
    rows = thinned(
        list(curve(study)),
        _MOST_SPEEDS,
        lambda row: abs(row["speed_m_s"] - study.driven),
    )
    keys = [
        decimals("m/s", "speed_m_s"),
        Key("worst margin", shown=_margin),
        Key("at deg", "roll_angle_deg", angle),
        words("attitude", "attitude", least=12),
        words("fails", "breaks", _fails, least=16),
    ]
    head = "Margin against speed, the worst of all roll angles and attitudes"
    return f"{paragraph(head, width)}\n{keyed_table(rows, keys, width)}"


def _margin(row: Field) -> str:
    return "contact lost" if row["margin"] is None else number(row["margin"], 3)


def _fails(names: Sequence[str]) -> str:
    """The first, and how many more."""
    every = list(dict.fromkeys(names))
    more = f" +{len(every) - 1}" if len(every) > 1 else ""
    return _plain(every[0]) + more if every else "-"


def _attitudes(study: SpeedStudy, width: int) -> str:
    keys = [
        words("attitude", "attitude", least=12),
        Key("margin", shown=_margin),
        Key("at deg", "roll_angle_deg", angle),
        decimals("minimum margin kept from m/s", "keeps_from_m_s"),
        decimals("to m/s", "keeps_to_m_s"),
    ]
    head = f"By attitude: margin with the sweep at {study.driven:g} m/s, and the speeds around that"
    lines = [
        paragraph(head, width),
        keyed_table(by_attitude(study), keys, width),
    ]
    if any(
        attitude.speed is not None for attitude in study.project.venue.attitudes
    ):
        note = "An attitude with its own speed keeps it at every speed of the sweep."
        lines.append(paragraph(note, width))
    return "\n".join(lines)


# ---- run-up and coasting -----------------------------------------------------------------------------------


def _run_up(study: SpeedStudy, width: int) -> str:
    found = study.run_up
    if found is None:
        return paragraph(f"Run-up: not computed. {study.missing}", width)
    if found.top == 0.0:
        return paragraph(
            "Run-up: the car does not get going on the flat floor of the section.",
            width,
        )
    shown = (
        np.linspace(0, found.speed.size - 1, _RUN_UP_LINES + 1)
        .round()
        .astype(int)[1:]
    )
    keys = [
        Key("m/s", shown=lambda i: number(found.speed[i])),
        Key("metres", shown=lambda i: number(found.metres[i])),
        Key("seconds", shown=lambda i: number(found.seconds[i], 2)),
        Key("gains m/s2", shown=lambda i: number(found.acceleration[i], 2)),
        words(
            "limited by",
            shown=lambda i: "grip" if found.by_grip[i] else "power",
        ),
    ]
    return f"{paragraph(_run_up_words(found), width)}\n{keyed_table(shown, keys, width)}"


def _run_up_words(found: RunUp) -> str:
    done = f"{number(found.metres[-1])} m in {number(found.seconds[-1], 2)} s"
    doubt = f"numerical error {_doubt(found.doubt_m, 0.1)} m, {_doubt(found.doubt_s, 0.01)} s"
    lead = "Run-up on the flat floor (roll angle 0, straight, no wind)"
    if found.top is not None:
        return (
            f"{lead}: {found.target:g} m/s is NOT REACHED: the acceleration ends at {number(found.top, 2)} "
            f"m/s; {done} to 99 % of it ({doubt}). Full power, no time for gear changes."
        )
    grip = (
        f"grip limits up to about {found.grip_until:.0f} m/s"
        if found.by_grip.any()
        else "power limits"
    )
    return f"{lead}: {done} to {found.target:g} m/s; {grip} ({doubt}). Full power, no time for gear changes."


def _doubt(value: float, least: float) -> str:
    return f"under {least:g}" if value < least else number(value, 2)


def _coasting(study: SpeedStudy, width: int) -> str:
    c = study.coasting
    if not c.driven.any():
        return paragraph(
            "Loss of drive: no case uses drive, so none can be lost.", width
        )
    return "\n".join(
        [paragraph(_coast_words(study), width), *_coast_table(study, width)]
    )


def _coast_words(study: SpeedStudy) -> str:
    worst = study.coasting.worst
    count = int(study.coasting.driven.sum())
    lead = f"Loss of drive, coasting where the car is ({count} driven cases)"
    if worst is None:
        return f"{lead}: every one keeps a margin of {study.floor:g} until the car stands or slows no more."
    row = coast_fields(study, worst)
    place = f"at {angle(row['roll_angle_deg'])} deg, {row['attitude']}"
    if row["seconds"] == 0.0:
        return f"{lead}: NO TIME, the margin is under {study.floor:g} at once {place}."
    speeds = f"from {row['from_m_s']:g} to {number(row['to_m_s'], 2)} m/s"
    return (
        f"{lead}: the margin falls under {study.floor:g} after {number(row['seconds'], 2)} s and "
        f"{number(row['metres'])} m {place}, {speeds}."
    )


def _coast_table(study: SpeedStudy, width: int) -> list[str]:
    """The least time of every roll angle; none where every case keeps the margin."""
    rows = [coast_fields(study, row) for row in study.coasting.least_by_angle()]
    if study.coasting.worst is None:
        return []
    rows = thinned(
        rows,
        _MOST_ANGLES,
        lambda row: np.inf if row["seconds"] is None else row["seconds"],
    )
    keys = [
        Key("at deg", "roll_angle_deg", angle),
        Key("seconds", shown=lambda row: _kept_or(row, "seconds", 2)),
        Key("metres", shown=lambda row: _kept_or(row, "metres", 1)),
        Key("then m/s", shown=lambda row: _kept_or(row, "to_m_s", 2)),
        words(
            "attitude",
            shown=lambda row: (
                "all" if row["seconds"] is None else row["attitude"]
            ),
            least=12,
        ),
    ]
    return [keyed_table(rows, keys, width)]


def _kept_or(row: Field, key: str, digits: int) -> str:
    return "kept" if row["seconds"] is None else number(row[key], digits)
