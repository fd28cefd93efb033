"""Bodies and setups against each other: ranked by worst margin, with the reason why each loses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace
from functools import cached_property
from itertools import product
from typing import NamedTuple

import numpy as np

from setupopt.errors import UserError
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.losses import LossBudget, loss_budget
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result, degrees
from setupopt.jobs.fingerprint import fingerprint
from setupopt.jobs.pool import SerialExecutor, WorkerPool
from setupopt.jobs.run import run_chunks
from setupopt.jobs.store import Store
from setupopt.physics.inputs import Floats
from setupopt.project.bodies import told, with_body
from setupopt.project.model import Project, Setup
from setupopt.search.parts.discrete_choice import choose_parts
from setupopt.search.parts.node_solver import one_at_a_time
from setupopt.search.relaxation import Progress, root_of
from setupopt.search.setup_problem import SetupProblem

# Margins closer than this are a tie: trims are found to 1e-9.
_TIE = 1e-9


@dataclass(frozen=True)
class Contender:
    """A setup on a body. `is_own_best`: searched for that body; else as it was given.

    `project` wears the body; `result` is of the venue's sweep.
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
        held = np.where(self.result.contact[0], self.result.margin[0], -np.inf)
        return np.asarray(held.reshape(len(self.result.cases.attitudes), -1).min(axis=1))

    @property
    def holds(self) -> bool:
        """Whether contact is kept in every case and no limit is broken."""
        return not self.result.lost() and not self.broken


