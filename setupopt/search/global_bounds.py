"""How good a proposal can be at most: an independent search, an upper bound, and what would help."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.optimize import Bounds, differential_evolution

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics.inputs import Floats
from setupopt.project.model import Car, Project, Setup
from setupopt.robust.builds.varied_car import varied_car
from setupopt.search.engine.batch import Evaluation, merit
from setupopt.search.engine.exchange import ExchangeResult
from setupopt.search.engine.index_points import IndexPoints, restricted
from setupopt.search.engine.maxmin import TrustRegionOptions, maximise_worst
from setupopt.search.setup_problem import SetupProblem
from setupopt.units import MM

# Points per variable in the population of differential evolution, and its generations.
# Points all over the box are often lost, and a lost case costs several times as much as one with grip.
_POPULATION = 3
_GENERATIONS = 12
# Steps of a local search for the upper bound.
_BOUND_STEPS = 40


@dataclass(frozen=True)
class GlobalSearchResult:
    """Best point of an independent global search, on the index points it was given."""

    point: Floats
    merit: float
    evaluations: int  # of points


def search_independently(
    problem: SetupProblem, index_points: IndexPoints, seed: int
) -> GlobalSearchResult:
    """Differential evolution (R. Storn and K. Price, J. Global Optim. 11 (1997) 341-359; SciPy's) over the
    whole box. It uses no slopes, no starts and no local search."""
    function = restricted(problem, index_points.in_order())
    size = problem.start.size
    evaluations = 0
    if size == 0:
        return GlobalSearchResult(problem.start, -np.inf, 0)

    def cost(points: Floats, /) -> Any:
        nonlocal evaluations
        tried = np.atleast_2d(points.T)
        evaluations += len(tried)
        found = function(tried)
        return -merit(found.values, found.limits)

    found = differential_evolution(
        cost,
        Bounds(np.zeros(size), np.ones(size)),
        popsize=_POPULATION,
        maxiter=_GENERATIONS,
        tol=0.0,
        polish=False,
        init="sobol",
        vectorized=True,
        updating="deferred",
        rng=np.random.default_rng(seed),
    )
    return GlobalSearchResult(
        np.asarray(found.x), -float(found.fun), evaluations
    )


def upper_bound(
    problem: SetupProblem,
    best: ExchangeResult,
    multipliers: Floats,
    starts: Sequence[Floats],
) -> float:
    """The merit that no setup in the box exceeds, as far as local searches find the best of a weighted sum.

    The worst of many margins is no more than their mean, with any weights. With the `multipliers` (values) of
    a best point as weights, the highest mean lies close above its merit (weak duality). Limits count by their
    penalty.
    """
    plain = restricted(problem, best.index_points)

    def mean(points: Floats, warm_start: Any = None) -> Evaluation:
        found = plain(points, warm_start)
        return Evaluation(
            (found.values @ multipliers)[:, None],
            found.limits,
            found.warm_start,
        )

    few = TrustRegionOptions(most_steps=_BOUND_STEPS)
    begun = (best.outcome.point, *starts)
    return max(
        best.merit, *(maximise_worst(mean, start, few).merit for start in begun)
    )


@dataclass(frozen=True)
class Sensitivity:
    """A change outside the setup, and what it alone would add to the worst margin of the proposed setup."""

    what: str
    gain: float


_CAR_CHANGES = {
    "1 % more downforce": {"downforce": 1.01},
    "1 % less mass": {"mass": 0.99},
    "1 % more grip, of tyres or surface": {"tyre_friction": 1.01},
    "1 % less drag": {"drag": 0.99},
    "1 % less side force": {"side_force": 0.99},
}
_CASE_CHANGES = {
    "1 % more speed": ("speed", 1.01),
    "1 % less speed": ("speed", 0.99),
    "a tenth less crosswind": ("crosswind", 0.9),
    "a tenth less headwind": ("headwind", 0.9),
    "a tenth less braking or driving": ("acceleration", 0.9),
    "a tenth less of every bump": ("bump", 0.9),
}


def sensitivities(
    project: Project, setup: Setup, cases: CaseSet
) -> tuple[Sensitivity, ...]:
    """Changes of car, venue and run by what each alone would bring, the best first; none that harms."""
    model = Model(project.car)
    today = model.run(model.settings(setup), cases)
    before = float(today.worst_margin[0])

    def worst(car: Car, varied: CaseSet) -> float:
        model = Model(car)
        found = model.run(
            model.settings(setup), varied, today.answers[0], quick=True
        )
        return float(found.worst_margin[0])

    found = [
        Sensitivity(what, worst(car, varied) - before)
        for what, car, varied in _changes(project.car, cases)
    ]
    worth = [one for one in found if np.isfinite(one.gain) and one.gain > 0.0]
    return tuple(sorted(worth, key=lambda one: -one.gain))


def _changes(car: Car, cases: CaseSet) -> Iterator[tuple[str, Car, CaseSet]]:
    for what, factors in _CAR_CHANGES.items():
        yield what, varied_car(car, factors), cases
    yield "CG 5 mm lower", replace(car, cg_height=car.cg_height - 5 * MM), cases
    yield (
        "1 % of the weight from front to rear",
        replace(car, front_share=car.front_share - 0.01),
        cases,
    )
    yield (
        "1 % of the weight from rear to front",
        replace(car, front_share=car.front_share + 0.01),
        cases,
    )
    for what, (field, factor) in _CASE_CHANGES.items():
        records = cases.records.copy()
        records[field] *= factor
        yield what, car, replace(cases, source=records)
