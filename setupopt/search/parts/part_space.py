"""Sets of parts: nodes of a branch-and-bound tree, bounded with parts of any value in between, and split.

A set of parts is a body, and one piece for each setting that comes in pieces. Branch and bound: A. H. Land
and A. G. Doig, An automatic method of solving discrete programming problems, Econometrica 28 (1960) 497-520.
The bound of a node comes from local searches: it is right as far as they find the best of the node's box.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from setupopt.evaluation.variables import Variable
from setupopt.physics.inputs import Floats

# A range with at most so many steps comes in pieces; finer steps are left to the rounding.
_FEW = 12
# A part closer to a piece than this, in shares of its range, is on it.
_ON = 1e-6


def is_part(variable: Variable) -> bool:
    """Whether a setting comes in pieces, too coarse to be left to the rounding."""
    grid = variable.grid()
    return grid is not None and (
        variable.range.choices is not None or grid.size <= _FEW
    )


@dataclass(frozen=True)
class Node:
    """Sets of one body. Each part is between two of its pieces, by number, both included."""

    body: int
    low: tuple[int, ...]
    high: tuple[int, ...]


@dataclass(frozen=True)
class BoundedNode:
    """A node, the highest merit in its box, and the point (variables) that has it."""

    node: Node
    bound: float
    point: Floats

    def as_dict(self) -> dict[str, Any]:
        """Plain values, to be kept in a study."""
        return {
            **asdict(self.node),
            "bound": self.bound,
            "point": self.point.tolist(),
        }

    @classmethod
    def from_dict(cls, kept: dict[str, Any]) -> BoundedNode:
        """The inverse of `as_dict`."""
        node = Node(int(kept["body"]), tuple(kept["low"]), tuple(kept["high"]))
        return cls(node, float(kept["bound"]), np.array(kept["point"]))

    @property
    def rank(self) -> tuple[float, int, tuple[int, ...]]:
        """Sorts the most promising node first."""
        return -self.bound, self.node.body, self.node.low


class PartSpace:
    """All sets of parts: the bodies, and those of the variables that come in pieces."""

    def __init__(
        self, bodies: Sequence[str | None], variables: Sequence[Variable]
    ) -> None:
        self.bodies = tuple(bodies)
        self.variables = tuple(variables)
        self.parts = tuple(
            j for j, variable in enumerate(variables) if is_part(variable)
        )
        self.grids = tuple(
            g for j in self.parts if (g := variables[j].grid()) is not None
        )

    @property
    def sets(self) -> int:
        """How many sets of parts there are."""
        return len(self.bodies) * int(
            np.prod([grid.size for grid in self.grids], dtype=np.int64)
        )

    def root(self, body: int) -> Node:
        """All sets of a body."""
        return Node(
            body,
            (0,) * len(self.parts),
            tuple(grid.size - 1 for grid in self.grids),
        )

    def bounds(self, node: Node) -> tuple[Floats, Floats]:
        """Lowest and highest value of all variables in a node's box, (variables)."""
        low = np.zeros(len(self.variables))
        high = np.ones(len(self.variables))
        for j, pieces, _ in self._pieces(node):
            low[j] = pieces[0]
            high[j] = pieces[-1]
        return low, high

    def _pieces(self, node: Node) -> Iterator[tuple[int, Floats, int]]:
        """Each part: its variable, the pieces of a node in its grid, and the number of the first of them."""
        every = zip(self.parts, self.grids, node.low, node.high, strict=True)
        for j, grid, first, last in every:
            yield j, grid[first : last + 1], first

    def nearest(self, found: BoundedNode) -> Node:
        """The node of one set: the one next to the point of a node."""
        number = tuple(
            first + int(np.abs(pieces - found.point[j]).argmin())
            for j, pieces, first in self._pieces(found.node)
        )
        return Node(found.node.body, number, number)

    def split(self, found: BoundedNode) -> tuple[Node, ...]:
        """The node in two, at the part whose value is furthest from a piece; none of one set.

        Where every part is on a piece, the widest part is split: the search may have missed a better one.
        """
        node = found.node
        low = node.low
        high = node.high
        wide = [i for i in range(len(low)) if high[i] > low[i]]
        if not wide:
            return ()
        away = [
            float(
                np.abs(
                    self.grids[i][low[i] : high[i] + 1]
                    - found.point[self.parts[i]]
                ).min()
            )
            for i in wide
        ]
        furthest = wide[int(np.argmax(away))]
        widest = max(wide, key=lambda i: high[i] - low[i])
        at = furthest if max(away) > _ON else widest
        below = (
            int(
                np.searchsorted(
                    self.grids[at], found.point[self.parts[at]], side="right"
                )
            )
            - 1
        )
        cut = min(max(below, low[at]), high[at] - 1)
        first = (*high[:at], cut, *high[at + 1 :])
        second = (*low[:at], cut + 1, *low[at + 1 :])
        return Node(node.body, low, first), Node(node.body, second, high)

    def labels(self, node: Node) -> dict[str, str | float]:
        """The first set of a node as the files say it, by the names of `choices`."""
        pieces = (node.body, *node.low) if len(self.bodies) > 1 else node.low
        named = zip(self.choices().items(), pieces, strict=True)
        return {name: values[piece] for (name, values), piece in named}

    def choices(self) -> dict[str, Sequence[str | float]]:
        """The pieces of every part by its name, in the unit of the files, rounded free of conversion noise.

        The bodies come first, where there are several.
        """
        several = len(self.bodies) > 1
        found: dict[str, Sequence[str | float]] = (
            {"body": [b or "" for b in self.bodies]} if several else {}
        )
        for j, grid in zip(self.parts, self.grids, strict=True):
            one = self.variables[j]
            values = (one.range.lower + grid * one.width) / one.setting.factor
            found[one.name] = [round(float(value), 6) for value in values]
        return found
