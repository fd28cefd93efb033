"""Bodies from measured air loads: one for each configuration of a table.

Their geometry, their names and every number that the table cannot tell are those of a project's own body.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from setupopt.errors import UserError
from setupopt.fit.air_fit import AirFit
from setupopt.fit.air_ladder import climb
from setupopt.fit.air_measured import Measured
from setupopt.fit.air_names import body_names
from setupopt.fit.air_rows import DOWNFORCE, DRAG, FORCES, SIDE, AirRows
from setupopt.fit.air_table import AirTable
from setupopt.project.bodies import dressed, own_body
from setupopt.project.model import AirElement, Car, Project
from setupopt.units import MM

NOISE = 0.02
MANY_OUTLYING = 0.1  # of all that was measured
SPREADS = {"downforce_percent": DOWNFORCE, "drag_percent": (DRAG,), "side_force_percent": (SIDE,)}


@dataclass(frozen=True, eq=False)
class AirFits:
    """The bodies of a table, in the order of its configurations. `notes`: what is odd about the table."""

    table: AirTable
    project: Project
    noise: float
    fits: tuple[AirFit, ...]
    notes: tuple[str, ...]

    def spread(self, key: str) -> float | None:
        """A key of `[spread]` as a share: the largest cross-validated error of all bodies and axles."""
        errors = [fit.error(force) for fit in self.fits for force in SPREADS[key]]
        known = [error for error in errors if error is not None]
        return max(known) if known else None

    @property
    def is_whole(self) -> bool:
        """Whether everything is told, by one body alone, and not too much of it does not fit."""
        return not any(fit.held or is_scattered(fit) or fit.fitted.rival is not None for fit in self.fits)


def fit_air(
    table: AirTable, project: Project, noise: float = NOISE, progress: Callable[[str], object] = str
) -> AirFits:
    """The bodies of a table with the elements of the project's own body.

    `noise`: share of a force's size, one standard deviation, where there are too few rows to tell it.
    `progress` is told what is being fitted. Raises UserError where the rows of a body tell nothing.
    """
    like = dressed(project.car, own_body(project))
    names = body_names(table.rows)
    fits = tuple(
        fit_body(names[label], label, like, rows, noise, progress) for label, rows in table.rows.items()
    )
    return AirFits(table, project, noise, fits, (*table.notes, *_renamed(names)))


def fit_body(
    name: str, label: str, like: Car, rows: AirRows, noise: float = NOISE,
    progress: Callable[[str], object] = str,
) -> AirFit:  # fmt: skip
    """The body of one configuration. Raises UserError where its rows tell nothing."""
    measured = Measured(like, rows, noise)
    steps = climb(measured, lambda rung: progress(f"{name}: {len(rows)} rows, rung {rung}"))
    if not steps:
        raise UserError(f'configuration "{label}": its rows tell nothing of the body of the project')
    return AirFit(name, label, like, measured, tuple(steps))


def _renamed(names: dict[str, str]) -> Iterator[str]:
    for label, name in names.items():
        if label != name:
            yield f'configuration "{label}" is called "{name}": that is a name a file of a body can have'


def is_scattered(fit: AirFit) -> bool:
    """Whether more than a tenth of the measured values does not fit."""
    return len(fit.outlying) > MANY_OUTLYING * max(int(fit.rows.counts.sum()), 1)


def oddities(fit: AirFit) -> tuple[str, ...]:
    """What is odd about a fitted body, in sentences."""
    return (*_unmeasured(fit), *_signs(fit), *_unseen_peaks(fit), *_unchecked(fit), *_rival(fit))


def _unmeasured(fit: AirFit) -> Iterator[str]:
    for force, key in enumerate(FORCES):
        if np.isnan(fit.rows.forces[:, force]).all():
            yield f"{key} was not measured"
    if not (fit.rows.yaw != 0.0).any():
        yield "all rows are at a yaw of 0: they tell nothing of side force and yaw losses"


def _signs(fit: AirFit) -> Iterator[str]:
    """Loads that push the other way than they should."""
    areas = fit.rows.areas
    if np.nansum(areas[:, DOWNFORCE]) < 0.0 < sum(e.free_area for e in fit.like.air.elements):
        yield "lift where the elements make downforce: loads count positive towards the surface"
    against = areas[:, SIDE] * fit.rows.yaw
    if np.nansum(against) > 0.0:
        yield (
            "the side force pushes against the flow: positive yaw is flow from the left, positive side force "
            "is to the left"
        )


def _unseen_peaks(fit: AirFit) -> Iterator[str]:
    """Peaks that no row comes close to."""
    for number in fit.numbers:
        if number.term.field != "peak_gap" or number.error is None or number.term.element is None:
            continue
        low, high = gaps(fit, fit.like.air.elements[number.term.element])
        if not low <= number.value <= high:
            yield (
                f"{number.term.part}: its peak at {number.value / MM:.0f} mm lies outside of the gaps "
                f"measured, {low / MM:.0f} to {high / MM:.0f} mm, so that nothing shows it to be a peak"
            )


def gaps(fit: AirFit, element: AirElement) -> tuple[float, float]:
    """Least and largest gap of the rows under the middle of an element, m."""
    air, rows = fit.like.air, fit.rows
    along = (element.station - air.front_ride_station) / (air.rear_ride_station - air.front_ride_station)
    gap = rows.front_ride + along * (rows.rear_ride - rows.front_ride) + element.offset
    return float(gap.min()), float(gap.max())


def _unchecked(fit: AirFit) -> Iterator[str]:
    """Forces whose errors nothing tells."""
    for force, key in enumerate(FORCES):
        if fit.rows.counts[:, force].any() and fit.error(force) is None:
            yield f"{key}: too few attitudes to leave one out, its error is not known"


def _rival(fit: AirFit) -> Iterator[str]:
    """Other numbers that the rows do not rule out."""
    if fit.fitted.rival is None:
        return
    rung = fit.step.rung
    values, terms = rung.values(fit.fitted.rival), [rung.terms[place] for place in rung.free]
    other = [f"{t.name} {values[place] / t.unit:.4g}" for place, t in zip(rung.free, terms, strict=True)]
    yield f"other numbers fit the rows as well, and the table does not tell which: {', '.join(other)}"
