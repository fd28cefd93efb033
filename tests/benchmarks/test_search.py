"""The search: what it costs, and what other searches find for fifty times as many cases."""

from __future__ import annotations

import json
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import optuna
import pytest
from conftest import (
    all_in_pieces,
    close_bodies,
    coarse,
    few_free,
    opened,
    pieces,
    proposing,
    thinned,
    with_bodywork,
    with_shelf,
)
from optuna.distributions import FloatDistribution
from scipy.optimize import Bounds, differential_evolution

import setupopt
from setupopt.physics.inputs import Floats
from setupopt.project import Project
from setupopt.search.engine.batch import merit
from setupopt.search.engine.index_points import (
    IndexPoints,
    SemiInfiniteEvaluation,
    restricted,
)
from setupopt.search.objective import objective_of
from setupopt.search.parts.branch_and_bound import BranchAndBoundResult
from setupopt.search.parts.discrete_choice import choose_parts
from setupopt.search.parts.part_space import Node, PartSpace
from setupopt.search.proposal import ProposalOptions
from setupopt.search.relaxation import RelaxedOptimum, relaxed_optimum
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver

EXAMPLES = ("bore", "bank", "hill")
# Cases that the others may solve, as multiples of ours; and seconds, for those that are slow by themselves.
BUDGET, CAP = 50, 600.0
# A margin so close to the best known has been reached: the last digit that is printed.
NEAR = 1e-3
# Margins closer than this are a tie: trims are found to 1e-9, limits held to 1e-7.
TIE = 1e-6


# ---- the contest -------------------------------------------------------------------------------------------


class Best(NamedTuple):
    """The best point so far: when it was found, and its merit on the places asked for."""

    cases: int
    seconds: float
    merit: float
    point: Floats


@dataclass
class Record:
    """Every point better than all before it on the same index points."""

    began: float = field(default_factory=time.perf_counter)
    best: list[Best] = field(default_factory=list)
    index_points: IndexPoints | None = None


@dataclass(frozen=True, eq=False)
class Watched(SetupProblem):
    """A setup problem that keeps a record."""

    record: Record = field(default_factory=Record)

    @classmethod
    def of(cls, project: Project) -> Watched:
        """Of the present body, every attitude with weight 1."""
        return cls(project, objective_of(project.venue))

    @property
    def spent(self) -> tuple[int, float]:
        """Cases solved, and seconds since it was made."""
        return self.counter.count, time.perf_counter() - self.record.began

    def __call__(
        self, points: Floats, index_points: IndexPoints, warm_start: Any = None
    ) -> SemiInfiniteEvaluation:
        answers = super().__call__(points, index_points, warm_start)
        merits = merit(answers.values, answers.limits)
        top = int(merits.argmax())
        if (
            index_points is not self.record.index_points
            or merits[top] > self.record.best[-1].merit
        ):
            self.record.index_points = index_points
            self.record.best.append(
                Best(*self.spent, float(merits[top]), points[top].copy())
            )
        return answers


class Contest:
    """The sweep's own grid as the objective of one of the others, until its cases or its time are spent."""

    def __init__(self, problem: Watched, budget: int) -> None:
        self.problem, self.budget, self.places = (
            problem,
            budget,
            problem.index.grid_points(),
        )
        self.size, self.names = (
            problem.start.size,
            [v.name for v in problem.variables],
        )

    def __call__(self, points: Floats) -> Floats:
        answers = self.problem(points, self.places)
        return merit(answers.values, answers.limits)

    @property
    def is_over(self) -> bool:
        """Whether nothing is left to be spent."""
        cases, seconds = self.problem.spent
        return cases >= self.budget or seconds > CAP


Contestant = Callable[[Contest], object]


def differential(contest: Contest) -> None:
    """SciPy's, from today's setup too; 3, 8 and 15 points a variable were no better on all examples."""

    def cost(points: Floats, /) -> Any:
        return -contest(np.atleast_2d(points.T))

    def is_over(*_: Any, **__: Any) -> Any:
        return contest.is_over

    differential_evolution(
        cost, Bounds(np.zeros(contest.size), np.ones(contest.size)), popsize=5, maxiter=1_000_000, tol=0.0,
        polish=False, vectorized=True, updating="deferred", rng=np.random.default_rng(1),
        x0=contest.problem.start, callback=is_over,
    )  # fmt: skip


