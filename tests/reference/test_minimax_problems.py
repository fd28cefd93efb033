"""The published minimax and semi-infinite problems, each solved by other programs than the search engine.

Minimax: SLSQP on the epigraph form. Semi-infinite: SLSQP on a fine grid, and for linear ones the linear
programs of HiGHS on a grid that grows where it is broken. They prove the statements, not the engine.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from minimax_problems import MINIMAX, MinimaxProblem
from scipy.optimize import OptimizeResult, least_squares, linprog, minimize
from semi_infinite_problems import APPROXIMATION, S4_NODES, SEMI_INFINITE

Floats = np.ndarray
Limit = Callable[
    [Floats, Floats], Floats
]  # (variables), (places) -> (kinds, places)
HALF_A_DIGIT = 0.51  # what rounding leaves open, and a little
UNIT = 1e4  # limits are scaled up: the linear solver takes 1e-7 for nothing
SOLVED = 1e-10  # ten times what it then leaves
CURVED = [name for name, problem in SEMI_INFINITE.items() if not problem.linear]


def descent(
    objective: Callable[[Floats], float],
    first: Floats,
    rules: list[dict[str, Any]],
    bounds: list[Any],
) -> OptimizeResult:
    """SLSQP to the end of its digits, slopes by central differences."""
    options = {"ftol": 1e-15, "maxiter": 500}
    return minimize(
        objective,
        first,
        jac="3-point",
        method="SLSQP",
        constraints=rules,
        bounds=bounds,
        options=options,
    )


# --- finite problems --------------------------------------------------------------------------


def lowest_from(problem: MinimaxProblem, start: Floats) -> tuple[float, Floats]:
    """The worst where SLSQP ends on the epigraph form, inf if a limit breaks there; and the point.

    Twice started again, as it may give up a few digits early.
    """
    slopes = np.reshape(problem.slopes, (-1, start.size))
    rules = [
        {"type": "ineq", "fun": lambda z: z[-1] - problem.functions(z[:-1])}
    ]
    if problem.least:
        rules.append(
            {"type": "ineq", "fun": lambda z: slopes @ z[:-1] - problem.least}
        )
    bounds = [*zip(problem.low, problem.high, strict=True), (None, None)]
    end = start
    for _ in range(3):
        first = np.append(end, problem.functions(end).max())
        end = descent(lambda z: z[-1], first, rules, bounds).x[:-1]
    kept = np.all(slopes @ end - problem.least > -1e-11)
    return (float(problem.functions(end).max()) if kept else np.inf), end


@pytest.mark.parametrize("start", ["start", "second_start"])
@pytest.mark.parametrize("name", MINIMAX)
def test_minimax_optimum(name: str, start: str) -> None:
    """The statement is right: from both starts another solver ends at the optimum, to its last digit."""
    problem = MINIMAX[name]
    found, _ = lowest_from(problem, np.array(getattr(problem, start)))
    assert found == pytest.approx(
        problem.optimum, rel=0, abs=HALF_A_DIGIT * problem.last_digit
    )


@pytest.mark.parametrize("name", MINIMAX)
def test_nothing_lower_in_the_box(name: str) -> None:
    """Of four random starts none ends below the optimum: an engine that does has left the problem."""
    problem = MINIMAX[name]
    starts = np.random.default_rng(1).uniform(
        problem.low, problem.high, (4, len(problem.low))
    )
    lowest = min(lowest_from(problem, start)[0] for start in starts)
    assert problem.optimum - HALF_A_DIGIT * problem.last_digit < lowest < np.inf


@pytest.mark.parametrize(
    "name", [name for name, problem in MINIMAX.items() if problem.point]
)
def test_published_point(name: str) -> None:
    """There the worst is the optimum, 5e-6: slopes up to 10; found there to its 6 decimals, or mirrored."""
    problem = MINIMAX[name]
    point = np.array(problem.point)
    assert problem.functions(point).max() == pytest.approx(
        problem.optimum, abs=5e-6
    )
    _, found = lowest_from(problem, np.array(problem.start))
    assert np.abs(found) == pytest.approx(np.abs(point), abs=1e-6)


# J. J. More, B. S. Garbow and K. E. Hillstrom, ACM Trans. Math. Softw. 7 (1981): least sums of squares of the
# same residuals, from memory; reached only with these data.
LEAST_SQUARES = {"Bard": 8.21487e-3, "Kowalik-Osborne": 3.07505e-4}


@pytest.mark.parametrize("name", LEAST_SQUARES)
def test_least_squares_of_the_same_data(name: str) -> None:
    """Every point of the data counts here; the largest residual alone sees only those that bind."""
    problem = MINIMAX[name]
    points = problem.functions(np.array(problem.start)).size // 2
    end = least_squares(
        lambda x: problem.functions(x)[:points],
        problem.start,
        xtol=1e-12,
        ftol=1e-14,
    )
    assert 2 * end.cost == pytest.approx(LEAST_SQUARES[name], rel=2e-6)


# --- semi-infinite problems -------------------------------------------------------------------


@pytest.mark.parametrize("start", ["start", "second_start"])
@pytest.mark.parametrize("name", CURVED)
def test_semi_infinite_optimum(name: str, start: str) -> None:
    """Both starts lead SLSQP on 501 places to the optimum and the point; 1e-6: the point's digits."""
    problem = SEMI_INFINITE[name]
    places = np.linspace(*problem.interval, 501)
    rule = {"type": "ineq", "fun": lambda x: -problem.limit(x, places)}
    bounds = list(zip(problem.low, problem.high, strict=True))
    end = descent(problem.objective, getattr(problem, start), [rule], bounds)
    assert end.fun == pytest.approx(
        problem.optimum, rel=0, abs=HALF_A_DIGIT * problem.last_digit + 1e-11
    )
    assert end.x == pytest.approx(problem.point, abs=1e-6)
    assert (
        problem.limit(end.x, np.linspace(*problem.interval, 20_001)).max()
        < 1e-11
    )


