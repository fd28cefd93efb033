"""A fitted tyre in words and tables, and as a piece of car.toml."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator

import numpy as np

from setupopt.fit.tyre import Finding, TyreFit
from setupopt.fit.tyre_parameters import (
    CARCASS,
    CARCASS_PER_BAR,
    CROWN,
    DEFAULTS,
    EXPONENT,
    FOUNDATION,
    FRICTION,
    FRICTION_PRESSURE,
    LEAN,
    LEAST_PRESSURE,
    MEASURED_PRESSURE,
    PER_BAR,
    RADIUS,
    SHEAR,
    THRUST,
    WIDTH,
)
from setupopt.fit.tyre_table import COLUMNS, NOISE, RELAXATION, percent_key
from setupopt.report.fit_tyre.fields import (
    by_quantity,
    digits,
    file_value,
    friction_pressures,
    measured_pressures,
    outlying_values,
    reason,
)
from setupopt.report.shared.tables import (
    INDENT,
    Key,
    decimals,
    keyed_table,
    number,
    paragraph,
    significant,
    words,
)
from setupopt.report.shared.words import (
    cautions_text,
    composed,
    counted,
    headed,
    lines,
    outlying_table,
)
from setupopt.units import BAR, N_PER_MM, N_PER_MM3

_TAPE = {RADIUS: "--radius-mm", WIDTH: "--tread-width-mm"}
_ADVICE = {
    CROWN: "a template shows it, and patches at several loads and inclinations",
    FOUNDATION: "deflection_mm at pressures further apart shows it",
    PER_BAR: "deflection_mm at pressures further apart shows it",
    FRICTION: "peak_lateral_N at loads further apart shows it",
    EXPONENT: "peak_lateral_N at loads further apart shows it",
    LEAN: "peak_lateral_N at inclinations further apart shows it",
    SHEAR: "cornering_stiffness_N_per_deg, or lateral_N at small slip_angle_deg, shows it",
    THRUST: "lateral_N at slip_angle_deg 0 and inclinations further apart shows it",
    CARCASS: "deflection_mm with the patch in one table tells it from the tread",
    CARCASS_PER_BAR: "deflection_mm with the patch in one table, at pressures further apart, shows it",
    RELAXATION: "relaxation_mm shows it",
}
_PRESSURES = {
    FRICTION_PRESSURE: "chosen: middle of the table",
    LEAST_PRESSURE: "least mean contact pressure measured",
}
_MEANING = (
    "+-: one standard error of the fit, if the model is right; it does not say how well another tyre of the "
    "same kind does. Residuals: rms without the outlying values. Noise found: what the residuals say of the "
    "noise that was given; a dash where they are too few. "
    "Friction holds on the surface of the rig, divided by --surface-grip."
)


# ---- words -------------------------------------------------------------------------------------------------


def text(fit: TyreFit, name: str, width: int, short: bool = False) -> str:
    """All that was found, or with `short` parameters and verdict alone; lines of at most `width`."""

    def head(fit: TyreFit, width: int) -> str:
        return _head(fit, name, width)

    tables = () if short else (_correlated, _quantities, _outlying, _meaning)
    parts = (head, _cautions, _parameters, _open, *tables)
    return composed(parts, fit, width, _verdict(fit))


def _cautions(fit: TyreFit, width: int) -> str:
    return cautions_text(fit.cautions, width)


def _meaning(fit: TyreFit, width: int) -> str:
    return paragraph(_MEANING, width)


def _head(fit: TyreFit, name: str, width: int) -> str:
    rig = fit.rig
    origin = (
        "the first touch of the tread"
        if rig.from_touch
        else "the unloaded radius"
    )
    said = (
        f'Tyre "{name}" from {fit.table.path.name}: {len(fit.table)} rows, {fit.fitted.rows.size} measured '
        f"values. Deflection counts from {origin}; surface grip of the rig {rig.surface_grip:g}."
    )
    return paragraph(said, width)


def _parameters(fit: TyreFit, width: int) -> str:
    rows = []
    for one in fit.findings:
        rows.append((one.key, _value(one), _error(one), _remark(fit, one)))
        if one.key == FRICTION:
            pressures = friction_pressures(fit)
            rows += [
                (key, number(value, 0), "", _PRESSURES[key])
                for key, value in pressures.items()
            ]
    columns = (
        words("parameter", "", lambda row: row[0]),
        Key("value", "", lambda row: row[1]),
        Key("+-", "", lambda row: row[2]),
        words("", "", lambda row: row[3], least=16),
    )
    return keyed_table(rows, columns, width)


def _value(one: Finding) -> str:
    if one.value is None:
        return "-"
    return (
        f"{one.value:.6g}"
        if one.standard_error is None
        else number(one.value, digits(one) - 1)
    )


def _error(one: Finding) -> str:
    return (
        "" if one.standard_error is None else significant(one.standard_error, 2)
    )


def _remark(fit: TyreFit, one: Finding) -> str:
    if one.given:
        return "as given"
    if one.untold is None:
        return ""
    if one not in fit.missing:
        return f"not identifiable; left out: {DEFAULTS[one.key]}"
    return (
        "NOT IDENTIFIABLE"
        if one.untold.bound is None
        else "AT THE END of its range"
    )


def _open(fit: TyreFit, width: int) -> str:
    """What the table does not identify, why, and what would identify it."""
    reasons = [_reason_and_advice(one) for one in fit.findings if one.untold]
    head = f"NOT IDENTIFIABLE ({len(reasons)})"
    return headed(
        head,
        lines([*reasons, *_together(fit)], width, f"{INDENT}- "),
        width,
    )


def _reason_and_advice(one: Finding) -> str:
    """The reason, and what to do about it; a tape where that helps."""
    group = (one.key, *one.untold.from_) if one.untold else ()
    taped = next(
        (
            f"a tape shows it: {option}"
            for key, option in _TAPE.items()
            if key in group
        ),
        "",
    )
    return f"{one.key}: {reason(one)}; {taped or _ADVICE[one.key]}"


def _together(fit: TyreFit) -> list[str]:
    """Foundation and carcass at the middle pressure, where they are identified though their parts are not."""
    pressure = float(np.median(fit.table.values["pressure_bar"]))
    sums = [
        (
            FOUNDATION,
            PER_BAR,
            "foundation",
            fit.foundation_at,
            N_PER_MM3,
            "N/mm3",
        )
    ]
    if fit.has_carcass:
        sums.append(
            (
                CARCASS,
                CARCASS_PER_BAR,
                "carcass",
                fit.carcass_at,
                N_PER_MM,
                "N/mm",
            )
        )
    found = []
    for key, per_bar, name, at, factor, unit in sums:
        value, error = at(pressure)
        is_open = any(
            one.untold for one in fit.findings if one.key in (key, per_bar)
        )
        if is_open and math.isfinite(error):
            both = f"{significant(value / factor, 4)} +- {significant(error / factor, 2)} {unit}"
            found.append(
                f"the whole {name} at {pressure / BAR:.4g} bar is identified: {both}"
            )
    return found


def _correlated(fit: TyreFit, width: int) -> str:
    pairs = [
        f"{first} and {second} ({value:+.3f})"
        for first, second, value in fit.fitted.correlated
    ]
    if not pairs:
        return ""
    return paragraph(
        f"Errors that go together (correlation): {'; '.join(pairs)}.",
        width,
    )


def _quantities(fit: TyreFit, width: int) -> str:
    columns = (
        words("measured", "quantity"),
        Key("values", "values", str),
        Key("rms residual", "rms_residual", significant),
        decimals("in %", "rms_residual_percent", 2),
        Key(
            "noise given",
            "quantity",
            lambda key: _noise_words(fit, key),
            rank=2,
        ),
        Key("found", "noise_factor", "x {:.2f}".format, rank=1),
        Key("outlying", "outlying", str),
    )
    return keyed_table(list(by_quantity(fit)), columns, width)


def _noise_words(fit: TyreFit, key: str) -> str:
    noise = {**NOISE, **fit.rig.noise}
    sizes = {
        COLUMNS[key].bounds.unit: noise[key],
        "%": noise[percent_key(key)],
    }
    return " and ".join(
        f"{size:g} {unit}" for unit, size in sizes.items() if size
    )


def _outlying(fit: TyreFit, width: int) -> str:
    """Which measured values do not fit, the worst first."""
    return outlying_table(_OUTLYING, outlying_values(fit), width)


_OUTLYING = (
    Key("line", "line", str),
    words("does not fit", "quantity"),
    Key("measured", "measured", "{:.5g}".format),
    Key("model", "model", "{:.5g}".format),
    Key("times its noise", "score", "{:+.1f}".format),
)


def _verdict(fit: TyreFit) -> str:
    if fit.is_whole:
        return "Every parameter is identified. No other table has checked this tyre."
    misfits = ", ".join(fit.misfits)
    unknown = len(fit.missing)
    needed = len(fit.fitted.names) + (SHEAR not in fit.fitted.names)
    outlying = counted(fit.outlying.size, "measured value")
    findings = {
        f"{unknown} of {needed} parameters are not identifiable": unknown,
        "another tyre fits hardly worse": fit.fitted.rival is not None,
        f"{misfits} scatters far beyond its noise": misfits,
        f"{outlying} do not fit, more than a tenth": fit.has_many_outlying,
    }
    return f"INCOMPLETE: {'; '.join(words for words, is_so in findings.items() if is_so)}."


# ---- a piece of car.toml -----------------------------------------------------------------------------------


def fragment(fit: TyreFit, name: str) -> str:
    """`[tyre.NAME]` in the form of car.toml; what the table does not identify is left out, with a comment."""
    head = [
        f"# From {json.dumps(fit.table.path.name, ensure_ascii=False)} by setupopt fit tyre."
    ]
    if any(one.value is None for one in fit.missing):
        head.append(
            "# INCOMPLETE: car.toml needs what is left out below as well."
        )
    lines = [line for one in fit.findings for line in _toml_lines(fit, one)]
    tail = [
        f"# {together[0].upper()}{together[1:]}" for together in _together(fit)
    ]
    from_, to = measured_pressures(fit).values()
    span = f"{MEASURED_PRESSURE} = {{ from = {from_}, to = {to} }}  # inflation, of the rows"
    parts = [
        *head,
        f"[tyre.{json.dumps(name, ensure_ascii=False)}]",
        *lines,
        span,
        *tail,
    ]
    return "\n".join(parts) + "\n"


def _toml_lines(fit: TyreFit, one: Finding) -> Iterator[str]:
    if one.value is None:
        default = (
            f" (left out: {DEFAULTS[one.key]})" if one.key in DEFAULTS else ""
        )
        yield f"# {_reason_and_advice(one)}{default}"
        return
    yield f"{one.key} = {file_value(one):.10g}{_comment(one)}"
    if one.key == FRICTION:
        for key, value in friction_pressures(fit).items():
            yield f"{key} = {value:.10g}  # {_PRESSURES[key]}"


def _comment(one: Finding) -> str:
    if one.standard_error is not None:
        return f"  # +- {_error(one)}"
    return (
        "  # as given"
        if one.given
        else "  # at the end of its range, not identified"
    )
