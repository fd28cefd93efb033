"""A tyre from what was measured on it: patch, deflection and peak lateral force."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from math import sqrt
from typing import NamedTuple

import numpy as np
from scipy.special import beta
from scipy.stats import qmc

from setupopt.fit.least_squares import Fitted, NotIdentifiable, fit
from setupopt.fit.table import Measurements, unfit_text
from setupopt.fit.tyre_rig import READING, TYRE, read_off
from setupopt.fit.tyre_table import NOISE, QUANTITIES, Rig, reading_noise
from setupopt.physics.inputs import Floats
from setupopt.project.schema import TyreTable
from setupopt.units import BAR, DEG, DEG_PER_KN, KPA, MM, N_PER_MM3, N_PER_MM3_PER_BAR

_ANY_PRESSURE, _ROUND = 150 * KPA, 10 * KPA  # contact pressures: to begin with, and to round to
# Starts of the search, within half and twice a plain tyre; of 8, leaning rows often end at a wrong one
STARTS = 16
FEW = 8  # values to spare; with fewer, other tyres fit as well; common practice, no source
MISFIT = 4.0  # times the noise told, found in a whole column; common practice, no source
_TURNED = 0.7  # of what lateral forces are off by, with the other sign; common practice, no source
_WIDE = 0.5  # m, a tread that no patch reaches across
UPRIGHT = 1.0 * DEG  # no further off counts as upright


class Parameter(NamedTuple):
    """A key of `[tyre.NAME]` that is fitted, or its logarithm. `scale`: an error as large tells nothing."""

    key: str
    factor: float  # times the file's value is the value in SI
    scale: float
    is_log: bool = False

    @property
    def bounds(self) -> Floats:
        """Both ends of what the file may say, as the search sees them."""
        found = TyreTable.bounds(self.key)
        assert found is not None
        ends = np.array([found.low, found.high]) * self.factor
        return np.log(ends) if self.is_log else ends

    def in_file(self, x: float) -> float:
        """The file's value of what the search has."""
        return (math.exp(x) if self.is_log else x) / self.factor


RADIUS, WIDTH, CROWN = "radius_mm", "tread_width_mm", "crown_radius_mm"
FOUNDATION, PER_BAR = "foundation_N_per_mm3", "foundation_per_bar_N_per_mm3"
FRICTION, EXPONENT, LEAN = "friction", "friction_exponent", "inclination_compliance_deg_per_kN"
LATERAL = "peak_lateral_N"
FRICTION_PRESSURE = "friction_pressure_kPa"  # chosen, not fitted
PARAMETERS = (
    Parameter(RADIUS, MM, 0.1),
    Parameter(WIDTH, MM, 0.1),
    Parameter(CROWN, MM, 1.0, is_log=True),  # from a ball to nearly flat
    Parameter(FOUNDATION, N_PER_MM3, 0.03 * N_PER_MM3),
    Parameter(PER_BAR, N_PER_MM3_PER_BAR, 0.03 * N_PER_MM3_PER_BAR),
    Parameter(FRICTION, 1.0, 1.0),
    Parameter(EXPONENT, 1.0, 0.5),
    Parameter(LEAN, DEG_PER_KN, 1.0 * DEG_PER_KN),
)


@dataclass(frozen=True)
class Finding:
    """What came out for a key, in its file unit.

    `standard_error` is None where `given`, and where the data cannot tell it: then `untold` says why, and
    `value` is None unless it stands at the end of its range.
    """

    key: str
    value: float | None
    standard_error: float | None
    given: bool = False
    untold: NotIdentifiable | None = None


