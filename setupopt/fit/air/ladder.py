"""How much of a body the measurements can tell: from one factor on all its areas up to every number.

On the lowest rung one common factor scales all areas that make downforce; each further rung gives one number
a value of its own, the one that the table tells best of those left. The order hangs on where was measured,
not on what, so that the choice between the rungs by cross-validation stays an honest one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from setupopt.fit.air.measured import Measured
from setupopt.fit.air.rows import DOWNFORCE, DRAG, SIDE, AirRows
from setupopt.fit.air.rung import COMMON, Rung
from setupopt.fit.least_squares import Fitted
from setupopt.physics.inputs import Floats

_FOLDS, _LONG = (
    10,
    20,
)  # with more attitudes than that a tenth is left out at a time, not one
_CLEAR = 2.0  # standard errors from nothing
_ALIKE = 1e-4  # of the downforce: no balance reads closer


@dataclass(frozen=True, eq=False)
class Step:
    """A rung with the numbers that the rows give it."""

    rung: Rung
    fitted: Fitted
    values: Floats  # (terms)
    left_out: Floats  # (rows, forces), N: each row by a fit without it; not a number where there is none


def climb(
    measured: Measured, watch: Callable[[int], object] = int
) -> list[Step]:
    """The lowest rung, and every one above that the rows tell even without any fold of them; none if they
    tell nothing at all. `watch` is called with the number of the rung that is tried."""
    folds = folds_of(measured.rows)
    told = _Told(measured, folds)
    rung = _lowest(measured, told)
    steps = [_step(measured, rung, measured.start, folds)] if rung.names else []
    while folds and (term := told.best()) is not None:
        watch(len(steps) + 1)
        step = _step(
            measured, steps[-1].rung.freed(term), steps[-1].values, folds
        )
        if np.isnan(step.left_out[:, DOWNFORCE]).any():
            told.pass_over(term)
        else:
            told.free(term)
            steps.append(step)
    return steps


def chosen(steps: Sequence[Step], rows: AirRows) -> int:
    """The rung that foretells the downforce of left-out rows best; of those that do as well, the lowest.

    Counted in mean sizes of errors, so that an outlying row weighs no more than it must.
    """
    errors = [_mean(misses(step, rows)) for step in steps]
    return next(
        place
        for place, error in enumerate(errors)
        if error <= min(errors) + _ALIKE
    )


def _mean(errors: Floats) -> float:
    return float(errors.mean()) if errors.size else np.inf


def misses(step: Step, rows: AirRows) -> Floats:
    """(rows with downforce) Mean size of the errors of downforce of left-out rows, as shares of its size."""
    shares = np.abs(step.left_out - rows.forces) / (
        rows.pressure[:, None] * rows.sizes
    )
    ours = shares[:, DOWNFORCE]
    return np.nanmean(ours[~np.isnan(ours).all(axis=1)], axis=1)


def folds_of(rows: AirRows) -> list[np.ndarray]:
    """(rows) masks of what is left out together; rows that repeat an attitude always are. None for one
    attitude alone."""
    count = int(rows.condition.max()) + 1
    if count < 2:
        return []
    mixed = np.random.default_rng(0).permutation(count)
    fold = mixed if count <= _LONG else mixed % _FOLDS
    return [
        fold[rows.condition] == number for number in range(int(fold.max()) + 1)
    ]


def _step(
    measured: Measured, rung: Rung, start: Floats, folds: Sequence[np.ndarray]
) -> Step:
    """A rung fitted to all rows, from the rung below and from the body it is like; then without each fold."""
    fitted = measured.fit(rung, (start, measured.start))
    values, left_out = (
        rung.values(fitted.values),
        np.full(measured.rows.forces.shape, np.nan),
    )
    for fold in () if _is_unsure(measured, rung, fitted) else folds:
        without = measured.fit(rung, (values,), ~fold)
        left_out[fold] = measured.balance.loads(rung.values(without.values))[
            fold
        ]
        for force in _blind(rung, without):
            left_out[fold, force] = np.nan
    return Step(rung, fitted, values, left_out)


def _is_unsure(measured: Measured, rung: Rung, fitted: Fitted) -> bool:
    """Whether a parameter is not told, or by its error could as well be another."""
    by_noise, _ = measured.errors(rung, fitted, 0.0)
    is_wide = bool(
        (by_noise > rung.scales(measured.factor, measured.scales)).any()
    )
    return is_wide or bool(_blind(rung, fitted))


def _blind(rung: Rung, fitted: Fitted) -> list[int]:
    """Forces that hang on a parameter that is not told; an area or a loss may turn out to be nothing."""
    untold = {one.name for one in fitted.untold if one.bound != 0.0}
    own = {"drag_area": (DRAG,), "side_area": (SIDE,)}
    fields = [
        "" if name == COMMON else rung.term(name).field for name in untold
    ]
    return sorted(
        {force for field in fields for force in own.get(field, DOWNFORCE)}
    )


def _lowest(measured: Measured, told: _Told) -> Rung:
    """The common factor, drag and side area, each only where there is something to tell it by."""
    areas = tuple(
        place for place, term in enumerate(measured.terms) if term.is_area
    )
    rung = Rung(measured.terms, (), ())
    if areas and told.tells_at_all(told.common):
        told.free(told.common)
        rung = Rung(
            measured.terms, *((areas, ()) if len(areas) == 1 else ((), areas))
        )
    for place, term in enumerate(measured.terms):
        if term.element is None and told.tells_at_all(place):
            told.free(place)
            rung = rung.freed(place)
    return rung


class _Told:
    """What the rows still tell of each term when others are free.

    Slopes of the residuals by each term, last by the common factor, in scales; freed of the part that the
    free ones can make. The length of a column is how often its scale exceeds its standard error.
    """

    def __init__(self, measured: Measured, folds: Sequence[np.ndarray]) -> None:
        slopes, row = (
            measured.slopes(measured.start),
            np.argwhere(measured.rows.counts)[:, 0],
        )
        is_area = np.array(
            [term.is_area for term in measured.terms], dtype=bool
        )
        common = slopes @ np.where(is_area, measured.start, 0.0)
        columns = np.column_stack([slopes * measured.scales, common])
        self.all, self.common = columns, len(is_area)
        self.folds = [columns[~fold[row]] for fold in folds]
        self.passed: list[int] = []
        self.left = [
            place
            for place, term in enumerate(measured.terms)
            if term.element is not None
        ]

    def tells_at_all(self, column: int) -> bool:
        """Whether all rows together tell it."""
        return bool(np.linalg.norm(self.all[:, column]) >= 1.0)

    def least(self, column: int) -> float:
        """How well it is told by the folds that tell it worst."""
        return min(
            float(np.linalg.norm(slopes[:, column])) for slopes in self.folds
        )

    def best(self) -> int | None:
        """The term that is told best of those left; None where none is."""
        place = max(self.left, key=self.least, default=None)
        return (
            place if place is not None and self.least(place) >= _CLEAR else None
        )

    def free(self, column: int) -> None:
        """Count a column among the free ones; the fit is a better one, and all else worth another look."""
        self.left, self.passed = [*self.left, *self.passed], []
        for slopes in (self.all, *self.folds):
            length = float(np.linalg.norm(slopes[:, column]))
            unit = (
                slopes[:, column] / length
                if length > 0.0
                else slopes[:, column]
            )
            slopes -= np.outer(unit, unit @ slopes)

    def pass_over(self, term: int) -> None:
        """Look at a term no more, until another one is free."""
        self.left.remove(term)
        self.passed.append(term)
