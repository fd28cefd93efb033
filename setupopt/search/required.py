"""The search for what must be stood: from the steady best on, with the worst places added as they show up.

Starts and the independent search are those of the steady problem: how much is stood costs a hundred times as
much as a margin. Places where a disturbance is stood least become limits of the search, which is solved again
until no other place is worse (the cutting-set method of `solver`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.limits import AT_LEAST, AT_MOST
from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.pack import by_wheel
from setupopt.evaluation.result import Field
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project, Require, Setup
from setupopt.project.needs import need
from setupopt.robust.builds.build_variation import worst_build
from setupopt.robust.last_word import ridden
from setupopt.robust.linear_stood import KINDS, LinearStood
from setupopt.search.engine.exchange import (
    EXCHANGE,
    ExchangeOptions,
    ExchangeResult,
)
from setupopt.search.engine.maxmin import STANDARD, TrustRegionOptions
from setupopt.search.relaxation import Progress, RelaxedOptimum
from setupopt.search.requirement import BROKEN, Asked, Requirement
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver, one_at_a_time
from setupopt.units import MM

_ROUNDS = 10
_QUICK = TrustRegionOptions(most_steps=25, least_gain=2e-4, least_rise=1e-3)
# Of a range, where a start with softer springs and bars stands.
_SOFT, _SPRINGS = 0.3, ("spring", "anti_roll", "third")
_FEW_ROUNDS = ExchangeOptions(
    value_tolerance=1e-4, constraint_tolerance=1e-4, most_rounds=3
)
# What is asked of the front: times what `[require]` says.
TIMES = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
_HALVINGS = 3
# Places that are ridden, how closely a ride's height is found, and the share of runs on a road that may fail.
_RIDDEN = 3
_RIDE_STEP = 0.07
CHANCE = 0.05
# The units of the files.
UNITS = {"bump": ("bump_mm", "mm", MM), "seam": ("seam_mm", "mm", MM), "gust": ("gust_m_s", "m/s", 1.0),
         "road": ("road", "times", 1.0)}  # fmt: skip


@dataclass(frozen=True)
class Stood:
    """How much of one disturbance is stood at the worst place, by the linear answer; SI. `asked`: the same.

    `fields`: the case. `ridden`: what rides stand at the worst places; of the road, the share of runs that
    fail (`robust.last_word`).
    """

    kind: str
    asked: float
    stood: float
    fields: Field
    ridden: float


@dataclass(frozen=True)
class StoodSetup:
    """A setup and what it stands: its worst margin on the sweep, and each disturbance that is asked."""

    setup: Setup
    margin: float
    stood: tuple[Stood, ...]
    # Worst margin of the builds and inputs that must be stood
    built: float | None = None

    @property
    def times(self) -> float:
        """How many times what is asked is stood, of the disturbance that is stood least."""
        return min((one.stood / one.asked for one in self.stood), default=0.0)


@dataclass(frozen=True)
class FrontPoint:
    """The best margin where `times` what is asked must be stood, parts of any value; and whether it is."""

    times: float
    margin: float
    is_stood: bool
    setup: Setup


def requirement_of(project: Project) -> Requirement | None:
    """What limits.toml says must be stood in motion; None where it says nothing of it.

    Raises InputError where an entry is missing that it takes.
    """
    limits = project.limits
    asked = None if limits is None else limits.require
    if asked is None or not any(getattr(asked, kind) for kind in KINDS):
        return None
    if asked.road:
        purpose = "require.road of limits.toml needs it"
        need(
            project.venue.roughness,
            project.folder / "venue.toml",
            "venue.roughness",
            purpose,
        )
    return Requirement(LinearStood(project, asked))


def needs_search(project: Project) -> bool:
    """Whether limits.toml requires anything."""
    asked = project.limits.require if project.limits else None
    return asked is not None and asked != Require()


def required_optimum(
    root: RelaxedOptimum,
    times: float,
    least: float,
    progress: Progress,
    quick: bool = False,
) -> RelaxedOptimum:
    """The best of a body that stands what `[require]` says, `times` as much.

    `least`: the margin that builds and inputs must keep. `quick`: not as accurate, for a front.
    """
    problem = root.problem
    asked = problem.limits.require or Require()
    requirement = requirement_of(problem.project)
    if requirement is not None and times > 0.0:
        problem = replace(
            problem, requirement=replace(requirement, times=times)
        )
    points = root.best.index_points
    robust = root.robust or asked.builds or asked.spread
    if asked.builds or asked.spread:
        points = points.pick(np.flatnonzero(points.family < problem.attitudes))
        problem = replace(
            problem,
            builds=(),
            least_built=None if root.robust else least,
            has_builds=asked.builds or root.robust,
            has_spread=asked.spread,
        )
    with one_at_a_time:
        solver, end = _solved(
            problem,
            robust,
            replace(root.best, index_points=points),
            progress,
            quick,
        )
        end = solver.verified(solver.box, end)
    return replace(
        root,
        problem=solver.problem,
        robust=robust,
        best=end,
        exact=end,
        steady=root,
    )


def _solved(
    problem: SetupProblem,
    robust: bool,
    end: ExchangeResult,
    progress: Progress,
    quick: bool,
) -> tuple[Solver, ExchangeResult]:
    """Local searches from `end` with more and more places: at first quick ones, then accurate ones."""
    steps = (
        [(_QUICK, _FEW_ROUNDS)]
        if quick
        else [(_QUICK, _FEW_ROUNDS), (STANDARD, EXCHANGE)]
    )
    solver = Solver(problem, robust)
    for count in range(_ROUNDS):
        problem, grown = _with_places(solver.problem, end.outcome.point)
        if count > 0 and not grown:
            steps = steps[1:]
        if not steps:
            break
        progress(
            f"what must be stood, round {count + 1}, merit {end.merit:.4f}"
        )
        trust_region, options = steps[0]
        solver = Solver(problem, robust, trust_region)
        starts = (
            _starts(problem, end.outcome.point)
            if count == 0
            else [end.outcome.point]
        )
        end = solver.best_of(solver.box, starts, end.index_points, options)
    return solver, end


def _starts(problem: SetupProblem, point: Floats) -> list[Floats]:
    """A point, today's, and the point on softer springs and bars: the way there may lead over hard ones."""
    soft = [
        _SOFT if v.setting.field in _SPRINGS else 1.0 for v in problem.variables
    ]
    return [point, problem.start, point * np.array(soft)]


