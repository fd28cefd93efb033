"""The slip curves of a table: points by load, inclination and pressure, and the fitted tyre's curve there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.fit.tyre import TyreFit
from setupopt.fit.tyre_rig import READING
from setupopt.fit.tyre_table import CURVE, QUANTITIES, SLIP, STIFFNESS
from setupopt.physics.inputs import Floats
from setupopt.units import BAR, DEG

_CONDITIONS = ("load_N", "inclination_deg", "pressure_bar")
# Neighbours no further apart belong to one curve: load by its share, inclination, pressure
_SAME_LOAD, _SAME_INCLINATION, _SAME_PRESSURE = 0.05, 0.3 * DEG, 0.05 * BAR
_WIDEST = 10.0 * DEG  # a curve is drawn at least so far, each way that was measured
_NODES = 121
_NEARLY = 0.9  # of the largest force on the curve


@dataclass(frozen=True, eq=False)
class SlipCurve:
    """Points that share load, inclination and pressure (their means), and the fitted tyre there, in SI.

    `rows`: of the table. `stiffness`: slope at no slip, N/rad.
    `largest`: force on the curve; `nearly_at`: the slip angle with nine tenths of it. `miss`: rms of measured
    minus model, N.
    """

    load: float
    inclination: float
    pressure: float
    rows: np.ndarray
    stiffness: float
    largest: float
    nearly_at: float
    miss: float


def slip_curves(fit: TyreFit) -> tuple[SlipCurve, ...]:
    """Every curve of the table, by pressure, inclination and load; none where no row has a slip angle."""
    of = fit.table.values
    rows = np.flatnonzero(fit.table.is_measured(CURVE))
    if not rows.size:
        return ()
    labels = zip(
        _levels(of["pressure_bar"][rows], _SAME_PRESSURE),
        _levels(of["inclination_deg"][rows], _SAME_INCLINATION),
        _levels(np.log(of["load_N"][rows]), _SAME_LOAD),
        strict=True,
    )
    groups: dict[tuple[int, ...], list[int]] = {}
    for row, label in zip(rows, labels, strict=True):
        groups.setdefault(tuple(map(int, label)), []).append(int(row))
    return tuple(_curve(fit, np.array(groups[label])) for label in sorted(groups))


def _levels(values: Floats, gap: float) -> np.ndarray:
    """Which level each value belongs to: a wider gap to the next one begins another."""
    order = np.argsort(values)
    levels = np.zeros(values.size, dtype=int)
    levels[order[1:]] = np.cumsum(np.diff(values[order]) > gap)
    return levels


def _curve(fit: TyreFit, rows: np.ndarray) -> SlipCurve:
    of = fit.table.values
    load, inclination, pressure = (float(of[key][rows].mean()) for key in _CONDITIONS)
    slip = _span(of[SLIP][rows])
    readings = np.zeros(slip.size, READING)
    readings["load"] = load
    readings["inclination"] = inclination
    readings["pressure"] = pressure
    readings["slip"] = slip
    readings["stiffness"][0] = 1.0
    found = fit.search.read(fit.fitted.values, readings)
    column = QUANTITIES.index(CURVE)
    lateral = found[:, column]
    end = int(np.abs(lateral).argmax())
    largest = float(lateral[end])
    is_near = (lateral / largest >= _NEARLY) & (np.sign(slip) == np.sign(slip[end]))
    miss = of[CURVE][rows] - fit.answers[rows, column]
    return SlipCurve(
        load, inclination, pressure, rows,
        stiffness=float(found[0, QUANTITIES.index(STIFFNESS)]),
        largest=largest,
        nearly_at=float(slip[is_near][np.abs(slip[is_near]).argmin()]),
        miss=float(np.sqrt((miss**2).mean())),
    )  # fmt: skip


def _span(measured: Floats) -> Floats:
    """Slip angles of a curve: from no slip, or as far the other way, through all that was measured."""
    high = 1.05 * max(float(measured.max()), 0.0)
    low = 1.05 * min(float(measured.min()), 0.0)
    if high >= -low:
        high = max(high, _WIDEST)
    else:
        low = min(low, -_WIDEST)
    return np.linspace(low, high, _NODES)