def asked_and_told(
    contest: Contest, sampler: optuna.samplers.BaseSampler, batch: int
) -> None:
    """Optuna, a batch of trials at a time, kept in memory."""
    study = optuna.create_study(sampler=sampler, direction="maximize")
    box = {name: FloatDistribution(0.0, 1.0) for name in contest.names}
    while not contest.is_over:
        trials = [study.ask(dict(box)) for _ in range(batch)]
        points = np.array(
            [[trial.params[name] for name in contest.names] for trial in trials]
        )
        for trial, value in zip(trials, contest(points), strict=True):
            study.tell(trial, float(value))


def covariance(population: int | None) -> Contestant:
    """Optuna's CMA-ES, a whole generation at a time, of this size or, with None, of the usual one."""

    def run(contest: Contest) -> None:
        size = population or 4 + int(3 * np.log(contest.size))
        asked_and_told(
            contest, optuna.samplers.CmaEsSampler(seed=1, popsize=size), size
        )

    return run


def parzen(contest: Contest) -> None:
    """Optuna's TPE: multivariate in batches of 16 was better than each variable alone, or larger batches."""
    asked_and_told(
        contest, optuna.samplers.TPESampler(seed=1, multivariate=True), 16
    )


CONTESTANTS: dict[str, Contestant] = {
    "differential evolution": differential,
    "CMA-ES": covariance(None),
    "CMA-ES, 30 points": covariance(30),
    "TPE": parzen,
}


@dataclass(frozen=True)
class Row:
    """What one contestant came to; `margin` by the same check for all."""

    name: str
    problem: Watched
    cases: int
    seconds: float
    margin: float

    def reached(self, solver: Solver, level: float) -> Best | None:
        """When it first stood at a point that the check finds at least this good."""
        found = (
            best for best in self.problem.record.best if best.merit >= level
        )
        return next(
            (best for best in found if checked(solver, best.point) >= level),
            None,
        )


def checked(solver: Solver, point: Floats) -> float:
    """Worst margin, less what broken limits cost, between the angles of the dense sweep too."""
    seen = solver.look(point, solver.dense)
    answers = solver.problem(point[None, :], seen.index_points)
    return float(merit(answers.values, answers.limits)[0])


def ours(project: Project, judge: Solver) -> Row:
    """As `propose` solves a body: all starts, its own independent search, and the sharp end."""
    problem, asked = Watched.of(project), ProposalOptions()
    best = relaxed_optimum(problem, False, asked.starts, asked.seed).best
    spent = problem.spent
    return Row("ours", problem, *spent, checked(judge, best.outcome.point))


def contested(name: str, project: Project, judge: Solver, budget: int) -> Row:
    """One of the others with the cases it may solve."""
    problem = Watched.of(project)
    CONTESTANTS[name](Contest(problem, budget))
    spent = problem.spent
    best = problem.record.best[-1]
    return Row(name, problem, *spent, checked(judge, best.point))


def show(name: str, rows: list[Row], reached: list[Best | None]) -> None:
    """One line a contestant; ratios are to the first."""
    print(
        f"\n{name:<24}{'cases':>9} {'ratio':>5} {'margin':>10} {'s':>6}  to within {NEAR}: cases, s, ratios"
    )
    base = reached[0]
    for row, best in zip(rows, reached, strict=True):
        stopped = f"  stopped after {CAP:.0f} s" if row.seconds > CAP else ""
        spent = f"{row.cases:9d} {row.cases / rows[0].cases:5.1f} {row.margin:10.6f} {row.seconds:6.1f}"
        print(f"{row.name:<24}{spent}  {told(best, base)}{stopped}")


def told(best: Best | None, base: Best | None) -> str:
    """Cases and seconds, and how many times those of another."""
    if best is None or base is None:
        return "never"
    ratios = (
        f"{best.cases / base.cases:6.1f} {best.seconds / base.seconds:6.1f}"
    )
    return f"{best.cases:8d} {best.seconds:6.2f} {ratios}"


