"""Where a step is done: an axle with both sides alike, or one wheel; the ballast that a car has or had."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from setupopt.errors import UserError
from setupopt.physics.inputs import Floats
from setupopt.project.model import AXLES, SIDES, WHEELS, Ballast, Setup
from setupopt.project.settings import MOST_BALLAST

ALIKE = 1e-7  # m, rad: sides that differ by less are set alike


class Place(NamedTuple):
    """An axle, both sides alike, or one wheel."""

    where: str  # as in a Step
    name: str
    wheel: int  # the first one
    each: str

    @property
    def axle(self) -> int:
        """0 front, 1 rear."""
        return self.wheel // 2

    @property
    def title(self) -> str:
        """At the beginning of a sentence."""
        return self.name.capitalize()


def places(*values: Floats) -> Iterator[Place]:
    """Axles whose two sides have the same of all values, and the single wheels of the others."""
    for axle, name in enumerate(AXLES):
        left = 2 * axle
        if all(
            abs(four[left] - four[left + 1])
            <= ALIKE * max(1.0, abs(four[left]))
            for four in values
        ):
            yield Place(name, name, left, "each side")
            continue
        for wheel, side in zip((left, left + 1), SIDES, strict=True):
            yield Place(
                WHEELS[wheel], f"{name} {side}", wheel, "on this side only"
            )


def all_pieces(today: Setup, target: Setup) -> tuple[Ballast, ...]:
    """The target's ballast, then what is only on the car today. Raises UserError for too much."""
    gone = [
        piece
        for piece in today.ballast
        if not any(is_same_piece(piece, one) for one in target.ballast)
    ]
    pieces = (*target.ballast, *gone)
    if len(pieces) > MOST_BALLAST:
        raise UserError(
            f"more than {MOST_BALLAST} pieces of ballast between today's setup and the target"
        )
    return pieces


def is_same_piece(one: Ballast, other: Ballast) -> bool:
    """Whether two are one piece, wherever along the car it sits."""
    return replace(one, station=other.station) == other
