"""The choice of parts as a study that is kept: stopped and taken up again, alone or by several workers.

A trial opens one box of sets: it solves the set next to the box's bound, splits the box, and bounds both
halves. All that the next trial needs stands in the trials themselves.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import optuna
from optuna.distributions import BaseDistribution, CategoricalDistribution
from optuna.trial import FrozenTrial, Trial, TrialState
from sqlalchemy.exc import IntegrityError, OperationalError

from setupopt.errors import UserError
from setupopt.physics.inputs import Floats
from setupopt.search.parts import Bounded, Box, PartSpace

# Solves a box from some points of all variables: its best merit and where.
Solve = Callable[[Box, Sequence[Floats]], Bounded]


@dataclass(frozen=True)
class Chosen:
    """What a study found.

    `sets`: the sets that were solved, best first. `bound`: no set is worth more, as far as climbs find the
    best of their boxes. `overshoot`: by how much a set or a half was better than the bound of its box, 0
    where none was. `solves` of boxes and sets, of `count` sets that there are.
    """

    sets: tuple[Bounded, ...]
    bound: float
    overshoot: float
    solves: int
    count: int
    is_finished: bool


class _Frontier:
    """Boxes still open, as finished trials tell. Worth opening: those better than the best set by `near`."""

    def __init__(self, roots: Sequence[Bounded], near: float) -> None:
        self.near, self.open = near, {root.box: root for root in roots}
        self.solved: dict[Box, Bounded] = {}
        self.best, self.overshoot, self.solves = -np.inf, 0.0, len(roots)
        self._seen: set[int] = set()

    def learn(self, trials: Sequence[FrozenTrial]) -> None:
        """Take in what has been finished since."""
        for trial in trials:
            if trial.state == TrialState.COMPLETE and trial.number not in self._seen:
                self._seen.add(trial.number)
                self._take_in(trial.user_attrs)

    def _take_in(self, kept: dict[str, Any]) -> None:
        opened, solved = Bounded.from_dict(kept["opened"]), Bounded.from_dict(kept["solved"])
        halves = [Bounded.from_dict(half) for half in kept["halves"]]
        if self.open.pop(opened.box, None) is None:
            return  # another worker was faster
        self.solved[solved.box], self.solves = solved, self.solves + int(kept["solves"])
        self.best = max(self.best, solved.bound)
        self.overshoot = max([self.overshoot, *(found.bound - opened.bound for found in (solved, *halves))])
        self.open.update((half.box, half) for half in halves)

    def worth(self) -> list[Bounded]:
        """Boxes worth opening, the most promising first."""
        found = [box for box in self.open.values() if box.bound > self.best + self.near]
        return sorted(found, key=lambda f: (-f.bound, f.box.body, f.box.low))

    def bound(self) -> float:
        """What no set can be worth more than."""
        return max([self.best, *(box.bound for box in self.open.values())])


class _Sampler(optuna.samplers.BaseSampler):
    """Suggests the set next to the bound of the most promising box that nobody works at."""

    def __init__(self, space: PartSpace, frontier: _Frontier) -> None:
        self.space, self.frontier = space, frontier
        self.taken: dict[int, Bounded] = {}

    def infer_relative_search_space(
        self, study: optuna.Study, trial: FrozenTrial
    ) -> dict[str, BaseDistribution]:
        """Every part, by its name in the files."""
        return dict(distributions(self.space))

    def sample_relative(
        self, study: optuna.Study, trial: FrozenTrial, search_space: dict[str, BaseDistribution]
    ) -> dict[str, Any]:
        """The set to solve; its box is kept for the trial."""
        trials = study.get_trials(deepcopy=False)
        self.frontier.learn(trials)
        busy = {Bounded.from_dict(t.user_attrs["opened"]).box for t in trials if _is_worked_at(t)}
        worth = self.frontier.worth()
        # where nothing else is left, the same work twice does no harm, and waiting for a lost worker would
        found = next((box for box in worth if box.box not in busy), worth[0])
        self.taken[trial.number] = found
        return dict(self.space.words(found.box.body, self.space.nearest(found)))

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


def _opened(storage: str | None, name: str | None, sampler: _Sampler) -> optuna.Study:
    """The study, made if need be; tried again where another worker is just making its tables."""
    for pause in (0.2, 0.5, 1.0, None):
        try:
            return optuna.create_study(
                storage=storage, study_name=name, sampler=sampler, direction="maximize", load_if_exists=True
            )
        except (IntegrityError, OperationalError):
            if pause is None:
                raise
            time.sleep(pause)
    raise AssertionError("the last try returns or raises")


class PartStudy:
    """Opens box after box until none is worth it. `storage`: where the study `name` is kept, or None."""

    def __init__(
        self, space: PartSpace, solve: Solve, roots: Sequence[Bounded], near: float,
        storage: str | None = None, name: str | None = None,
    ) -> None:  # fmt: skip
        optuna.logging.set_verbosity(optuna.logging.ERROR)
        self.space, self.solve = space, solve
        self.frontier = _Frontier(roots, near)
        self.sampler = _Sampler(space, self.frontier)
        self.study = _opened(storage, name, self.sampler)

    def run(self, most: int, progress: Callable[[int, float, float], object] | None = None) -> Chosen:
        """Open at most `most` boxes in all; `progress` is told of boxes opened, the best and the bound."""

        def after(study: optuna.Study, _: FrozenTrial) -> None:
            self.frontier.learn(study.get_trials(deepcopy=False))
            if progress is not None:
                progress(len(self.frontier.solved), self.frontier.best, self.frontier.bound())
            if self._is_done(most):
                study.stop()

        self.frontier.learn(self.study.get_trials(deepcopy=False))
        if not self._is_done(most):
            self.study.optimize(self._open, callbacks=[after])
        return self._chosen()

    def _is_done(self, most: int) -> bool:
        return not self.frontier.worth() or len(self.frontier._seen) >= most

    def _open(self, trial: Trial) -> float:
        """Solve the suggested set, split its box and bound both halves."""
        space = self.space
        for name, distribution in distributions(space).items():
            trial.suggest_categorical(name, distribution.choices)  # at the first, the sampler takes a box
        found = self.sampler.taken.pop(trial.number)
        trial.set_user_attr("worker", [socket.gethostname(), os.getpid()])
        trial.set_user_attr("opened", found.as_dict())
        single = space.single(found.box.body, space.nearest(found))
        known = self.frontier.solved.get(single)
        solved = known or self.solve(single, [found.point])
        halves = [self.solve(half, [found.point, solved.point]) for half in space.split(found)]
        trial.set_user_attr("solved", solved.as_dict())
        trial.set_user_attr("halves", [half.as_dict() for half in halves])
        trial.set_user_attr("solves", len(halves) + (known is None))
        return solved.bound

    def _chosen(self) -> Chosen:
        f = self.frontier
        sets = sorted(f.solved.values(), key=lambda s: (-s.bound, s.box.body, s.box.low))
        return Chosen(tuple(sets), f.bound(), f.overshoot, f.solves, self.space.sets, not f.worth())
