"""What is odd about a fitted body: where it stands on less than it seems to, and what may be mistyped."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from setupopt.fit.air.fit import AirFit
from setupopt.fit.air.rows import DOWNFORCE, DRAG, FORCES, SIDE, AirRows
from setupopt.fit.table import lines_text, unfit_text
from setupopt.physics.inputs import Floats
from setupopt.project.model import AirElement
from setupopt.project.static_checks import floor_height
from setupopt.units import GRAVITY, MM, PERCENT

MANY_OUTLYING = 0.1  # of all that was measured
FAR_OFF = 0.1  # of a force, foretold wrong; common practice, no source
_APART = 0.1  # of a force's size, between rows that repeat an attitude; common practice, no source
_MOST_REPEATS = 5  # named one by one
_LIKELY = 3.0  # times as large or as small as on the project's body; beyond, a unit is the likelier reason
_CLOSE = 1.7  # times off what a wrong unit would make of the project's body
_PARTS = {"downforce": DOWNFORCE, "drag": (DRAG,), "side force": (SIDE,)}
# What becomes of forces per dynamic pressure where another unit is typed
_UNITS = {
    "loads in kN": 1e-3, "loads in kgf": 1.0 / GRAVITY, "loads in lbf": 1.0 / 4.44822,
    "speeds in km/h": 1.0 / 3.6**2, "speeds in mph": 0.44704**2,
}  # fmt: skip


def oddities(fit: AirFit) -> tuple[str, ...]:
    """In sentences, what may be mistyped first."""
    mistyped = (*_strange(fit), *_signs(fit), *_repeats(fit), *_unfit(fit))
    if fit.wing is not None:
        return (*mistyped, *_far_off(fit), *_unchecked(fit), *_rival(fit))
    told = (
        *_far_off(fit),
        *_unmeasured(fit),
        *_unseen_peaks(fit),
        *_unchecked(fit),
        *_rival(fit),
    )
    return (*mistyped, *told, *_settings(fit))


def is_doubtful(fit: AirFit) -> bool:
    """Whether it is not wholly told by one body alone, or much does not fit, or is foretold badly."""
    is_open = bool(fit.held) or fit.fitted.rival is not None
    return (
        is_open or is_scattered(fit) or any(_strange(fit)) or any(_far_off(fit))
    )


def is_scattered(fit: AirFit) -> bool:
    """Whether more than a tenth of the measured values does not fit."""
    return len(fit.outlying) > MANY_OUTLYING * max(
        int(fit.rows.counts.sum()), 1
    )


# ---- mistyped ----------------------------------------------------------------------------------------------


def _strange(fit: AirFit) -> Iterator[str]:
    """Loads of another size than those of the project's own body."""
    for words, forces in _PARTS.items():
        ratio = fit.measured.size_ratio(forces)
        if ratio is None or 1.0 / _LIKELY < ratio < _LIKELY:
            continue
        units = [
            unit
            for unit, size in _UNITS.items()
            if 1.0 / _CLOSE < ratio / size < _CLOSE
        ]
        guess = (
            f"as {' or '.join(units)} would make it"
            if units
            else "another unit, or another car?"
        )
        yield f"{words} is {ratio:.2g} times that of the body in car.toml: {guess}"


def _signs(fit: AirFit) -> Iterator[str]:
    """Loads that push the other way than they should."""
    areas = fit.rows.areas
    if (
        np.nansum(areas[:, DOWNFORCE])
        < 0.0
        < sum(e.free_area for e in fit.like.air.elements)
    ):
        yield "lift where the elements make downforce: loads count positive towards the surface"
    against = areas[:, SIDE] * fit.rows.yaw
    if np.nansum(against) > 0.0:
        yield (
            "the side force pushes against the flow: positive yaw is flow from the left, positive side force "
            "is to the left"
        )


def _repeats(fit: AirFit) -> Iterator[str]:
    """Rows of one attitude that contradict each other."""
    apart = _apart(fit.rows)
    found = np.flatnonzero(apart.max(axis=1) > _APART)
    for number in found[:_MOST_REPEATS]:
        lines = lines_text(
            np.sort(fit.rows.lines[fit.rows.condition == number])
        )
        worst = int(apart[number].argmax())
        share = apart[number, worst] / PERCENT
        yield f"{lines} repeat one attitude, and are {share:.0f} % apart in {FORCES[worst]}"
    if found.size > _MOST_REPEATS:
        yield f"{found.size - _MOST_REPEATS} more attitudes whose repeats are as far apart"


