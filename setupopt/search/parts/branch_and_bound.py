"""The choice of parts as a study that is kept: stopped and continued, by one worker or by several.

A trial expands one node: it solves the set next to the node's bound, splits the node, and bounds both halves.
The trials hold all that the next trial needs.

The expansion of a node depends on the node alone, and expansions count in the order in which one worker alone
would make them. Other nodes, expanded ahead of their turn, wait for it, and many are never needed. So any
number of workers, whichever of them are lost, end at the same numbers.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from contextlib import suppress
from copy import copy
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

import numpy as np
import optuna
from optuna.distributions import BaseDistribution, CategoricalDistribution
from optuna.trial import FrozenTrial, Trial, TrialState
from sqlalchemy.exc import IntegrityError, OperationalError

from setupopt.jobs.pool import SerialExecutor, WorkerPool
from setupopt.search.parts.node_solver import (
    ExpandTask,
    Expansion,
    NodeExpander,
    Solve,
)
from setupopt.search.parts.part_space import BoundedNode, Node, PartSpace

Made = TypeVar("Made")

# Seconds before each further attempt to open a storage.
_PAUSES = (0.2, 0.5, 1.0)


@dataclass(frozen=True)
class BranchAndBoundResult:
    """What a study found.

    `sets`: the sets that were solved, best first. `bound`: no set is worth more, as far as local searches
    find the best of their boxes. `bound_violation`: by how much a set or a half was better than the bound of
    its node, 0 where none was. `solves` of nodes and sets, of `count` sets that there are. `cases`: load
    cases that this run solved for them, ahead of their turn or not.
    """

    sets: tuple[BoundedNode, ...]
    bound: float
    bound_violation: float
    solves: int
    count: int
    is_finished: bool
    cases: int = 0


@dataclass(frozen=True)
class _Record:
    """What a finished trial keeps of the node it expanded."""

    opened: BoundedNode
    solved: BoundedNode
    halves: tuple[BoundedNode, ...]
    solves: int

    @classmethod
    def of(cls, trial: FrozenTrial) -> _Record:
        """As the study keeps it."""
        kept = trial.user_attrs
        halves = tuple(BoundedNode.from_dict(half) for half in kept["halves"])
        opened = BoundedNode.from_dict(kept["opened"])
        return cls(
            opened,
            BoundedNode.from_dict(kept["solved"]),
            halves,
            int(kept["solves"]),
        )


class _Frontier:
    """Nodes that are still open. A node is worth expanding if its bound is over the best set by `near`."""

    def __init__(self, roots: Sequence[BoundedNode], near: float) -> None:
        self.near = near
        self.open = {root.node: root for root in roots}
        self.solved: dict[Node, BoundedNode] = {}
        self.best = -np.inf
        self.bound_violation = 0.0
        self.solves = len(roots)
        self.expanded = 0

    def copy(self) -> _Frontier:
        """The same, to go on from."""
        other = copy(self)
        other.open = dict(self.open)
        other.solved = dict(self.solved)
        return other

    def advance(
        self, kept: Mapping[Node, _Record], most: float = np.inf
    ) -> None:
        """Take in expansions, the most promising node first, up to a node that was not expanded."""
        while (
            (worth := self.worth())
            and worth[0].node in kept
            and self.expanded < most
        ):
            self._take_in(kept[worth[0].node])

    def advance_all(self, kept: Mapping[Node, _Record]) -> None:
        """Take in all expansions of nodes that are worth it, in no order."""
        while found := next(
            (kept[one.node] for one in self.worth() if one.node in kept), None
        ):
            self._take_in(found)

    def _take_in(self, record: _Record) -> None:
        del self.open[record.opened.node]
        self.solved[record.solved.node] = record.solved
        self.expanded += 1
        self.solves += record.solves
        self.best = max(self.best, record.solved.bound)
        for found in (record.solved, *record.halves):
            self.bound_violation = max(
                self.bound_violation, found.bound - record.opened.bound
            )
        self.open.update((half.node, half) for half in record.halves)

    def worth(self) -> list[BoundedNode]:
        """Nodes worth expanding, the most promising first."""
        found = [
            one
            for one in self.open.values()
            if one.bound > self.best + self.near
        ]
        return sorted(found, key=lambda one: one.rank)

    def bound(self) -> float:
        """The merit that no set exceeds."""
        return max([self.best, *(one.bound for one in self.open.values())])


class _Sampler(optuna.samplers.RandomSampler):
    """Suggests the set `next`, by the names of its parts."""

    next: Mapping[str, Any]

    def sample_independent(
        self,
        study: optuna.Study,
        trial: FrozenTrial,
        param_name: str,
        param_distribution: BaseDistribution,
    ) -> Any:
        """The part of that name."""
        return self.next[param_name]


def _is_in_progress(trial: FrozenTrial) -> bool:
    """Whether a worker still expands the node of a trial, as far as this machine can know."""
    if trial.state != TrialState.RUNNING or "opened" not in trial.user_attrs:
        return False
    host, process = trial.user_attrs["worker"]
    return bool(host != socket.gethostname() or is_alive(int(process)))


def is_alive(process: int) -> bool:
    """Whether a process of this machine still runs."""
    try:
        os.kill(process, 0)
    except OSError as error:
        return not isinstance(error, ProcessLookupError)
    return True


def patiently(opened: Callable[[], Made]) -> Made:
    """Open a storage; try again where another worker is just making its tables."""
    for pause in _PAUSES:
        try:
            return opened()
        except (IntegrityError, OperationalError):
            time.sleep(pause)
    return opened()


class PartStudy:
    """Expands node after node until none is worth it. `storage`: where the study `name` is kept, or None.

    The nodes are expanded by `pool`, as many at once as it has threads; without a pool, here.
    """

    def __init__(
        self,
        space: PartSpace,
        solve: Solve,
        roots: Sequence[BoundedNode],
        near: float,
        storage: str | None = None,
        name: str | None = None,
        pool: WorkerPool | None = None,
    ) -> None:
        optuna.logging.set_verbosity(optuna.logging.ERROR)
        self.space = space
        self.distributions: dict[str, BaseDistribution] = {
            name: CategoricalDistribution(values)
            for name, values in space.choices().items()
        }
        self.expander = NodeExpander(solve)
        self.pool = pool or SerialExecutor()
        self.frontier = _Frontier(roots, near)
        self.sampler = _Sampler()
        made = partial(
            optuna.create_study,
            storage=storage,
            study_name=name,
            sampler=self.sampler,
        )
        self.study = patiently(
            lambda: made(direction="maximize", load_if_exists=True)
        )
        self.kept: dict[Node, _Record] = {}
        self.begun: dict[Future[Expansion], tuple[Trial, ExpandTask]] = {}
        self.cases = 0
        self._seen: set[int] = set()

    def run(
        self,
        most: int,
        progress: Callable[[int, float, float], object] | None = None,
    ) -> BranchAndBoundResult:
        """Expand at most `most` nodes in all; `progress` gets the sets solved, the best and the bound."""
        f = self.frontier
        try:
            self._learn(most)
            while f.worth() and f.expanded < most:
                self._begin_more()
                self._end_some()
                self._learn(most)
                if progress is not None:
                    progress(len(f.solved), f.best, f.bound())
        finally:
            self._give_up()
        sets = tuple(sorted(f.solved.values(), key=lambda one: one.rank))
        return BranchAndBoundResult(
            sets,
            f.bound(),
            f.bound_violation,
            f.solves,
            self.space.sets,
            not f.worth(),
            self.cases,
        )

    def _learn(self, most: int) -> None:
        """Take in what any worker has finished since."""
        for trial in self.study.get_trials(deepcopy=False):
            if (
                trial.state == TrialState.COMPLETE
                and trial.number not in self._seen
            ):
                self._seen.add(trial.number)
                record = _Record.of(trial)
                self.kept.setdefault(record.opened.node, record)
        self.frontier.advance(self.kept, most)

    # ---- nodes to expand --------------------------------------------------------------------------------

    def _begin_more(self) -> None:
        """Begin nodes until no thread of the pool is idle, or there is none to begin."""
        threads = max(1, self.pool.threads)
        while len(self.begun) < threads and (found := self._next()) is not None:
            self._begin(found)

    def _next(self) -> BoundedNode | None:
        """The node whose turn it is, or one ahead of its turn, that no worker has; None to wait for a node.

        Where other workers have all that is left, the same work twice does no harm; to wait for a worker
        that was lost would.
        """
        trials = self.study.get_trials(deepcopy=False)
        busy = {
            BoundedNode.from_dict(t.user_attrs["opened"]).node
            for t in trials
            if _is_in_progress(t)
        }
        ahead = self.frontier.copy()
        ahead.advance_all(self.kept)
        own = {task.found.node for _, task in self.begun.values()}
        worth = (*self.frontier.worth()[:1], *ahead.worth())
        left = [found for found in worth if found.node not in own]
        free = next((found for found in left if found.node not in busy), None)
        return left[0] if free is None and left and not own else free

    def _begin(self, found: BoundedNode) -> None:
        """Give a node to the pool, in a trial that shows it to the other workers."""
        single = self.space.nearest(found)
        self.sampler.next = self.space.labels(single)
        trial = self.study.ask(self.distributions)
        trial.set_user_attr("worker", [socket.gethostname(), os.getpid()])
        trial.set_user_attr("opened", found.as_dict())
        known = next(
            (
                kept.solved
                for kept in self.kept.values()
                if kept.solved.node == single
            ),
            None,
        )
        task = ExpandTask(
            found,
            single,
            known,
            self.space.split(found),
        )
        try:
            self.begun[self.pool.submit(self.expander, task)] = (trial, task)
        except BaseException:
            self._fail(trial)
            raise

    def _end_some(self) -> None:
        """Wait for a node or more, and keep what they hold."""
        for future in wait(self.begun, return_when=FIRST_COMPLETED).done:
            expansion = future.result()
            trial, task = self.begun.pop(future)
            self.cases += expansion.cases
            trial.set_user_attr("solved", expansion.solved.as_dict())
            trial.set_user_attr(
                "halves", [half.as_dict() for half in expansion.halves]
            )
            trial.set_user_attr(
                "solves", len(expansion.halves) + (task.known is None)
            )
            self.study.tell(trial, expansion.solved.bound)

    def _give_up(self) -> None:
        """Leave what is not finished, such as nodes whose turn never came, to any other worker."""
        for future, (trial, _) in self.begun.items():
            future.cancel()
            self._fail(trial)
        self.begun.clear()

    def _fail(self, trial: Trial) -> None:
        with suppress(Exception):  # the storage itself may be what failed
            self.study.tell(trial, state=TrialState.FAIL)
