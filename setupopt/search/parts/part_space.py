"""Which parts: boxes of part sets, bounded by letting the parts take any value between, and split.

A set of parts is a body and one value for each setting that comes in pieces. Branch and bound: A. H. Land
and A. G. Doig, An automatic method of solving discrete programming problems, Econometrica 28 (1960) 497-520.
The bound of a box is a climb, good as far as climbs find the best of their box.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from setupopt.evaluation.variables import Variable
from setupopt.physics.inputs import Floats

# A range with no more steps than these comes in parts; what is finer is left to the last.
_FEW = 12
# A part closer to a piece than this is on it.
_ON = 1e-6


def is_part(variable: Variable) -> bool:
    """Whether a setting comes in pieces too coarse to be left to the last."""
    grid = variable.grid()
    return grid is not None and (variable.range.choices is not None or grid.size <= _FEW)


@dataclass(frozen=True)
class Node:
    """Sets of one body whose parts lie between two pieces each, by number, both included."""

    body: int
    low: tuple[int, ...]
    high: tuple[int, ...]


@dataclass(frozen=True)
class BoundedNode:
    """A box, the highest merit with parts of any value in it, and the point (variables) that has it."""

    box: Node
    bound: float
    point: Floats

    def as_dict(self) -> dict[str, Any]:
        """Plain values, to be kept in a study."""
        low, high = list(self.box.low), list(self.box.high)
        return {
            "body": self.box.body, "low": low, "high": high, "bound": self.bound, "point": self.point.tolist()
        }  # fmt: skip

    @classmethod
    def from_dict(cls, kept: dict[str, Any]) -> BoundedNode:
        """What `as_dict` told of."""
        box = Node(int(kept["body"]), tuple(kept["low"]), tuple(kept["high"]))
        return cls(box, float(kept["bound"]), np.array(kept["point"]))


class PartSpace:
    """All sets of parts: the bodies, and the variables among all that come in pieces."""

    def __init__(self, bodies: Sequence[str | None], variables: Sequence[Variable]) -> None:
        self.bodies, self.variables = tuple(bodies), tuple(variables)
        self.parts = tuple(j for j, variable in enumerate(variables) if is_part(variable))
        self.grids = tuple(g for j in self.parts if (g := variables[j].grid()) is not None)

    @property
    def sets(self) -> int:
        """How many sets of parts there are."""
        return len(self.bodies) * int(np.prod([grid.size for grid in self.grids], dtype=np.int64))

    def root(self, body: int) -> Node:
        """All sets of a body."""
        return Node(body, (0,) * len(self.parts), tuple(grid.size - 1 for grid in self.grids))

    def borders(self, box: Node) -> tuple[Floats, Floats]:
        """Lowest and highest value of all variables inside a box, (variables)."""
        low, high = np.zeros(len(self.variables)), np.ones(len(self.variables))
        for j, grid, first, last in zip(self.parts, self.grids, box.low, box.high, strict=True):
            low[j], high[j] = grid[first], grid[last]
        return low, high

    def nearest(self, found: BoundedNode) -> tuple[int, ...]:
        """The set of a box next to its point, by number."""
        return tuple(
            first + int(np.abs(grid[first : last + 1] - found.point[j]).argmin())
            for j, grid, first, last in zip(
                self.parts, self.grids, found.box.low, found.box.high, strict=True
            )
        )

    def single(self, body: int, pieces: tuple[int, ...]) -> Node:
        """The box of one set."""
        return Node(body, pieces, pieces)

    def split(self, found: BoundedNode) -> tuple[Node, ...]:
        """The box in two, between the pieces round the part that lies furthest from one; none of one set.

        Where every part lies on a piece, the widest is split: the climb may have missed a better one.
        """
        low, high = found.box.low, found.box.high
        wide = [i for i in range(len(low)) if high[i] > low[i]]
        if not wide:
            return ()
        away = [
            float(np.abs(self.grids[i][low[i] : high[i] + 1] - found.point[self.parts[i]]).min())
            for i in wide
        ]
        at = wide[int(np.argmax(away))] if max(away) > _ON else max(wide, key=lambda i: high[i] - low[i])
        below = int(np.searchsorted(self.grids[at], found.point[self.parts[at]], side="right")) - 1
        cut = min(max(below, low[at]), high[at] - 1)
        first, second = list(high), list(low)
        first[at], second[at] = cut, cut + 1
        return Node(found.box.body, low, tuple(first)), Node(found.box.body, tuple(second), high)

    def words(self, body: int, pieces: tuple[int, ...]) -> dict[str, str | float]:
        """A set as the files say it: the body, where there are several, and the settings by name."""
        values: dict[str, str | float] = {"body": self.bodies[body] or ""} if len(self.bodies) > 1 else {}
        for j, piece in zip(self.parts, pieces, strict=True):
            values[self.variables[j].name] = self.choices(j)[piece]
        return values

    def choices(self, variable: int) -> list[float]:
        """The pieces of a variable in the unit of the files, without the noise of the conversion."""
        one = self.variables[variable]
        grid = one.grid()
        assert grid is not None
        return [round((one.range.lower + float(g) * one.width) / one.setting.factor, 6) for g in grid]