@dataclass(frozen=True, eq=False)
class TyreFit:
    """A tyre fitted to a table. `given`, `friction_pressure` and `answers` (rows, quantities) are in SI.

    `is_turned`: lateral forces fit much closer with their sign turned round.
    """

    table: Measurements
    rig: Rig
    fitted: Fitted
    given: Mapping[str, float]
    friction_pressure: float
    answers: Floats
    is_turned: bool = False

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Every parameter, in the order of the file."""
        return tuple(self._finding(parameter) for parameter in PARAMETERS)

    def _finding(self, parameter: Parameter) -> Finding:
        key, factor = parameter.key, parameter.factor
        if key in self.given:
            return Finding(key, self.given[key] / factor, None, given=True)
        value, error = self.fitted.value(key), self.fitted.standard_error(key)
        value, error = (math.exp(value), error * math.exp(value)) if parameter.is_log else (value, error)
        untold = next((one for one in self.fitted.untold if one.name == key), None)
        if untold is None:
            return Finding(key, value / factor, error / factor)
        return Finding(key, None if untold.bound is None else value / factor, None, untold=untold)

    def foundation_at(self, pressure: float) -> tuple[float, float]:
        """Foundation at an inflation pressure, N/m3, and its standard error; infinite where not told."""
        slopes = np.zeros(len(self.fitted.names))
        for key, slope in ((FOUNDATION, 1.0), (PER_BAR, pressure)):
            slopes[self.fitted.names.index(key)] = slope
        return float(slopes @ self.fitted.values), self.fitted.error_of(slopes)

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """What is odd about the table, and where the answer stands on less than it seems to."""
        odd = (*self.table.notes, *self._mistyped())
        return (*odd, *self._poor_programme(), *self._rival(), *self._misfitting())

    def _mistyped(self) -> Iterator[str]:
        fitted = self.fitted
        lines = self.table.lines[fitted.rows[self.outlying]]
        if self.outlying.size:
            keys = [fitted.quantities[place] for place in self.outlying]
            yield unfit_text(list(zip(lines.tolist(), keys, strict=True)))
        if self.is_turned:
            yield f"{LATERAL} fits closer with the other sign: positive pushes the wheel to the car"

    def _poor_programme(self) -> Iterator[str]:
        of, values, parameters = self.table.values, self.fitted.rows.size, len(self.fitted.names)
        if (np.abs(of["inclination_deg"]) > UPRIGHT).all():
            yield "no row stands upright: the curvatures along and across may be taken for each other"
        if np.ptp(of["load_N"]) < 0.2 * of["load_N"].max():
            yield "all rows carry about the same load: what changes with load rests on the model alone"
        if values - parameters < FEW:
            few = f"{values} measured values for {parameters} parameters are few"
            yield f"{few}: another tyre may fit as well"

    def _misfitting(self) -> Iterator[str]:
        for key in self.misfits:
            yield (
                f"{key} is {self.fitted.noise[key]:.0f} times further off than its noise told: another zero, "
                "another unit, or nothing that this model does"
            )

    def _rival(self) -> Iterator[str]:
        """Another answer that the rows do not rule out, by what differs; friction hangs on the rest."""
        if self.fitted.rival is None:
            return
        by_key = {parameter.key: parameter for parameter in PARAMETERS}
        said = [
            f"{key} {by_key[key].in_file(float(theirs)):.4g}"
            for key, ours, theirs in zip(
                self.fitted.names, self.fitted.values, self.fitted.rival, strict=True
            )
            if key != FRICTION and not abs(theirs - ours) < 3.0 * self.fitted.standard_error(key)
        ]
        which = f": {', '.join(said)}" if said else ""
        yield f"another tyre fits hardly worse, these rows do not rule it out{which}"

    @property
    def lateral_miss(self) -> float:
        """Median size of what the lateral forces are off by, as a share."""
        column = QUANTITIES.index(LATERAL)
        return float(np.nanmedian(np.abs(self.answers[:, column] / self.table.values[LATERAL] - 1.0)))

    @property
    def misfits(self) -> tuple[str, ...]:
        """Quantities whose residuals are far beyond the noise told."""
        return tuple(key for key, factor in self.fitted.noise.items() if factor > MISFIT)

    @property
    def has_friction(self) -> bool:
        """Whether friction is known, and so the contact pressure at which it holds means something."""
        return any(one.key == FRICTION and one.value is not None for one in self.findings)

    @property
    def outlying(self) -> np.ndarray:
        """(values) Where the outlying measured values stand among the residuals of the fit."""
        return np.flatnonzero(self.fitted.is_outlying)

    @property
    def has_many_outlying(self) -> bool:
        """Whether more than a tenth of the measured values are."""
        return self.outlying.size > 0.1 * self.fitted.rows.size

    @property
    def is_whole(self) -> bool:
        """Whether every parameter is told, by one answer alone, which nearly all measured values fit."""
        is_one = not self.fitted.untold and self.fitted.rival is None
        return is_one and not self.misfits and not self.has_many_outlying


def fit_tyre(table: Measurements, rig: Rig) -> TyreFit:
    """The tyre whose answers come closest to the table's measured values."""
    first = _Search(table, rig, _ANY_PRESSURE)
    fitted = first.fit(first.starts())
    if not table.is_measured(LATERAL).any():
        return first.done(fitted)
    area = first.answers(fitted.values)[:, QUANTITIES.index("patch_area_mm2")]
    middle = float(np.median(table.values["load_N"] / area))
    second = _Search(table, rig, float(np.clip(round(middle / _ROUND), 1, 500)) * _ROUND)
    start = fitted.values.copy()  # the same tyre, by its friction at another pressure
    exponent = fitted.value(EXPONENT)
    start[fitted.names.index(FRICTION)] *= (second.friction_pressure / _ANY_PRESSURE) ** -exponent
    fit = second.done(replace(second.fit(start[None, :]), rival=fitted.rival))
    return replace(fit, is_turned=_fits_turned(fit))


