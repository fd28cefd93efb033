"""Bodies and setups compared: ranked by worst margin, with the reason why each loses to the best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace
from functools import cached_property
from itertools import product
from typing import NamedTuple

import numpy as np

from setupopt.errors import UserError
from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.losses import LossBudget, loss_budget
from setupopt.evaluation.model import Model, evaluate
from setupopt.evaluation.result import Result, degrees
from setupopt.jobs.pool import SerialExecutor, WorkerPool
from setupopt.jobs.run import run_chunks
from setupopt.jobs.store import Store
from setupopt.physics.inputs import Floats
from setupopt.project.bodies import body_label, with_body
from setupopt.project.model import Project, Setup
from setupopt.search.engine.batch import silent
from setupopt.search.objective import objective_of
from setupopt.search.parts.discrete_choice import choose_parts
from setupopt.search.relaxation import Progress, relaxed_optimum
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import one_at_a_time
from setupopt.search.study_name import study_name

# Margins closer than this are a tie: trims are found to 1e-9.
_TIE = 1e-9


@dataclass(frozen=True)
class ComparisonOptions:
    """Options of `compare`.

    `as_is`: search nothing, but evaluate every body with every setup. `starts`: setups from which the best
    setup of every body is searched, the first of them today's.
    """

    as_is: bool = False
    starts: int = 2


@dataclass(frozen=True)
class Contender:
    """A setup with a body. `is_own_best`: searched for that body; otherwise as it was given.

    `project` has the body; `result` is of the venue's sweep.
    """

    project: Project
    setup: Setup
    is_own_best: bool
    result: Result
    broken: tuple[Broken, ...]

    @property
    def margin(self) -> float:
        """Worst margin; minus infinity where contact is lost."""
        return float(self.result.worst_margin[0])

    @property
    def worst(self) -> int:
        """Row of the worst case."""
        return int(self.result.worst[0])

    @property
    def by_attitude(self) -> Floats:
        """Worst margin of every attitude, (attitudes); minus infinity where contact is lost."""
        attitudes = len(self.result.cases.attitudes)
        return np.asarray(
            self.result.safe_margin[0].reshape(attitudes, -1).min(axis=1)
        )

    @property
    def holds(self) -> bool:
        """Whether contact is kept in every case and no limit is broken."""
        return not self.result.lost() and not self.broken

    @property
    def rank(self) -> tuple[object, ...]:
        """Sorts lost contact last, then broken limits, then the margin; equals by body, name and settings."""
        s = self.setup
        fails = (self.result.lost(), len(self.broken) > 0)
        return (
            *fails,
            -self.margin,
            s.body or "",
            s.name,
            astuple(s.front),
            astuple(s.rear),
        )


@dataclass(frozen=True)
class Reason:
    """Why a contender loses to the best: in its worst case, `cause` takes `more` margin than from the best.

    `behind`: how much less margin than the best it has in that case; negative: more margin. Where the
    contender loses contact, `more` and `behind` are None, and `cause` is the one whose removal would keep
    contact, if one would. `cause` and `more` are None where no single cause takes more.
    """

    roll_angle_deg: float
    attitude: str
    cause: str | None
    more: float | None
    behind: float | None
    along_mm: float | None = None  # on a section of parts


@dataclass(frozen=True)
class Comparison:
    """Contenders, the best first, and why each but the first loses.

    Those that break a limit come after those that break none, those that lose contact last.
    """

    project: Project
    contenders: tuple[Contender, ...]
    reasons: tuple[Reason | None, ...]

    @cached_property
    def is_best(self) -> np.ndarray:
        """Where each is the best, (contenders, attitudes), among those that break no limit.

        A tie counts for all in it. Where every contender breaks a limit, the best of all.
        """
        margins = np.array([one.by_attitude for one in self.contenders])
        kept = np.array([not one.broken for one in self.contenders])
        margins[~kept & kept.any()] = -np.inf
        return np.asarray(
            np.isfinite(margins) & (margins >= margins.max(axis=0) - _TIE)
        )

    @property
    def best_in(self) -> tuple[int, ...]:
        """In how many attitudes each is the best."""
        return tuple(int(count) for count in self.is_best.sum(axis=1))


def compare(
    project: Project,
    setups: Sequence[Setup] = (),
    options: ComparisonOptions | None = None,
    progress: Progress | None = None,
    pool: WorkerPool | None = None,
) -> Comparison:
    """Every body of a project with its own best setup, and `setups` as they are, ranked by worst margin.

    With `options.as_is` nothing is searched: every body is evaluated with every setup, or with today's where
    none is given. The order of bodies and setups changes nothing. `progress` gets the state of the work in
    words. Bodies are searched by `pool`, if one is given, to the same numbers; those that are finished are
    kept until all are. Margins have no unit; setups are in SI. Raises UserError where there is nothing to
    compare, for a setup whose body does not exist, and where limits.toml is missing for a search.
    """
    options = options or ComparisonOptions()
    report = progress or silent
    bodies, given = _wanted(project, setups, options.as_is)
    total = len(bodies) + len(given)
    if total < 2:
        raise UserError(
            "nothing to compare: one body and one setup; put bodies in bodies/, or name setup files"
        )
    best = BestPoint(
        project,
        options,
        total,
        report,
    )
    found = [
        _contender(project, setup, True)
        for setup in _best_setups(bodies, best, pool)
    ]
    for number, setup in enumerate(given, len(bodies) + 1):
        report(f"{number} of {total}")
        found.append(_contender(project, setup, False))
    ranked = sorted(found, key=lambda contender: contender.rank)
    return Comparison(
        project, tuple(ranked), tuple(_reason(ranked[0], one) for one in ranked)
    )


# ---- contenders --------------------------------------------------------------------------------------------


def _wanted(
    project: Project, setups: Sequence[Setup], as_is: bool
) -> tuple[list[str | None], list[Setup]]:
    """Bodies whose best setup is to be found, and setups as they are, each with its body."""
    bodies = [None, *(body.name for body in project.bodies)]
    if as_is:
        pairs = product(setups or [project.setup], bodies)
        return [], [replace(setup, body=body) for setup, body in pairs]
    if project.limits is None:
        raise UserError(
            f"{project.folder / 'limits.toml'} is missing: compare needs it to give each body its own best "
            "setup; with --as-is it does without"
        )
    for setup in setups:
        with_body(
            project, setup.body
        )  # a body that does not exist is refused before the search
    return bodies, list(setups)


class _Body(NamedTuple):
    """A body to search, and which of all contenders that is."""

    number: int
    name: str | None


@dataclass(frozen=True)
class BestPoint:
    """The search for a body's best setup, called with a body: as `propose` finds it with that body alone.

    The answer is a point (variables). `report` is for this process; other machines get none.
    """

    project: Project
    options: ComparisonOptions
    total: int = 1
    report: Progress = silent

    def problem(self, body: str | None) -> SetupProblem:
        """The problem of a body."""
        return SetupProblem(
            with_body(self.project, body), objective_of(self.project.venue)
        )

    def __call__(self, body: _Body) -> Floats:
        problem = self.problem(body.name)
        head = f"{body.number} of {self.total}: {body_label(body.name)}"

        def report(text: str) -> None:
            self.report(f"{head}: {text}")

        with one_at_a_time:
            root = relaxed_optimum(
                problem,
                False,
                self.options.starts,
                0,
                report,
            )
            name = study_name(problem.project, self.options)
            return choose_parts(
                name,
                [root],
                None,
                report,
            ).point


def _best_setups(
    bodies: Sequence[str | None], best: BestPoint, pool: WorkerPool | None
) -> list[Setup]:
    """The best setup of every body. A body is a chunk, kept until all are there."""
    if not bodies:
        return []
    jobs = [_Body(number, name) for number, name in enumerate(bodies, 1)]
    store = Store.open(study_name(best.project, best.options))
    finished = iter(jobs)

    def progress(_: int) -> None:
        best.report(f"{next(finished).number} of {best.total} finished")

    search = best if pool is None else replace(best, report=silent)
    points = run_chunks(
        "best",
        search,
        jobs,
        store=store,
        pool=pool or SerialExecutor(),
        progress=progress,
    )
    setups = [
        best.problem(body).setup(point, f"Best with {body_label(body)}")
        for body, point in zip(bodies, points, strict=True)
    ]
    store.finish()
    return setups


def _contender(project: Project, setup: Setup, is_own_best: bool) -> Contender:
    """A setup evaluated with the body it names."""
    own = with_body(project, setup.body)
    result = evaluate(own, setup)
    return Contender(
        own,
        setup,
        is_own_best,
        result,
        broken(own, setup, result),
    )


# ---- why ---------------------------------------------------------------------------------------------------


def _reason(best: Contender, loser: Contender) -> Reason | None:
    """Why a contender loses, by the loss budgets of both in its worst case; None for the best itself."""
    if loser is best:
        return None
    cases = loser.result.cases
    row = loser.worst
    own = _budget(loser, cases, row)
    other = _budget(best, cases, row)
    if own.margin is None or other.margin is None:
        cause = own.regaining[0] if own.regaining else None
        more = behind = None
    else:
        cause, more = _largest_difference(own, other)
        behind = other.margin - own.margin
    angle = degrees(cases.records["roll_angle"][row])
    return Reason(
        angle,
        cases.attitude[row],
        cause,
        more,
        behind,
        **cases.along(row),
    )


def _budget(contender: Contender, cases: CaseSet, row: int) -> LossBudget:
    model = Model(contender.project.car)
    return loss_budget(
        model,
        model.settings(contender.setup),
        cases,
        row,
    )


def _largest_difference(
    own: LossBudget, other: LossBudget
) -> tuple[str | None, float | None]:
    """The cause that takes more from one than from the other, by the most, and how much more.

    A cause that acts on one alone takes all of it more. A cause whose removal costs one of the two its
    contact is left out: what it takes is not known.
    """
    spared = {
        loss.cause: loss.gain if loss.in_case else 0.0 for loss in other.losses
    }
    extra = {}
    for loss in own.losses:
        less = spared[loss.cause]
        if loss.gain is not None and less is not None:
            extra[loss.cause] = loss.gain - less
    worst = max(extra, key=lambda cause: extra[cause], default=None)
    return (
        (None, None)
        if worst is None or extra[worst] <= 0.0
        else (worst, extra[worst])
    )
