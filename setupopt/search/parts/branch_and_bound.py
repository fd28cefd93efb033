"""The choice of parts as a study that is kept: stopped and taken up again, alone or by several workers.

A trial opens one box of sets: it solves the set next to the box's bound, splits the box, and bounds both
halves. All that the next trial needs stands in the trials themselves.

What opening a box answers depends on the box alone, and the answers count in the order in which one worker
alone would open the boxes; others, opened ahead of their turn, wait for it, and many are never asked for. So
any number of workers, whichever of them are lost, end at the same numbers.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

import numpy as np
import optuna
from optuna.distributions import BaseDistribution, CategoricalDistribution
from optuna.trial import FrozenTrial, Trial, TrialState
from sqlalchemy.exc import IntegrityError, OperationalError

from setupopt.errors import UserError
from setupopt.jobs.pool import SerialExecutor, WorkerPool
from setupopt.search.parts.node_solver import ExpandTask, Expansion, NodeExpander, Solve
from setupopt.search.parts.part_space import BoundedNode, Node, PartSpace

Made = TypeVar("Made")


@dataclass(frozen=True)
class BranchAndBoundResult:
    """What a study found.

    `sets`: the sets that were solved, best first. `bound`: no set is worth more, as far as climbs find the
    best of their boxes. `overshoot`: by how much a set or a half was better than the bound of its box, 0
    where none was. `solves` of boxes and sets, of `count` sets that there are. `cases`: load cases that this
    run solved for them, ahead of their turn or not.
    """

    sets: tuple[BoundedNode, ...]
    bound: float
    bound_violation: float
    solves: int
    count: int
    is_finished: bool
    cases: int = 0


@dataclass(frozen=True)
class _Kept:
    """What a finished trial keeps of the box it opened."""

    opened: BoundedNode
    solved: BoundedNode
    halves: tuple[BoundedNode, ...]
    solves: int

    @classmethod
    def of(cls, trial: FrozenTrial) -> _Kept:
        """As the study keeps it."""
        kept = trial.user_attrs
        halves = tuple(BoundedNode.from_dict(half) for half in kept["halves"])
        opened, solved = BoundedNode.from_dict(kept["opened"]), BoundedNode.from_dict(kept["solved"])
        return cls(opened, solved, halves, int(kept["solves"]))


class _Frontier:
    """Boxes still open after some were opened. Worth opening: those better than the best set by `near`."""

    def __init__(self, roots: Sequence[BoundedNode], near: float) -> None:
        self.near, self.open = near, {root.box: root for root in roots}
        self.solved: dict[Node, BoundedNode] = {}
        self.best, self.bound_violation, self.solves, self.opened = -np.inf, 0.0, len(roots), 0

    def copy(self) -> _Frontier:
        """The same, to go on from."""
        other = _Frontier((), self.near)
        other.__dict__.update(self.__dict__, open=dict(self.open), solved=dict(self.solved))
        return other

    def advance(self, kept: dict[Node, _Kept], most: float = np.inf) -> None:
        """Take in what was opened, the most promising box first, up to one that was not."""
        while (worth := self.worth()) and worth[0].box in kept and self.opened < most:
            self._take_in(kept[worth[0].box])

    def advance_all(self, kept: dict[Node, _Kept]) -> None:
        """Take in all that was opened and is worth it, in no order."""
        while found := next((kept[box.box] for box in self.worth() if box.box in kept), None):
            self._take_in(found)

    def _take_in(self, kept: _Kept) -> None:
        self.open.pop(kept.opened.box)
        self.solved[kept.solved.box], self.opened = kept.solved, self.opened + 1
        self.solves, self.best = self.solves + kept.solves, max(self.best, kept.solved.bound)
        better = (found.bound - kept.opened.bound for found in (kept.solved, *kept.halves))
        self.bound_violation = max([self.bound_violation, *better])
        self.open.update((half.box, half) for half in kept.halves)

    def worth(self) -> list[BoundedNode]:
        """Boxes worth opening, the most promising first."""
        found = [box for box in self.open.values() if box.bound > self.best + self.near]
        return sorted(found, key=lambda f: (-f.bound, f.box.body, f.box.low))

    def bound(self) -> float:
        """What no set can be worth more than."""
        return max([self.best, *(box.bound for box in self.open.values())])


class _Sampler(optuna.samplers.BaseSampler):
    """Suggests the set next to the bound of the box that is to be opened `next`."""

    def __init__(self, space: PartSpace) -> None:
        self.space = space
        self.next: BoundedNode | None = None

    def infer_relative_search_space(
        self, study: optuna.Study, trial: FrozenTrial
    ) -> dict[str, BaseDistribution]:
        """Every part, by its name in the files."""
        return dict(distributions(self.space))

    def sample_relative(
        self, study: optuna.Study, trial: FrozenTrial, search_space: dict[str, BaseDistribution]
    ) -> dict[str, Any]:
        """The set to solve."""
        assert self.next is not None
        return dict(self.space.words(self.next.box.body, self.space.nearest(self.next)))

    def sample_independent(
        self, study: optuna.Study, trial: FrozenTrial, param_name: str, param_distribution: BaseDistribution
    ) -> Any:
        """Every part is among the relative ones."""
        raise UserError(f"the study knows no part {param_name}")


def distributions(space: PartSpace) -> dict[str, CategoricalDistribution]:
    """The pieces of every part, by its name; the body first, where there are several."""
    found: dict[str, CategoricalDistribution] = {}
    if len(space.bodies) > 1:
        found["body"] = CategoricalDistribution([body or "" for body in space.bodies])
    for j in space.parts:
        found[space.variables[j].name] = CategoricalDistribution(space.choices(j))
    return found


def _is_worked_at(trial: FrozenTrial) -> bool:
    """Whether a trial that has begun is still worked at, as far as can be told from here."""
    if trial.state != TrialState.RUNNING or "opened" not in trial.user_attrs:
        return False
    host, process = trial.user_attrs["worker"]
    return bool(host != socket.gethostname() or is_alive(int(process)))


def is_alive(process: int) -> bool:
    """Whether a process of this machine still runs."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def patiently(opened: Callable[[], Made]) -> Made:
    """What opens a storage, tried again where another worker is just making its tables."""
    for pause in (0.2, 0.5, 1.0):
        try:
            return opened()
        except (IntegrityError, OperationalError):
            time.sleep(pause)
    return opened()


