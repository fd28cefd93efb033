"""Best routes over a grid of two quantities: each from its own first path, then from its neighbours' routes.

A single search is a local one. A neighbour's route is nearly a route here, so that a cell whose search ended in
a poor place is found out: its neighbours' routes start it again, until none of them makes it better.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from setupopt.errors import UserError
from setupopt.jobs.chunk_ranges import Progress
from setupopt.jobs.run import run_chunks
from setupopt.jobs.store import Store
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project, Setup
from setupopt.route.goal import RouteOptions
from setupopt.route.kept import as_array, known_way
from setupopt.route.study import RouteStudy, study_route
from setupopt.route.whole import place_of
from setupopt.units import GRAVITY

ROUNDS = 4  # the most in which neighbours help
_GAIN = 3e-3  # of margin; a neighbour's help that brings less is not passed on
# A neighbour's route that, as it is, has so much less margin here is no start of a better one.
_NEAR = 0.02
_ASIDE = ((-1, 0), (1, 0), (0, -1), (0, 1))

Where = tuple[Project, RouteOptions]


@dataclass(frozen=True)
class Cell:
    """A place with its best route.

    `row`: what the grid's rows stand for, SI; `speed`: at the entry, m/s. `merit`: as of a `RouteStudy`.
    `length`: of the way on the section, `total`: of the whole place, m; `fall`: height of the CG over
    the floor at the highest place, m; `load_factor`: the largest specific force on the CG over g. `route`: as
    `kept.as_array` has it; empty where there is none. `setup`: its own, where one was searched and is better.
    """

    row: float
    speed: float
    merit: tuple[bool, float]
    length: float
    total: float
    fall: float
    load_factor: float
    route: Floats = field(compare=False)
    setup: Setup | None = None

    @property
    def keeps(self) -> bool:
        """Whether the route keeps every limit."""
        return self.merit[0]

    @property
    def margin(self) -> float:
        """The least one, minus infinity where no route keeps contact; then the rest is not a number."""
        return self.merit[1]

    def is_much_better(self, other: Cell) -> bool:
        """Whether its route may help the neighbours of the other one."""
        gains = not other.keeps or self.margin > other.margin + _GAIN
        return self.merit > other.merit and gains


@dataclass(frozen=True)
class Grid:
    """Cells by row, then by speed; `least_margin`: what a route must keep."""

    rows: Floats
    speeds: Floats
    cells: tuple[Cell, ...]
    least_margin: float

    def of(self, name: str) -> Floats:
        """A number of the cells, (rows, speeds)."""
        values = [getattr(cell, name) for cell in self.cells]
        return np.array(values).reshape(self.rows.size, self.speeds.size)

    @property
    def good(self) -> tuple[Cell, ...]:
        """Cells whose routes keep the least margin and every limit, the shortest place first."""
        kept = filter(self.holds, self.cells)
        return tuple(sorted(kept, key=lambda cell: cell.total))

    def holds(self, cell: Cell) -> bool:
        """Whether the route of a cell keeps the least margin and every limit."""
        return cell.keeps and cell.margin >= self.least_margin


def grid_steps(cells: int) -> int:
    """How often `best_grid` calls its progress."""
    return (1 + ROUNDS) * cells


def best_grid(
    name: str,
    rows: Floats,
    speeds: Floats,
    where: Callable[[float, float], Where],
    progress: Progress,
    store: Store | None = None,
) -> tuple[Cell, ...]:
    """The cells of a grid. `where`: project and options by row and speed. `store` keeps finished cells."""
    places = [(float(row), float(speed)) for row in rows for speed in speeds]

    def first(index: int) -> Floats:
        project, options = where(*places[index])
        try:
            return chunk_of(study_route(project, options))
        except UserError:
            return np.empty(0)

    def again(job: tuple[Cell, list[Cell]]) -> Floats:
        cell, near = job
        return _from_neighbours(*where(cell.row, cell.speed), cell, near)

    def found(chunks: Iterator[Floats]) -> list[Cell]:
        pairs = zip(places, chunks, strict=True)
        return [cell_of(*place, chunk) for place, chunk in pairs]

    count = range(len(places))
    keeps = partial(run_chunks, store=store, progress=progress)
    cells = found(keeps(name, first, count))
    better = set(count)
    for turn in range(ROUNDS):
        near = [
            [cells[other] for other in sorted(around & better)]
            for around in (
                _neighbours(index, rows.size, speeds.size) for index in count
            )
        ]
        jobs = list(zip(cells, near, strict=True))
        new = found(keeps(f"{name}-{turn}", again, jobs))
        pairs = list(zip(cells, new, strict=True))
        better = {
            i for i, (old, one) in enumerate(pairs) if one.is_much_better(old)
        }
        cells = [max(pair, key=lambda one: one.merit) for pair in pairs]
    return tuple(cells)


def _neighbours(index: int, rows: int, columns: int) -> set[int]:
    row, column = divmod(index, columns)
    near = [(row + down, column + right) for down, right in _ASIDE]
    return {
        one * columns + other
        for one, other in near
        if 0 <= one < rows and 0 <= other < columns
    }


def _from_neighbours(
    project: Project, options: RouteOptions, cell: Cell, near: list[Cell]
) -> Floats:
    """The best route near those of the cells around that, driven here, promise more; none: no numbers.

    Where a cell keeps no limits yet, or has less margin than all around it, each of them is tried.
    """
    ways = [
        replace(known_way(other.route), speed=cell.speed)
        for other in near
        if other.route.size
    ]
    is_poor = not cell.keeps or all(one.merit > cell.merit for one in near)
    found = [
        way.improved(project, options)
        for way in ways
        if is_poor or way.merit(project, options) > cell.margin - _NEAR
    ]
    if not found:
        return np.empty(0)
    return chunk_of(max(found, key=lambda one: one.merit))


def chunk_of(study: RouteStudy) -> Floats:
    """The numbers of a cell in the order of its fields, but for the route's limits first; then its route."""
    numbers = [
        *study.merit,
        study.length,
        place_of(study).metres,
        fall_height(study),
        load_factor(study).max(),
    ]
    return np.concatenate([numbers, as_array(study)])


