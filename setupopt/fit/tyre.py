"""A tyre from what was measured on it: patch, deflection and peak lateral force."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from setupopt.fit.least_squares import Fitted
from setupopt.fit.table import Measurements, unfit_text
from setupopt.fit.tyre_parameters import (
    CARCASS,
    CARCASS_PER_BAR,
    DEFAULTS,
    EXPONENT,
    FOUNDATION,
    FRICTION,
    LEAN,
    PARAMETERS,
    PATCH,
    PER_BAR,
    Parameter,
)  # fmt: skip
from setupopt.fit.tyre_search import SLIDING, FrictionFloor, Search
from setupopt.fit.tyre_table import CURVE, PEAK, QUANTITIES, Rig
from setupopt.fit.uncertainty import NotIdentifiable
from setupopt.physics.inputs import Floats
from setupopt.units import DEG, DEG_PER_KN, KPA

_ANY_PRESSURE, _ROUND = (
    150 * KPA,
    10 * KPA,
)  # contact pressures: to begin with, and to round to
FEW = 8  # values to spare; with fewer, other tyres fit as well; common practice, no source
MISFIT = 4.0  # times the noise told, found in a whole column; common practice, no source
_TURNED = 0.7  # of what lateral forces are off by, with the other sign; common practice, no source
UPRIGHT = 1.0 * DEG  # no further off counts as upright
# A carcass must fit better than a rigid one by so much cost: four standard errors of one parameter
_BETTER = 8.0


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
    floor: FrictionFloor
    is_turned: bool = False

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Every parameter, in the order of the file."""
        return tuple(self._finding(parameter) for parameter in PARAMETERS)

    @property
    def search(self) -> Search:
        """The problem that this tyre solves."""
        return Search(
            self.table, self.rig, self.friction_pressure, self.has_carcass
        )

    def _finding(self, parameter: Parameter) -> Finding:
        key, factor = parameter.key, parameter.factor
        if key in self.given:
            return Finding(key, self.given[key] / factor, None, given=True)
        if key not in self.fitted.names:
            return Finding(key, None, None, untold=NotIdentifiable(key))
        value, error = self.fitted.value(key), self.fitted.standard_error(key)
        value, error = (
            (math.exp(value), error * math.exp(value))
            if parameter.is_log
            else (value, error)
        )
        untold = next(
            (one for one in self.fitted.untold if one.name == key), None
        )
        if untold is None:
            return Finding(key, value / factor, error / factor)
        return Finding(
            key,
            None if untold.bound is None else value / factor,
            None,
            untold=untold,
        )

    def foundation_at(self, pressure: float) -> tuple[float, float]:
        """Foundation at an inflation pressure, N/m3, and its standard error; infinite where not told."""
        return self._sum_at(pressure, FOUNDATION, PER_BAR)

    def carcass_at(self, pressure: float) -> tuple[float, float]:
        """Stiffness of the carcass at an inflation pressure, N/m, and its standard error, likewise."""
        return self._sum_at(pressure, CARCASS, CARCASS_PER_BAR)

    def _sum_at(
        self, pressure: float, key: str, per_pressure: str
    ) -> tuple[float, float]:
        slopes = np.zeros(len(self.fitted.names))
        slopes[self.fitted.names.index(key)] = 1.0
        slopes[self.fitted.names.index(per_pressure)] = pressure
        return float(slopes @ self.fitted.values), self.fitted.error_of(slopes)

    @property
    def has_carcass(self) -> bool:
        """Whether the rows ask for a carcass that is not rigid."""
        return CARCASS in self.fitted.names

    @property
    def missing(self) -> tuple[Finding, ...]:
        """What is not told, without what may be left out because nothing in the table depends on it."""

        def is_optional(one: Finding) -> bool:
            assert one.untold is not None
            return (
                one.key in DEFAULTS
                and one.untold.bound is None
                and not one.untold.from_
            )

        return tuple(
            one for one in self.findings if one.untold and not is_optional(one)
        )

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """What is odd about the table, and where the answer stands on less than it seems to."""
        odd = (*self.table.notes, *self._mistyped())
        return (
            *odd,
            *self._poor_programme(),
            *self._rival(),
            *self._misfitting(),
        )

    def _mistyped(self) -> Iterator[str]:
        fitted = self.fitted
        lines = self.table.lines[fitted.rows[self.outlying]]
        if self.outlying.size:
            keys = [fitted.quantities[place] for place in self.outlying]
            yield unfit_text(list(zip(lines.tolist(), keys, strict=True)))
        if self.is_turned:
            yield f"{PEAK} fits closer with the other sign: positive pushes the wheel to the car"

    def _poor_programme(self) -> Iterator[str]:
        of, values, parameters = (
            self.table.values,
            self.fitted.rows.size,
            len(self.fitted.names),
        )
        if (np.abs(of["inclination_deg"]) > UPRIGHT).all():
            yield "no row stands upright: the curvatures along and across may be taken for each other"
        if np.ptp(of["load_N"]) < 0.2 * of["load_N"].max():
            yield "all rows carry about the same load: what changes with load rests on the model alone"
        if self.has_friction and self.floor.used < SLIDING:
            yield "no row comes near sliding: friction rests on the model alone"
        if values - parameters < FEW:
            few = (
                f"{values} measured values for {parameters} parameters are few"
            )
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
                self.fitted.names,
                self.fitted.values,
                self.fitted.rival,
                strict=True,
            )
            if key != FRICTION
            and not abs(theirs - ours) < 3.0 * self.fitted.standard_error(key)
        ]
        which = f": {', '.join(said)}" if said else ""
        yield f"another tyre fits hardly worse, these rows do not rule it out{which}"

    @property
    def lateral_miss(self) -> float:
        """Median size of what the lateral forces are off by, as a share."""
        column = QUANTITIES.index(PEAK)
        return float(
            np.nanmedian(
                np.abs(self.answers[:, column] / self.table.values[PEAK] - 1.0)
            )
        )

    @property
    def misfits(self) -> tuple[str, ...]:
        """Quantities whose residuals are far beyond the noise told."""
        return tuple(
            key for key, factor in self.fitted.noise.items() if factor > MISFIT
        )

    @property
    def has_friction(self) -> bool:
        """Whether friction is known, and so the contact pressure at which it holds means something."""
        return any(
            one.key == FRICTION and one.value is not None
            for one in self.findings
        )

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
        """Whether all that car.toml needs is told, by one answer alone, and nearly all values fit."""
        is_one = not self.missing and self.fitted.rival is None
        return is_one and not self.misfits and not self.has_many_outlying