def _with_places(
    problem: SetupProblem, point: Floats
) -> tuple[SetupProblem, bool]:
    """The problem held at the worst places of a point too, and whether there are new ones."""
    required = problem.requirement
    if required is None:
        return problem, False
    index_points = problem.index.grid_points()
    cases = problem.cases(index_points)
    answers = problem.result(point[None, :], cases).answers
    setups = problem.setups(point)

    def room(which: list[Asked]) -> tuple[Floats, np.ndarray]:
        rooms, variants, _ = required.room(
            problem.model, setups, cases, answers, which
        )
        return rooms[0], variants[0]

    grown = required.with_worst(room, index_points)
    return replace(problem, requirement=grown), len(grown.places) > len(
        required.places
    )


# ---- what a setup stands -----------------------------------------------------------------------------------


def stood_by(
    problem: SetupProblem, setup: Setup, times: float = 1.0
) -> StoodSetup:
    """What a setup on the problem's body stands at every place of the sweep.

    `times`: of what `[require]` says, for rides to look so far.
    """
    project = problem.project
    cases = sweep_cases(project.venue)
    model = problem.model
    setups = by_wheel(setup)
    settings = model.settings(setups)
    result = model.run(settings, cases)
    worst = float(result.worst_margin[0])
    requirement = requirement_of(project)
    built = _worst_built(problem, setup)
    if requirement is None:
        return StoodSetup(setup, worst, (), built)
    stood = requirement.stood
    rows = range(len(cases))
    found = []
    which: list[Asked] = [
        (KINDS.index(kind), None, row) for kind in stood.kinds for row in rows
    ]
    _, _, shares = requirement.room(model, setups, cases, result.answers, which)
    for kind, each in zip(
        stood.kinds, shares.reshape(-1, len(cases)), strict=True
    ):
        row = int(each.argmin())
        level = float(getattr(stood.asked, kind))
        rides = ridden(
            project,
            setup,
            cases.pick(np.argsort(each)[:_RIDDEN]),
            kind,
            max(times, 1.0) * level,
        )
        found.append(
            Stood(
                kind, level, level * float(each[row]), result.fields(row), rides
            )
        )
    return StoodSetup(setup, worst, tuple(found), built)


