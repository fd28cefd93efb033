"""The test programme: runs from the flat to the goal, each the smallest step that keeps the least margin.

A run has its own best route to its roll angle at its entry speed. The next one goes to the next angle at the
same speed; where its least margin is not kept, at the worst of `[spread]` too, to the next speed at the same
angle; where that is not kept either, to the nearest higher angle that is. Over the top there are no small
steps: the car goes round or it does not. Angle comes before speed because less speed does less harm.

What a run tells: from each channel that a logger measures, how it moves with each uncertain input, and what
is then left of the spread (linear least squares with the spread as what is known before). The channels'
errors are taken as independent from point to point: what is left is a lower bound.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from setupopt.errors import UserError
from setupopt.evaluation.cases import CaseSet
from setupopt.jobs.chunk_ranges import Progress
from setupopt.jobs.store import Store
from setupopt.physics.inputs import SIDESLIP, STEER, Floats
from setupopt.project.bodies import with_body
from setupopt.project.model import Project, Range
from setupopt.robust.builds.build_variation import BuildErrors
from setupopt.robust.builds.varied_car import varied_car
from setupopt.robust.builds.worst_build import WorstBuild, worst_build
from setupopt.robust.speeds.motion import PathForces
from setupopt.route.goal import RouteOptions, goal_of, wanted
from setupopt.route.judged import Judge
from setupopt.route.kept import kept_study, redriven
from setupopt.route.raising import lowest
from setupopt.route.study import RouteStudy
from setupopt.units import DEG, KW, MM

ANGLE_STEP = 15.0 * DEG
SPEED_STEP = 5.0  # m/s, where [route] speed_m_s has no step
EVERY = 10  # points of a route, one of them a point that is measured; its local minima are looked at too
_SAME = 1e-6  # of an angle, rad, or a speed, m/s
# Error of each channel at one point, one standard deviation; common practice, no source.
ERRORS = {
    "load": 50.0,  # N
    "travel": 0.5 * MM,
    "ride_gap": 1.0 * MM,
    "steer": 0.2 * DEG,
    "sideslip": 0.3 * DEG,
    "power": 3.0 * KW,  # at the wheels
}


@dataclass(frozen=True)
class Refused:
    """A step that does not keep the least margin or a limit: roll angle, rad, entry speed, m/s, the least
    margin of its best route, and that at the worst of the spread; minus infinity where contact is lost.
    `limits`: those that it breaks.
    """

    roll_angle: float
    speed: float
    margin: float
    worst: float
    limits: tuple[str, ...] = ()


@dataclass(frozen=True)
class Run:
    """One run of the programme.

    `step`: "first", "angle" or "speed", what changes against the run before. `study`: its route, with path,
    cases and answers. `worst`: least margin at the worst of the spread, minus infinity where contact is lost;
    `errors`: the inputs there by name, -1, 0 or 1 times their spread. `left`: for each input the share of its
    spread that is left after this run and all before it, 0 to 1; `alone`: after this one alone.
    `information`: (inputs, inputs), what the channels say, in spreads. `tells`: the input that it adds most
    to; None where no input is uncertain. `refused`: smaller steps that were tried before it.
    """

    step: str
    roll_angle: float  # highest one, rad
    study: RouteStudy
    worst: float
    errors: dict[str, float]
    alone: dict[str, float]
    left: dict[str, float]
    information: Floats
    tells: str | None
    refused: tuple[Refused, ...] = ()

    @property
    def speed(self) -> float:
        """Entry speed, m/s."""
        return float(self.study.paths.legs[0].speed[0])

    @property
    def margin(self) -> float:
        """Least margin with the inputs as the files have them."""
        return float(self.study.margin.min())

    @property
    def holds(self) -> bool:
        """Whether every limit and, at the worst of the spread too, the least margin are kept."""
        return self.study.holds and self.worst >= self.study.goal.least_margin


@dataclass(frozen=True)
class Programme:
    """Runs in the order driven. `refused`: what was tried after the last of them."""

    runs: tuple[Run, ...]
    refused: tuple[Refused, ...]
    reaches: bool
    least_margin: float


def programme(
    project: Project,
    options: RouteOptions,
    progress: Progress,
    store: Store | None,
) -> Programme:
    """The runs that lead to a route's goal, each on its own best route. `progress` gets how many more of the
    smallest steps, `most_steps` in all, are behind; `store` keeps routes. Raises UserError without [route].
    """
    search = _Search(project, options, progress, store)
    runs: list[Run] = []
    while not search.is_goal(runs):
        refused: list[Refused] = []
        for step, angle, speed in search.steps(runs):
            found = search.run(step, angle, speed, runs)
            if isinstance(found, Run):
                runs.append(replace(found, refused=tuple(refused)))
                search.progress(
                    search.steps_to(runs) - search.steps_to(runs[:-1])
                )
                break
            refused.append(found)
        else:
            return Programme(
                tuple(runs), tuple(refused), False, search.goal.least_margin
            )
    return Programme(tuple(runs), (), True, search.goal.least_margin)


def most_steps(project: Project, options: RouteOptions) -> int:
    """The smallest steps of angle and speed between the flat and the goal."""
    search = _Search(project, options, lambda _: None, None)
    return search.angles.size + search.faster(search.goal.speed)


class _Search:
    """Runs of one project by angle and speed."""

    def __init__(
        self,
        project: Project,
        options: RouteOptions,
        progress: Progress,
        store: Store | None,
    ) -> None:
        self.project = project
        self.store = store
        self.options = replace(options, mode="margin")
        self.progress = progress
        self.goal = goal_of(project, options)
        span: Range | None = wanted(project).speed
        self.step = (span.step if span else None) or SPEED_STEP
        self.slowest = min(self.goal.speeds[0], self.goal.speed)
        # no step is much smaller than the others
        count = max(1, round(abs(self.goal.top - self.goal.start) / ANGLE_STEP))
        self.angles = np.linspace(self.goal.start, self.goal.top, count + 1)[1:]

    def faster(self, speed: float) -> int:
        """Steps of speed up to one."""
        return int(np.ceil((speed - self.slowest) / self.step - _SAME))

    def steps_to(self, runs: list[Run]) -> int:
        """The smallest steps up to the last run."""
        if not runs:
            return 0
        nearest = int(np.abs(self.angles - runs[-1].roll_angle).argmin())
        return 1 + nearest + self.faster(runs[-1].speed)

    def is_goal(self, runs: list[Run]) -> bool:
        """Whether the last run is at the goal's angle and speed."""
        return (
            bool(runs)
            and self._is_top(runs[-1].roll_angle)
            and runs[-1].speed > self.goal.speed - _SAME
        )

    def _is_top(self, angle: float) -> bool:
        return abs(angle - self.goal.top) < _SAME

    def steps(self, runs: list[Run]) -> Iterator[tuple[str, float, float]]:
        """What may come next, in the order in which it is tried: step, roll angle, entry speed."""
        goal = self.goal
        angle = runs[-1].roll_angle if runs else goal.start
        speed = runs[-1].speed if runs else self.slowest
        higher = [
            one
            for one in self.angles
            if abs(one - goal.start) > abs(angle - goal.start) + _SAME
        ]
        if not runs:
            speeds = [
                min(speed + k * self.step, goal.speed)
                for k in range(self.faster(goal.speed) + 1)
            ]
            yield from (
                ("first", one, each) for one in higher for each in speeds
            )
            return
        if higher:
            yield "angle", higher[0], speed
        if speed < goal.speed - _SAME:
            yield "speed", angle, min(speed + self.step, goal.speed)
        yield from (("angle", one, speed) for one in higher[1:])

    def run(
        self, step: str, angle: float, speed: float, before: list[Run]
    ) -> Run | Refused:
        """The run to an angle at a speed, or why there is none."""
        assert self.project.limits is not None
        there = replace(wanted(self.project), to_angle=angle)
        project = replace(
            self.project, limits=replace(self.project.limits, route=there)
        )
        over = self.options.over if self._is_top(angle) else False
        options = replace(self.options, speed=speed, over=over)
        found = self._found(
            step, angle, with_body(project, project.setup.body), options, before
        )
        if isinstance(found, Refused) or found.holds:
            return found
        return Refused(
            angle, speed, found.margin, found.worst, found.study.broken
        )

    def _found(
        self,
        step: str,
        angle: float,
        project: Project,
        options: RouteOptions,
        before: list[Run],
    ) -> Run | Refused:
        speed = options.speed or 0.0
        most = self._straight(project, options, angle)
        if most < self.goal.least_margin:
            return Refused(angle, speed, most, most)
        try:
            study = kept_study(project, options, self.store)
        except UserError:
            return Refused(angle, speed, -np.inf, -np.inf)
        found = _judged(step, angle, study, before)
        if found.holds or not study.holds or not found.errors:
            return found
        # the route may stand near a fold that the nominal car does not see: search it for the worst car
        courses = kept_study(_at(project, found.errors), options, self.store)
        other = _judged(step, angle, redriven(study, courses), before)
        return max(found, other, key=lambda one: one.worst)

    def _straight(
        self, project: Project, options: RouteOptions, angle: float
    ) -> float:
        """Margin straight along at an angle, which a way back on the same side cannot exceed."""
        if options.over is not False or not (
            self.goal.returns or self.goal.hold
        ):
            return 1.0
        judge = Judge(project, goal_of(project, options))
        place = judge.surface.place(angle)
        return judge.straight(place, np.full(1, options.speed))


