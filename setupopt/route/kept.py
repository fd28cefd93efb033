"""Routes of a longer study in its store, so that a stopped one goes on where it was."""

from __future__ import annotations

import numpy as np

from setupopt.errors import UserError
from setupopt.jobs.fingerprint import fingerprint
from setupopt.jobs.store import Store
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project
from setupopt.route.goal import RouteOptions
from setupopt.route.plan import SHAPES
from setupopt.route.study import KnownWay, RouteStudy, study_route

_NO_ROUTE = "no route keeps contact all the way"


def kept_study(
    project: Project, options: RouteOptions, store: Store | None
) -> RouteStudy:
    """The best route, found in the store or searched and kept there; the same numbers either way.

    Raises UserError where no shape gets to the highest angle. Its `firsts` are left out.
    """
    goal = project.limits.route if project.limits else None
    name = f"route-{fingerprint(goal, project.car, project.venue, project.setup, options)}"
    found = store.read(name) if store else None
    if found is None:
        try:
            found = as_array(study_route(project, options))
        except UserError:
            found = np.empty(0)
        if store:
            store.write(name, found)
    if found.size == 0:
        raise UserError(_NO_ROUTE)
    return known_way(found).driven(project, options)


def redriven(study: RouteStudy, route: RouteStudy) -> RouteStudy:
    """The car of a study on the route of another one."""
    return known_way(as_array(route)).driven(study.project, study.options)


def as_array(study: RouteStudy) -> Floats:
    """Shape, entry speed, then coasting share, count and courses of each leg."""
    parts = [
        float(SHAPES.index(study.paths.shape.name)),
        float(study.paths.legs[0].speed[0]),
    ]
    for leg in study.paths.legs:
        parts += [
            float(leg.coasting[0]),
            float(leg.course.shape[1]),
            *leg.course[0].tolist(),
        ]
    return np.array(parts)


def known_way(found: Floats) -> KnownWay:
    """The route of `as_array`."""
    coasting = []
    courses = []
    rest = found[2:]
    while rest.size:
        count = int(rest[1])
        coasting.append(float(rest[0]))
        courses.append(rest[2 : 2 + count])
        rest = rest[2 + count :]
    return KnownWay(
        SHAPES[int(found[0])],
        float(found[1]),
        tuple(courses),
        tuple(coasting),
    )
