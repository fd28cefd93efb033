"""A route with the place that it needs, and on request the ways out and the prices."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.errors import UserError
from setupopt.evaluation.result import html_table
from setupopt.jobs.chunk_ranges import Progress
from setupopt.jobs.store import Store
from setupopt.project.model import Project
from setupopt.robust.builds.worst_build import WorstBuild
from setupopt.route.both import ROUNDS, Turn, both
from setupopt.route.by_hand import ByHand, by_hand
from setupopt.route.front import LENGTHS, LengthFront, length_front, speeds_of
from setupopt.route.goal import RouteOptions
from setupopt.route.grid import grid_steps
from setupopt.route.prices import Price, prices
from setupopt.route.programme import (
    Programme,
    most_steps,
    programme,
    worst_of_spread,
)
from setupopt.route.radius_map import RouteMap, cells_of, route_map
from setupopt.route.study import RouteStudy, study_route
from setupopt.route.way_out import Escape, escapes
from setupopt.route.whole import Place, place_of
from setupopt.search.study_name import study_name

ESCAPES_APART = 15.0  # m


@dataclass(frozen=True)
class Route:
    """The answer of `route`. What was not asked for is empty or None.

    `worst`: the worst of the uncertain inputs on it; None where none is uncertain. `turns`: rounds of setup
    and route; the study is on the setup that was found then.
    """

    study: RouteStudy
    place: Place
    escapes: tuple[Escape, ...]
    prices: tuple[Price, ...]
    map: RouteMap | None = None
    front: LengthFront | None = None
    programme: Programme | None = None
    worst: WorstBuild | None = None
    turns: tuple[Turn, ...] = ()
    by_hand: ByHand | None = None

    def _repr_html_(self) -> str:
        """For notebooks: the way in m and the case of points along the route."""
        judged = self.study.judged
        frame = judged.result.frame()
        frame.insert(0, "way_m", judged.points.way[0])
        return html_table(frame)

    @property
    def holds(self) -> bool:
        """Whether the route keeps its least margin and every limit."""
        return self.study.holds


def steps_of(project: Project, options: RouteOptions) -> int:
    """How often `route` calls its progress. Raises UserError where a map lacks its radii or speeds."""
    cells = 0
    if options.map:
        radii, speeds = cells_of(project)
        count = radii.size * speeds.size
        cells = grid_steps(count) + count * options.propose
    elif options.propose:
        raise UserError("--propose is for the cells of a map: give --map too")
    if options.front:
        cells += grid_steps(LENGTHS * speeds_of(project, options).size)
    runs = most_steps(project, options) if options.programme else 0
    searches = ROUNDS if options.both else 2
    return searches + options.way_out + options.prices + cells + runs


def route(
    project: Project,
    options: RouteOptions | None = None,
    progress: Progress | None = None,
) -> Route:
    """The best route of the project's setup, and the place that it needs. `progress` gets finished steps."""
    options = options or RouteOptions()
    tell = progress or (lambda _: None)
    turns: tuple[Turn, ...] = ()
    if options.both:
        study, turns = both(project, options, tell)
    else:
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
    store = Store.open(study_name(project, options))
    asked = study.project, options, tell, store
    mapped = route_map(*asked) if options.map else None
    front = length_front(*asked) if options.front else None
    runs = programme(*asked) if options.programme else None
    store.finish()
    return Route(
        study,
        place,
        tuple(found),
        priced,
        mapped,
        front,
        runs,
        worst_of_spread(study),
        turns,
        by_hand(study),
    )
