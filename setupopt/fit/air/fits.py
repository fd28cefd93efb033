"""Bodies from measured air loads: one for each configuration of a table.

Their geometry, their names and every number that the table cannot tell are those of a project's own body.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

from setupopt.errors import UserError
from setupopt.fit.air.fit import AirFit
from setupopt.fit.air.ladder import climb
from setupopt.fit.air.measured import Measured
from setupopt.fit.air.names import body_names
from setupopt.fit.air.oddities import is_doubtful
from setupopt.fit.air.rows import DOWNFORCE, DRAG, SIDE, AirRows
from setupopt.fit.air.table import AirTable
from setupopt.fit.air.wings import AngledRows, angle_words
from setupopt.project.bodies import own_body, with_bodywork
from setupopt.project.model import Car, Project

NOISE = 0.02
SPREADS = {
    "downforce_percent": DOWNFORCE,
    "drag_percent": (DRAG,),
    "side_force_percent": (SIDE,),
}


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
        errors = [
            fit.error(force) for fit in self.parts for force in SPREADS[key]
        ]
        known = [error for error in errors if error is not None]
        return max(known) if known else None

    @property
    def is_whole(self) -> bool:
        """Whether everything is told, by one body alone, which nearly all rows fit."""
        return not any(is_doubtful(fit) for fit in self.parts)

    @property
    def parts(self) -> tuple[AirFit, ...]:
        """Every fit: of each body, and after it of its wings at other angles."""
        return tuple(
            part
            for fit in self.fits
            for part in (fit, *(other for _, other in fit.turned))
        )


def fit_air(
    table: AirTable,
    project: Project,
    noise: float = NOISE,
    progress: Callable[[str], object] = str,
) -> AirFits:
    """The bodies of a table with the elements of the project's own body.

    `noise`: share of a force's size, one standard deviation, where there are too few rows to tell it.
    `progress` is told what is being fitted. Raises UserError where the rows of a body tell nothing.
    """
    like = with_bodywork(project.car, own_body(project))
    names = body_names(table.rows)
    fits = tuple(
        with_wings(
            fit_body(names[label], label, like, angled.rows, noise, progress),
            angled,
            noise,
            progress,
        )
        for label, angled in table.angled.items()
    )
    notes = (*table.notes, *_alike(names), *_renamed(names), *_flat(table))
    return AirFits(table, project, noise, fits, notes)


def fit_body(
    name: str, label: str, like: Car, rows: AirRows, noise: float = NOISE,
    progress: Callable[[str], object] = str, wing: int | None = None,
) -> AirFit:  # fmt: skip
    """The body of one configuration; with `wing`, of what turning that element changes.

    Raises UserError where its rows tell nothing.
    """
    measured = Measured(like, rows, noise, wing)
    steps = climb(
        measured,
        lambda rung: progress(f"{name}: {len(rows)} rows, rung {rung}"),
    )
    if not steps:
        raise UserError(
            f'configuration "{label}": its rows tell nothing of the body of the project'
        )
    return AirFit(name, label, like, measured, tuple(steps))


def with_wings(
    fit: AirFit,
    angled: AngledRows,
    noise: float,
    progress: Callable[[str], object],
) -> AirFit:
    """The body with what each of its wings does at other angles."""
    like = replace(fit.like, air=fit.air)
    turned = []
    for part in angled.turned:
        name = f"{fit.name}, {like.air.elements[part.wing].name} at {angle_words(part.angle)}"
        turned.append(
            (
                part.angle,
                fit_body(
                    name, fit.label, like, part.rows, noise, progress, part.wing
                ),
            )
        )
    return replace(fit, angles=angled.angles, turned=tuple(turned))


def _renamed(names: dict[str, str]) -> Iterator[str]:
    for label, name in names.items():
        if label != name:
            yield f'configuration "{label}" is called "{name}": that is a name a file of a body can have'


def _alike(labels: Iterable[str]) -> Iterator[str]:
    """Configurations that may be one, typed in two ways."""
    plain: dict[str, str] = {}
    for label in labels:
        other = plain.setdefault("".join(label.casefold().split()), label)
        if other != label:
            yield f'configurations "{other}" and "{label}" differ in capitals or spaces alone: one body?'


def _flat(table: AirTable) -> Iterator[str]:
    if not any(rows.curvature.any() for rows in table.rows.values()):
        yield "no row stands over a curved surface: what that does to the loads rests on the model alone"