def _judged(
    step: str, angle: float, study: RouteStudy, before: list[Run]
) -> Run:
    """A route at the worst of the spread, and what it tells; a route that breaks a limit tells nothing."""
    project = study.project
    inputs = _inputs(project)
    nothing = np.zeros((len(inputs.names),) * 2)
    if not (inputs.names and study.holds):
        return Run(
            step,
            angle,
            study,
            float(study.margin.min()),
            {},
            {},
            {},
            nothing,
            None,
        )
    cases = _cases(study)
    worst = worst_build(inputs, cases)
    information = _information(project, inputs, cases)
    known = sum((run.information for run in before), nothing)
    left = _left(known + information)
    tells = inputs.names[int((left / _left(known)).argmin())]
    alone = dict(zip(inputs.names, _left(information).tolist(), strict=True))
    after = dict(zip(inputs.names, left.tolist(), strict=True))
    return Run(
        step,
        angle,
        study,
        worst.margin,
        worst.errors,
        alone,
        after,
        information,
        tells,
    )


def worst_of_spread(study: RouteStudy) -> WorstBuild | None:
    """The worst of the uncertain inputs on a route; None where none is uncertain."""
    inputs = _inputs(study.project)
    return worst_build(inputs, _cases(study)) if inputs.names else None


def _inputs(project: Project) -> BuildErrors:
    spread = project.limits.spread if project.limits else None
    return BuildErrors(project.car, project.setup, None, spread)