@dataclass(frozen=True)
class Reason:
    """Why a contender loses to the best: in its worst case `cause` takes `more` margin than from the best.

    `behind`: by how much it lies behind the best in that case; negative: ahead of it. `more` and `behind` are
    None where the contender loses contact; `cause` is then what taken away would hold it, if one would.
    `cause` and `more` are None where no single cause takes more.
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
        """Where each is the best, (contenders, attitudes): of those that break no limit, ties count for all.

        Where every contender breaks a limit, it is the best of all.
        """
        margins = np.array([one.by_attitude for one in self.contenders])
        kept = np.array([not one.broken for one in self.contenders])
        margins[~kept & kept.any()] = -np.inf
        return np.asarray(np.isfinite(margins) & (margins >= margins.max(axis=0) - _TIE))

    @property
    def best_in(self) -> tuple[int, ...]:
        """In how many attitudes each is the best."""
        return tuple(int(count) for count in self.is_best.sum(axis=1))


def compare(
    project: Project, setups: Sequence[Setup] = (), as_is: bool = False, starts: int = 2,
    progress: Progress | None = None, crew: WorkerPool | None = None,
) -> Comparison:  # fmt: skip
    """Every body of a project with its own best setup, and `setups` as they are; the worst margin decides.

    `as_is`: nothing is searched; every body with every setup, today's where none is given. In which order
    bodies and setups are listed changes nothing. Raises UserError where there is nothing to compare, a setup
    names a body that there is not, or limits.toml is missing for a search.

    Bodies are searched by `crew`, if one is given, to the same numbers; those that are finished are kept
    until all are.
    """
    searched, given = _wanted(project, setups, as_is)
    total, say = len(searched) + len(given), progress or (lambda text: None)
    if total < 2:
        raise UserError(
            "nothing to compare: one body and one setup; put bodies in bodies/, or name setup files"
        )
    found = _searched(project, searched, BestPoint(project, starts, total, say), crew) if searched else []
    for number, setup in enumerate(given, len(searched) + 1):
        say(f"{number} of {total}")
        found.append(_evaluated(project, setup, False))
    ranked = sorted(found, key=_rank)
    return Comparison(project, tuple(ranked), tuple(_reason(ranked[0], one) for one in ranked))


def _rank(contender: Contender) -> tuple[object, ...]:
    """Lost contact last, then broken limits, then the margin; equals however they were listed."""
    s = contender.setup
    names = s.body or "", s.name, astuple(s.front), astuple(s.rear)
    return contender.result.lost(), len(contender.broken) > 0, -contender.margin, *names


# ---- contenders --------------------------------------------------------------------------------------------


def _bodies(project: Project) -> list[str | None]:
    return [None, *(body.name for body in project.bodies)]


def _wanted(project: Project, setups: Sequence[Setup], as_is: bool) -> tuple[list[str | None], list[Setup]]:
    """Bodies whose best setup is to be found, and setups as they are, each with its body."""
    if as_is:
        with_bodywork = product(setups or [project.setup], _bodies(project))
        return [], [replace(setup, body=body) for setup, body in with_bodywork]
    if project.limits is None:
        raise UserError(
            f"{project.folder / 'limits.toml'} is missing: compare needs it to give each body its own best "
            "setup; with --as-is it does without"
        )
    for setup in setups:
        with_body(project, setup.body)  # a body that there is not is refused before the search
    return _bodies(project), list(setups)


class _Body(NamedTuple):
    """A body to search, and which of all contenders that is."""

    number: int
    name: str | None


@dataclass(frozen=True)
class BestPoint:
    """The search for a body's best setup, called with a body: as `propose` finds it with that body alone.

    It answers with a point (variables). `say` is for this process; other machines are sent none.
    """

    project: Project
    starts: int
    total: int = 1
    say: Progress | None = None

    def problem(self, body: str | None) -> SetupProblem:
        """What is solved for a body."""
        assert self.project.limits is not None
        return SetupProblem(with_body(self.project, body), self.project.limits)

    def __call__(self, body: _Body) -> Floats:
        problem, say = self.problem(body.name), self._telling(body)
        with one_at_a_time:
            root = root_of(problem, False, self.starts, 0, say)
            return choose_parts(problem.project, [root], None, ("compare", self.starts), say).point

    def _telling(self, body: _Body) -> Progress | None:
        say, head = self.say, f"{body.number} of {self.total}: {told(body.name)}"
        return None if say is None else lambda text: say(f"{head}: {text}")


def _searched(
    project: Project, bodies: Sequence[str | None], best: BestPoint, crew: WorkerPool | None
) -> list[Contender]:
    """The best setup of every body. A body is a chunk, kept until all are there."""
    p, say, jobs = project, best.say, [_Body(number, name) for number, name in enumerate(bodies, 1)]
    store = Store.open(
        fingerprint("compare", p.car, p.venue, p.setup, p.limits, p.bodies, p.own_body, best.starts)
    )
    finished = iter(range(1, len(jobs) + 1))

    def progress(_: int) -> None:
        if say is not None:
            say(f"{next(finished)} of {best.total} finished")

    do, pool = (best, SerialExecutor()) if crew is None else (replace(best, say=None), crew)
    points = list(run_chunks("best", do, jobs, store=store, pool=pool, progress=progress))
    store.finish()
    setups = [
        best.problem(body).setup(point, f"Best with {told(body)}")
        for body, point in zip(bodies, points, strict=True)
    ]
    return [_evaluated(project, setup, True) for setup in setups]


def _evaluated(project: Project, setup: Setup, is_own_best: bool) -> Contender:
    """A setup on the body it names."""
    with_bodywork = with_body(project, setup.body)
    model, cases = Model(with_bodywork.car), sweep_cases(project.venue)
    result = model.run(model.settings(setup), cases)
    return Contender(with_bodywork, setup, is_own_best, result, broken(with_bodywork, setup, result))


# ---- why ---------------------------------------------------------------------------------------------------


def _reason(best: Contender, loser: Contender) -> Reason | None:
    """Why a contender loses, by the loss budgets of both in its worst case; None for the best itself."""
    if loser is best:
        return None
    cases, row = loser.result.cases, loser.worst
    own, other = _budget(loser, cases, row), _budget(best, cases, row)
    place = degrees(cases.records["roll_angle"][row]), cases.attitude[row]
    along = cases.along(row).get("along_mm")
    if own.margin is None or other.margin is None:
        return Reason(*place, own.regaining[0] if own.regaining else None, None, None, along)
    return Reason(*place, *_extra(own, other), other.margin - own.margin, along)


def _budget(contender: Contender, cases: CaseSet, row: int) -> LossBudget:
    model = Model(contender.project.car)
    return loss_budget(model, model.settings(contender.setup), cases, row)


def _extra(own: LossBudget, other: LossBudget) -> tuple[str | None, float | None]:
    """The cause that takes most more from one than from the other; one that acts on it alone takes all more.

    Left out are causes whose removal costs one of the two its contact: what they take is not known.
    """
    spared = {loss.cause: 0.0 if not loss.in_case else loss.gain for loss in other.losses}
    extra = {
        loss.cause: loss.gain - taken
        for loss in own.losses
        if loss.gain is not None and (taken := spared[loss.cause]) is not None
    }
    worst = max(extra, key=lambda cause: extra[cause], default=None)
    return (None, None) if worst is None or extra[worst] <= 0.0 else (worst, extra[worst])
