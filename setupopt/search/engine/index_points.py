"""Points of a continuous index, such as roll angles, and where a function of the index is least.

Families are curves over the same index, such as attitudes over the roll angle.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from setupopt.search.engine.batch import BatchFunction, Evaluation, Floats

# A local minimum is looked for at so many parts of its distance from the points on either side, so many times.
_PARTS = 3
_REFINEMENTS = 5


@dataclass(frozen=True, eq=False)
class IndexPoints:
    """The family of each index point, and where on the index it is; (index points)."""

    family: np.ndarray
    at: Floats

    def __len__(self) -> int:
        return int(self.at.size)

    def pick(self, numbers: np.ndarray) -> IndexPoints:
        """Some of them, in the order given."""
        return IndexPoints(self.family[numbers], self.at[numbers])

    def in_order(self) -> IndexPoints:
        """All of them along the index, family by family: each then begins from the one before."""
        return self.pick(np.lexsort((self.at, self.family)))

    def join(self, more: IndexPoints) -> IndexPoints:
        """These, then those of `more` that are not among them, each once."""
        first = dict.fromkeys(self._pairs(), -1)
        for number, pair in enumerate(more._pairs()):
            first.setdefault(pair, number)
        new = [number for number in first.values() if number >= 0]
        return _concatenated([self, more.pick(np.array(new, dtype=int))])

    def _pairs(self) -> Iterator[tuple[int, float]]:
        return zip(self.family.tolist(), self.at.tolist(), strict=True)


def _concatenated(pieces: Sequence[IndexPoints]) -> IndexPoints:
    family = np.concatenate([piece.family for piece in pieces])
    return IndexPoints(family, np.concatenate([piece.at for piece in pieces]))


@dataclass(frozen=True)
class Index:
    """So many families, numbered from `first`, over the same ascending `grid`.

    Index points between those of the grid count too.
    """

    families: int
    grid: Floats
    first: int = 0

    def grid_points(self) -> IndexPoints:
        """Every family at every point of the grid, families slowest."""
        numbers = np.arange(self.first, self.first + self.families)
        return IndexPoints(
            np.repeat(numbers, self.grid.size),
            np.tile(self.grid, self.families),
        )


@dataclass(frozen=True)
class SemiInfiniteEvaluation(Evaluation):
    """An evaluation that says to which index point each value and limit belongs.

    `value_index` (values) and `limit_index` (limits) number the index points given; -1 for none.
    """

    value_index: np.ndarray = None  # type: ignore[assignment]
    limit_index: np.ndarray = None  # type: ignore[assignment]


class SemiInfiniteFunction(Protocol):
    """A batch function whose values and limits depend on index points too."""

    def __call__(
        self,
        points: Floats,
        index_points: IndexPoints,
        warm_start: Any = None,
    ) -> SemiInfiniteEvaluation: ...


def restricted(
    function: SemiInfiniteFunction, index_points: IndexPoints
) -> BatchFunction:
    """The function on fixed index points."""
    return lambda points, warm_start=None: function(
        points, index_points, warm_start
    )


@dataclass(frozen=True)
class OracleResult:
    """The least value and the least limit of a point at each index point, (index points).

    Infinite where an index point has no value or no limit. `warm_start` (index points), where there is one,
    speeds up index points nearby.
    """

    index_points: IndexPoints
    value: Floats
    limit: Floats
    warm_start: Any = None

    def pick(self, numbers: np.ndarray) -> OracleResult:
        """Some of the index points, in the order given."""
        start = self.warm_start
        return OracleResult(
            self.index_points.pick(numbers),
            self.value[numbers],
            self.limit[numbers],
            None if start is None else start[numbers],
        )


def evaluate_at(
    function: SemiInfiniteFunction,
    point: Floats,
    index_points: IndexPoints,
    warm_start: Any = None,
) -> OracleResult:
    """One point (variables) at index points."""
    found = function(point[None, :], index_points, warm_start)
    size = len(index_points)
    value = _least(found.values[0], found.value_index, size)
    limit = _least(found.limits[0], found.limit_index, size)
    return OracleResult(index_points, value, limit, found.warm_start)


def _least(numbers: Floats, owner: np.ndarray, size: int) -> Floats:
    """The least of the numbers that each of `size` index points owns."""
    least = np.full(size, np.inf)
    own = owner >= 0
    np.minimum.at(least, owner[own], numbers[own])
    return least


def _local_minima(curves: Floats, families: int, highest: float) -> np.ndarray:
    """Local minima of curves (families x grid), flat, that are no higher than `highest`; their numbers.

    Of equal neighbours the first one counts.
    """
    rows = curves.reshape(families, -1)
    padded = np.pad(rows, ((0, 0), (1, 1)), constant_values=np.inf)
    low = (rows < padded[:, :-2]) & (rows <= padded[:, 2:]) & (rows <= highest)
    return np.flatnonzero(low.ravel())


def _refined(
    function: SemiInfiniteFunction,
    grid: OracleResult,
    index: Index,
    point: Floats,
    numbers: np.ndarray,
    by_limit: np.ndarray,
) -> OracleResult:
    """The lowest index point between the neighbours of each grid point, by its value or by its limit.

    All are looked at together: a limit may depend on the worst value of all index points.
    """
    gaps = np.concatenate([[0.0], np.diff(index.grid), [0.0]])
    place = numbers % index.grid.size
    parts = np.arange(1 - _PARTS, _PARTS)
    gap = np.where(parts < 0, gaps[place, None], gaps[place + 1, None])
    found = grid.pick(numbers)
    for _ in range(_REFINEMENTS):
        gap = gap / _PARTS
        every = np.repeat(np.arange(numbers.size), parts.size)
        middle = found.pick(every)
        tried = IndexPoints(
            middle.index_points.family,
            middle.index_points.at + (parts * gap).ravel(),
        )
        seen = evaluate_at(function, point, tried, middle.warm_start)
        curves = np.where(by_limit[every], seen.limit, seen.value)
        best = curves.reshape(gap.shape).argmin(axis=1)
        found = seen.pick(best + parts.size * np.arange(numbers.size))
    return found


def _on_grid(
    function: SemiInfiniteFunction,
    index: Index,
    point: Floats,
    band: float,
    room: float,
) -> tuple[OracleResult, np.ndarray, np.ndarray]:
    """A point on the whole grid, and the numbers of the local minima of its values and of its limits."""
    grid = evaluate_at(function, point, index.grid_points())
    highest = grid.value.min() + band
    lowest = _local_minima(grid.value, index.families, highest)
    return grid, lowest, _local_minima(grid.limit, index.families, room)


def coarse_oracle(
    function: SemiInfiniteFunction,
    index: Index,
    point: Floats,
    band: float,
    room: float,
) -> OracleResult:
    """The worst index points of the grid itself, not refined: enough for a search to begin with."""
    grid, lowest, tightest = _on_grid(function, index, point, band, room)
    return grid.pick(np.unique(np.concatenate([lowest, tightest])))


def separation_oracle(
    function: SemiInfiniteFunction,
    index: Index,
    point: Floats,
    band: float,
    room: float,
) -> OracleResult:
    """The worst index points of a point (variables), the least value first.

    These are the local minima of its values within `band` of the least, and those of its limits under
    `room`, each refined between the points of the grid. The grid does not begin at answers of another point:
    those of one far away hide what is worst.
    """
    grid, lowest, tightest = _on_grid(function, index, point, band, room)
    numbers = np.concatenate([lowest, tightest])
    if numbers.size == 0:
        return grid.pick(numbers)
    by_limit = np.arange(numbers.size) >= lowest.size
    return join_results(
        [_refined(function, grid, index, point, numbers, by_limit)]
    )


def join_results(found: Sequence[OracleResult]) -> OracleResult:
    """All of them, the least value first."""
    value = np.concatenate([one.value for one in found])
    limit = np.concatenate([one.limit for one in found])
    whole = OracleResult(
        _concatenated([one.index_points for one in found]), value, limit
    )
    return whole.pick(np.argsort(value, kind="stable"))
