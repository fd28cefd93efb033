"""Places on a continuous index, such as roll angles, and where on it a function of the index is least.

Families are curves over the same index: attitudes over the roll angle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.search.engine.maxmin import BatchFunction, Evaluation

# A bracket round a dip is looked at in so many places at once, so many times.
_LOOKS, _ZOOMS = 7, 4


@dataclass(frozen=True)
class IndexPoints:
    """Which family, and where along the index, (places)."""

    family: np.ndarray
    at: Floats

    def __len__(self) -> int:
        return int(self.at.size)

    def pick(self, rows: np.ndarray) -> IndexPoints:
        """Some of them, in the order asked for."""
        return IndexPoints(self.family[rows], self.at[rows])

    def join(self, more: IndexPoints) -> IndexPoints:
        """These, then those of `more` that are not among them, once each."""
        known = set(zip(self.family.tolist(), self.at.tolist(), strict=True))
        new: list[int] = []
        for row, pair in enumerate(zip(more.family.tolist(), more.at.tolist(), strict=True)):
            if pair not in known:
                known.add(pair)
                new.append(row)
        added = more.pick(np.array(new, dtype=int))
        return IndexPoints(np.concatenate([self.family, added.family]), np.concatenate([self.at, added.at]))


@dataclass(frozen=True)
class Index:
    """So many families, numbered from `first`, over the same `grid`, ascending.

    What lies between the points of the grid counts as well.
    """

    families: int
    grid: Floats
    first: int = 0

    def places(self) -> IndexPoints:
        """Every family at every point of the grid, families slowest."""
        numbers = np.arange(self.first, self.first + self.families)
        return IndexPoints(np.repeat(numbers, self.grid.size), np.tile(self.grid, self.families))


@dataclass(frozen=True)
class SemiInfiniteEvaluation(Evaluation):
    """Answers whose rows belong to places: their row among the places asked for, -1 for none, (rows)."""

    value_place: np.ndarray = None  # type: ignore[assignment]
    limit_place: np.ndarray = None  # type: ignore[assignment]


class SemiInfiniteFunction(Protocol):
    """A batch function whose rows depend on places of an index too."""

    def __call__(self, points: Floats, places: IndexPoints, memory: Any = None) -> SemiInfiniteEvaluation: ...


def on(function: SemiInfiniteFunction, places: IndexPoints) -> BatchFunction:
    """The function with its places fixed."""
    return lambda points, memory=None: function(points, places, memory)


@dataclass(frozen=True)
class OracleResult:
    """How a point stands at places: the least value and the least limit of each, (places).

    Infinite where a place has no such row.
    """

    places: IndexPoints
    value: Floats
    limit: Floats


def look(function: SemiInfiniteFunction, point: Floats, places: IndexPoints) -> OracleResult:
    """How one point stands at places."""
    answers = function(point[None, :], places)
    value, limit = np.full(len(places), np.inf), np.full(len(places), np.inf)
    for least, rows, place in (
        (value, answers.values[0], answers.value_place), (limit, answers.limits[0], answers.limit_place)
    ):  # fmt: skip
        own = place >= 0
        np.minimum.at(least, place[own], rows[own])
    return OracleResult(places, value, limit)


def _dips(curves: Floats, highest: float) -> np.ndarray:
    """Local minima of curves (families, grid) that are no higher than `highest`; rows of a flat array.

    Of a level floor the first point counts.
    """
    padded = np.pad(curves, ((0, 0), (1, 1)), constant_values=np.inf)
    low = (curves < padded[:, :-2]) & (curves <= padded[:, 2:]) & (curves <= highest)
    return np.flatnonzero(low.ravel())


def _zoom(
    function: SemiInfiniteFunction, index: Index, point: Floats, rows: np.ndarray, of: str
) -> OracleResult:
    """The lowest place between the neighbours of each grid place, by "value" or "limit"."""
    size, grid = index.grid.size, index.grid
    family, at = index.first + rows // size, rows % size
    low, high = grid[np.maximum(at - 1, 0)], grid[np.minimum(at + 1, size - 1)]
    ranks = np.arange(rows.size)
    for _ in range(_ZOOMS):
        inside = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, _LOOKS + 2)
        looked = look(function, point, IndexPoints(np.repeat(family, _LOOKS + 2), inside.ravel()))
        best = getattr(looked, of).reshape(inside.shape).argmin(axis=1)
        low = inside[ranks, np.maximum(best - 1, 0)]
        high = inside[ranks, np.minimum(best + 1, _LOOKS + 1)]
    flat = ranks * (_LOOKS + 2) + best
    return OracleResult(looked.places.pick(flat), looked.value[flat], looked.limit[flat])


def coarse_oracle(
    function: SemiInfiniteFunction, index: Index, point: Floats, band: float, room: float
) -> IndexPoints:
    """Where a point stands worst on the grid itself, unrefined: enough for a climb to begin with."""
    grid, shape = look(function, point, index.places()), (index.families, index.grid.size)
    rows = [
        _dips(curve.reshape(shape), highest)
        for curve, highest in ((grid.value, grid.value.min() + band), (grid.limit, room))
    ]
    return grid.places.pick(np.unique(np.concatenate(rows)))


def separation_oracle(
    function: SemiInfiniteFunction, index: Index, point: Floats, band: float, room: float
) -> OracleResult:
    """Where a point stands worst: the dips of its values within `band` of the least, and those of its
    limits under `room`, each refined between the points of the grid. The least value comes first.
    """
    grid = look(function, point, index.places())
    shape, found = (index.families, index.grid.size), []
    for of, curve, highest in (
        ("value", grid.value, grid.value.min() + band), ("limit", grid.limit, room)
    ):  # fmt: skip
        rows = _dips(curve.reshape(shape), highest)
        if rows.size:
            found.append(_zoom(function, index, point, rows, of))
    return (
        join_results(found)
        if found
        else OracleResult(index.places().pick(np.empty(0, int)), *np.empty((2, 0)))
    )


def join_results(found: list[OracleResult]) -> OracleResult:
    """All of them, the least value first."""
    family, at = (np.concatenate([getattr(f.places, name) for f in found]) for name in ("family", "at"))
    value, limit = (np.concatenate([getattr(f, name) for f in found]) for name in ("value", "limit"))
    order = np.argsort(value, kind="stable")
    return OracleResult(IndexPoints(family, at).pick(order), value[order], limit[order])
