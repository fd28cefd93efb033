"""The front between length, speed and margin: the best route for every length and entry speed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setupopt.jobs.chunk_ranges import Progress
from setupopt.jobs.store import Store
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project, Range
from setupopt.route.goal import RouteOptions, goal_of, wanted
from setupopt.route.grid import Cell, Grid, Where, best_grid
from setupopt.route.judged import Judge
from setupopt.route.radius_map import steps
from setupopt.route.study import FirstSearch, best_first

LENGTHS = 6
_SPEEDS = 5  # where [route] gives none
_ROUND = 5.0  # m, to which lengths are rounded
# Of the length of the first path with the highest margin: the shortest and the longest way of the front
_SHORTEST = 0.7
_LONGEST = 1.3
_MARGIN = 0.01


@dataclass(frozen=True)
class FrontPoint:
    """A cell, whether no other is as short, as slow and has as much margin, and what more of both costs.

    `margin_costs`: m of way for 0.01 more margin; `speed_costs`: for 1 m/s more at the same margin; not a
    number where the grid does not reach it.
    """

    cell: Cell
    on_front: bool
    margin_costs: float
    speed_costs: float


class LengthFront(Grid):
    """Cells by longest way on the section, m, and speed."""

    @property
    def points(self) -> tuple[FrontPoint, ...]:
        """All cells that keep their limits, by speed, then by length."""
        kept = sorted(
            (cell for cell in self.cells if cell.keeps),
            key=lambda cell: (cell.speed, cell.row),
        )
        return tuple(
            FrontPoint(
                cell,
                not any(_beats(other, cell) for other in kept),
                self._needed(cell.speed, cell.margin + _MARGIN)
                - self._needed(cell.speed, cell.margin),
                self._per_speed(cell),
            )
            for cell in kept
        )

    def _needed(self, speed: float, margin: float) -> float:
        """Way that a margin takes at a speed of the grid, m: between the cells, not beyond them."""
        cells = [c for c in self.cells if c.speed == speed and c.keeps]
        margins = np.maximum.accumulate([c.margin for c in cells])
        if not cells or not margins[0] <= margin <= margins[-1]:
            return np.nan
        return float(np.interp(margin, margins, [c.row for c in cells]))

    def _per_speed(self, cell: Cell) -> float:
        faster = self.speeds[self.speeds > cell.speed]
        if faster.size == 0:
            return np.nan
        more = self._needed(float(faster[0]), cell.margin) - cell.row
        return more / float(faster[0] - cell.speed)


def _beats(other: Cell, cell: Cell) -> bool:
    """Whether another is at least as good in length, speed and margin, and better in one."""
    one = (-other.row, -other.speed, other.margin)
    this = (-cell.row, -cell.speed, cell.margin)
    return one != this and all(np.greater_equal(one, this))


def speeds_of(project: Project, options: RouteOptions) -> Floats:
    """The entry speeds of the front."""
    span = wanted(project).speed
    low, high = goal_of(project, options).speeds
    step = (high - low) / (_SPEEDS - 1)
    return steps(span if span and span.step else Range(low, high, step))


def length_front(
    project: Project,
    options: RouteOptions,
    progress: Progress,
    store: Store | None = None,
) -> LengthFront:
    """The front. Its lengths lie about that of the first path with the highest margin at the goal's speed."""
    goal = goal_of(project, options)
    search = FirstSearch(Judge(project, goal))
    quick = replace(options, mode="margin", quick=True)
    length = best_first(search.firsts(quick), "margin").length
    span = np.linspace(_SHORTEST, _LONGEST, LENGTHS) * length
    lengths = _ROUND * np.round(span / _ROUND)

    def where(longest: float, speed: float) -> Where:
        return project, replace(quick, length=longest, speed=speed)

    speeds = speeds_of(project, options)
    cells = best_grid("front", lengths, speeds, where, progress, store)
    return LengthFront(lengths, speeds, cells, goal.least_margin)
