"""How good a proposal can be at all: an independent search, a bound from the weights, and what would help."""

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
from setupopt.robust.builds.build_variation import varied_car
from setupopt.search.engine.exchange import ExchangeResult
from setupopt.search.engine.index_points import IndexPoints, on
from setupopt.search.engine.maxmin import Evaluation, TrustRegionOptions, maximise_worst, merit
from setupopt.search.setup_problem import SetupProblem
from setupopt.units import MM

# Points per variable that differential evolution keeps, and how many times they are bred.
_CROWD, _BREEDS = 4, 24


@dataclass(frozen=True)
class GlobalSearchResult:
    """Best point that an independent global search found, on the places it was given."""

    point: Floats
    merit: float
    points_asked: int


def search_independently(problem: SetupProblem, places: IndexPoints, seed: int) -> GlobalSearchResult:
    """Differential evolution (R. Storn and K. Price, J. Global Optim. 11 (1997) 341-359; SciPy's) over the
    whole box, which knows nothing of slopes, starts or climbs."""
    function, asked, size = on(problem, places), 0, problem.start.size
    if size == 0:
        return GlobalSearchResult(problem.start, -np.inf, 0)

    def cost(points: Floats, /) -> Any:
        nonlocal asked
        tried = np.atleast_2d(points.T)
        asked += len(tried)
        answers = function(tried)
        return -merit(answers.values, answers.limits)

    found = differential_evolution(
        cost, Bounds(np.zeros(size), np.ones(size)), popsize=_CROWD, maxiter=_BREEDS, tol=0.0, polish=False,
        init="sobol", vectorized=True, updating="deferred", rng=np.random.default_rng(seed),
    )  # fmt: skip
    return GlobalSearchResult(np.asarray(found.x), -float(found.fun), asked)


def upper_bound(
    problem: SetupProblem, best: ExchangeResult, weights: Floats, starts: Sequence[Floats]
) -> float:
    """What no setup in the box can be worth more than, as far as climbs find the best of a weighed sum.

    The worst of many margins is no more than their mean with any weights; with the `weights` of the binding
    rows the highest weighed mean lies close above (weak duality). Limits are held by their penalty.
    """
    rows = on(problem, best.places)

    def weighed(points: Floats, memory: Any = None) -> Evaluation:
        answers = rows(points, memory)
        return Evaluation((answers.values @ weights)[:, None], answers.limits, answers.memory)

    ends = [
        maximise_worst(weighed, start, TrustRegionOptions(most_steps=40)).merit
        for start in (best.outcome.point, *starts)
    ]
    return max(best.merit, *ends)


@dataclass(frozen=True)
class Sensitivity:
    """A change outside the setup, and what it alone would add to the worst margin of the proposed setup."""

    what: str
    gain: float


def gains(project: Project, setup: Setup, cases: CaseSet) -> tuple[Sensitivity, ...]:
    """Changes of car, place and run by what each alone would bring, the best first; none that harms."""
    before = _worst(project.car, setup, cases)
    changed = _changes(project.car, cases)
    found = [Sensitivity(what, _worst(car, setup, varied) - before) for what, car, varied in changed]
    worth = [gain for gain in found if np.isfinite(gain.gain) and gain.gain > 0.0]
    return tuple(sorted(worth, key=lambda gain: -gain.gain))


def _worst(car: Car, setup: Setup, cases: CaseSet) -> float:
    model = Model(car)
    return float(model.run(model.settings(setup), cases).worst_margin[0])


def _changes(car: Car, cases: CaseSet) -> Iterator[tuple[str, Car, CaseSet]]:
    for what, factors in (
        ("1 % more downforce", {"downforce": 1.01}),
        ("1 % less mass", {"mass": 0.99}),
        ("1 % more grip, of tyres or surface", {"tyre_friction": 1.01}),
        ("1 % less drag", {"drag": 0.99}),
        ("1 % less side force", {"side_force": 0.99}),
    ):
        yield what, varied_car(car, factors), cases
    yield "CG 5 mm lower", replace(car, cg_height=car.cg_height - 5 * MM), cases
    yield "1 % of the weight from front to rear", replace(car, front_share=car.front_share - 0.01), cases
    yield "1 % of the weight from rear to front", replace(car, front_share=car.front_share + 0.01), cases
    for what, field, factor in (
        ("1 % more speed", "speed", 1.01),
        ("1 % less speed", "speed", 0.99),
        ("a tenth less crosswind", "crosswind", 0.9),
        ("a tenth less headwind", "headwind", 0.9),
        ("a tenth less braking or driving", "acceleration", 0.9),
        ("a tenth less of every bump", "bump", 0.9),
    ):
        records = cases.records.copy()
        records[field] *= factor
        yield what, car, replace(cases, records=records)