@pytest.mark.parametrize("name", EXAMPLES)
def test_no_other_search_beats_ours(
    example: Callable[[str], Project], name: str
) -> None:
    """With 50 times the cases nobody finds a higher margin; to come near takes 20 times our time."""
    optuna.logging.set_verbosity(optuna.logging.ERROR)
    project = example(name)
    judge = Solver(SetupProblem(project, objective_of(project.venue)))
    ours(
        project, judge
    )  # all begin warm: compiled, imported, programs built once
    for other in CONTESTANTS:
        contested(other, project, judge, 1)
    rows = [ours(project, judge)]
    rows += [
        contested(other, project, judge, BUDGET * rows[0].cases)
        for other in CONTESTANTS
    ]
    known = max(row.margin for row in rows)
    reached = [row.reached(judge, known - NEAR) for row in rows]
    show(name, rows, reached)
    assert rows[0].margin >= known - TIE
    first = reached[0]
    assert first is not None
    near = [best for best in reached[1:] if best is not None]
    assert all(
        best.cases >= 20 * first.cases and best.seconds >= 20 * first.seconds
        for best in near
    )


# ---- parts -------------------------------------------------------------------------------------------------


def roots_of(project: Project) -> list[RelaxedOptimum]:
    """Every body of a project solved with parts of any value, its own first."""
    problems = [
        SetupProblem(one, objective_of(one.venue))
        for one in with_bodywork(project)
    ]
    return [relaxed_optimum(problem, False, 4, 0) for problem in problems]


def space_of(roots: list[RelaxedOptimum]) -> PartSpace:
    """All sets of the bodies solved."""
    problems = [root.problem for root in roots]
    return PartSpace(
        [problem.project.setup.body for problem in problems],
        problems[0].variables,
    )


def every_set(
    space: PartSpace, roots: list[RelaxedOptimum]
) -> Iterator[tuple[float, dict[str, str | float]]]:
    """Merit of every set that there is, the better of two climbs, and its words."""
    rng = np.random.default_rng(3)
    for body, root in enumerate(roots):
        starts = root.best.outcome.point, rng.random(root.problem.start.size)
        for pieces_ in product(*(range(grid.size) for grid in space.grids)):
            node = Node(body, pieces_, pieces_)
            end = root.solver().best_of(
                space.bounds(node), starts, root.best.index_points
            )
            yield end.merit, space.labels(node)


def studied(
    project: Project, roots: list[RelaxedOptimum], tmp_path: Path
) -> BranchAndBoundResult:
    """The choice of parts as `propose` makes it."""
    choice = choose_parts("study", roots, f"sqlite:///{tmp_path}/parts.db")
    assert choice.study is not None and choice.study.is_finished
    return choice.study


def show_study(
    what: str, space: PartSpace, study: BranchAndBoundResult
) -> None:
    """What a study found and how much it solved."""
    best, share = study.sets[0], 100 * study.solves / study.count
    print(
        f"\n{what}: {study.count} sets; {study.solves} solves are {share:.2f} %"
    )
    print(
        f"  ours {best.bound:.6f} {space.labels(best.node)}, at most {study.bound:.6f}"
    )


@pytest.mark.usefixtures("one_thread")
@pytest.mark.parametrize("made", [few_free, close_bodies])
def test_no_set_of_all_is_better(
    made: Callable[[Project], Project], bore: Project, tmp_path: Path
) -> None:
    """Every set of parts solved finds none worth more than ours, which solves less than 2 % as many."""
    project = made(bore)
    roots = roots_of(project)
    study, space, began = (
        studied(project, roots, tmp_path),
        space_of(roots),
        time.perf_counter(),
    )
    best, words = max(every_set(space, roots), key=lambda found: found[0])
    show_study(made.__name__, space, study)
    print(
        f"  best {best:.6f} {words} of all, two climbs each, {time.perf_counter() - began:.0f} s"
    )
    assert study.sets[0].bound >= best - 2e-5
    assert study.solves < 0.02 * study.count


