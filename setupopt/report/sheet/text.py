"""The sheet in words, for the one who prints it."""

from __future__ import annotations

import numpy as np

from setupopt.project.bodies import worn_words
from setupopt.project.model import AXLES
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    margin_words,
    number,
    paragraph,
    table,
)
from setupopt.report.shared.words import (
    CLOSING,
    cautions_text,
    lines,
    standing_words,
    where_words,
)
from setupopt.report.sheet.card_fields import proof_effort
from setupopt.report.sheet.fields import Sheet
from setupopt.sheet.pad_state import PadReading
from setupopt.units import DEG, MM


def text(sheet: Sheet, width: int, short: bool = False) -> str:
    """Change list, margins and what the run card lacks; with `short` without the steps."""
    parts = [
        _head(sheet, width),
        _do_not_run(sheet, width),
        cautions_text(sheet.cautions, width),
        _margins(sheet, width),
        _standing(sheet, width),
    ]
    if not short:
        parts.append(_steps(sheet, width))
    parts += [
        _left_alone(sheet, width),
        _card(sheet, width),
        paragraph(CLOSING, width),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(sheet: Sheet, width: int) -> str:
    c = sheet.changes
    car = f"{sheet.project.car.name}{worn_words(sheet.project, sheet.target.body)}"
    return paragraph(
        f"{car} at {sheet.project.venue.name}, revision {sheet.revision}: "
        f'from "{c.today.name}" to "{c.target.name}"',
        width,
    )


def _do_not_run(sheet: Sheet, width: int) -> str:
    """The reasons against a run, one a line; empty where there is none."""
    if not sheet.do_not_run:
        return ""
    lines = [
        paragraph(reason, width, f"{INDENT}! ") for reason in sheet.do_not_run
    ]
    return "\n".join(["DO NOT RUN", *lines])


def _margins(sheet: Sheet, width: int) -> str:
    c = sheet.changes
    words = ", ".join(
        f"{name} {margin_words(margin)}"
        for name, margin in (
            ("today", c.margin_today),
            ("target", c.margin_target),
            ("as set", c.margin_landed),
        )
    )
    rounding = ""
    if np.isfinite(c.lost_to_rounding):
        change = "gained" if c.lost_to_rounding < 0.0 else "lost"
        rounding = f"; {change} by rounding {abs(c.lost_to_rounding):.4f}"
    return paragraph(f"Worst margin: {words}{rounding}", width)


def _standing(sheet: Sheet, width: int) -> str:
    """How the car stands in the worst case of the target, and the cases that slide or lift a wheel."""
    worst = sheet.card.worst
    words = standing_words(worst)
    at = f"The target is worst at {where_words(worst)}{words and '; '}{words}."
    return lines([at, sheet.standing], width)


def _steps(sheet: Sheet, width: int) -> str:
    """Every step, and what the pad reads after it."""
    lines = ["Change list, in order of work"]
    for step in sheet.changes.steps:
        lines.append(paragraph(step.what, width, f"{step.number:>4}  "))
        lines += [paragraph(point, width, "      - ") for point in step.points]
    return "\n".join(
        [
            *lines,
            "",
            "What the pad then reads, driver aboard",
            _readings(sheet, width),
        ]
    )


def _readings(sheet: Sheet, width: int) -> str:
    steps = [step for step in sheet.changes.steps if step.is_read]
    read = [step.reading for step in steps]
    columns = [Column("step", [str(step.number) for step in steps])]
    for axle, name in enumerate(AXLES):
        heights = [number(one.ride_height[axle] / MM) for one in read]
        columns.append(Column(f"{name} mm", heights))
    for axle, name in enumerate(AXLES):
        cambers = [_camber(one, axle) for one in read]
        columns.append(Column(f"{name} camber deg", cambers))
    cross = [number(100.0 * one.cross_share) for one in read]
    return table([*columns, Column("cross %", cross, rank=1)], width)


def _camber(reading: PadReading, axle: int) -> str:
    """An axle's two wheels, once where they read the same."""
    left, right = (
        number(float(camber) / DEG, 2)
        for camber in reading.camber[2 * axle : 2 * axle + 2]
    )
    return left if left == right else f"{left} / {right}"


def _left_alone(sheet: Sheet, width: int) -> str:
    if not sheet.changes.left_alone:
        return ""
    lines = [
        paragraph(words, width, f"{INDENT}- ")
        for words in sheet.changes.left_alone
    ]
    return "\n".join(["Not set, and why", *lines])


def _card(sheet: Sheet, width: int) -> str:
    """What the run card says that must not be overlooked."""
    card = sheet.card
    if card.proof is None:
        words = (
            "Run card: NOT PROVED. `setupopt prove` has not been run for exactly this setup; the card says "
            "so and leaves bumps, gusts and wind open."
        )
        return paragraph(words, width)
    if card.proof["holds"]:
        quick = (
            ", a QUICK one" if proof_effort(card).startswith("QUICK") else ""
        )
        return f"Run card: with the figures of the proof of exactly this setup{quick}."
    broken = ", ".join(
        verdict["what"]
        for verdict in card.proof["verdicts"]
        if verdict["holds"] is False
    )
    return paragraph(f"Run card: NOT STOOD, as proved: {broken}.", width)
