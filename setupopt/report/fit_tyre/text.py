"""A fitted tyre in words and tables, and as a piece of car.toml; the words stand in fit_tyre.txt."""

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
from setupopt.report.shared.tables import number, significant
from setupopt.report.shared.template import rendered
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
# ---- words -------------------------------------------------------------------------------------------------


def text(fit: TyreFit, name: str, width: int, short: bool = False) -> str:
    """All that was found, or with `short` parameters and verdict alone; lines of at most `width`."""
    reasons = [_reason_and_advice(one) for one in fit.findings if one.untold]
    return rendered(
        "fit_tyre/fit_tyre", width, short, fit=fit, name=name, parameters=list(_parameters(fit)),
        reasons=[*reasons, *_together(fit)], by_quantity=by_quantity, noise=lambda key: _noise_words(fit, key),
        outlying_values=outlying_values, SHEAR=SHEAR,
    )  # fmt: skip


def _parameters(fit: TyreFit) -> Iterator[dict[str, str]]:
    """The parameters, and below the friction its pressures."""
    for one in fit.findings:
        yield {
            "key": one.key,
            "value": _value(one),
            "error": _error(one),
            "remark": _remark(fit, one),
        }
        if one.key == FRICTION:
            for key, value in friction_pressures(fit).items():
                remark = _PRESSURES[key]
                shown = number(value, 0)
                yield {
                    "key": key,
                    "value": shown,
                    "error": "",
                    "remark": remark,
                }


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


def _noise_words(fit: TyreFit, key: str) -> str:
    noise = {**NOISE, **fit.rig.noise}
    sizes = {
        COLUMNS[key].bounds.unit: noise[key],
        "%": noise[percent_key(key)],
    }
    return " and ".join(
        f"{size:g} {unit}" for unit, size in sizes.items() if size
    )


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
