"""A table of margins (roll angle x course x path curvature) at one speed, and the best first path on it.

Between two layers S of the section a path has constant curvature. d(cos course)/dS = -curvature then holds
exactly, so a path is a chain of courses, one for each layer, and its length between two layers is the change
of course over the curvature. The shortest chain whose margins all reach a level is found by dynamic
programming; the highest level for a length by bisection. Both are global on the table, which knows no yaw
acceleration and no change of speed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from setupopt.evaluation.cases import CaseSet, path_cases
from setupopt.evaluation.model import Model
from setupopt.physics.inputs import Floats, Records
from setupopt.project.model import Project
from setupopt.route.surface import Unrolled

_PLACES = 13
MOST_COURSE = np.radians(40.0)
_COURSES = np.linspace(0.0, MOST_COURSE, 9)
_SIDEWAYS = np.array(
    [-24.0, -12.0, 12.0, 24.0]
)  # m/s2 across the path, beside none
# Courses of a chain, deg, and layers: each step rounds its course, so few layers and fine courses are best
_CHAIN_DEG = np.concatenate(
    [np.arange(0.0, 4.0, 0.125), np.arange(4.0, 40.1, 0.25)]
)
_LAYERS = 16
_NONE = -2.0  # margin that stands for lost contact
_HOPELESS = (
    -0.3
)  # under this margin without path curvature, none with it is solved
_HALVINGS = 14


@dataclass(frozen=True)
class MarginTable:
    """Margins (places, courses, curvatures) at a speed; `side`: 1 where courses lead up S, -1 down."""

    surface: Unrolled
    places: Floats
    courses: Floats
    curvatures: Floats
    margin: Floats

    @cached_property
    def _at(self) -> RegularGridInterpolator:
        axes = (self.places, np.round(self.courses, 12), self.curvatures)
        return RegularGridInterpolator(
            axes, self.margin, bounds_error=False, fill_value=_NONE
        )

    def of(self, place: Floats, course: Floats, curvature: Floats) -> Floats:
        """Margins by linear interpolation; those outside of the table count as lost."""
        shape = np.broadcast_shapes(place.shape, course.shape, curvature.shape)
        asked = [
            np.broadcast_to(one, shape).ravel()
            for one in (place, course, curvature)
        ]
        return np.asarray(self._at(np.stack(asked, axis=-1))).reshape(shape)


def margin_table(
    project: Project,
    surface: Unrolled,
    settings: Records,
    ends: tuple[float, float],
    speed: float,
) -> MarginTable:
    """Solve the table for a leg between two places, m, at a speed, m/s."""
    solver = _Solver(project, surface, settings, speed)
    side = 1.0 if ends[1] > ends[0] else -1.0
    courses = np.sort(side * _COURSES)
    places = np.linspace(min(ends), max(ends), _PLACES)
    place, course = (
        grid.ravel() for grid in np.meshgrid(places, courses, indexing="ij")
    )
    straight, answers = solver.solved(place, course, np.zeros(place.size))
    curvatures = _SIDEWAYS / speed**2
    bent = np.full((place.size, curvatures.size), _NONE)
    some = np.flatnonzero(straight > _HOPELESS)
    for column, curvature in enumerate(curvatures):
        curved = np.full(some.size, curvature)
        bent[some, column], _ = solver.solved(
            place[some], course[some], curved, answers[some]
        )
    half = curvatures.size // 2
    margin = np.column_stack([bent[:, :half], straight, bent[:, half:]])
    whole = np.concatenate([curvatures[:half], [0.0], curvatures[half:]])
    return MarginTable(
        surface,
        places,
        courses,
        whole,
        margin.reshape(places.size, courses.size, -1),
    )


@dataclass(frozen=True)
class _Solver:
    """A setup at points of the section at one speed."""

    project: Project
    surface: Unrolled
    settings: Records
    speed: float

    @cached_property
    def model(self) -> Model:
        return Model(self.project.car)

    def solved(
        self,
        place: Floats,
        course: Floats,
        curvature: Floats,
        starts: Records | None = None,
    ) -> tuple[Floats, Records]:
        """Margins, `_NONE` where contact is lost, and answers; (points)."""
        result = self.model.run(
            self.settings, self._cases(place, course, curvature), starts
        )
        return np.maximum(result.safe_margin[0], _NONE), result.answers[0]

    def _cases(
        self, place: Floats, course: Floats, curvature: Floats
    ) -> CaseSet:
        return path_cases(
            self.project.venue,
            "table",
            self.surface.at(place),
            heading=course,
            path_curvature=curvature,
            speed=np.array(self.speed),
        )


@dataclass(frozen=True)
class Chain:
    """A path on the table: courses at places, (layers), the way to each, m, and the least margin of all."""

    place: Floats
    course: Floats
    way: Floats
    margin: float

    def courses_at(self, shares: Floats) -> Floats:
        """Courses at shares of the whole way."""
        return np.interp(shares * self.way[-1], self.way, self.course)


class ChainSearch:
    """Chains from course 0 at the beginning of a leg to course 0, or to any course, at its end."""

    def __init__(
        self, table: MarginTable, ends: tuple[float, float], ends_level: bool
    ) -> None:
        share = np.linspace(0.0, 1.0, _LAYERS + 1)
        closer = share**2 * (
            3.0 - 2.0 * share
        )  # near the ends, where a path gains little way round
        self.place = ends[0] + (ends[1] - ends[0]) * closer
        side = 1.0 if ends[1] > ends[0] else -1.0
        self.course = side * np.radians(_CHAIN_DEG)
        self.ends_level = ends_level
        step = np.diff(self.place)[:, None, None]
        change = self.course[None, :] - self.course[:, None]
        curvature = (
            np.cos(self.course)[:, None] - np.cos(self.course)[None, :]
        ) / step
        with np.errstate(divide="ignore", invalid="ignore"):
            self.way = np.where(
                change == 0.0,
                step / np.sin(self.course)[:, None],
                change / curvature,
            )
        first = table.of(
            self.place[:-1, None, None], self.course[:, None], curvature
        )
        last = table.of(
            self.place[1:, None, None], self.course[None, :], curvature
        )
        self.margin = np.minimum(
            first, last
        )  # (layers, from, to): the lower one of both ends of a step
        # a path begins straight along without curvature, and where it ends level it ends so
        straight = np.array(ends[: 1 + ends_level])
        self.least = float(table.of(straight, np.zeros(1), np.zeros(1)).min())

    def shortest(self, level: float) -> Chain | None:
        """The shortest chain with no margin under a level; None where there is none."""
        steps = np.where(
            self.margin >= level, self.way, np.inf
        )  # (layers, from, to)
        way = np.full((_LAYERS + 1, self.course.size), np.inf)
        way[0, 0] = 0.0
        came = np.zeros(way.shape, dtype=int)
        for layer in range(_LAYERS):
            total = way[layer][:, None] + steps[layer]
            came[layer + 1] = total.argmin(axis=0)
            way[layer + 1] = total.min(axis=0)
        last = 0 if self.ends_level else int(way[-1].argmin())
        if not np.isfinite(way[-1, last]):
            return None
        nodes = [last]
        for layer in range(_LAYERS, 0, -1):
            nodes.append(int(came[layer, nodes[-1]]))
        nodes.reverse()
        reached = way[np.arange(_LAYERS + 1), nodes]
        least = self.margin[np.arange(_LAYERS), nodes[:-1], nodes[1:]].min()
        return Chain(self.place, self.course[nodes], reached, float(least))

    def best(self, length: float | None) -> Chain | None:
        """The chain with the highest least margin, no longer than `length`; None where there is none."""
        low = _NONE
        high = 1.0
        found = None
        for _ in range(_HALVINGS):
            level = 0.5 * (low + high)
            chain = self.shortest(level)
            if chain is not None and (
                length is None or chain.way[-1] <= length
            ):
                found = chain
                low = level
            else:
                high = level
        return found
