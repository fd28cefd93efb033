"""What a drawing of the report page is made of: shapes, labels and letters. In mm, x to the right, y down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from setupopt.evaluation.drawn_parts import Gap
from setupopt.physics.inputs import Floats
from setupopt.units import MM

NARROW = 2.1  # times as large in a near drawing on a narrow page: its labels leave room for that


Box = tuple[float, float, float, float]


class Shape(NamedTuple):
    """A path; `kind` is its class in the style sheet, `name` what it shows."""

    kind: str
    path: str
    name: str = ""


class Label(NamedTuple):
    """Text at a place; `kind` is its class, `anchor` start, middle or end."""

    kind: str
    x: float
    y: float
    text: str
    anchor: str = "middle"


class Letter(NamedTuple):
    """A gap that stands in a drawing under a letter, at `s`: beside others in the same place."""

    letter: str
    gap: Gap
    s: float


@dataclass(frozen=True)
class Drawing:
    """One drawing: `box` is x, y, width and height, mm; `letter` the size of its letters on paper, mm."""

    kind: str
    title: str
    box: Box
    letter: float
    shapes: tuple[Shape, ...]
    labels: tuple[Label, ...]
    letters: tuple[Letter, ...] = ()

    @property
    def view(self) -> str:
        """As the attribute viewBox."""
        return " ".join(f"{number:.1f}" for number in self.box)


def path(
    points: Floats | Sequence[Sequence[float]], closed: bool = False
) -> str:
    """A path through points (n, 2) in m, y to the left and z up."""
    drawn = np.atleast_2d(np.asarray(points, dtype=float)) * [
        -1.0 / MM,
        -1.0 / MM,
    ]
    form = "L".join(
        ["%.2f %.2f"] * len(drawn)
    )  # one formatting of all is twice as fast as one of each
    return f"M{form % tuple(drawn.ravel().tolist())}{'Z' if closed else ''}"