def _worst_built(problem: SetupProblem, setup: Setup) -> float | None:
    """Worst margin of the builds and inputs that must be stood; None where none must."""
    asked = problem.limits.require
    if asked is None or not (asked.builds or asked.spread):
        return None
    both = replace(problem, has_builds=asked.builds, has_spread=asked.spread)
    return worst_build(
        both.errors(setup), sweep_cases(problem.project.venue)
    ).margin


def not_stood(
    stood: StoodSetup, times: float, least: float
) -> tuple[Broken, ...]:
    """What a setup does not stand of what must be, as broken limits."""
    found = []
    for one in stood.stood:
        key, unit, factor = UNITS[one.kind]
        asked = times * one.asked
        where = {
            name: one.fields.get(name)
            for name in ("case", "roll_angle_deg", "attitude", "along_mm")
        }
        if one.stood < (1.0 - 2.0 * BROKEN) * asked:
            value, required = one.stood / factor, asked / factor
            found.append(
                Broken(
                    f"require.{key}",
                    "",
                    value,
                    AT_LEAST,
                    required,
                    unit,
                    **where,
                )
            )
        elif one.kind == "road" and one.ridden > CHANCE:
            failed, most = 100.0 * one.ridden, 100.0 * CHANCE
            found.append(
                Broken(
                    "require.road",
                    "in rides",
                    failed,
                    AT_MOST,
                    most,
                    "% of runs",
                    **where,
                )
            )
        elif one.kind != "road" and one.ridden < (1.0 - _RIDE_STEP) * asked:
            value, required = one.ridden / factor, asked / factor
            found.append(
                Broken(
                    f"require.{key}",
                    "in rides",
                    value,
                    AT_LEAST,
                    required,
                    unit,
                    **where,
                )
            )
    if stood.built is not None and stood.built < least - BROKEN:
        found.append(
            Broken(
                "require.builds",
                "worst margin",
                stood.built,
                AT_LEAST,
                least,
                "of grip",
            )
        )
    return tuple(found)


# ---- margin against how much is stood ----------------------------------------------------------------------


def front(
    root: RelaxedOptimum,
    least: float,
    times: Sequence[float],
    progress: Progress,
) -> list[FrontPoint]:
    """The best margins of a body by how much must be stood, from little to much, each from the one before.

    It ends beyond the first that is under `least` or cannot be stood.
    """
    found = []
    reached = root
    for share in times:
        progress(f"margin where {share:g} times as much is stood")
        if share > 0.0:
            reached = required_optimum(
                replace(root, best=reached.best),
                share,
                least,
                progress,
                quick=True,
            )
        point = reached.best.outcome.point
        is_stood = reached.best.outcome.limits.min(initial=0.0) >= -BROKEN
        margin = float(reached.best.outcome.values.min())
        found.append(
            FrontPoint(
                share,
                margin,
                bool(is_stood),
                root.problem.setup(point, f"{share:g} times"),
            )
        )
        if not is_stood or margin < least:
            break
    return found


def most_times(
    root: RelaxedOptimum,
    points: list[FrontPoint],
    least: float,
    progress: Progress,
) -> tuple[float, list[FrontPoint]]:
    """How many times what is asked can be stood with a margin of `least`, between points of the front.

    Returns the points with those that were tried.
    """
    points = list(points)
    high = points[-1]
    low = max(
        (p for p in points if _is_good(p, least)),
        key=lambda p: p.times,
        default=points[0],
    )
    for _ in range(_HALVINGS if high.times > low.times else 0):
        middle = 0.5 * (low.times + high.times)
        (tried,) = front(root, least, (middle,), progress)
        points.append(tried)
        low, high = (tried, high) if _is_good(tried, least) else (low, tried)
    return low.times, sorted(points, key=lambda p: p.times)


def _is_good(point: FrontPoint, least: float) -> bool:
    return point.is_stood and point.margin >= least
