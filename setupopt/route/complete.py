"""A route with the place that it needs, and on request the ways out and the prices."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from setupopt.project.model import Project
from setupopt.route.goal import RouteOptions
from setupopt.route.prices import Price, prices
from setupopt.route.radius_map import RouteMap, cells_of, route_map
from setupopt.route.study import RouteStudy, study_route
from setupopt.route.way_out import Escape, escapes
from setupopt.route.whole import Place, place_of

ESCAPES_APART = 15.0  # m


@dataclass(frozen=True)
class Route:
    """The answer of `route`. What was not asked for is empty or None."""

    study: RouteStudy
    place: Place
    escapes: tuple[Escape, ...]
    prices: tuple[Price, ...]
    map: RouteMap | None = None

    @property
    def holds(self) -> bool:
        """Whether the route keeps its least margin and every limit."""
        return self.study.holds


def steps_of(project: Project, options: RouteOptions) -> int:
    """How often `route` calls its progress. Raises UserError where a map lacks its radii or speeds."""
    cells = 0
    if options.map:
        radii, speeds = cells_of(project)
        cells = radii.size * speeds.size
    return 2 + options.way_out + options.prices + cells


def route(
    project: Project, options: RouteOptions | None = None, progress: Callable[[int], object] | None = None
) -> Route:
    """The best route of the project's setup, and the place that it needs. `progress` gets finished steps."""
    options = options or RouteOptions()
    tell = progress or (lambda _: None)
    study = study_route(project, options, tell)
    place = place_of(study)
    found: list[Escape] = []
    if options.way_out:
        way = study.judged.points.way[0]
        rows = np.searchsorted(way, np.arange(0.0, way[-1], ESCAPES_APART))
        found = escapes(study, rows, place.stop)
        tell(1)
    priced = prices(study) if options.prices else ()
    if options.prices:
        tell(1)
    mapped = route_map(study.project, options, tell) if options.map else None
    return Route(study, place, tuple(found), priced, mapped)
