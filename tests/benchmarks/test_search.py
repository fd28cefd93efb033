"""The search: what it costs, whether starts agree, and whether an independent search finds better."""

from __future__ import annotations

import time

import numpy as np
import optuna
from scipy.optimize import differential_evolution

import setupopt
from setupopt.cases import sweep_cases
from setupopt.project import Project
from setupopt.search.maxmin import climb, merit
from setupopt.search.setup_problem import SetupProblem


def _problem(project: Project) -> SetupProblem:
    assert project.limits is not None
    return SetupProblem(project, project.limits, sweep_cases(project.venue))


def test_cost_of_a_proposal(bore: Project) -> None:
    """Less than 20 sweeps of `assess` for each step of the search: no hidden waste."""
    setupopt.propose(bore)
    sweeps = []
    for _ in range(20):
        start = time.perf_counter()
        setupopt.evaluate(bore)
        sweeps.append(time.perf_counter() - start)
    proposal = setupopt.propose(bore)
    sweep = float(np.median(sweeps))
    ratio = proposal.seconds / (sweep * proposal.iterations)
    print(
        f"\none sweep {sweep * 1e3:.2f} ms, {proposal.iterations} steps, "
        f"{proposal.seconds:.2f} s: {ratio:.1f} sweeps a step"
    )
    print(f"worst margin {proposal.start_margin:.4f} -> {proposal.margin:.4f}")
    assert ratio < 20


def test_ten_random_starts_agree(bore: Project) -> None:
    """From ten random starts the worst margins agree within 0.002."""
    problem, rng = _problem(bore), np.random.default_rng(20)
    ends = [climb(problem, rng.random(problem.start.size)) for _ in range(10)]
    found = [end.merit for end in ends]
    print("\n" + " ".join(f"{value:.5f}" for value in sorted(found)))
    assert max(found) - min(found) < 0.002


def test_independent_searches_find_nothing_better(bore: Project) -> None:
    """Neither differential evolution with ten times the points nor TPE with 600 beats the climb by 0.001."""
    problem = _problem(bore)
    best = max(
        (climb(problem, start) for start in (problem.start, np.full(problem.start.size, 0.5))),
        key=lambda e: e.merit,
    )
    budget = 10 * best.points_asked

    asked = []

    def cost(points: np.ndarray) -> np.ndarray:
        places = np.atleast_2d(points.T)
        asked.append(len(places))
        answers = problem(places)
        return -merit(answers.values, answers.limits)

    size = 10
    evolved = differential_evolution(
        cost, [(0, 1)] * problem.start.size, popsize=size, vectorized=True, updating="deferred", seed=1,
        maxiter=max(1, budget // (size * problem.start.size)), polish=False, tol=0,
    )  # fmt: skip
    evolved_points = sum(asked)
    optuna.logging.set_verbosity(optuna.logging.ERROR)
    study = optuna.create_study(sampler=optuna.samplers.TPESampler(seed=1), direction="minimize")
    names = [v.name for v in problem.variables]
    study.optimize(
        lambda trial: float(cost(np.array([trial.suggest_float(n, 0, 1) for n in names]))[0]),
        n_trials=min(budget, 600),
    )
    print(f"\nclimb {best.merit:.5f} ({best.points_asked} points)")
    print(
        f"differential evolution {-evolved.fun:.5f} ({evolved_points} points), "
        f"TPE {-study.best_value:.5f} ({len(study.trials)} points)"
    )
    assert best.merit > max(-evolved.fun, -study.best_value) - 1e-3