def _cases(study: RouteStudy) -> CaseSet:
    """Every so many-th point, and the local minima of the margin."""
    rows = np.union1d(
        np.arange(0, study.margin.size, EVERY), lowest(study.margin)
    )
    return study.judged.result.cases.pick(rows)


def _at(project: Project, errors: dict[str, float]) -> Project:
    """The project with its uncertain inputs at errors, by name."""
    inputs = _inputs(project)
    factors = inputs.factors(np.array([errors[name] for name in inputs.names]))
    grip = project.venue.surface_grip * factors.get("surface_grip", 1.0)
    return replace(
        project,
        car=varied_car(project.car, factors),
        venue=replace(project.venue, surface_grip=grip),
        setup=replace(project.setup, body=None),
        own_body=None,
    )


def _left(information: Floats) -> Floats:
    """Share of each input's spread that is left: a uniform one of +-1 has a variance of 1/3."""
    return np.sqrt(
        np.diag(np.linalg.inv(np.eye(len(information)) + information / 3.0))
    )


def _information(
    project: Project, inputs: BuildErrors, cases: CaseSet
) -> Floats:
    """Of all channels measured at all cases, (inputs, inputs), in spreads."""
    count = len(inputs.names)
    moved = np.vstack([np.eye(count), -np.eye(count)])
    seen = np.array([_channels(project, inputs, one, cases) for one in moved])
    slope = 0.5 * (seen[:count] - seen[count:])
    return slope @ slope.T


def _channels(
    project: Project, inputs: BuildErrors, errors: Floats, cases: CaseSet
) -> Floats:
    """All channels at all cases over their errors, one after the other."""
    answers = inputs.result(errors, cases).answers[0]
    car = varied_car(project.car, inputs.factors(errors))
    path = PathForces(replace(project, car=car), cases.records)
    speed = cases.records["speed"]
    seen = {
        "load": answers["load"],
        "travel": answers["travel"],
        "ride_gap": answers["ride_gap"],
        "steer": answers["state"][:, STEER],
        "sideslip": answers["state"][:, SIDESLIP],
        "power": path.power(speed)
        + path.mass * cases.records["acceleration"] * speed,
    }
    return np.concatenate(
        [np.ravel(column) / ERRORS[name] for name, column in seen.items()]
    )
