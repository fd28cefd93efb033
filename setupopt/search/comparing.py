"""Bodies and setups against each other: ranked by worst margin, with the reason why each loses."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from setupopt.cases import CaseSet, sweep_cases
from setupopt.errors import UserError
from setupopt.evaluation import Model
from setupopt.limits_check import Broken, broken
from setupopt.losses import LossBudget, loss_budget
from setupopt.physics.inputs import Floats
from setupopt.project.bodies import with_body
from setupopt.project.model import Project, Setup
from setupopt.result import Result, degrees
from setupopt.search.choosing import choose_parts
from setupopt.search.goal import goal_of
from setupopt.search.roots import root_of
from setupopt.search.setup_problem import SetupProblem

# Told in words how far the work is.
Progress = Callable[[str], object]


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


@dataclass(frozen=True)
class Reason:
    """Why a contender loses to the best: in its worst case `cause` takes `more` margin than from the best.

    `behind`: by how much it lies behind the best in that case. None: one of the two loses contact there, or
    nothing in the budget tells of it.
    """

    roll_angle_deg: float
    attitude: str
    cause: str | None
    more: float | None
    behind: float | None


@dataclass(frozen=True)
class Comparison:
    """Contenders, the best first, and why each but the first loses.

    `best_in`: in how many attitudes each is the best.
    """

    project: Project
    contenders: tuple[Contender, ...]
    reasons: tuple[Reason | None, ...]
    best_in: tuple[int, ...]


def compare(
    project: Project, setups: Sequence[Setup] = (), as_is: bool = False, starts: int = 2,
    progress: Progress | None = None,
) -> Comparison:  # fmt: skip
    """Every body of a project with its own best setup, and `setups` as they are; the worst margin decides.

    `as_is`: nothing is searched; every body with every setup, today's where none is given. Raises UserError
    where there is nothing to compare, or limits.toml is missing for a search.
    """
    found = list(
        _as_given(project, setups or [project.setup])
        if as_is
        else _own_best(project, setups, starts, progress)
    )
    if len(found) < 2:
        raise UserError(
            "nothing to compare: one body and one setup; put bodies in bodies/, or name setup files"
        )
    ranked = sorted(found, key=_rank)
    return Comparison(
        project, tuple(ranked), tuple(_reason(ranked[0], one) for one in ranked), _counts(ranked)
    )


def _rank(contender: Contender) -> tuple[int, float, str, str]:
    """Those that break a limit last; then by margin; equals by name, however they were listed."""
    names = contender.project.setup.body or "", contender.setup.name
    return len(contender.broken) > 0, -contender.margin, *names


def _bodies(project: Project) -> list[str | None]:
    return [None, *(body.name for body in project.bodies)]


def _contender(project: Project, setup: Setup, is_own_best: bool) -> Contender:
    """A setup on the body it names, evaluated."""
    dressed = with_body(project, setup.body)
    model, cases = Model(dressed.car), sweep_cases(project.venue)
    result = model.run(model.settings(setup), cases)
    return Contender(dressed, setup, is_own_best, result, broken(dressed, setup, result))


def _as_given(project: Project, setups: Sequence[Setup]) -> Iterator[Contender]:
    for setup in setups:
        for body in _bodies(project):
            yield _contender(project, replace(setup, body=body), False)


def _own_best(
    project: Project, setups: Sequence[Setup], starts: int, progress: Progress | None
) -> Iterator[Contender]:
    """The best setup of every body, then the setups as they are."""
    if project.limits is None:
        raise UserError(
            f"{project.folder / 'limits.toml'} is missing: compare needs it to give each body its own best "
            "setup; with --as-is it does without"
        )
    for body in _bodies(project):
        told = (
            None if progress is None else (lambda text, name=body: progress(f"{name or 'car.toml'}: {text}"))
        )
        dressed = with_body(project, body)
        root = root_of(SetupProblem(dressed, project.limits, goal_of(project.venue)), False, starts, 0, told)
        choice = choose_parts(dressed, [root], None, ("compare", starts), told)
        setup = root.solver.problem.setup(choice.point, f"Best with {body or 'the body of car.toml'}"[:80])
        yield _contender(project, setup, True)
    for setup in setups:
        yield _contender(project, setup, False)


def _telling(progress: Progress | None, name: str) -> Progress | None:
    """Progress of one body."""
    return None if progress is None else lambda text: progress(f"{name}: {text}")


def _counts(ranked: Sequence[Contender]) -> tuple[int, ...]:
    """In how many attitudes each is the best, ties counting for all of them."""
    margins = np.array([contender.by_attitude for contender in ranked])
    best = np.isfinite(margins) & (margins >= margins.max(axis=0) - 1e-9)
    return tuple(int(count) for count in best.sum(axis=1))


def _reason(best: Contender, loser: Contender) -> Reason | None:
    """Why a contender loses, by the loss budgets of both in its worst case; None for the best itself."""
    if loser is best:
        return None
    cases, row = loser.result.cases, loser.worst
    own, other = _budget(loser, cases, row), _budget(best, cases, row)
    angle = degrees(cases.records["roll_angle"][row])
    if own.margin is None or other.margin is None:
        cause = own.regaining[0] if own.regaining else None
        return Reason(angle, cases.attitude[row], cause, None, None)
    cause, more = _extra(own, other)
    return Reason(angle, cases.attitude[row], cause, more, other.margin - own.margin)


def _budget(contender: Contender, cases: CaseSet, row: int) -> LossBudget:
    model = Model(contender.project.car)
    return loss_budget(model, model.settings(contender.setup), cases, row)


def _extra(own: LossBudget, other: LossBudget) -> tuple[str | None, float | None]:
    """The cause that takes most more from one than from the other."""
    spared = {loss.cause: loss.gain for loss in other.losses}
    extra = {
        loss.cause: loss.gain - (spared[loss.cause] or 0.0) for loss in own.losses if loss.gain is not None
    }
    worst = max(extra, key=lambda cause: extra[cause], default=None)
    return (None, None) if worst is None or extra[worst] <= 0.0 else (worst, extra[worst])
