"""A setup of its own for every cell of a map: one local search near today's, for the route of the cell.

Parts have any value within their ranges and nothing is brought to steps: enough to compare places, no setup to run.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from setupopt.evaluation.variables import to_setup
from setupopt.jobs.chunk_ranges import Progress
from setupopt.jobs.run import run_chunks
from setupopt.jobs.store import Store
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project, Setup
from setupopt.route.both import on_route
from setupopt.route.grid import Cell, Where, cell_of, chunk_of
from setupopt.route.kept import known_way
from setupopt.search.objective import objective_of
from setupopt.search.relaxation import FIRST_PASS, FIRST_ROUNDS
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver


def own_setups(
    project: Project,
    cells: tuple[Cell, ...],
    where: Callable[[float, float], Where],
    progress: Progress,
    store: Store | None = None,
) -> tuple[Cell, ...]:
    """The cells with the better one of both setups and its best route. `where`: as of `best_grid`."""
    settings = SetupProblem(project, objective_of(project.venue))

    def setup_of(point: Floats) -> Setup:
        name = "of this cell"
        return to_setup(settings.variables, point, settings.base, name)

    def best(cell: Cell) -> Floats:
        """The settings, then the cell; no numbers where the setup is no better."""
        if not cell.route.size:
            return np.empty(0)
        there, options = where(cell.row, cell.speed)
        way = replace(known_way(cell.route), speed=cell.speed)
        # the best settings near today's for a route, in their ranges, (variables)
        driven = on_route(way.driven(there, options))
        problem = SetupProblem(driven, objective_of(driven.venue))
        solver = Solver(problem, trust_region=FIRST_PASS)
        end = solver.solve(solver.box, problem.start, None, FIRST_ROUNDS)
        point = end.outcome.point
        study = way.improved(replace(there, setup=setup_of(point)), options)
        if study.merit <= cell.merit:
            return np.empty(0)
        return np.concatenate([point, chunk_of(study)])

    chunks = run_chunks("setup", best, cells, store=store, progress=progress)
    found = []
    size = settings.start.size
    for cell, chunk in zip(cells, chunks, strict=True):
        new = cell
        if chunk.size:
            new = cell_of(cell.row, cell.speed, chunk[size:])
            new = replace(new, setup=setup_of(chunk[:size]))
        found.append(new)
    return tuple(found)
