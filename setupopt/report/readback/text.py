"""A read-back in words and plain tables, for people."""

from __future__ import annotations

import numpy as np

from setupopt.project.bodies import worn_words
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    along_words,
    angle,
    margin_words,
    number,
    paragraph,
    table,
)
from setupopt.report.shared.words import CLOSING, cautions_text
from setupopt.sheet.readback import Correction, Deviation, ReadBack


def text(read: ReadBack, width: int, short: bool = False) -> str:
    """The whole report, or with `short` without the table of deviations."""
    parts = [_head(read, width), cautions_text(read.cautions, width), _verdict(read, width)]
    if not short:
        parts.append(_deviations(read, width))
    parts += [_corrections(read, width), _limits(read, width), paragraph(CLOSING, width)]
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(read: ReadBack, width: int) -> str:
    venue, body = read.project.venue.name, worn_words(read.project, read.target.body)
    return paragraph(f'{read.project.car.name}{body} as built for "{read.target.name}", at {venue}', width)


def _verdict(read: ReadBack, width: int) -> str:
    fields = read.result.fields(int(read.result.worst[0]))
    lines = []
    if read.result.lost():
        lines.append(f"CONTACT LOST in {read.result.lost()} of {len(read.result.cases)} cases as built.")
    word = "reached" if read.margin >= read.floor else "NOT REACHED"
    place = f"{angle(fields['roll_angle_deg'])} deg, {along_words(fields)}{fields['attitude']}"
    lines.append(f"Worst margin as built: {margin_words(read.margin)} at {place}")
    lines.append(f"Target: {margin_words(read.target_margin)}")
    lines.append(f"Floor {read.floor:.3f}: {word}")
    return "\n".join(paragraph(line, width) for line in lines)


def _deviations(read: ReadBack, width: int) -> str:
    rows = read.deviations
    if not rows:
        return "Everything that was measured is as wanted."
    columns = [
        Column("deviation", [row.name for row in rows], numeric=False),
        Column("target", [f"{row.target:g}" for row in rows]),
        Column("found", [f"{row.found:.6g}" for row in rows]),
        Column("unit", [row.unit for row in rows], numeric=False),
        Column("tolerance", [_tolerance(row) for row in rows], numeric=False),
        Column("costs alone", [_cost(row.loss) for row in rows]),
        Column("gain if put right", [_cost(row.gain) for row in rows], rank=1),
    ]
    head = paragraph("What is not as wanted, the costliest first (worst margin over all cases)", width)
    return f"{head}\n{table(columns, width)}"


def _tolerance(row: Deviation) -> str:
    if row.tolerance is None:
        return "-"
    return f"{row.tolerance:.3g} {'OUTSIDE' if row.is_outside else 'inside'}"


def _cost(margin: float) -> str:
    return number(margin, 4, sign=True) if np.isfinite(margin) else "contact"


def _corrections(read: ReadBack, width: int) -> str:
    needed = [_line(c, width) for c in read.corrections if c.for_floor]
    others = [_line(c, width) for c in read.corrections if not c.for_floor]
    parts = []
    if needed:
        reached = (
            "reaches the floor" if read.after >= read.floor else "DOES NOT reach the floor, but is the best"
        )
        kind = "The smallest set" if read.is_smallest else "A set, maybe not the smallest,"
        words = f"{kind} of corrections that helps {reached}: then {margin_words(read.after)}"
        parts.append("\n".join([paragraph(words, width), *needed]))
    elif read.margin < read.floor:
        parts.append("No correction of what was measured helps.")
    if others:
        parts.append("\n".join(["Out of tolerance, to be put right as well" if needed else _ALONE, *others]))
    return "\n\n".join(parts) or "No correction is needed."


_ALONE = "The floor needs no correction, but this is out of tolerance"


def _line(correction: Correction, width: int) -> str:
    d = correction.deviation
    words = f"{d.name} {d.found:.6g} -> {d.target:g} {d.unit}: {correction.how}"
    return paragraph(words, width, f"{INDENT}- ")


def _limits(read: ReadBack, width: int) -> str:
    lines = [
        paragraph(
            f"{b.limit} {b.where}: {number(b.value, 2)}, {b.sense} {b.required:g} {b.unit}",
            width,
            f"{INDENT}- ",
        )
        for b in read.broken
    ]
    return "\n".join([f"LIMITS BROKEN ({len(lines)})", *lines]) if lines else ""
