"""What measurements make of one body: its numbers, how sure they are, and how well it foretells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from setupopt.fit.air.ladder import Step, chosen, folds_of
from setupopt.fit.air.measured import Measured
from setupopt.fit.air.rows import AirRows
from setupopt.fit.air.terms import Term, with_terms
from setupopt.fit.air.wings import wing_settings
from setupopt.fit.least_squares import Fitted
from setupopt.physics.inputs import Floats
from setupopt.project.model import Air, Car, WingSetting

# Of a held number, one standard deviation; common practice, no source
HELD_ERROR = 0.25


@dataclass(frozen=True)
class Number:
    """A number of the body in SI: its value and standard error, None for one that is held.

    The error is what noise makes of it, and held numbers that are off by a quarter each.
    """

    term: Term
    value: float
    error: float | None


@dataclass(frozen=True, eq=False)
class AirFit:
    """The body `name` that the rows of configuration `label` make of the project's car `like`."""

    name: str
    label: str
    like: Car
    measured: Measured
    steps: tuple[Step, ...]
    angles: Mapping[int, float] = field(
        default_factory=dict
    )  # of its wings, rad, by an element's number
    turned: tuple[
        tuple[float, AirFit], ...
    ] = ()  # other angles of one wing, with what they change

    @property
    def wing(self) -> int | None:
        """The element that is turned, by its number, where nothing but that differs from the car `like`."""
        return self.measured.wing

    def settings(self, wing: int) -> tuple[WingSetting, ...]:
        """What an element does by angle; none where its angle was not measured, or is one alone."""
        turned = [
            (angle, fit.air, fit.rows)
            for angle, fit in self.turned
            if fit.wing == wing
        ]
        if not turned:
            return ()
        return tuple(wing_settings(wing, (self.angles[wing], self.air), turned))

    @property
    def rows(self) -> AirRows:
        """What was measured."""
        return self.measured.rows

    @cached_property
    def rung(self) -> int:
        """Number of the chosen step, from 0."""
        return chosen(self.steps, self.rows)

    @property
    def step(self) -> Step:
        """The chosen one."""
        return self.steps[self.rung]

    @property
    def fitted(self) -> Fitted:
        """Its fit."""
        return self.step.fitted

    @property
    def air(self) -> Air:
        """The body."""
        return with_terms(self.like.air, self.measured.terms, self.step.values)

    @property
    def held(self) -> tuple[Term, ...]:
        """What has no value of its own."""
        return self.step.rung.held

    @cached_property
    def numbers(self) -> tuple[Number, ...]:
        """Every number of the body that could have been fitted."""
        errors = self._errors
        pairs = zip(self.measured.terms, self.step.values, strict=True)
        return tuple(
            Number(term, float(v), errors.get(place))
            for place, (term, v) in enumerate(pairs)
        )

    @property
    def common_factor(self) -> tuple[float, float] | None:
        """On the areas that are held, with its error; None where none is."""
        if not self.step.rung.common:
            return None
        return float(self.fitted.values[0]), self._errors[-1]

    @cached_property
    def _errors(self) -> dict[int, float]:
        """Standard errors by the place of the term; at -1 that of the common factor."""
        rung = self.step.rung
        places = ((-1,) if rung.common else ()) + rung.free
        both = np.hypot(*self.measured.errors(rung, self.fitted, HELD_ERROR))
        return dict(zip(places, both.tolist(), strict=True))

    @cached_property
    def loads(self) -> Floats:
        """(rows, forces) What the fitted body gives, N."""
        return self.measured.balance.loads(self.step.values)

    def error(self, force: int) -> float | None:
        """Cross-validated: rms of the errors of left-out rows over the rms measured; None where untold."""
        missed = self._missed(self.step.left_out)[:, force]
        return (
            float(np.sqrt(np.nanmean(missed**2)))
            if np.isfinite(missed).any()
            else None
        )

    def explained(self, force: int) -> float | None:
        """Cross-validated share of the scatter that the model explains: 0 or less, if a mean does as well."""
        if self.error(force) is None:
            return None
        scatter = np.nansum(self._missed(self._means)[:, force] ** 2)
        left = np.nansum(self._missed(self.step.left_out)[:, force] ** 2)
        return float(1.0 - left / scatter) if scatter > 1e-12 else None

    def _missed(self, loads: Floats) -> Floats:
        """(rows, forces) Errors as shares of the size, where measured."""
        shares = (loads - self.rows.forces) / (
            self.rows.pressure[:, None] * self.rows.sizes
        )
        return np.where(self.rows.counts, shares, np.nan)

    @cached_property
    def _means(self) -> Floats:
        """(rows, forces) Each row by the mean of the others, N."""
        areas = np.where(self.rows.counts, self.rows.areas, np.nan)
        means = np.full_like(areas, np.nan)
        for fold in folds_of(self.rows):
            count = np.isfinite(areas[~fold]).sum(axis=0)
            means[fold] = np.nansum(areas[~fold], axis=0) / np.where(
                count > 0, count, np.nan
            )
        return means * self.rows.pressure[:, None]

    @property
    def outlying(self) -> tuple[tuple[int, str, float], ...]:
        """Line, force and score of what was measured and does not fit."""
        fitted, lines = self.fitted, self.rows.lines[self.fitted.rows]
        where = np.flatnonzero(fitted.is_outlying)
        return tuple(
            sorted(
                (int(lines[i]), fitted.quantities[i], float(fitted.scores[i]))
                for i in where
            )
        )
