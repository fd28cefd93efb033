"""Fitted bodies in words, tables and fields."""

from __future__ import annotations

from setupopt.fit.air.files import spread_toml
from setupopt.fit.air.fit import HELD_ERROR, AirFit, Number
from setupopt.fit.air.fits import AirFits
from setupopt.fit.air.oddities import is_scattered
from setupopt.fit.air.rows import FORCES
from setupopt.physics.inputs import Floats
from setupopt.report.fit_air.fields import cautions, frees, miss
from setupopt.report.shared.tables import INDENT, Column, angle, number, paragraph, significant, table
from setupopt.report.shared.words import cautions_text
from setupopt.units import DEG, MM, PERCENT

_MOST_OUTLYING = 20
CONVENTION = (
    "Forces on the body. Downforce of an axle is what air adds to its load, positive towards the surface; "
    "moments about the line where the tyres touch it, so that the drag is in it. Positive yaw: flow from the "
    "left; positive side force: to the left. Rows without surface_radius_mm stand over a flat surface."
)
MEANING = (
    f"+-: one standard error, of noise and of held numbers, each counted as {100 * HELD_ERROR:.0f} % unsure. "
    "Error: what left-out rows miss by, rms over the rms measured; the number for [spread]. It is that of "
    "the best rung and so a little too good, by a fifth with six rows. Explained: share of the changes from "
    "row to row that the fit foretells; 0 where the mean of the other rows does as well. Nothing checks the "
    "fit outside of the ride heights, yaw and roll that were measured."
)
USE = (
    "prove reckons with [spread] of limits.toml, for all bodies alike. What is below is how far the fit is "
    "off the table; how far the table is off the road comes on top, and only you know it. --raise-spread "
    "writes into limits.toml what is larger than what stands there, and lowers nothing."
)


def text(fits: AirFits, width: int, short: bool = False) -> str:
    """All that was found, or with `short` the verdict without its tables; lines of at most `width`."""
    parts = [_head(fits, width), cautions_text(cautions(fits), width)]
    if not short:
        parts += [paragraph(CONVENTION, width)]
    for fit in fits.fits:
        parts += [_verdict(fit, width)]
        if not short:
            parts += [_numbers(fit, width), _errors(fit, width), _ladder(fit, width), _outlying(fit, width)]
    meaning = [] if short else [paragraph(MEANING, width), paragraph(USE, width)]
    parts += [*meaning, spread_toml(fits).rstrip()]
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(fits: AirFits, width: int) -> str:
    count = len(fits.fits)
    said = (
        f"Air loads of {fits.table.path.name}, parts as on {fits.project.car.name}: "
        f"{count} {'body' if count == 1 else 'bodies'}. Air density {fits.table.density:g} kg/m3 where "
        f"the table names none; noise {100 * fits.noise:g} % of a force where too few rows tell it."
    )
    return paragraph(said, width)


def _verdict(fit: AirFit, width: int) -> str:
    """How much the rows tell of a body, and how well it foretells."""
    held = [term.name for term in fit.held]
    lines = [
        f'Body "{fit.name}": {len(fit.rows)} row{"s" if len(fit.rows) > 1 else ""}, {_ranges(fit)}.',
        f"Rung {fit.rung + 1} of {len(fit.steps)}: {_told_words(fit)}",
        f"HELD ({len(held)}): {_held_words(fit)}" if held else "Every number has a value of its own.",
    ]
    if is_scattered(fit):
        lines.append(f"{len(fit.outlying)} measured values DO NOT FIT: more than a tenth.")
    return "\n".join(paragraph(line, width) for line in lines)


def _ranges(fit: AirFit) -> str:
    """Where was measured."""
    rows = fit.rows
    said = [
        f"ride heights {_span(rows.front_ride / MM)} mm front, {_span(rows.rear_ride / MM)} mm rear",
        f"yaw {_span(rows.yaw / DEG)} deg",
        f"body roll {_span(rows.body_roll / DEG)} deg",
    ]
    curved = rows.curvature[rows.curvature > 0.0]
    if curved.size:
        said.append(f"{curved.size} over a radius of {_span(1e-3 / curved / MM)} m")
    return ", ".join(said)


def _span(values: Floats) -> str:
    low, high = (angle(float(end)) for end in (values.min(), values.max()))
    return low if low == high else f"{low} to {high}"


def _told_words(fit: AirFit) -> str:
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
    said = [f"{', '.join(areas)} ({how})"] if areas else []
    said += [f"{', '.join(others)} (as in car.toml)"] if others else []
    return "; ".join(said) + "."


def _numbers(fit: AirFit, width: int) -> str:
    rows = fit.numbers
    columns = [
        Column("number", [row.term.name for row in rows], numeric=False, least=20),
        Column("value", [significant(row.value / row.term.unit, 4) for row in rows]),
        Column("+-", [_error_words(row) for row in rows]),
        Column("in car.toml", [significant(row.term.like / row.term.unit, 4) for row in rows], rank=1),
    ]
    return table(columns, width)


def _error_words(row: Number) -> str:
    return "held" if row.error is None else significant(row.error / row.term.unit, 2)


def _errors(fit: AirFit, width: int) -> str:
    places = range(len(FORCES))
    columns = [
        Column("left-out rows of", FORCES, numeric=False),
        Column("values", [str(int(fit.rows.counts[:, place].sum())) for place in places]),
        Column("error %", [_percent(fit.error(place)) for place in places]),
        Column("explained %", [_percent(fit.explained(place), 0) for place in places]),
    ]
    return table(columns, width)


def _percent(share: float | None, digits: int = 1) -> str:
    return number(None if share is None else share / PERCENT, digits)


def _ladder(fit: AirFit, width: int) -> str:
    """Every rung with what it frees and how far left-out rows are off."""
    if len(fit.steps) == 1:
        return ""
    numbers = range(len(fit.steps))
    columns = [
        Column("rung", [f"{place + 1}{' *' if place == fit.rung else ''}" for place in numbers]),
        Column("frees", [frees(fit, place) for place in numbers], numeric=False, least=20),
        Column("mean error of downforce %", [_percent(miss(fit, place), 2) for place in numbers]),
    ]
    return f"{paragraph('The ladder; * is the one taken', width)}\n{table(columns, width)}"


def _outlying(fit: AirFit, width: int) -> str:
    """Which measured values do not fit, the worst first."""
    if not fit.outlying:
        return ""
    worst = sorted(fit.outlying, key=lambda one: -abs(one[2]))[:_MOST_OUTLYING]
    columns = [
        Column("line", [str(line) for line, _, _ in worst]),
        Column("does not fit", [force for _, force, _ in worst], numeric=False),
        Column("times its noise", [number(score, 1, sign=True) for _, _, score in worst]),
    ]
    left = len(fit.outlying) - len(worst)
    return table(columns, width) + (f"\n{INDENT}and {left} more" if left else "")