def fit_tyre(table: Measurements, rig: Rig) -> TyreFit:
    """The tyre whose answers come closest to the table's measured values."""
    first = Search(table, rig, _ANY_PRESSURE)
    fitted = first.fit(first.starts())
    if _may_tell_carcass(table):
        first, fitted = _with_carcass(first, fitted)
    if not (table.is_measured(PEAK).any() or table.is_measured(CURVE).any()):
        return _done(first, fitted)
    area = first.answers(fitted.values)[:, QUANTITIES.index("patch_area_mm2")]
    middle = float(np.median(table.values["load_N"] / area))
    second = replace(
        first,
        friction_pressure=float(np.clip(round(middle / _ROUND), 1, 500))
        * _ROUND,
    )
    start = (
        fitted.values.copy()
    )  # the same tyre, by its friction at another pressure
    exponent = fitted.value(EXPONENT)
    start[fitted.names.index(FRICTION)] *= (
        second.friction_pressure / _ANY_PRESSURE
    ) ** -exponent
    fit = _done(second, replace(second.fit(start[None, :]), rival=fitted.rival))
    return replace(fit, is_turned=_fits_turned(fit))


def _done(search: Search, fitted: Fitted) -> TyreFit:
    """The tyre found."""
    answers = search.answers(fitted.values)
    floor = search.friction_floor(fitted.values, answers)
    return TyreFit(
        search.table,
        search.rig,
        fitted,
        search.given,
        search.friction_pressure,
        answers,
        floor,
    )


def _may_tell_carcass(table: Measurements) -> bool:
    """Whether deflection and patch stand in one table: alone, neither parts tread and carcass."""
    has_patch = any(table.is_measured(key).any() for key in PATCH)
    return bool(has_patch and table.is_measured("deflection_mm").any())


def _with_carcass(rigid: Search, fitted: Fitted) -> tuple[Search, Fitted]:
    """The search and its end with a carcass in series, where that fits clearly better; else as they were."""
    search = replace(rigid, has_carcass=True)
    found = search.fit(search.softer_starts(fitted))
    better = rigid.cost(fitted.values) - search.cost(found.values)
    size = max(1.0, 2.0 * search.cost(found.values) / search.rows.size)
    return (search, found) if better > _BETTER * size else (rigid, fitted)


def _fits_turned(fit: TyreFit) -> bool:
    """Whether the lateral forces are off by much less with their sign turned round; asked where nothing is
    found to lean under them."""
    if fit.fitted.is_told(LEAN) or not fit.table.is_measured(PEAK).any():
        return False
    table = replace(
        fit.table, values={**fit.table.values, PEAK: -fit.table.values[PEAK]}
    )
    search = replace(fit.search, table=table)
    start = fit.fitted.values.copy()
    start[fit.fitted.names.index(LEAN)] = 0.5 * DEG_PER_KN
    turned = _done(search, search.fit(start[None, :]))
    return (
        turned.fitted.is_told(LEAN)
        and turned.lateral_miss < _TURNED * fit.lateral_miss
    )
