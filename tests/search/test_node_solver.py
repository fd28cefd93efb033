"""Boxes opened by many: the same numbers whoever opens them, in whatever order, and whoever is lost."""

from __future__ import annotations

import pickle
import socket
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import optuna
import pytest
from threads import Threads

from setupopt.jobs.pool import WorkerPool
from setupopt.project import Project
from setupopt.search.parts.branch_and_bound import (
    BranchAndBoundResult,
)
from setupopt.search.parts.node_solver import BodyProblem, NodeSolver
from setupopt.search.parts.part_space import BoundedNode, Node, PartSpace
from setupopt.search.setup_problem import SetupProblem

from .conftest import problem_of
from .test_part_space import _toy, _url

SIZES = (12, 12, 7, 7)


class Uneven(Threads):
    """Threads whose jobs take a while, some long after others that were begun later."""

    def __init__(self, threads: int, seed: int) -> None:
        super().__init__(threads)
        self.rng = np.random.default_rng(seed)

    def submit(
        self, do: Callable[..., Any], /, *args: Any, **kwargs: Any
    ) -> Future[Any]:
        pause = float(self.rng.choice([0.0, 0.001, 0.02]))

        def late() -> Any:
            time.sleep(pause)
            return do(*args)

        return super().submit(late)


@pytest.fixture
def pool(request: pytest.FixtureRequest) -> Iterator[Uneven]:
    """So many threads."""
    found = Uneven(request.param, request.param)
    yield found
    found.pool.shutdown()


def told(chosen: BranchAndBoundResult) -> tuple[object, ...]:
    """All that a study answers, to the last bit."""
    sets = [(one.node, one.bound, one.point.tobytes()) for one in chosen.sets]
    return (
        sets,
        chosen.bound,
        chosen.bound_violation,
        chosen.solves,
        chosen.is_finished,
    )


@pytest.mark.parametrize("pool", [2, 5], indirect=True)
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("most", [3, 10_000])
def test_any_pool_ends_as_one_alone(pool: Uneven, seed: int, most: int) -> None:
    """Boxes opened ahead of their turn, in any order: the same sets, bound and count, finished or cut off."""
    alone, many = _toy(seed), _toy(seed)
    expected = alone.study().run(most)
    assert told(many.study(pool=pool).run(most)) == told(expected)
    assert len(many.asked) >= len(alone.asked)


def test_workers_that_share_a_study_all_end_as_one_alone(
    tmp_path: Path,
) -> None:
    """Boxes opened in turn by three, of whom one goes away: for the others the same to the last bit."""
    expected, url = told(_toy(0).study().run(10_000)), _url(tmp_path)
    first, second, third = (_toy(0).study(url) for _ in range(3))
    third.run(2)
    for most in range(3, 6):
        (first if most % 2 else second).run(most)
    assert told(first.run(10_000)) == expected
    assert told(second.run(10_000)) == expected


def test_a_box_of_a_worker_that_was_killed_is_taken_up_at_once(
    tmp_path: Path,
) -> None:
    """Half-opened by a process of this machine that is gone: the first to be opened again."""
    toy, url = _toy(4), _url(tmp_path)
    roots = sorted(toy.roots(), key=lambda root: -root.bound)
    made = optuna.create_study(
        storage=url, study_name="toy", direction="maximize"
    )
    half_opened = made.ask()
    half_opened.set_user_attr("worker", [socket.gethostname(), 999_999_999])
    half_opened.set_user_attr("opened", roots[0].as_dict())
    found = _toy(4).study(url)
    found.run(1)
    assert [kept.opened.node for kept in found.kept.values()] == [roots[0].node]


def test_a_pools_error_comes_out_and_leaves_its_boxes_to_others(
    tmp_path: Path,
) -> None:
    """Machines lost in the middle of two boxes: no trial stays as if it were worked at."""

    class Lost(WorkerPool):
        threads = 2  # type: ignore[assignment]

        def submit(
            self, do: Callable[..., Any], /, *args: Any, **kwargs: Any
        ) -> Future[Any]:
            future: Future[Any] = Future()
            future.set_exception(ConnectionError("gone"))
            return future

    url = _url(tmp_path)
    with pytest.raises(ConnectionError, match="gone"):
        _toy(1).study(url, Lost()).run(10_000)
    states = {
        trial.state.name
        for trial in optuna.load_study(storage=url, study_name="toy").trials
    }
    assert states == {"FAIL"}
    assert told(_toy(1).study(url).run(10_000)) == told(
        _toy(1).study().run(10_000)
    )


# ---- the setup problem's boxes -----------------------------------------------------------------------------


def springs_of(project: Project) -> SetupProblem:
    """Springs alone may change, in two attitudes."""
    few = problem_of(
        replace(
            project,
            venue=replace(project.venue, attitudes=project.venue.attitudes[:2]),
        )
    )
    others = frozenset(v.name for v in few.variables if "spring" not in v.name)
    return replace(few, fixed_settings=others)


def body_of(problem: SetupProblem) -> BodyProblem:
    """A body that reckons with builds, of which none is known yet."""
    whole = problem.index.grid_points()
    return BodyProblem(problem, True, whole.pick(np.arange(0, len(whole), 4)))


def test_a_box_is_solved_alike_whatever_was_solved_before(
    hill: Project,
) -> None:
    """With build errors, which a solver collects: after another box or sent elsewhere, to the last bit."""
    problem = springs_of(hill)
    space = PartSpace([None], problem.variables)
    boxes, root = NodeSolver(space, (body_of(problem),)), space.root(0)
    low, high = space.split(BoundedNode(root, 0.0, problem.start))

    def solved(boxes: NodeSolver, box: Node) -> tuple[float, bytes, int]:
        found = boxes(box, [problem.start])
        assert found.cases > 0
        return found.bound, found.point.tobytes(), found.cases

    sent = pickle.loads(pickle.dumps(boxes))
    assert problem.with_build(np.ones(8))[0].builds != problem.builds == ()
    solved(boxes, high)
    assert solved(boxes, low) == solved(sent, low)