def cell_of(row: float, speed: float, chunk: Floats) -> Cell:
    """The cell of `chunk_of`; of no numbers one without a route."""
    route = chunk[6:]
    if chunk.size == 0 or chunk[1] == -np.inf:
        route = np.empty(0)
        chunk = np.array([0.0, -np.inf, *[np.nan] * 4])
    keeps, margin, length, total, fall, load_factor = chunk[:6].tolist()
    merit = (bool(keeps), margin)
    return Cell(row, speed, merit, length, total, fall, load_factor, route)


def fall_height(study: RouteStudy) -> float:
    """Height of the CG over the floor at the highest place of a route, m."""
    height = study.paths.shape.surface.height(study.judged.points.place[0])
    return float(
        (height + np.cos(study.roll_angle) * study.car.cg_height).max()
    )


def load_factor(study: RouteStudy) -> Floats:
    """Specific force on the CG over g along a route, (points): what the driver feels, 1 at rest."""
    points = study.judged.points
    cases = study.judged.result.cases.records
    nearer = study.car.cg_height * cases["curvature"]
    sine = np.sin(points.course[0])
    cosine = np.cos(points.course[0])
    speed2 = points.speed[0] ** 2
    bent = speed2 * points.curvature[0]
    along = points.acceleration[0]
    turned = nearer * (along * sine + bent * cosine)
    pull = GRAVITY * np.sin(study.roll_angle)
    press = (1.0 - nearer) * cases["curvature"] * speed2 * sine**2
    forces = (
        along + (pull - turned) * sine,
        bent + (pull - turned) * cosine,
        press + GRAVITY * np.cos(study.roll_angle),
    )
    return np.linalg.norm(forces, axis=0) / GRAVITY
