"""Fitted bodies in words and tables."""

from __future__ import annotations

from setupopt.fit.air.files import spread_toml
from setupopt.fit.air.fit import HELD_ERROR, AirFit, Number
from setupopt.fit.air.fits import AirFits
from setupopt.fit.air.oddities import is_scattered
from setupopt.fit.air.rows import FORCES
from setupopt.physics.inputs import Floats
from setupopt.report.fit_air.fields import cautions, frees, miss
from setupopt.report.shared.tables import (
    Key,
    angle,
    keyed_table,
    number,
    paragraph,
    significant,
    words,
)
from setupopt.report.shared.words import (
    cautions_text,
    counted,
    headed,
    lines,
    outlying_table,
)
from setupopt.units import DEG, MM, PERCENT

CONVENTION = (
    "Forces on the body. Downforce of an axle is what air adds to its load, positive towards the surface; "
    "moments about the line where the tyres touch it, so that the drag is in it. Positive yaw: flow from the "
    "left; positive side force: to the left. Rows without surface_radius_mm stand over a flat surface."
)
MEANING = (
    f"+-: one standard error, of noise and of held numbers, each counted as {100 * HELD_ERROR:.0f} % unsure. "
    "Error: rms error of left-out rows over the rms measured; the number for [spread]. It is that of "
    "the best rung and so a little too good, by a fifth with six rows. Explained: share of the changes from "
    "row to row that the fit predicts; 0 where the mean of the other rows does as well. Nothing checks the "
    "fit outside of the ride heights, yaw and roll that were measured."
)
USE = (
    "prove uses [spread] of limits.toml, for all bodies alike. The values below are the error of the fit "
    "against the table. The error of the table against the road comes on top, and only you know it. "
    "--raise-spread writes a value into limits.toml where it is larger than the one there; it lowers none."
)


def text(fits: AirFits, width: int, short: bool = False) -> str:
    """All that was found, or with `short` the verdict without its tables; lines of at most `width`."""
    tables = () if short else (_numbers, _errors, _ladder, _outlying)
    parts = [
        _head(fits, width),
        cautions_text(cautions(fits), width),
    ]
    parts += [] if short else [paragraph(CONVENTION, width)]
    for fit in fits.fits:
        parts += [part(fit, width) for part in (_verdict, *tables)]
        parts += [
            part(turned, width)
            for _, turned in fit.turned
            for part in (_verdict, *tables[:1])
        ]
        parts += [_settings(fit, width)]
    parts += [] if short else [paragraph(MEANING, width), paragraph(USE, width)]
    parts.append(spread_toml(fits).rstrip())
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(fits: AirFits, width: int) -> str:
    words = (
        f"Air loads of {fits.table.path.name}, parts as on {fits.project.car.name}: "
        f"{counted(len(fits.fits), 'body', 'bodies')}. Air density {fits.table.density:g} kg/m3 where "
        f"the table names none; noise {100 * fits.noise:g} % of a force where too few rows show it."
    )
    return paragraph(words, width)


def _verdict(fit: AirFit, width: int) -> str:
    """How much the rows identify of a body, and how well it predicts."""
    held = len(fit.held)
    scattered = (
        f"{len(fit.outlying)} measured values DO NOT FIT: more than a tenth."
    )
    sentences = [
        f'Body "{fit.name}": {counted(len(fit.rows), "row")}, {_ranges(fit)}.',
        f"Rung {fit.rung + 1} of {len(fit.steps)}: {_free_words(fit)}",
        f"HELD ({held}): {_held_words(fit)}"
        if held
        else "Every number has a value of its own.",
        scattered if is_scattered(fit) else "",
    ]
    return lines(sentences, width)


def _ranges(fit: AirFit) -> str:
    """The ranges that were measured."""
    rows = fit.rows
    ranges = [
        f"ride heights {_span(rows.front_ride / MM)} mm front, {_span(rows.rear_ride / MM)} mm rear",
        f"yaw {_span(rows.yaw / DEG)} deg",
        f"body roll {_span(rows.body_roll / DEG)} deg",
    ]
    curved = rows.curvature[rows.curvature > 0.0]
    if curved.size:
        ranges.append(
            f"{curved.size} over a radius of {_span(1e-3 / curved / MM)} m"
        )
    return ", ".join(ranges)


