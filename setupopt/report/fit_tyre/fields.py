"""A fitted tyre as plain values, for scripts; explained in docs/nomenclature.md."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from setupopt.evaluation.result import Field
from setupopt.fit.tyre import Finding, TyreFit
from setupopt.fit.tyre_parameters import (
    CARCASS,
    CARCASS_PER_BAR,
    FRICTION_PRESSURE,
    LEAST_PRESSURE,
    MEASURED_PRESSURE,
)
from setupopt.fit.tyre_table import COLUMNS, QUANTITIES, SIGNED
from setupopt.report.shared.plain import rounded
from setupopt.units import BAR, KPA, PERCENT


def file_value(one: Finding) -> float:
    """The value to a hundredth of its standard error: further digits are noise."""
    assert one.value is not None
    return (
        one.value
        if one.standard_error is None
        else round(one.value, digits(one))
    )


def digits(one: Finding) -> int:
    """Decimals down to a hundredth of the standard error."""
    assert one.standard_error is not None
    return max(
        0,
        2 - math.floor(math.log10(max(one.standard_error, 1e-12))),
    )


def reason(one: Finding) -> str:
    assert one.untold is not None
    if one.untold.bound is not None:
        return f"the rows ask for a value beyond {one.value:g}, which is as far as it may go"
    if one.untold.from_:
        return f"cannot be told apart from {', '.join(one.untold.from_)}"
    if one.key in (CARCASS, CARCASS_PER_BAR):
        return "these rows do not ask for it, a rigid carcass fits as well"
    return "no measured value depends on it enough"


def friction_pressures(fit: TyreFit) -> dict[str, float]:
    """What stands beside the friction, in kPa: where it holds, and the least at which it was measured."""
    if not fit.has_friction:
        return {}
    return {
        FRICTION_PRESSURE: fit.friction_pressure / KPA,
        LEAST_PRESSURE: float(f"{fit.floor.pressure / KPA:.3g}"),
    }


def measured_pressures(fit: TyreFit) -> dict[str, float]:
    """The inflation pressures that the rows span, in bar; to 0.001."""
    pressures = fit.table.values["pressure_bar"] / BAR
    return {
        "from": round(float(pressures.min()), 3),
        "to": round(float(pressures.max()), 3),
    }


def as_dict(fit: TyreFit, name: str) -> Field:
    """The same for a program; explained in docs/nomenclature.md."""
    known = (one for one in fit.findings if one.value is not None)
    return {
        "name": name,
        "table": fit.table.path.name,
        "rows": len(fit.table),
        "is_whole": fit.is_whole,
        "cautions": list(fit.cautions),
        "tyre": {one.key: file_value(one) for one in known}
        | friction_pressures(fit)
        | {MEASURED_PRESSURE: measured_pressures(fit)},
        "parameters": [
            {
                "key": one.key,
                "value": rounded(one.value),
                "standard_error": rounded(one.standard_error),
                "given": one.given,
                "untold": None if one.untold is None else reason(one),
                "not_apart_from": list(one.untold.from_) if one.untold else [],
            }
            for one in fit.findings
        ],
        "correlated": [
            [first, second, rounded(value)]
            for first, second, value in fit.fitted.correlated
        ],
        "quantities": list(by_quantity(fit)),
        "outlying": outlying_values(fit),
        "degrees_of_freedom": fit.fitted.degrees_of_freedom,
        "surface_grip": fit.rig.surface_grip,
        "deflection_from": "touch" if fit.rig.from_touch else "radius",
    }


def by_quantity(fit: TyreFit) -> Iterator[Field]:
    """What the fit leaves of each measured quantity, in the column's unit."""
    for place, key in enumerate(QUANTITIES):
        own = np.array(fit.fitted.quantities) == key
        is_odd = fit.fitted.is_outlying[own]
        if not own.any():
            continue
        rows = fit.fitted.rows[own]
        measured = fit.table.values[key][rows]
        left = measured - fit.answers[rows, place]
        factor = fit.fitted.noise[key]
        # what passes through zero is compared with its own rms
        size = (
            np.full(left.size, max(np.sqrt((measured**2).mean()), 1e-9))
            if key in SIGNED
            else measured
        )
        yield {
            "quantity": key,
            "values": int(own.sum()),
            "rms_residual": _rms(left[~is_odd] / COLUMNS[key].factor),
            "rms_residual_percent": _rms((left / size)[~is_odd] / PERCENT),
            "noise_factor": None if factor == 1.0 else rounded(factor),
            "outlying": int(is_odd.sum()),
        }


def outlying_values(fit: TyreFit) -> list[Field]:
    """The measured values that do not fit, by line of the file, the worst first."""
    order = sorted(
        fit.outlying,
        key=lambda place: -abs(fit.fitted.scores[place]),
    )
    return [_outlying_value(fit, int(place)) for place in order]


def _outlying_value(fit: TyreFit, place: int) -> Field:
    row = int(fit.fitted.rows[place])
    key = fit.fitted.quantities[place]
    factor = COLUMNS[key].factor
    return {
        "line": int(fit.table.lines[row]),
        "quantity": key,
        "measured": rounded(fit.table.values[key][row] / factor),
        "model": rounded(fit.answers[row, QUANTITIES.index(key)] / factor),
        "score": rounded(fit.fitted.scores[place]),
    }


def _rms(values: np.ndarray) -> float | None:
    """None where there are none."""
    return rounded(float(np.sqrt((values**2).mean()))) if values.size else None
