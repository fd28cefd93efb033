"""A table of a tyre as a problem of least squares: what is fitted, from where, and what the model answers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from math import sqrt
from typing import NamedTuple

import numpy as np
from scipy.special import beta
from scipy.stats import qmc

from setupopt.fit.least_squares import Fitted, fit
from setupopt.fit.problem import robust_cost
from setupopt.fit.table import Measurements
from setupopt.fit.tyre_parameters import (
    CARCASS,
    CARCASS_PER_BAR,
    CROWN,
    EXPONENT,
    FOUNDATION,
    FRICTION,
    LEAN,
    NEEDS,
    PARAMETERS,
    PER_BAR,
    RADIUS,
    SHEAR,
    THRUST,
    WIDTH,
    Parameter,
)  # fmt: skip
from setupopt.fit.tyre_rig import READING, TYRE, read_off
from setupopt.fit.tyre_table import (
    CURVE,
    NOISE,
    PEAK,
    QUANTITIES,
    RELAXATION,
    SLIP,
    STIFFNESS,
    Rig,
    reading_noise,
)
from setupopt.physics.inputs import Floats, Records
from setupopt.units import BAR, DEG_PER_KN, N_PER_MM, N_PER_MM3

# Starts of the search, within half and twice a plain tyre; of 8, leaning rows often end at a wrong one
STARTS = 16
_WIDE = 0.5  # m, a tread that no patch reaches across
_PLAIN_SHEAR = 2.0  # tangential over radial stiffness of a slick; common practice, no source
_SOFTER = (
    1.5,
    3.0,
    5.0,
)  # the tread alone is stiffer than tread and carcass together by about so much
SLIDING = 0.7  # share of the largest force from which a point of a slip curve measures friction


class FrictionFloor(NamedTuple):
    """The least mean contact pressure among the rows that measure friction, Pa.

    `used`: the largest share of the largest force that a row reaches, 1 for a peak.
    """

    pressure: float = 0.0
    used: float = 0.0


@dataclass(frozen=True, eq=False)
class Search:
    """A table and a rig as a problem of least squares."""

    table: Measurements
    rig: Rig
    friction_pressure: float
    has_carcass: bool = False

    @cached_property
    def given(self) -> dict[str, float]:
        """What a tape has measured, in SI."""
        given = {RADIUS: self.rig.radius, WIDTH: self.rig.tread_width}
        return {key: value for key, value in given.items() if value is not None}

    @cached_property
    def free(self) -> list[Parameter]:
        """The parameters that are fitted."""
        return [
            parameter
            for parameter in PARAMETERS
            if self._is_free(parameter.key)
        ]

    def _is_free(self, key: str) -> bool:
        if key in (CARCASS, CARCASS_PER_BAR):
            return self.has_carcass
        is_shown = key not in NEEDS or any(
            self.table.is_measured(need).any() for need in NEEDS[key]
        )
        return is_shown and key not in self.given

    @cached_property
    def measured(self) -> Floats:
        """(rows, quantities) of the table."""
        return np.column_stack([self.table.values[key] for key in QUANTITIES])

    @cached_property
    def places(self) -> tuple[np.ndarray, np.ndarray]:
        """Rows and columns of the values."""
        rows, columns = np.nonzero(~np.isnan(self.measured))
        return rows, columns

    @property
    def rows(self) -> np.ndarray:
        """(values) Row of each."""
        return self.places[0]

    @cached_property
    def noise(self) -> Floats:
        """(values) Noise of each."""
        return reading_noise(self.measured, {**NOISE, **self.rig.noise})[
            self.places
        ]

    @cached_property
    def readings(self) -> Records:
        """(rows) What is asked of the rig."""
        readings = np.zeros(len(self.table), READING)
        for key in ("load_N", "inclination_deg", "pressure_bar"):
            readings[key.partition("_")[0]] = self.table.values[key]
        readings["side"] = np.nan_to_num(np.sign(self.table.values[PEAK]))
        readings["slip"] = self.table.values[SLIP]
        readings["stiffness"] = self.table.is_measured(STIFFNESS)
        return readings

    def values(self, x: Floats) -> dict[str, float]:
        """Every parameter in SI."""
        pairs = zip(self.free, x, strict=True)
        unshown = {
            SHEAR: _PLAIN_SHEAR,
            THRUST: 0.5,
            CARCASS: 0.0,
            CARCASS_PER_BAR: 0.0,
            RELAXATION: 0.0,
        }
        fitted = {
            p.key: math.exp(v) if p.is_log else float(v) for p, v in pairs
        }
        return {**unshown, **self.given, **fitted}

    def read(self, x: Floats, readings: Records) -> Floats:
        """(readings, quantities) of the model in any conditions."""
        of = self.values(x)
        tyre = np.zeros(1, TYRE)[0]
        for parameter in PARAMETERS:
            tyre[parameter.field] = of[parameter.key]
        tyre.half_width *= 0.5
        tyre.friction *= self.rig.surface_grip
        tyre.friction_pressure = self.friction_pressure
        tyre.beta = beta(0.5, 2.0 - tyre.exponent)
        out = np.empty((readings.size, len(QUANTITIES)))
        read_off(tyre, readings, float(self.rig.from_touch), out)
        return out

    def answers(self, x: Floats) -> Floats:
        """(rows, quantities) of the model."""
        return self.read(x, self.readings)

    def cost(self, x: Floats) -> float:
        """How far all values together are off, as the search counts it."""
        return robust_cost(self.residuals(x))

    def residuals(self, x: Floats) -> Floats:
        """(values) Measured minus model, over the noise."""
        return (self.measured - self.answers(x))[self.places] / self.noise

    def softer_starts(self, rigid: Fitted) -> Floats:
        """(starts, parameters): the tyre fitted with a rigid carcass, on a carcass and its tread stiffer."""
        starts = []
        for softer in _SOFTER:
            of = {**dict(zip(self._keys, self.plain(), strict=True))}
            of |= dict(zip(rigid.names, rigid.values, strict=True))
            of[FOUNDATION] *= softer
            of[PER_BAR] *= softer
            starts.append([of[key] for key in self._keys])
        return np.array(starts)

    @property
    def _keys(self) -> list[str]:
        return [parameter.key for parameter in self.free]

    def starts(self, count: int = STARTS) -> Floats:
        """(starts, parameters): the plain tyre, and others from half to twice its values."""
        cube = qmc.LatinHypercube(
            len(self.free), rng=np.random.default_rng(0)
        ).random(count - 1)
        wide = np.log(2.0) * (2.0 * cube - 1.0)
        is_log, plain = (
            np.array([parameter.is_log for parameter in self.free]),
            self.plain(),
        )
        return np.vstack(
            [plain, np.where(is_log, plain + wide, plain * np.exp(wide))]
        )

    def plain(self) -> Floats:
        """A tyre that carries the loads at about the deflections, with about the friction."""
        of = self.table.values
        stiff = _typical(
            of["load_N"] / (math.pi * of["deflection_mm"] ** 2 * sqrt(0.3)),
            0.03 * N_PER_MM3,
        )
        stiff *= _SOFTER[1] if self.has_carcass else 1.0
        whole = 1.5 * _typical(
            of["load_N"] / of["deflection_mm"], 200.0 * N_PER_MM
        )
        pressure = _typical(of["pressure_bar"], BAR)
        peak = np.where(self.table.is_measured(PEAK), of[PEAK], of[CURVE])
        share = np.abs(peak) / of["load_N"]
        share = share[np.isfinite(share)]
        guess = {
            RADIUS: 0.3, WIDTH: _typical(1.1 * of["patch_width_mm"], 0.25), CROWN: 0.0,
            FOUNDATION: 0.3 * stiff, PER_BAR: 0.7 * stiff / pressure,
            FRICTION: _typical(share[share > 0.5 * share.max(initial=0.0)], 1.0) / self.rig.surface_grip,
            EXPONENT: 0.2, LEAN: 0.5 * DEG_PER_KN, SHEAR: _PLAIN_SHEAR, THRUST: 0.5,
            CARCASS: 0.5 * whole, CARCASS_PER_BAR: 0.5 * whole / pressure,
            RELAXATION: _typical(of[RELAXATION], 0.2),
        }  # fmt: skip
        return np.array([guess[key] for key in self._keys])

    def anchor(self) -> Floats:
        """The plain tyre, with a tread wider than its patches: what the table does not tell is put there."""
        is_width = np.array([parameter.key == WIDTH for parameter in self.free])
        return np.where(is_width, _WIDE, self.plain())

    def fit(self, starts: Floats) -> Fitted:
        """Where the residuals are least; `starts` (starts, parameters)."""
        lower, upper = np.array([parameter.bounds for parameter in self.free]).T
        return fit(
            self.residuals, starts, lower, upper, [p.key for p in self.free],
            np.array([p.scale for p in self.free]), rows=self.rows,
            quantities=[QUANTITIES[column] for column in self.places[1]], anchor=self.anchor(),
        )  # fmt: skip

    def friction_floor(self, x: Floats, answers: Floats) -> FrictionFloor:
        """How far down in pressure the rows measure friction."""
        of = self.table.values
        is_peak = self.table.is_measured(PEAK)
        is_curve = self.table.is_measured(CURVE)
        if not (is_peak | is_curve).any():
            return FrictionFloor()
        readings = self.readings.copy()
        readings["side"] = np.nan_to_num(
            np.sign(np.where(is_peak, of[PEAK], of[CURVE]))
        )
        peaks = self.read(x, readings)[:, QUANTITIES.index(PEAK)]
        share = answers[:, QUANTITIES.index(CURVE)] / np.where(
            peaks == 0.0, np.inf, peaks
        )
        used = np.where(is_peak, 1.0, np.nan_to_num(share))
        shows = used >= min(SLIDING, 0.9 * float(used.max()))
        pressures = (
            of["load_N"] / answers[:, QUANTITIES.index("patch_area_mm2")]
        )
        return FrictionFloor(float(pressures[shows].min()), float(used.max()))


def _typical(values: Floats, otherwise: float) -> float:
    """The median of what there is."""
    found = values[np.isfinite(values)]
    return float(np.median(found)) if found.size else otherwise
