"""A fitted tyre in words, tables and fields, and as a piece of car.toml."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator

import numpy as np

from setupopt.fit.tyre import (
    CROWN,
    EXPONENT,
    FOUNDATION,
    FRICTION,
    FRICTION_PRESSURE,
    LEAN,
    PER_BAR,
    RADIUS,
    WIDTH,
    Finding,
    TyreFit,
)
from setupopt.fit.tyre_table import COLUMNS, NOISE, percent_key
from setupopt.report.fit_tyre.fields import by_quantity, digits, file_value, outlying_values, reason
from setupopt.report.shared.tables import INDENT, Column, number, paragraph, significant, table
from setupopt.report.shared.words import cautions_text
from setupopt.units import BAR, KPA, N_PER_MM3

_MOST_OUTLYING = 20
_TAPE = {RADIUS: "--radius-mm", WIDTH: "--tread-width-mm"}
_ADVICE = {
    CROWN: "a template tells it, and patches at several loads and inclinations",
    FOUNDATION: "deflection_mm at pressures further apart tells it",
    PER_BAR: "deflection_mm at pressures further apart tells it",
    FRICTION: "peak_lateral_N at loads further apart tells it",
    EXPONENT: "peak_lateral_N at loads further apart tells it",
    LEAN: "peak_lateral_N at inclinations further apart tells it",
}
_MEANING = (
    "+-: one standard error of the fit, if the model is right; how well another tyre of the same kind does "
    "is not in it. Residuals: rms without the outlying values. Noise found: what they say of the noise told; "
    "a dash where they are too few. "
    "Friction holds on the surface of the rig, divided by --surface-grip."
)


# ---- words -------------------------------------------------------------------------------------------------


def text(fit: TyreFit, name: str, width: int, short: bool = False) -> str:
    """All that was found, or with `short` parameters and verdict alone; lines of at most `width`."""
    parts = [_head(fit, name, width), cautions_text(fit.cautions, width), _parameters(fit, width)]
    parts += [_untold(fit, width)]
    if not short:
        parts += [_correlated(fit, width), _quantities(fit, width), _outlying(fit, width)]
        parts += [paragraph(_MEANING, width)]
    return "\n\n".join(part for part in (*parts, _verdict(fit, width)) if part) + "\n"


def _head(fit: TyreFit, name: str, width: int) -> str:
    rig = fit.rig
    origin = "the first touch of the tread" if rig.from_touch else "the unloaded radius"
    said = (
        f'Tyre "{name}" from {fit.table.path.name}: {len(fit.table)} rows, {fit.fitted.rows.size} measured '
        f"values. Deflection counts from {origin}; surface grip of the rig {rig.surface_grip:g}."
    )
    return paragraph(said, width)


def _parameters(fit: TyreFit, width: int) -> str:
    found = list(fit.findings)
    rows = [(one.key, _value(one), _error(one), _remark(one)) for one in found]
    if fit.has_friction:
        at = next(place for place, one in enumerate(found) if one.key == FRICTION)
        pressure = number(fit.friction_pressure / KPA, 0)
        rows.insert(at + 1, (FRICTION_PRESSURE, pressure, "", "chosen: middle of the table"))
    keys, values, errors, remarks = zip(*rows, strict=True)
    columns = [
        Column("parameter", keys, numeric=False), Column("value", values), Column("+-", errors),
        Column("", remarks, numeric=False, least=16),
    ]  # fmt: skip
    return table(columns, width)


def _value(one: Finding) -> str:
    if one.value is None:
        return "-"
    return f"{one.value:.6g}" if one.standard_error is None else number(one.value, digits(one) - 1)


def _error(one: Finding) -> str:
    return "" if one.standard_error is None else significant(one.standard_error, 2)


def _remark(one: Finding) -> str:
    if one.given:
        return "as given"
    if one.untold is None:
        return ""
    return "CANNOT BE TOLD" if one.untold.bound is None else "AT THE END of its range"


def _untold(fit: TyreFit, width: int) -> str:
    """What the table cannot tell, why, and what would tell it."""
    lines = [_untold_words(one) for one in fit.findings if one.untold]
    lines += [line for line in [_together(fit)] if line]
    if not lines:
        return ""
    said = [paragraph(line, width, f"{INDENT}- ") for line in lines]
    return "\n".join([f"NOT TOLD ({len(fit.fitted.untold)})", *said])


def _untold_words(one: Finding) -> str:
    """The reason, and what to do about it; a tape where that helps."""
    group = (one.key, *one.untold.from_) if one.untold else ()
    taped = next((f"a tape tells: {option}" for key, option in _TAPE.items() if key in group), "")
    return f"{one.key}: {reason(one)}; {taped or _ADVICE[one.key]}"


def _together(fit: TyreFit) -> str:
    """The foundation at the middle pressure, where it is told though its two parts are not."""
    if all(one.untold is None for one in fit.findings if one.key in (FOUNDATION, PER_BAR)):
        return ""
    pressure = float(np.median(fit.table.values["pressure_bar"]))
    value, error = fit.foundation_at(pressure)
    if not math.isfinite(error):
        return ""
    both = f"{significant(value / N_PER_MM3, 4)} +- {significant(error / N_PER_MM3, 2)} N/mm3"
    return f"the whole foundation at {pressure / BAR:.4g} bar is told: {both}"


def _correlated(fit: TyreFit, width: int) -> str:
    pairs = [f"{first} and {second} ({value:+.3f})" for first, second, value in fit.fitted.correlated]
    if not pairs:
        return ""
    return paragraph(f"Errors that go together (correlation): {'; '.join(pairs)}.", width)


def _quantities(fit: TyreFit, width: int) -> str:
    fields = list(by_quantity(fit))
    columns = [
        Column("measured", [one["quantity"] for one in fields], numeric=False),
        Column("values", [str(one["values"]) for one in fields]),
        Column("rms residual", [significant(one["rms_residual"], 3) for one in fields]),
        Column("in %", [number(one["rms_residual_percent"], 2) for one in fields]),
        Column("noise told", [_noise_words(fit, one["quantity"]) for one in fields], rank=2),
        Column("found", [_factor_words(one["noise_factor"]) for one in fields], rank=1),
        Column("outlying", [str(one["outlying"]) for one in fields]),
    ]
    return table(columns, width)


def _noise_words(fit: TyreFit, key: str) -> str:
    noise = {**NOISE, **fit.rig.noise}
    flat, share = noise[key], noise[percent_key(key)]
    said = [f"{flat:g} {COLUMNS[key].bounds.unit}"] if flat else []
    return " and ".join([*said, f"{share:g} %"] if share else said)


def _factor_words(factor: float | None) -> str:
    return "-" if factor is None else f"x {factor:.2f}"


def _outlying(fit: TyreFit, width: int) -> str:
    """Which measured values do not fit, the worst first."""
    found = outlying_values(fit)
    if not found:
        return ""
    shown = found[:_MOST_OUTLYING]
    columns = [
        Column("line", [str(one["line"]) for one in shown]),
        Column("does not fit", [one["quantity"] for one in shown], numeric=False),
        Column("measured", [f"{one['measured']:.5g}" for one in shown]),
        Column("model", [f"{one['model']:.5g}" for one in shown]),
        Column("times its noise", [number(one["score"], 1, sign=True) for one in shown]),
    ]
    left = len(found) - len(shown)
    return table(columns, width) + (f"\n{INDENT}and {left} more" if left else "")


def _verdict(fit: TyreFit, width: int) -> str:
    if fit.is_whole:
        return paragraph("Every parameter is told. No other table has checked this tyre.", width)
    said = []
    if fit.fitted.untold:
        said.append(f"{len(fit.fitted.untold)} of {len(fit.fitted.names)} parameters are not told")
    if fit.fitted.rival is not None:
        said.append("another tyre fits hardly worse")
    if fit.misfits:
        said.append(f"{', '.join(fit.misfits)} scatters far beyond its noise")
    if fit.has_many_outlying:
        said.append(f"{fit.outlying.size} measured values do not fit, more than a tenth")
    return paragraph(f"NOT WHOLE: {'; '.join(said)}.", width)


# ---- a piece of car.toml -----------------------------------------------------------------------------------


def fragment(fit: TyreFit, name: str) -> str:
    """`[tyre.NAME]` in the form of car.toml; what the table cannot tell is left out, with a comment."""
    head = [f"# From {json.dumps(fit.table.path.name, ensure_ascii=False)} by setupopt fit tyre."]
    if any(one.value is None for one in fit.findings):
        head.append("# NOT WHOLE: car.toml needs what is left out below as well.")
    lines = [line for one in fit.findings for line in _toml_lines(fit, one)]
    together = _together(fit)
    tail = [f"# {together[0].upper()}{together[1:]}"] if together else []
    return "\n".join([*head, f"[tyre.{json.dumps(name, ensure_ascii=False)}]", *lines, *tail]) + "\n"


def _toml_lines(fit: TyreFit, one: Finding) -> Iterator[str]:
    if one.value is None:
        yield f"# {_untold_words(one)}"
        return
    yield f"{one.key} = {file_value(one):.10g}{_comment(one)}"
    if one.key == FRICTION:
        yield f"{FRICTION_PRESSURE} = {fit.friction_pressure / KPA:.10g}  # chosen: the middle of the table"


def _comment(one: Finding) -> str:
    if one.standard_error is not None:
        return f"  # +- {_error(one)}"
    return "  # as given" if one.given else "  # at the end of its range, not told"
