"""The map of cheap places: least margin after its own best route, over radius and speed; and its costs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from setupopt.errors import InputError, UserError
from setupopt.jobs.run import run_chunks
from setupopt.jobs.store import Store
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project, Range
from setupopt.route.goal import RouteOptions, wanted
from setupopt.route.plan import SHAPES
from setupopt.route.study import RouteStudy, study_route
from setupopt.route.whole import place_of
from setupopt.units import GRAVITY


@dataclass(frozen=True)
class Cell:
    """A radius, m, and an entry speed, m/s, with the best route there.

    `margin`: its least one, minus infinity where no route keeps contact; then the rest is not a number.
    `length`: of the way on the section, `total`: of the whole place, m; `fall`: height of the CG over the
    floor at the highest place, m; `load_factor`: the largest specific force on the CG over g.
    """

    radius: float
    speed: float
    margin: float
    shape: str
    length: float
    total: float
    fall: float
    load_factor: float


@dataclass(frozen=True)
class RouteMap:
    """Cells by radius, then by speed; `least_margin`: what a route must keep."""

    radii: Floats
    speeds: Floats
    cells: tuple[Cell, ...]
    least_margin: float

    def grid(self, name: str) -> Floats:
        """A number of the cells, (radii, speeds)."""
        values = [getattr(cell, name) for cell in self.cells]
        return np.array(values).reshape(self.radii.size, self.speeds.size)

    @property
    def front(self) -> tuple[Cell, ...]:
        """Cells with the least margin that no other beats in both margin and whole length, shortest first."""
        good = sorted(
            (c for c in self.cells if c.margin >= self.least_margin),
            key=lambda c: c.total,
        )
        found: list[Cell] = []
        for cell in good:
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
    return _steps(route.radius), _steps(route.speed)


def _steps(span: Range) -> Floats:
    count = int(np.floor((span.upper - span.lower) / (span.step or 1.0) + 1e-9))
    return span.lower + (span.step or 1.0) * np.arange(count + 1)


def route_map(
    project: Project,
    options: RouteOptions,
    progress: Callable[[int], object],
    store: Store | None = None,
) -> RouteMap:
    """The map; every cell has its own best route, found with fewer points and steps than a single one."""
    radii, speeds = cells_of(project)
    jobs = [
        (float(radius), float(speed)) for radius in radii for speed in speeds
    ]
    do = partial(_cell, project, options)
    cells = run_chunks("map", do, jobs, store=store, progress=progress)
    least = (
        options.least_margin
        if options.least_margin is not None
        else wanted(project).least_margin
    )
    found = (
        _as_cell(*job, numbers)
        for job, numbers in zip(jobs, cells, strict=True)
    )
    return RouteMap(radii, speeds, tuple(found), least or 0.0)


def _as_cell(radius: float, speed: float, numbers: Floats) -> Cell:
    if numbers.size == 0:
        return Cell(radius, speed, -np.inf, "", np.nan, np.nan, np.nan, np.nan)
    shape, margin, *rest = numbers.tolist()
    return Cell(radius, speed, margin, SHAPES[int(shape)], *rest)


def _cell(
    project: Project, options: RouteOptions, job: tuple[float, float]
) -> Floats:
    """The numbers of a cell: its shape's, then from the margin on; none where no route keeps contact."""
    radius, speed = job
    there = replace(
        project, venue=replace(project.venue, curvature=1.0 / radius)
    )
    try:
        study = study_route(there, replace(options, speed=speed, quick=True))
    except UserError:
        return np.empty(0)
    return np.array(
        [
            SHAPES.index(study.paths.shape.name),
            study.margin.min(),
            study.length,
            place_of(study).metres,
            fall_height(study),
            load_factor(study).max(),
        ]
    )


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
    forward = along * (1.0 - nearer * sine**2) - nearer * bent * sine * cosine
    leftward = (
        bent * (1.0 - nearer * cosine**2) - nearer * along * sine * cosine
    )
    upward = (1.0 - nearer) * cases["curvature"] * speed2 * sine**2
    angle = study.roll_angle
    forward += GRAVITY * np.sin(angle) * sine
    leftward += GRAVITY * np.sin(angle) * cosine
    upward += GRAVITY * np.cos(angle)
    return np.sqrt(forward**2 + leftward**2 + upward**2) / GRAVITY
