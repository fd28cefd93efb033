"""Measured loads of one body against what the model says of them, in units of noise."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setupopt.fit.air.loads import Balance
from setupopt.fit.air.rows import DOWNFORCE, FORCES, SIDE, AirRows
from setupopt.fit.air.rung import Rung
from setupopt.fit.air.terms import terms_of
from setupopt.fit.least_squares import Fitted, fit
from setupopt.physics.inputs import Floats
from setupopt.project.model import Car

_STEP = 1e-5  # of the scale, for slopes
# Of the best direction: another one as short is nothing but rounding
_BLIND = 1e-9


def _noisy(rows: AirRows) -> Floats:
    """(rows, forces) Areas that noise is a share of: a force's size; that of a side force grows with yaw.

    By where was measured and not by the reading: else a reading near nothing would count for too much.
    """
    areas = np.tile(rows.sizes, (len(rows), 1))
    if rows.yaw.any():
        squares = rows.yaw**2 / (rows.yaw[rows.yaw != 0.0] ** 2).mean()
        areas[:, SIDE] *= np.sqrt(0.25 + 0.75 * squares)
    return areas


class Measured:
    """The rows of one body, ready to be fitted. `noise`: share of a force, one standard deviation.

    With `wing`, the number of an element, only what turning it changes is fitted.
    """

    def __init__(
        self, car: Car, rows: AirRows, noise: float, wing: int | None = None
    ) -> None:
        self.rows = rows
        self.wing = wing
        self.terms = terms_of(car.air, wing)
        self.balance = Balance(car, self.terms, rows)
        self._unit = rows.pressure[:, None] * noise * _noisy(rows)
        self.like = np.array([term.like for term in self.terms])
        self.factor = self.size_ratio(DOWNFORCE) or 1.0

    def residuals(self, values: Floats) -> Floats:
        """(measured) Measured less the model, in units of noise; row by row."""
        return ((self.rows.forces - self.balance.loads(values)) / self._unit)[
            self.rows.counts
        ]

    def size_ratio(self, forces: Sequence[int]) -> float | None:
        """Forces measured over those of the body it is like, in size; None where one has none."""
        known, like = (
            self.rows.counts[:, forces],
            self.balance.loads(self.like)[:, forces],
        )
        sizes = [
            float((loads[known] ** 2).sum())
            for loads in (self.rows.forces[:, forces], like)
        ]
        return float(np.sqrt(sizes[0] / sizes[1])) if min(sizes) > 0.0 else None

    @property
    def start(self) -> Floats:
        """(terms) The body it is like, its areas by the factor."""
        return np.array(
            [t.like * (self.factor if t.is_area else 1.0) for t in self.terms]
        )

    def slopes(self, values: Floats) -> Floats:
        """(measured, terms) Change of the residuals by each term's value in SI, by central differences."""
        columns = []
        for step in np.diag(_STEP * self.scales):
            columns.append(
                self.residuals(values + step) - self.residuals(values - step)
            )
        return np.column_stack(columns) / (2.0 * _STEP * self.scales)

    @property
    def scales(self) -> Floats:
        """(terms) Errors as large mean that nothing is known."""
        return np.array([term.scale(self.factor) for term in self.terms])

    def errors(self, rung: Rung, fitted: Fitted, share: float) -> Floats:
        """(2, parameters) Standard errors: by noise, and by held numbers that are off by a share of each.

        What stands at a bound counts as unsure as the rest: that it may not go further does not make the
        others better known.
        """
        values, scales = (
            rung.values(fitted.values),
            rung.scales(self.factor, self.scales),
        )
        # (measured) What the residuals say of the noise, over that told
        kinds = [FORCES[force] for force in np.argwhere(self.rows.counts)[:, 1]]
        slopes = (
            self.slopes(values)
            / np.array([fitted.noise[kind] for kind in kinds])[:, None]
        )
        columns = (slopes @ rung.slopes) * scales
        inverse = np.linalg.pinv(columns, rcond=_BLIND) * scales[:, None]
        by_noise = np.linalg.norm(inverse, axis=1) * _inflation(
            columns, scales, fitted.standard_errors
        )
        held = [place for place in range(len(values)) if place not in rung.free]
        pulled = inverse @ (slopes[:, held] * (share * values[held]))
        return np.array([by_noise, np.linalg.norm(pulled, axis=1)])

    def fit(
        self,
        rung: Rung,
        starts: Sequence[Floats],
        kept: np.ndarray | None = None,
    ) -> Fitted:
        """A rung from each of some bodies (terms), on all rows or on those that are `kept`; the best end."""
        places = np.argwhere(self.rows.counts)
        ours = slice(None) if kept is None else kept[places[:, 0]]
        first = np.array([rung.parameters(values) for values in starts])
        return fit(
            lambda x: self.residuals(rung.values(x))[ours], first, *rung.box, rung.names,
            rung.scales(self.factor, self.scales), rows=places[ours, 0],
            quantities=[FORCES[force] for force in places[ours, 1]],
        )  # fmt: skip


def _inflation(columns: Floats, scales: Floats, errors: Floats) -> float:
    """What the fit makes of the noise beyond that of its quantities, from the parameters that it tells."""
    told = np.isfinite(errors)
    if not told.any():
        return 1.0
    plain = (
        np.linalg.norm(np.linalg.pinv(columns[:, told], rcond=_BLIND), axis=1)
        * scales[told]
    )
    return float(np.median(errors[told] / plain))
