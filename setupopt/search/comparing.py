"""Bodies and setups against each other: ranked by worst margin, with the reason why each loses."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import astuple, dataclass, replace
from functools import cached_property, partial
from itertools import product

import numpy as np

from setupopt.cases import CaseSet, sweep_cases
from setupopt.errors import UserError
from setupopt.evaluation import Model
from setupopt.limits_check import Broken, broken
from setupopt.losses import LossBudget, loss_budget
from setupopt.physics.inputs import Floats
from setupopt.project.bodies import told, with_body
from setupopt.project.model import Project, Setup
from setupopt.result import Result, degrees
from setupopt.search.choosing import choose_parts
from setupopt.search.roots import Progress, root_of
from setupopt.search.setup_problem import SetupProblem

# Margins closer than this are a tie: trims are found to 1e-9.
_TIE = 1e-9
# Makes a contender, telling how far it is.
_Maker = Callable[[Progress], "Contender"]


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
    progress: Progress | None = None,
) -> Comparison:  # fmt: skip
    """Every body of a project with its own best setup, and `setups` as they are; the worst margin decides.

    `as_is`: nothing is searched; every body with every setup, today's where none is given. In which order
    bodies and setups are listed changes nothing. Raises UserError where there is nothing to compare, a setup
    names a body that there is not, or limits.toml is missing for a search.
    """
    makers = _as_given(project, setups or [project.setup]) if as_is else _own_best(project, setups, starts)
    if len(makers) < 2:
        raise UserError(
            "nothing to compare: one body and one setup; put bodies in bodies/, or name setup files"
        )
    ranked = sorted(_made(makers, progress or (lambda text: None)), key=_rank)
    return Comparison(project, tuple(ranked), tuple(_reason(ranked[0], one) for one in ranked))


def _made(makers: Sequence[_Maker], progress: Progress) -> list[Contender]:
    """All contenders, one after the other."""
    found = []
    for number, make in enumerate(makers, 1):
        count = f"{number} of {len(makers)}"
        progress(count)
        found.append(make(_under(progress, count)))
    return found


def _under(progress: Progress, head: str) -> Progress:
    """Progress of a part of the work."""
    return lambda text: progress(f"{head}: {text}")


def _rank(contender: Contender) -> tuple[object, ...]:
    """Lost contact last, then broken limits, then the margin; equals however they were listed."""
    s = contender.setup
    names = s.body or "", s.name, astuple(s.front), astuple(s.rear)
    return contender.result.lost(), len(contender.broken) > 0, -contender.margin, *names


# ---- contenders --------------------------------------------------------------------------------------------


def _bodies(project: Project) -> list[str | None]:
    return [None, *(body.name for body in project.bodies)]


def _as_given(project: Project, setups: Sequence[Setup]) -> list[_Maker]:
    """Every setup on every body."""
    dressed = (replace(setup, body=body) for setup, body in product(setups, _bodies(project)))
    return [partial(_given, project, setup) for setup in dressed]


def _own_best(project: Project, setups: Sequence[Setup], starts: int) -> list[_Maker]:
    """The best setup of every body, then the setups as they are."""
    if project.limits is None:
        raise UserError(
            f"{project.folder / 'limits.toml'} is missing: compare needs it to give each body its own best "
            "setup; with --as-is it does without"
        )
    for setup in setups:
        with_body(project, setup.body)  # a body that there is not is refused before the search
    searched = [partial(_searched, project, body, starts) for body in _bodies(project)]
    return [*searched, *(partial(_given, project, setup) for setup in setups)]


def _given(project: Project, setup: Setup, progress: Progress) -> Contender:
    return _evaluated(project, setup, False)


def _searched(project: Project, body: str | None, starts: int, progress: Progress) -> Contender:
    """The best setup of one body, as `propose` finds it with that body alone."""
    assert project.limits is not None
    problem, say = SetupProblem(with_body(project, body), project.limits), _under(progress, told(body))
    root = root_of(problem, False, starts, 0, say)
    choice = choose_parts(problem.project, [root], None, ("compare", starts), say)
    return _evaluated(project, problem.setup(choice.point, f"Best with {told(body)}"), True)


def _evaluated(project: Project, setup: Setup, is_own_best: bool) -> Contender:
    """A setup on the body it names."""
    dressed = with_body(project, setup.body)
    model, cases = Model(dressed.car), sweep_cases(project.venue)
    result = model.run(model.settings(setup), cases)
    return Contender(dressed, setup, is_own_best, result, broken(dressed, setup, result))


# ---- why ---------------------------------------------------------------------------------------------------


def _reason(best: Contender, loser: Contender) -> Reason | None:
    """Why a contender loses, by the loss budgets of both in its worst case; None for the best itself."""
    if loser is best:
        return None
    cases, row = loser.result.cases, loser.worst
    own, other = _budget(loser, cases, row), _budget(best, cases, row)
    place = degrees(cases.records["roll_angle"][row]), cases.attitude[row]
    if own.margin is None or other.margin is None:
        return Reason(*place, own.regaining[0] if own.regaining else None, None, None)
    return Reason(*place, *_extra(own, other), other.margin - own.margin)


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
