"""The setup for a route, and setup and route in turn until neither gains."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setupopt.jobs.chunk_ranges import Progress
from setupopt.project.model import DrivenPath, Project, straight
from setupopt.route.goal import RouteOptions
from setupopt.route.kept import redriven
from setupopt.route.study import RouteStudy, study_route
from setupopt.search.proposal import ProposalOptions
from setupopt.search.proposing import propose

ROUNDS = 3
_GAIN = 0.005
_COLUMNS = (
    "heading", "speed", "acceleration", "path_curvature", "yaw_acceleration", "turn_curvature",
)  # fmt: skip
_ROUTE = straight("route")


@dataclass(frozen=True)
class Turn:
    """A round: least margins of the route before, of the setup found for it on that route, and of the best
    route of that setup, the one before or a new one; and whether it keeps every limit and is taken.
    """

    before: float
    setup: float
    after: float
    holds: bool
    taken: bool


def on_route(study: RouteStudy) -> Project:
    """The project whose sweep is the route: a search of its setup is one for the route's own cases.

    The least wheel load of [route] counts as one of packaging. Its other limits are the route's own matter.
    """
    project = study.project
    points = study.judged.points
    cases = study.judged.result.cases
    columns = [
        points.way[0],
        cases.at,
        *(cases.records[name] for name in _COLUMNS),
    ]
    path = DrivenPath(("at", *_COLUMNS), np.column_stack(columns))
    venue = replace(project.venue, path=path, attitudes=(_ROUTE,))
    limits = project.limits
    assert limits is not None
    loads = [limits.packaging.wheel_load_least, study.goal.least_load]
    least = max((load for load in loads if load is not None), default=None)
    packaging = replace(limits.packaging, wheel_load_least=least)
    return replace(
        project, venue=venue, limits=replace(limits, packaging=packaging)
    )


def both(
    project: Project, options: RouteOptions, progress: Progress
) -> tuple[RouteStudy, tuple[Turn, ...]]:
    """The best route on the best setup for it. `progress` gets 1 for every round, ROUNDS in all.

    A round is taken where its route keeps limits that the one before broke, or has a higher least margin and
    breaks none that was kept.
    """
    study = study_route(project, options)
    turns: list[Turn] = []
    for _ in range(ROUNDS):
        found = propose(on_route(study), ProposalOptions(loss=0.0))
        new = study_route(replace(project, setup=found.setup), options)
        other = max(new, redriven(new, study), key=lambda one: one.merit)
        before, after = (float(one.margin.min()) for one in (study, other))
        taken = other.merit > study.merit
        turns.append(Turn(before, found.margin, after, other.holds, taken))
        study = other if taken else study
        progress(1)
        if not taken or after < before + _GAIN:
            break
    progress(ROUNDS - len(turns))
    return study, tuple(turns)
