"""The map of cheap places: least margin after its own best route, over radius and speed; and its costs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setupopt.errors import InputError, UserError
from setupopt.jobs.chunk_ranges import Progress
from setupopt.jobs.store import Store
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project, Range
from setupopt.route.goal import RouteOptions, goal_of, wanted
from setupopt.route.grid import Cell, Grid, Where, best_grid
from setupopt.route.own_setup import own_setups


class RouteMap(Grid):
    """Cells by radius, m, and speed."""

    @property
    def front(self) -> tuple[Cell, ...]:
        """Good cells that no other beats in both margin and whole length, shortest first."""
        found: list[Cell] = []
        for cell in self.good:
            if not found or cell.margin > found[-1].margin:
                found.append(cell)
        return tuple(found)


def cells_of(project: Project) -> tuple[Floats, Floats]:
    """Radii and speeds of the map. Raises UserError where [route] does not give both."""
    route = wanted(project)
    path = str(project.folder / "limits.toml")
    for key, span in (
        ("route.radius_mm", route.radius),
        ("route.speed_m_s", route.speed),
    ):
        if span is None:
            raise InputError(
                path,
                None,
                key,
                "nothing",
                "it, because the map needs radii and speeds",
            )
    if project.venue.section != "circle":
        raise UserError(
            'the map of radius and speed needs venue.section = "circle"'
        )
    assert route.radius is not None
    assert route.speed is not None
    return steps(route.radius), steps(route.speed)


def steps(span: Range) -> Floats:
    """Values of a range from its lower end on."""
    count = int(np.floor((span.upper - span.lower) / (span.step or 1.0) + 1e-9))
    return span.lower + (span.step or 1.0) * np.arange(count + 1)


def route_map(
    project: Project,
    options: RouteOptions,
    progress: Progress,
    store: Store | None = None,
) -> RouteMap:
    """The map; every cell has its own best route, found with fewer points and steps than a single one."""
    radii, speeds = cells_of(project)

    def where(radius: float, speed: float) -> Where:
        venue = replace(project.venue, curvature=1.0 / radius)
        there = replace(project, venue=venue)
        return there, replace(options, mode="margin", speed=speed, quick=True)

    cells = best_grid("map", radii, speeds, where, progress, store)
    if options.propose:
        cells = own_setups(project, cells, where, progress, store)
    return RouteMap(
        radii, speeds, cells, goal_of(project, options).least_margin
    )