def test_no_setup_of_all_is_better(bore: Project, tmp_path: Path) -> None:
    """Where all comes in pieces, each of 72,900 setups is evaluated, without a climb: none is worth more."""
    project = all_in_pieces(thinned(bore, np.radians(30), 7))
    problem = SetupProblem(project, objective_of(project.venue))
    roots = [relaxed_optimum(problem, False, 4, 0)]
    study, space = studied(project, roots, tmp_path), space_of(roots)
    points = np.stack(
        [axis.ravel() for axis in np.meshgrid(*space.grids, indexing="ij")],
        axis=-1,
    )
    grid = restricted(problem, problem.index.grid_points())
    answers = (grid(few) for few in np.array_split(points, len(points) // 256))
    merits = np.concatenate(
        [merit(found.values, found.limits) for found in answers]
    )
    high = points[
        merits > study.sets[0].bound - 2e-5
    ]  # on the grid; between its angles they are worth less
    best = max(checked(roots[0].solver(), point) for point in high)
    show_study("all in pieces", space, study)
    print(f"  best {best:.6f} of all, {len(high)} of them no worse on the grid")
    assert abs(study.sets[0].bound - best) < 2e-5
    assert study.solves < 0.02 * study.count


def test_a_full_shelf_takes_few_solves(bore: Project, tmp_path: Path) -> None:
    """Less than 2 % of 21,168 sets are solved on the whole sweep, all settings free."""
    project = with_shelf(
        bore, pieces(60e3, 170e3, 12), ("camber", "ride_height", "pressure")
    )
    roots = roots_of(project)
    study = studied(project, roots, tmp_path)
    show_study("full shelf, whole sweep", space_of(roots), study)
    assert study.solves < 0.02 * study.count


# ---- killed and continued ----------------------------------------------------------------------------------

KILLS = 5


def killed(
    run: subprocess.Popen[str], study: Path, wait: float
) -> tuple[int, int]:
    """Kill a run a moment after it has opened a box; how many were opened before and after."""
    before = opened(study)
    while opened(study) <= before and run.poll() is None:
        time.sleep(0.01)
    time.sleep(wait)
    run.kill()
    run.wait()
    return before, opened(study)


def test_killed_and_continued(tmp_path: Path) -> None:
    """Killed five times while parts are chosen, it ends at the same setup and margin, to the last digit."""
    project, rng = coarse(tmp_path / "project"), np.random.default_rng()
    assert (
        proposing(project, tmp_path / "whole.db", tmp_path / "whole").wait()
        == 0
    )
    kills = [
        killed(
            proposing(project, tmp_path / "cut.db", tmp_path / "cut"),
            tmp_path / "cut.db",
            wait,
        )
        for wait in rng.uniform(0.0, 1.5, KILLS)
    ]
    assert not (tmp_path / "cut").exists()
    assert proposing(project, tmp_path / "cut.db", tmp_path / "cut").wait() == 0
    whole, cut = (read(tmp_path / name) for name in ("whole", "cut"))
    print(
        f"\nboxes opened before and after each life: {kills}, at the end {opened(tmp_path / 'cut.db')}"
    )
    print(
        f"never killed: {opened(tmp_path / 'whole.db')}; margins {whole[1]!r} and {cut[1]!r}"
    )
    assert whole == cut


def read(out: Path) -> tuple[str, float]:
    """The setup as it was written, and its margin to the last digit."""
    answer = json.loads((out / "proposal.json").read_text(encoding="utf-8"))
    return (out / "proposed.toml").read_text(encoding="utf-8"), answer["margin"]


# ---- cost --------------------------------------------------------------------------------------------------


def test_cost_of_a_proposal(bore: Project) -> None:
    """Less than 20 sweeps of `assess` for each step of the search: no hidden waste."""
    setupopt.propose(bore)
    sweeps = []
    for _ in range(20):
        start = time.perf_counter()
        setupopt.evaluate(bore)
        sweeps.append(time.perf_counter() - start)
    proposal, sweep = setupopt.propose(bore), float(np.median(sweeps))
    spent = proposal.evidence
    ratio = spent.seconds / (sweep * spent.steps)
    print(
        f"\none sweep {sweep * 1e3:.2f} ms; {spent.steps} steps, {spent.seconds:.2f} s: {ratio:.1f} a step"
    )
    print(
        f"{spent.evaluations} cases; margin {proposal.start_margin:.4f} -> {proposal.margin:.4f}"
    )
    assert ratio < 20


@pytest.mark.parametrize("name", EXAMPLES)
def test_ten_random_starts(
    example: Callable[[str], Project], name: str
) -> None:
    """From ten random starts the worst margins agree within 0.002."""
    project = example(name)
    solver, rng = (
        Solver(SetupProblem(project, objective_of(project.venue))),
        np.random.default_rng(20),
    )
    found = [
        solver.solve(solver.box, rng.random(solver.problem.start.size)).merit
        for _ in range(10)
    ]
    print(f"\n{name}: " + " ".join(f"{value:.5f}" for value in sorted(found)))
    print(f"spread {max(found) - min(found):.5f}")
    assert max(found) - min(found) < 0.002
