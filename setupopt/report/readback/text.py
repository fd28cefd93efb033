"""A read-back in words and plain tables, for people."""

from __future__ import annotations

from math import isfinite

from setupopt.project.bodies import worn_words
from setupopt.report.shared.tables import (
    INDENT,
    Key,
    keyed_table,
    margin_words,
    number,
    paragraph,
    words,
)
from setupopt.report.shared.words import (
    cautions_text,
    composed,
    contact_words,
    floor_words,
    headed,
    limits_text,
    limits_words,
    lines,
    slides,
    standing_words,
    where_words,
)
from setupopt.sheet.deviations import Deviation
from setupopt.sheet.readback import Correction, ReadBack


def text(read: ReadBack, width: int, short: bool = False) -> str:
    """The whole report, or with `short` without the table of deviations; lines of at most `width`."""
    tables = () if short else (_deviations,)
    return composed(
        (_head, _cautions, _verdict, *tables, _corrections, _limits),
        read,
        width,
    )


def _head(read: ReadBack, width: int) -> str:
    venue = read.project.venue.name
    body = worn_words(read.project, read.target.body)
    return paragraph(
        f'{read.project.car.name}{body} as built for "{read.target.name}", at {venue}',
        width,
    )


def _cautions(read: ReadBack, width: int) -> str:
    return cautions_text(read.cautions, width)


def _verdict(read: ReadBack, width: int) -> str:
    result = read.result
    fields = result.fields(int(result.worst[0]))
    standing = standing_words(fields)
    at = f"{where_words(fields)}{standing and '; '}{standing}"
    sentences = [
        *contact_words(result),
        f"Worst margin as built: {margin_words(read.margin)}{slides(read.margin)} at {at}",
        f"Worst margin of the target: {margin_words(read.target_margin)}",
        floor_words(round(read.floor, 3), read.margin >= read.floor),
        limits_words(read.broken),
    ]
    return lines(sentences, width)


def _deviations(read: ReadBack, width: int) -> str:
    if not read.deviations:
        return "Everything that was measured is as wanted."
    head = "What is not as wanted, the costliest first (worst margin over all cases)"
    return headed(head, keyed_table(read.deviations, _DEVIATIONS, width), width)


def _tolerance(row: Deviation) -> str:
    if row.tolerance is None:
        return "-"
    return f"{row.tolerance:.3g} {'OUTSIDE' if row.is_outside else 'inside'}"


def _loss(margin: float) -> str:
    """What a deviation costs; one that raises the margin has gained it."""
    if not isfinite(margin):
        return "contact"
    return (
        number(margin, 4) if margin >= 0.0 else f"gained {number(-margin, 4)}"
    )


def _gain(margin: float) -> str:
    return number(margin, 4, sign=True) if isfinite(margin) else "contact"


_DEVIATIONS = (
    words("deviation", "name"),
    Key("target", "target", "{:g}".format),
    Key("found", "found", "{:.6g}".format),
    words("unit", "unit"),
    words("tolerance", "", _tolerance),
    Key("costs alone", "loss", _loss),
    Key("gain if put right", "gain", _gain, rank=1),
)


def _corrections(read: ReadBack, width: int) -> str:
    needed = [
        correction for correction in read.corrections if correction.for_floor
    ]
    others = [
        correction
        for correction in read.corrections
        if not correction.for_floor
    ]
    also = "Out of tolerance, to be put right as well"
    alone = (
        "The minimum margin needs no correction, but this is out of tolerance"
    )
    parts = [
        headed(_needed_words(read), _listed(needed, width), width),
        headed(also if needed else alone, _listed(others, width), width),
    ]
    if not needed and read.margin < read.floor:
        parts.insert(0, "No correction of what was measured helps.")
    return (
        "\n\n".join(part for part in parts if part)
        or "No correction is needed."
    )


def _needed_words(read: ReadBack) -> str:
    """What the corrections for the minimum margin bring."""
    reaches = "reaches the minimum margin"
    if read.after < read.floor:
        reaches = "DOES NOT reach the minimum margin, but is the best"
    kind = (
        "The smallest set"
        if read.is_smallest
        else "A set, maybe not the smallest,"
    )
    return f"{kind} of corrections that helps {reaches}: then {margin_words(read.after)}"


def _listed(corrections: list[Correction], width: int) -> str:
    return lines(map(_correction, corrections), width, f"{INDENT}- ")


def _correction(correction: Correction) -> str:
    d = correction.deviation
    return f"{d.name} {d.found:.6g} -> {d.target:g} {d.unit}: {correction.how}"


def _limits(read: ReadBack, width: int) -> str:
    return limits_text(read.broken, width)