def peaks(heights: Floats, places: Floats) -> Floats:
    """Places of the local maxima, each at the top of the parabola through three points; and both ends."""
    left, mid, right = heights[:-2], heights[1:-1], heights[2:]
    top = np.flatnonzero((mid >= left) & (mid > right))
    bend = (left - 2 * mid + right)[top]
    tops = places[top + 1] + (places[1] - places[0]) * (left - right)[top] / (
        2 * bend
    )
    return np.concatenate([tops, places[[0, -1]]])


def least_and_break(
    cost: Floats, limit: Limit, interval: tuple[float, float]
) -> tuple[float, float]:
    """Least cost @ x where limit(x, t) <= 0, linear in x, at more and more t; and how far it is then broken.

    With a limit at some t only, the least is never too high.
    """
    fine, places = np.linspace(*interval, 2001), np.linspace(*interval, 12)
    for _ in range(20):
        level = limit(np.zeros(cost.size), places)
        slope = np.array(
            [
                (limit(unit, places) - level).ravel()
                for unit in np.eye(cost.size)
            ]
        )
        found = linprog(
            cost,
            A_ub=UNIT * slope.T,
            b_ub=-UNIT * level.ravel(),
            bounds=(None, None),
        ).x
        places = np.append(places, peaks(limit(found, fine).max(axis=0), fine))
    return float(cost @ found), float(limit(found, places).max())


@pytest.mark.parametrize("n", S4_NODES)
def test_s4_optimum(n: int) -> None:
    """The optimum lies between a linear program's lower bound and its polynomial lifted clear of tan."""
    problem = SEMI_INFINITE[f"S4, n={n}"]
    cost = np.array([problem.objective(unit) for unit in np.eye(n)])
    least, broken = least_and_break(
        cost, lambda x, t: problem.limit(x, t)[None, :], problem.interval
    )
    assert least - SOLVED < problem.optimum < least + broken + SOLVED
    assert broken < SOLVED


@pytest.mark.parametrize("name", APPROXIMATION)
def test_best_approximation(name: str) -> None:
    """The closed form lies between a linear program's lower bound and the largest error that it leaves."""
    problem = APPROXIMATION[name]

    def above(z: Floats, t: Floats) -> Floats:
        """Error of either sign above the last variable, (2, places)."""
        error = problem.residual(z[:-1], t)
        return np.array([error, -error]) - z[-1]

    least, broken = least_and_break(
        np.eye(len(problem.start) + 1)[-1], above, problem.interval
    )
    assert least - SOLVED < problem.optimum < least + broken + SOLVED
    assert broken < SOLVED


@pytest.mark.parametrize("name", APPROXIMATION)
def test_error_at_the_best_point(name: str) -> None:
    """The point leaves the error given; 1e-10: 5e-6, half the grid, from a top whose bend is at most 4.5."""
    problem = APPROXIMATION[name]
    error = np.abs(
        problem.residual(
            np.array(problem.point), np.linspace(*problem.interval, 200_001)
        )
    )
    assert error.max() == pytest.approx(problem.optimum, rel=0, abs=1e-10)


@pytest.mark.parametrize("n", S4_NODES)
def test_s4_quadrature(n: int) -> None:
    """Weights are positive and integrate t^0 .. t^(n-1): no polynomial above tan has a lesser integral."""
    nodes, weights = S4_NODES[n]
    assert min(weights) > 0.0
    powers = np.arange(n)
    assert np.array(nodes) ** powers[:, None] @ weights == pytest.approx(
        1 / (powers + 1), abs=1e-15
    )
