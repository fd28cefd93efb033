"""A fitted tyre in words and tables, and as a piece of car.toml; the words stand in fit_tyre.txt."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator

import numpy as np

from setupopt.evaluation.result import Field
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
from setupopt.report.shared.tables import significant
from setupopt.report.shared.template import rendered, whole_lines
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
        reasons=[*reasons, *_together(fit)], by_quantity=by_quantity, noises={**NOISE, **fit.rig.noise},
        outlying_values=outlying_values, digits=digits, percent_key=percent_key, COLUMNS=COLUMNS,
        DEFAULTS=DEFAULTS, SHEAR=SHEAR,
    )  # fmt: skip


def _parameters(fit: TyreFit) -> Iterator[Finding | Field]:
    """The parameters, and below the friction its pressures."""
    for one in fit.findings:
        yield one
        if one.key == FRICTION:
            for key, value in friction_pressures(fit).items():
                yield {"key": key, "value": value, "remark": _PRESSURES[key]}


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


# ---- a piece of car.toml -----------------------------------------------------------------------------------


def fragment(fit: TyreFit, name: str) -> str:
    """`[tyre.NAME]` in the form of car.toml; what the table does not identify is left out, with a comment."""
    return whole_lines(
        "fit_tyre/fragment", fit=fit, name=name, dumps=json.dumps, reason_and_advice=_reason_and_advice,
        file_value=file_value, pressures=friction_pressures(fit), inflation=measured_pressures(fit),
        together=_together(fit), DEFAULTS=DEFAULTS, FRICTION=FRICTION, MEASURED_PRESSURE=MEASURED_PRESSURE,
        PRESSURES=_PRESSURES,
    )  # fmt: skip