def _fits_turned(fit: TyreFit) -> bool:
    """Whether the lateral forces are off by much less with their sign turned round; asked where nothing is
    found to lean under them."""
    if fit.fitted.is_told(LEAN):
        return False
    table = replace(fit.table, values={**fit.table.values, LATERAL: -fit.table.values[LATERAL]})
    search, start = _Search(table, fit.rig, fit.friction_pressure), fit.fitted.values.copy()
    start[fit.fitted.names.index(LEAN)] = 0.5 * DEG_PER_KN
    turned = search.done(search.fit(start[None, :]))
    return turned.fitted.is_told(LEAN) and turned.lateral_miss < _TURNED * fit.lateral_miss


class _Search:
    """A table and a rig as a problem of least squares."""

    def __init__(self, table: Measurements, rig: Rig, friction_pressure: float) -> None:
        self.table, self.rig, self.friction_pressure = table, rig, friction_pressure
        given = {RADIUS: rig.radius, WIDTH: rig.tread_width}
        self.given = {key: value for key, value in given.items() if value is not None}
        self.free = [parameter for parameter in PARAMETERS if parameter.key not in self.given]
        self.measured = np.column_stack([table.values[key] for key in QUANTITIES])
        self.rows, self.columns = np.nonzero(~np.isnan(self.measured))
        self.noise = reading_noise(self.measured, {**NOISE, **rig.noise})[self.rows, self.columns]
        self.readings = np.zeros(len(table), READING)
        for key in ("load_N", "inclination_deg", "pressure_bar"):
            self.readings[key.partition("_")[0]] = table.values[key]
        self.readings["side"] = np.nan_to_num(np.sign(table.values["peak_lateral_N"]))

    def values(self, x: Floats) -> dict[str, float]:
        """Every parameter in SI."""
        pairs = zip(self.free, x, strict=True)
        return {**self.given, **{p.key: math.exp(v) if p.is_log else float(v) for p, v in pairs}}

    def answers(self, x: Floats) -> Floats:
        """(rows, quantities) of the model."""
        of, one = self.values(x), np.zeros(1, TYRE)[0]
        one.radius, one.half_width, one.crown_radius = of[RADIUS], 0.5 * of[WIDTH], of[CROWN]
        one.foundation, one.per_pressure, one.compliance = of[FOUNDATION], of[PER_BAR], of[LEAN]
        one.friction, one.exponent = self.rig.surface_grip * of[FRICTION], of[EXPONENT]
        one.friction_pressure, one.beta = self.friction_pressure, beta(0.5, 2.0 - of[EXPONENT])
        out = np.empty(self.measured.shape)
        read_off(one, self.readings, float(self.rig.from_touch), out)
        return out

    def residuals(self, x: Floats) -> Floats:
        """(values) Measured minus model, over the noise."""
        return (self.measured - self.answers(x))[self.rows, self.columns] / self.noise

    def starts(self) -> Floats:
        """(starts, parameters): the plain tyre, and others from half to twice its values."""
        cube = qmc.LatinHypercube(len(self.free), rng=np.random.default_rng(0)).random(STARTS - 1)
        wide = np.log(2.0) * (2.0 * cube - 1.0)
        is_log, plain = np.array([parameter.is_log for parameter in self.free]), self.plain()
        return np.vstack([plain, np.where(is_log, plain + wide, plain * np.exp(wide))])

    def plain(self) -> Floats:
        """A tyre that carries the loads at about the deflections, with about the friction."""
        of = self.table.values
        stiff = _typical(of["load_N"] / (math.pi * of["deflection_mm"] ** 2 * sqrt(0.3)), 0.03 * N_PER_MM3)
        guess = {
            RADIUS: 0.3, WIDTH: _typical(1.1 * of["patch_width_mm"], 0.25), CROWN: 0.0,
            FOUNDATION: 0.3 * stiff, PER_BAR: 0.7 * stiff / _typical(of["pressure_bar"], BAR),
            FRICTION: _typical(np.abs(of["peak_lateral_N"]) / of["load_N"], 1.0) / self.rig.surface_grip,
            EXPONENT: 0.2, LEAN: 0.5 * DEG_PER_KN,
        }  # fmt: skip
        return np.array([guess[parameter.key] for parameter in self.free])

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
            quantities=[QUANTITIES[column] for column in self.columns], anchor=self.anchor(),
        )  # fmt: skip

    def done(self, fitted: Fitted) -> TyreFit:
        """The tyre found."""
        answers = self.answers(fitted.values)
        return TyreFit(self.table, self.rig, fitted, self.given, self.friction_pressure, answers)


def _typical(values: Floats, otherwise: float) -> float:
    """The median of what there is."""
    found = values[np.isfinite(values)]
    return float(np.median(found)) if found.size else otherwise