def _span(values: Floats) -> str:
    low = angle(float(values.min()))
    high = angle(float(values.max()))
    return low if low == high else f"{low} to {high}"


def _free_words(fit: AirFit) -> str:
    count = len(fit.step.rung.free)
    own = f"{count} of {len(fit.measured.terms)} numbers have a value of their own"
    if fit.common_factor is None:
        return f"{own}."
    factor, error = fit.common_factor
    return f"{own}; {len(fit.step.rung.common)} areas share the factor {factor:.3f} +- {error:.2g}."


def _held_words(fit: AirFit) -> str:
    """What is held, and how."""
    areas = [term.name for term in fit.held if term.is_area]
    others = [term.name for term in fit.held if not term.is_area]
    how = "by the common factor" if fit.step.rung.common else "as in car.toml"
    groups = (
        {how: areas, "as in car.toml": others}
        if how != "as in car.toml"
        else {how: areas + others}
    )
    return (
        "; ".join(
            f"{', '.join(names)} ({how})"
            for how, names in groups.items()
            if names
        )
        + "."
    )


def _numbers(fit: AirFit, width: int) -> str:
    return keyed_table(fit.numbers, _NUMBERS, width)


def _in_unit(value: float | None, row: Number, digits: int) -> str:
    return (
        "held" if value is None else significant(value / row.term.unit, digits)
    )


_NUMBERS = (
    words("number", "term.name", least=20),
    Key("value", "", lambda row: _in_unit(row.value, row, 4)),
    Key("+-", "", lambda row: _in_unit(row.error, row, 2)),
    Key(
        "in car.toml",
        "",
        lambda row: _in_unit(row.term.like, row, 4),
        rank=1,
    ),
)


def _settings(fit: AirFit, width: int) -> str:
    """What each wing does at each measured angle."""
    elements = enumerate(fit.air.elements)
    rows = [
        (element.name, row)
        for number, element in elements
        for row in fit.settings(number)
    ]
    table = keyed_table(rows, _SETTINGS, width)
    return (
        headed(f'Wing settings of body "{fit.name}"', table, width)
        if rows
        else ""
    )


_SETTINGS = (
    words("element", "", lambda row: row[0], least=12),
    Key("angle deg", "", lambda row: angle(row[1].angle / DEG)),
    Key("free area m2", "", lambda row: significant(row[1].free_area, 4)),
    Key("ground area m2", "", lambda row: significant(row[1].ground_area, 4)),
    Key("peak gap mm", "", lambda row: significant(row[1].peak_gap / MM, 4)),
    Key("drag area m2", "", lambda row: number(row[1].drag_area, 4)),
)


def _errors(fit: AirFit, width: int) -> str:
    columns = (
        words("left-out rows of", "", lambda force: FORCES[force]),
        Key(
            "values",
            "",
            lambda force: str(int(fit.rows.counts[:, force].sum())),
        ),
        Key(
            "error %",
            "",
            lambda force: _percent(fit.error(force)),
        ),
        Key(
            "explained %",
            "",
            lambda force: _percent(fit.explained(force), 0),
        ),
    )
    return keyed_table(range(len(FORCES)), columns, width)


def _percent(share: float | None, digits: int = 1) -> str:
    return number(None if share is None else share / PERCENT, digits)


def _ladder(fit: AirFit, width: int) -> str:
    """Every rung with what it frees and the error of left-out rows."""
    if len(fit.steps) == 1:
        return ""
    columns = (
        Key(
            "rung",
            "",
            lambda rung: f"{rung + 1}{' *' if rung == fit.rung else ''}",
        ),
        words("frees", "", lambda rung: frees(fit, rung), least=20),
        Key(
            "mean error of downforce %",
            "",
            lambda rung: _percent(miss(fit, rung), 2),
        ),
    )
    rungs = keyed_table(range(len(fit.steps)), columns, width)
    return headed("The ladder of models; * is the rung taken", rungs, width)


def _outlying(fit: AirFit, width: int) -> str:
    """Which measured values do not fit, the worst first."""
    return outlying_table(
        _OUTLYING,
        sorted(fit.outlying, key=lambda one: -abs(one[2])),
        width,
    )


_OUTLYING = (
    Key("line", "", lambda one: str(one[0])),
    words("does not fit", "", lambda one: one[1]),
    Key(
        "times its noise",
        "",
        lambda one: number(one[2], 1, sign=True),
    ),
)
