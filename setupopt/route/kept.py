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
from setupopt.route.study import RouteStudy, from_courses, study_route

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
            found = _as_array(study_route(project, options))
        except UserError:
            found = np.empty(0)
        if store:
            store.write(name, found)
    if found.size == 0:
        raise UserError(_NO_ROUTE)
    return _from_array(project, options, found)


def redriven(study: RouteStudy, route: RouteStudy) -> RouteStudy:
    """The car of a study on the route of another one."""
    return _from_array(study.project, study.options, _as_array(route))


def _as_array(study: RouteStudy) -> Floats:
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


def _from_array(
    project: Project, options: RouteOptions, found: Floats
) -> RouteStudy:
    shape = SHAPES[int(found[0])]
    coasting = []
    courses = []
    rest = found[2:]
    while rest.size:
        count = int(rest[1])
        coasting.append(float(rest[0]))
        courses.append(rest[2 : 2 + count])
        rest = rest[2 + count :]
    return from_courses(
        project,
        options,
        shape,
        float(found[1]),
        tuple(courses),
        tuple(coasting),
    )
