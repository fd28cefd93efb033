"""Wing angles: which rows turn one wing, and what that wing does at each of its measured angles."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from setupopt.fit.air.rows import DRAG, AirRows
from setupopt.fit.table import lines_text
from setupopt.physics.inputs import Floats
from setupopt.project.model import Air, WingSetting
from setupopt.units import DEG

_WORDS = (
    "left out, where more than one wing is turned from the angles of most rows"
)


@dataclass(frozen=True, eq=False)
class TurnedRows:
    """Rows that differ from those of the body by the `angle` of one wing, rad. `wing`: its number."""

    wing: int
    angle: float
    rows: AirRows


@dataclass(frozen=True, eq=False)
class AngledRows:
    """The rows of one configuration: `rows` of the body, at the angles that most rows have, and `turned`.

    `angles`: those of the body by an element's number, rad.
    """

    rows: AirRows
    angles: dict[int, float]
    turned: tuple[TurnedRows, ...]
    notes: tuple[str, ...]


def by_angle(rows: AirRows, wings: Sequence[int], angles: Floats) -> AngledRows:
    """Rows of one configuration by their `angles` (rows, wings), rad, of the elements `wings`."""
    kinds, kind = np.unique(angles, axis=0, return_inverse=True)
    kind = kind.reshape(-1)
    count = np.bincount(kind)
    usual = kinds[count.argmax()]
    turned = []
    for number, row in enumerate(kinds):
        (moved,) = np.nonzero(row != usual)
        if moved.size == 1:
            own = rows.pick(kind == number).in_order()
            turned.append(
                TurnedRows(wings[moved[0]], float(row[moved[0]]), own)
            )
    several = (angles != usual).sum(axis=1) > 1
    notes = (
        (f"{lines_text(rows.lines[several])}: {_WORDS}",)
        if several.any()
        else ()
    )
    body = rows.pick((angles == usual).all(axis=1)).in_order()
    ordered = sorted(turned, key=lambda part: (part.wing, part.angle))
    return AngledRows(
        body,
        dict(zip(wings, usual.tolist(), strict=True)),
        tuple(ordered),
        notes,
    )


def wing_settings(
    wing: int,
    own: tuple[float, Air],
    turned: Sequence[tuple[float, Air, AirRows]],
) -> Iterator[WingSetting]:
    """What an element does by angle, the smallest first.

    `own`: the body's angle and air; `turned`: other angles, the air there, and its rows. The element's share
    of the drag changes as the drag of the whole body does; it is None where one angle has no measured drag.
    """
    known = all(rows.counts[:, DRAG].any() for _, _, rows in turned)
    airs = dict([own, *((angle, air) for angle, air, _ in turned)])
    more = {
        angle: air.drag_area - own[1].drag_area for angle, air in airs.items()
    }
    share = max(own[1].elements[wing].drag_area or 0.0, -min(more.values()))
    for angle, air in sorted(airs.items()):
        element = air.elements[wing]
        drag = share + more[angle] if known else None
        yield WingSetting(
            angle,
            element.free_area,
            element.ground_area,
            element.peak_gap,
            drag,
        )


def angle_words(angle: float) -> str:
    """An angle in deg for people.

    >>> angle_words(0.2)
    '11.4592 deg'
    """
    return f"{angle / DEG:.6g} deg"