def _opened(storage: str | None, name: str | None, sampler: _Sampler) -> optuna.Study:
    """The study, made if need be."""
    made = partial(optuna.create_study, storage=storage, study_name=name, sampler=sampler)
    return patiently(lambda: made(direction="maximize", load_if_exists=True))


class PartStudy:
    """Opens box after box until none is worth it. `storage`: where the study `name` is kept, or None.

    The boxes are opened by `crew`, as many at once as it has threads; without one, here.
    """

    def __init__(
        self, space: PartSpace, solve: Solve, roots: Sequence[BoundedNode], near: float,
        storage: str | None = None, name: str | None = None, crew: WorkerPool | None = None,
    ) -> None:  # fmt: skip
        optuna.logging.set_verbosity(optuna.logging.ERROR)
        self.space, self.opener, self.crew = space, NodeExpander(solve), crew or SerialExecutor()
        self.frontier, self.sampler = _Frontier(roots, near), _Sampler(space)
        self.study = _opened(storage, name, self.sampler)
        self.kept: dict[Node, _Kept] = {}
        self.begun: dict[Future[Expansion], tuple[Trial, ExpandTask]] = {}
        self.cases = 0
        self._seen: set[int] = set()

    def run(
        self, most: int, progress: Callable[[int, float, float], object] | None = None
    ) -> BranchAndBoundResult:
        """Open at most `most` boxes in all; `progress` is told of boxes opened, the best and the bound."""
        try:
            self._learn(most)
            while not self._is_done(most):
                self._begin_more()
                self._end_some()
                self._learn(most)
                if progress is not None:
                    progress(len(self.frontier.solved), self.frontier.best, self.frontier.bound())
        finally:
            self._give_up()
        return self._chosen()

    def _is_done(self, most: int) -> bool:
        return not self.frontier.worth() or self.frontier.opened >= most

    def _learn(self, most: int) -> Sequence[FrozenTrial]:
        """Take in what has been finished since, by whomever; all trials."""
        trials = self.study.get_trials(deepcopy=False)
        for trial in trials:
            if trial.state == TrialState.COMPLETE and trial.number not in self._seen:
                self._seen.add(trial.number)
                kept = _Kept.of(trial)
                self.kept.setdefault(kept.opened.box, kept)
        self.frontier.advance(self.kept, most)
        return trials

    # ---- boxes to open ----------------------------------------------------------------------------------

    def _begin_more(self) -> None:
        """Begin boxes until nobody of the crew is idle, or there is none to begin."""
        threads = max(1, self.crew.threads)
        while len(self.begun) < threads and (found := self._next()) is not None:
            self._begin(found)

    def _next(self) -> BoundedNode | None:
        """The box whose turn it is, or one ahead of its turn, that nobody works at; None to wait for a box.

        Where others work at all that is left, the same work twice does no harm; waiting for a worker that
        was lost would.
        """
        trials = self.study.get_trials(deepcopy=False)
        busy = {BoundedNode.from_dict(t.user_attrs["opened"]).box for t in trials if _is_worked_at(t)}
        ahead = self.frontier.copy()
        ahead.advance_all(self.kept)
        own = {job.found.box for _, job in self.begun.values()}
        left = [found for found in (*self.frontier.worth()[:1], *ahead.worth()) if found.box not in own]
        free = next((found for found in left if found.box not in busy), None)
        return left[0] if free is None and left and not own else free

    def _begin(self, found: BoundedNode) -> None:
        """Give a box to the crew, in a trial that tells the others."""
        space, self.sampler.next = self.space, found
        trial = self.study.ask()
        for name, distribution in distributions(space).items():
            trial.suggest_categorical(name, distribution.choices)
        trial.set_user_attr("worker", [socket.gethostname(), os.getpid()])
        trial.set_user_attr("opened", found.as_dict())
        single = space.single(found.box.body, space.nearest(found))
        known = next((kept.solved for kept in self.kept.values() if kept.solved.box == single), None)
        job = ExpandTask(found, single, known, tuple(space.split(found)))
        try:
            self.begun[self.crew.submit(self.opener, job)] = trial, job
        except BaseException:
            self._fail(trial)
            raise

    def _end_some(self) -> None:
        """Wait for a box or more, and keep what they hold."""
        for future in wait(self.begun, return_when=FIRST_COMPLETED).done:
            opened = future.result()
            trial, job = self.begun.pop(future)
            self.cases += opened.cases
            trial.set_user_attr("solved", opened.solved.as_dict())
            trial.set_user_attr("halves", [half.as_dict() for half in opened.halves])
            trial.set_user_attr("solves", len(opened.halves) + (job.known is None))
            self.study.tell(trial, opened.solved.bound)

    def _give_up(self) -> None:
        """Leave what is not finished, such as boxes whose turn never came, to whoever wants it."""
        for future, (trial, _) in self.begun.items():
            future.cancel()
            self._fail(trial)
        self.begun.clear()

    def _fail(self, trial: Trial) -> None:
        with suppress(Exception):  # what ended the work may be the storage itself
            self.study.tell(trial, state=TrialState.FAIL)

    def _chosen(self) -> BranchAndBoundResult:
        f, count = self.frontier, self.space.sets
        sets = sorted(f.solved.values(), key=lambda s: (-s.bound, s.box.body, s.box.low))
        return BranchAndBoundResult(
            tuple(sets), f.bound(), f.bound_violation, f.solves, count, not f.worth(), self.cases
        )
