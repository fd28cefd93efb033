"""Sets of parts: boxes that lose none, bounds that prune, and a study that can be stopped and shared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path

import numpy as np
import optuna
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from optuna.trial import TrialState

from setupopt.evaluation.variables import Variable
from setupopt.jobs.pool import WorkerPool
from setupopt.physics.inputs import Floats
from setupopt.project.model import Range
from setupopt.project.settings import SETTINGS
from setupopt.search.parts.branch_and_bound import (
    BranchAndBoundResult,
    PartStudy,
)
from setupopt.search.parts.part_space import (
    BoundedNode,
    Node,
    PartSpace,
    is_part,
)

SPRING, CAMBER = SETTINGS[2], SETTINGS[0]


# Settings that come in parts, springs first, each by another name.
PARTS = tuple(
    (axle, setting) for setting in SETTINGS[2:5] for axle in ("front", "rear")
)
CAMBER = SETTINGS[0]
FREE = Variable("front", CAMBER, (0, 1), Range(-0.1, 0.0))


def _shelf(number: int, values: Sequence[float]) -> Variable:
    """A setting that comes in some values, N/mm."""
    axle, setting = PARTS[number]
    pieces = tuple(1e3 * value for value in values)
    return Variable(
        axle, setting, (0,), Range(pieces[0], pieces[-1], None, pieces)
    )


def _space(sizes: Sequence[int], bodies: int = 1) -> PartSpace:
    """Shelves of so many parts, evenly spaced, and one setting that is free."""
    shelves = [
        _shelf(number, np.linspace(60, 200, size).tolist())
        for number, size in enumerate(sizes)
    ]
    return PartSpace([None, "b", "c"][:bodies], [*shelves, FREE])


@dataclass
class Toy:
    """A concave value of parts and one free setting; tops between the pieces differ by body.

    Solving a box has a closed form: the parts are apart from each other, and nearest to their top. `asked`
    counts; `stops` raises KeyboardInterrupt at that many, as Ctrl-C does.
    """

    space: PartSpace
    tops: Floats  # (bodies, parts)
    stops: int = 10**9
    asked: list[Node] = field(default_factory=list)

    def value(self, body: int, parts: Floats) -> float:
        weights = 1.0 + np.arange(parts.size)
        return float(
            1.0 - 0.1 * body - weights @ (parts - self.tops[body]) ** 2
        )

    def solve(self, box: Node, starts: Sequence[Floats]) -> BoundedNode:
        if len(self.asked) >= self.stops:
            raise KeyboardInterrupt
        self.asked.append(box)
        low, high = self.space.bounds(box)
        point = np.clip(np.append(self.tops[box.body], 0.3), low, high)
        return BoundedNode(box, self.value(box.body, point[:-1]), point)

    def roots(self) -> list[BoundedNode]:
        return [
            self.solve(self.space.root(body), [])
            for body in range(len(self.space.bodies))
        ]

    def study(
        self, url: str | None = None, pool: WorkerPool | None = None
    ) -> PartStudy:
        """Its study, opened by a pool."""
        roots = Toy(self.space, self.tops).roots()
        return PartStudy(self.space, self.solve, roots, 1e-9, url, "toy", pool)

    def best(self) -> float:
        """By brute force over every set."""
        return max(
            self.value(body, np.array(parts))
            for body in range(len(self.space.bodies))
            for parts in product(*self.space.grids)
        )


def _toy(
    seed: int, sizes: Sequence[int] = (12, 12, 7, 7), bodies: int = 3
) -> Toy:
    space, rng = _space(sizes, bodies), np.random.default_rng(seed)
    return Toy(space, rng.random((bodies, len(sizes))))


def test_what_counts_as_a_part() -> None:
    """Lists are parts however long; fine steps and free settings are not."""
    assert is_part(_shelf(0, range(60, 100)))
    assert is_part(Variable("rear", CAMBER, (2, 3), Range(-0.02, 0.0, 0.01)))
    assert not is_part(
        Variable("rear", CAMBER, (2, 3), Range(-0.1, 0.0, 0.001))
    )
    assert not is_part(FREE)


@settings(max_examples=50, deadline=None)
@given(
    sizes=st.lists(st.integers(2, 5), min_size=1, max_size=3),
    where=st.lists(st.floats(0, 1), min_size=4, max_size=4),
)
def test_splitting_loses_no_set(sizes: list[int], where: list[float]) -> None:
    """The halves hold every set of a box once, whatever point they are split at; down to single sets."""
    space = _space(sizes)

    def sets(box: Node) -> list[tuple[int, ...]]:
        return list(
            product(
                *(
                    range(a, b + 1)
                    for a, b in zip(box.low, box.high, strict=True)
                )
            )
        )

    left = [space.root(0)]
    while left:
        box = left.pop()
        halves = space.split(
            BoundedNode(box, 0.0, np.array([*where[: len(sizes)], 0.5]))
        )
        if len(sets(box)) == 1:
            assert halves == ()
        else:
            assert sorted(sets(halves[0]) + sets(halves[1])) == sorted(
                sets(box)
            )
        left += halves


@pytest.mark.parametrize("seed", range(5))
def test_same_as_trying_every_set_at_a_fraction_of_the_work(seed: int) -> None:
    """12 springs an axle, 7 bars each, 3 bodies: the best of all 21,168 sets, less than 2 % solved."""
    toy = _toy(seed)
    chosen = toy.study().run(10_000)
    assert chosen.count == 21_168
    assert chosen.sets[0].bound == pytest.approx(toy.best(), abs=1e-9)
    assert chosen.is_finished
    assert chosen.bound == pytest.approx(chosen.sets[0].bound, abs=1e-9)
    assert chosen.solves < 0.02 * chosen.count
    assert chosen.bound_violation <= 1e-12  # what is concave keeps its bounds


def test_an_unfinished_study_says_so_and_keeps_its_bound() -> None:
    """Stopped by its limit of boxes, the bound is above what any set can be worth."""
    toy = _toy(3)
    chosen = toy.study().run(1)
    assert not chosen.is_finished
    assert chosen.bound >= toy.best()


def _url(folder: Path) -> str:
    return f"sqlite:///{folder / 'parts.db'}"


def _same(one: BranchAndBoundResult, other: BranchAndBoundResult) -> bool:
    first, second = one.sets[0], other.sets[0]
    return (
        first.node == second.node
        and first.bound == second.bound
        and (first.point == second.point).all()
    )


@pytest.mark.parametrize("stop", [0, 1, 4, 7])
def test_stopped_and_continued(stop: int, tmp_path: Path) -> None:
    """Ctrl-C in the middle of a box: the same sets to the last digit, and no finished box solved again."""
    whole = _toy(1)
    expected = whole.study().run(10_000)
    cut = _toy(1)
    cut.stops = stop
    with pytest.raises(KeyboardInterrupt):
        cut.study(_url(tmp_path)).run(10_000)
    again = _toy(1)
    found = again.study(_url(tmp_path)).run(10_000)
    assert _same(found, expected)
    assert found.solves == expected.solves
    assert len(again.asked) + len(cut.asked) <= len(whole.asked) + 3


def test_a_finished_study_is_read_not_solved(tmp_path: Path) -> None:
    """Asked again, nothing is solved."""
    first = _toy(2).study(_url(tmp_path)).run(10_000)
    again = _toy(2)
    assert _same(again.study(_url(tmp_path)).run(10_000), first)
    assert again.asked == []


def test_a_lost_worker_holds_nobody_up(tmp_path: Path) -> None:
    """A box that a worker on another machine took and never gave back is opened all the same, at the last."""
    toy = _toy(4)
    study = optuna.create_study(
        storage=_url(tmp_path), study_name="toy", direction="maximize"
    )
    lost = study.ask()
    lost.set_user_attr("worker", ["elsewhere", 1])
    lost.set_user_attr("opened", toy.roots()[0].as_dict())
    found = toy.study(_url(tmp_path)).run(10_000)
    assert found.sets[0].bound == pytest.approx(toy.best(), abs=1e-9)
    assert found.is_finished


def test_two_workers_share_a_study(tmp_path: Path) -> None:
    """Boxes opened in turn by two workers: the best set, none opened by both, each with its share."""
    first, second = _toy(0), _toy(0)
    one, other = first.study(_url(tmp_path)), second.study(_url(tmp_path))
    for most in range(1, 200):
        chosen = (one if most % 2 else other).run(most)
        if chosen.is_finished:
            break
    assert chosen.sets[0].bound == pytest.approx(first.best(), abs=1e-9)
    trials = one.study.get_trials(states=(TrialState.COMPLETE,))
    opened = [
        BoundedNode.from_dict(trial.user_attrs["opened"]).node
        for trial in trials
    ]
    assert len(opened) == len(set(opened))
    assert min(len(first.asked), len(second.asked)) > 0


def test_trials_say_the_set_as_the_files_do(tmp_path: Path) -> None:
    """Who looks into the study finds springs in N/mm and bodies by name."""
    toy = _toy(0, (3, 3), 3)
    toy.study(_url(tmp_path)).run(100)
    study = optuna.load_study(storage=_url(tmp_path), study_name="toy")
    assert study.trials[0].params["body"] in ("", "b", "c")
    assert study.trials[0].params["front.spring_N_per_mm"] in (
        60.0,
        130.0,
        200.0,
    )