def _apart(rows: AirRows) -> Floats:
    """(attitudes, forces) Largest less least of its repeats, as a share of the force's size; -inf: none."""
    shares = np.where(rows.counts, rows.areas / rows.sizes, np.nan)
    repeats = pd.DataFrame(shares).groupby(rows.condition)
    return (repeats.max() - repeats.min()).fillna(-np.inf).to_numpy()


def _unfit(fit: AirFit) -> Iterator[str]:
    if fit.outlying:
        yield unfit_text([(line, force) for line, force, _ in fit.outlying])


# ---- told by less than it seems ----------------------------------------------------------------------------


def _far_off(fit: AirFit) -> Iterator[str]:
    """Forces that are foretold badly."""
    for force, key in enumerate(FORCES):
        error, explained = fit.error(force), fit.explained(force)
        if error is None or error <= FAR_OFF:
            continue
        off, share = error / PERCENT, max(explained or 0.0, 0.0) / PERCENT
        yield (
            f"{key}: left-out rows are {off:.0f} % off, and {share:.0f} % of its changes explained: the rest "
            "is scatter, or hangs on what the table does not name or the model does not do"
        )


def _unmeasured(fit: AirFit) -> Iterator[str]:
    for force, key in enumerate(FORCES):
        if np.isnan(fit.rows.forces[:, force]).all():
            yield f"{key} was not measured"
    if not (fit.rows.yaw != 0.0).any():
        yield "all rows are at a yaw of 0: they tell nothing of side force and yaw losses"


def _unseen_peaks(fit: AirFit) -> Iterator[str]:
    """Peaks that no row comes close to."""
    for number in fit.numbers:
        if (
            number.term.field != "peak_gap"
            or number.error is None
            or number.term.element is None
        ):
            continue
        low, high = gaps(fit, fit.like.air.elements[number.term.element])
        if not low <= number.value <= high:
            yield (
                f"{number.term.part}: its peak at {number.value / MM:.0f} mm lies outside of the gaps "
                f"measured, {low / MM:.0f} to {high / MM:.0f} mm, so that nothing shows it to be a peak"
            )


def gaps(fit: AirFit, element: AirElement) -> tuple[float, float]:
    """Least and largest gap of the rows under the middle of an element, m."""
    rides = fit.rows.front_ride, fit.rows.rear_ride
    gap = floor_height(fit.like.air, rides, element.station) + element.offset
    return float(gap.min()), float(gap.max())


def _unchecked(fit: AirFit) -> Iterator[str]:
    """Forces whose errors nothing tells."""
    for force, key in enumerate(FORCES):
        if fit.rows.counts[:, force].any() and fit.error(force) is None:
            yield f"{key}: too few attitudes to leave one out, its error is not known"


def _settings(fit: AirFit) -> Iterator[str]:
    """Wings that have settings in the table or in car.toml, but not in both."""
    for number, element in enumerate(fit.like.air.elements):
        measured = bool(fit.settings(number))
        if measured and not element.settings:
            yield (
                f"{element.name}: the table gives setting rows. Put such rows into car.toml too: a body "
                "may have settings only where car.toml has them"
            )
        elif element.settings and not measured:
            yield (
                f"{element.name}: car.toml has settings, the table does not turn it. The body is refused "
                f"until the rows are added; a column angle_{element.name}_deg measures them"
            )


def _rival(fit: AirFit) -> Iterator[str]:
    """Other numbers that the rows do not rule out."""
    if fit.fitted.rival is None:
        return
    rung = fit.step.rung
    values, terms = (
        rung.values(fit.fitted.rival),
        [rung.terms[place] for place in rung.free],
    )
    other = [
        f"{t.name} {values[place] / t.unit:.4g}"
        for place, t in zip(rung.free, terms, strict=True)
    ]
    yield f"other numbers fit the rows as well, and the table does not tell which: {', '.join(other)}"
