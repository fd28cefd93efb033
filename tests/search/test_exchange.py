"""The exchange of places on published problems with a continuous index, and what it stands on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from semi_infinite_problems import (
    APPROXIMATION,
    SEMI_INFINITE,
    ApproximationProblem,
    SemiInfiniteProblem,
)

from setupopt.search.engine.batch import PENALTY
from setupopt.search.engine.exchange import (
    ExchangeOptions,
    ExchangeResult,
    Oracle,
    exchange,
    worse_points,
)
from setupopt.search.engine.index_points import (
    Index,
    IndexPoints,
    OracleResult,
    SemiInfiniteEvaluation,
    SemiInfiniteFunction,
    coarse_oracle,
    separation_oracle,
)
from setupopt.search.engine.maxmin import TrustRegionOptions
from setupopt.search.engine.subbox import Subbox

from .tight_rules import TIGHT

CLOSE = ExchangeOptions(value_tolerance=1e-8, constraint_tolerance=1e-8)
# Most places that matter at the optima lie between the points of this grid. 0 is one of them for |t|: next to
# a kink a place is known less well than in a smooth dip.
GRID = 23
# What separation_oracle may overlook of a local minimum: half its last spacing, 1/486 of the grid's, under
# the sharpest bend here, 4.5 in the monic polynomial of degree 6 at the tops next to its ends; 7e-8.
OVERLOOKED = 4.5 / 2 * (2 / (GRID - 1) / 486) ** 2
PROBLEMS = SEMI_INFINITE | APPROXIMATION
BOTH = pytest.mark.parametrize("start", ["start", "second_start"])


def _limited(problem: SemiInfiniteProblem) -> SemiInfiniteFunction:
    """An objective without a place, and a limit at every place, over the unit box."""

    def answers(
        points: np.ndarray, index: IndexPoints, warm_start: Any = None
    ) -> SemiInfiniteEvaluation:
        real = _real(problem, points)
        limits = -np.array([problem.limit(x, index.at) for x in real])
        values = -np.array([[problem.objective(x)] for x in real])
        return SemiInfiniteEvaluation(
            values, limits, None, np.array([-1]), np.arange(len(index))
        )

    return answers


def _fitted(problem: ApproximationProblem) -> SemiInfiniteFunction:
    """Errors over the unit box; those too high are one family, those too low another."""

    def answers(
        points: np.ndarray, index: IndexPoints, warm_start: Any = None
    ) -> SemiInfiniteEvaluation:
        sign = np.where(index.family == 0, -1.0, 1.0)
        values = np.array(
            [
                sign * problem.residual(x, index.at)
                for x in _real(problem, points)
            ]
        )
        none = np.empty((len(points), 0))
        return SemiInfiniteEvaluation(
            values, none, None, np.arange(len(index)), np.empty(0, dtype=int)
        )

    return answers


Problem = SemiInfiniteProblem | ApproximationProblem


def _box(problem: Problem) -> tuple[np.ndarray, np.ndarray]:
    return np.array(problem.low, dtype=float), np.array(
        problem.high, dtype=float
    )


def _real(problem: Problem, points: np.ndarray) -> np.ndarray:
    low, high = _box(problem)
    return low + points * (high - low)


def _posed(problem: Problem) -> tuple[SemiInfiniteFunction, Index]:
    """The function and its index."""
    grid = np.linspace(*problem.interval, GRID)
    if isinstance(problem, SemiInfiniteProblem):
        return _limited(problem), Index(1, grid)
    return _fitted(problem), Index(2, grid)


def _oracle(function: SemiInfiniteFunction, index: Index) -> Oracle:
    return lambda x: separation_oracle(function, index, x, band=0.1, room=0.01)


def _start(problem: Problem, start: str = "start") -> np.ndarray:
    low, high = _box(problem)
    return (getattr(problem, start) - low) / (high - low)


def _solve(
    name: str,
    start: str = "start",
    trust_region: TrustRegionOptions = TIGHT,
    options: ExchangeOptions = CLOSE,
) -> ExchangeResult:
    """An exchange on a published problem."""
    function, index = _posed(PROBLEMS[name])
    return exchange(
        function,
        _oracle(function, index),
        _start(PROBLEMS[name], start),
        None,
        trust_region,
        options,
    )


_solved = cache(_solve)


def _error(name: str, end: ExchangeResult) -> float:
    """Largest error of an approximation, on a grid a thousand times finer."""
    problem = APPROXIMATION[name]
    fine = np.linspace(*problem.interval, 1000 * (GRID - 1) + 1)
    return float(
        np.abs(problem.residual(_real(problem, end.outcome.point), fine)).max()
    )


# --- published problems -----------------------------------------------------------------------


@BOTH
@pytest.mark.parametrize("name", PROBLEMS)
def test_published_optimum(name: str, start: str) -> None:
    """From both starts the published optimum to 1e-6: no place that matters was missed, and none invented."""
    end, optimum = _solved(name, start), PROBLEMS[name].optimum
    assert -end.merit == pytest.approx(
        optimum, rel=0, abs=1e-6 * max(1.0, abs(optimum))
    )
    assert end.settled


@BOTH
@pytest.mark.parametrize("name", SEMI_INFINITE)
def test_limit_holds_between_the_places(name: str, start: str) -> None:
    """On a grid a thousand times finer than the index's the limit holds, but for what counts as touching."""
    problem = SEMI_INFINITE[name]
    point = _real(problem, _solved(name, start).outcome.point)
    fine = np.linspace(*problem.interval, 1000 * (GRID - 1) + 1)
    assert (
        problem.limit(point, fine).max()
        < CLOSE.constraint_tolerance + OVERLOOKED
    )


@BOTH
@pytest.mark.parametrize("name", APPROXIMATION)
def test_error_holds_between_the_places(name: str, start: str) -> None:
    """On a grid a thousand times finer than the index's the largest error is the one that was told."""
    end = _solved(name, start)
    assert _error(name, end) == pytest.approx(-end.merit, rel=0, abs=OVERLOOKED)


@BOTH
@pytest.mark.parametrize("name", PROBLEMS)
def test_few_places(name: str, start: str) -> None:
    """Five places for each variable and one more do: optima rest on one each, the rest led there.

    At most n + 1 bind in n variables (Chebyshev); five times that guards against regression, no source.
    """
    assert len(_solved(name, start).index_points) <= 5 * (
        len(PROBLEMS[name].start) + 1
    )


@pytest.mark.parametrize("name", APPROXIMATION)
def test_settings_of_their_own(name: str) -> None:
    """Off by no more than its own settings allow: what it may overlook, and what is too little to gain."""
    end = _solved(
        name, trust_region=TrustRegionOptions(), options=ExchangeOptions()
    )
    allowed = (
        ExchangeOptions().value_tolerance + TrustRegionOptions().least_gain
    )
    assert _error(name, end) == pytest.approx(
        APPROXIMATION[name].optimum, rel=0, abs=allowed
    )


# --- how it ends ------------------------------------------------------------------------------


def test_merit_is_true_when_cut_short() -> None:
    """Stopped after one round it says so, and its merit is that of the whole index, not of few points."""
    end = _solve(
        "monic, degree 6", "second_start", options=replace(CLOSE, most_rounds=1)
    )
    assert (end.settled, end.rounds) == (False, 1)
    assert _error("monic, degree 6", end) == pytest.approx(
        -end.merit, abs=1e-6
    )  # far from level: wider bends
    assert end.gap == pytest.approx(end.outcome.merit - end.merit)
    assert end.gap > CLOSE.value_tolerance


def test_limits_elsewhere_count_when_cut_short() -> None:
    """Stopped after one round the merit pays for the limit where that is broken most, not at places alone."""
    problem = SEMI_INFINITE["S4, n=4"]
    end = _solve("S4, n=4", options=replace(CLOSE, most_rounds=1))
    point = _real(problem, end.outcome.point)
    fine = np.linspace(*problem.interval, 1000 * (GRID - 1) + 1)
    told = (
        -problem.objective(point) - PENALTY * problem.limit(point, fine).max()
    )
    assert end.merit == pytest.approx(
        told, abs=1e-4
    )  # a penalty of 10 on what the last zoom overlooks
    assert end.gap > PENALTY * CLOSE.constraint_tolerance


def test_what_cannot_be_kept_is_missed_by_least() -> None:
    """x >= t for t up to 2, x up to 1: broken by 1 at 2, though every bit of x costs a bit of the value."""

    def beyond(
        points: np.ndarray, index: IndexPoints, warm_start: Any = None
    ) -> SemiInfiniteEvaluation:
        return SemiInfiniteEvaluation(
            -points,
            points - index.at,
            None,
            np.array([-1]),
            np.arange(len(index)),
        )

    end = exchange(
        beyond,
        _oracle(beyond, Index(1, np.linspace(0.0, 2.0, 5))),
        np.array([0.2]),
        None,
        TIGHT,
        CLOSE,
    )
    assert end.outcome.point[0] == pytest.approx(1.0, abs=1e-6)
    assert end.merit == pytest.approx(-1.0 - PENALTY, abs=1e-5)
    assert end.settled


def test_places_to_begin_with() -> None:
    """Places that the caller gives are kept, before those that are found; few lead to the same optimum."""
    name = "e^t by a line"
    function, index = _posed(APPROXIMATION[name])
    first = IndexPoints(np.array([1, 0]), np.array([0.3, 0.9]))
    end = exchange(
        function,
        _oracle(function, index),
        _start(APPROXIMATION[name]),
        first,
        TIGHT,
        CLOSE,
    )
    assert end.index_points.at[:2].tolist() == [0.3, 0.9]
    assert end.index_points.family[:2].tolist() == [1, 0]
    assert -end.merit == pytest.approx(APPROXIMATION[name].optimum, abs=1e-6)


def test_a_quick_oracle_that_misses_places_changes_no_end() -> None:
    """A rough search on one place in five comes first; the optimum is that of the whole index."""
    name = "monic, degree 4"
    function, index = _posed(PROBLEMS[name])
    thinned = replace(index, grid=index.grid[::5])
    seen = list[int]()

    def quick(point: np.ndarray) -> OracleResult:
        seen.append(0)
        return coarse_oracle(function, thinned, point, np.inf, np.inf)

    start = _start(PROBLEMS[name])
    first = quick(start).index_points
    oracle = _oracle(function, index)
    end = exchange(
        function, oracle, start, first, TIGHT, CLOSE, quick_oracle=quick
    )
    assert len(seen) == 2
    assert end.settled
    assert -end.merit == pytest.approx(PROBLEMS[name].optimum, abs=1e-6)


def test_same_start_same_end() -> None:
    """The exchange is deterministic."""
    ends = [_solve("monic, degree 4", "second_start") for _ in range(2)]
    assert ends[0].outcome.point.tolist() == ends[1].outcome.point.tolist()
    assert ends[0].index_points.at.tolist() == ends[1].index_points.at.tolist()


SEEN = OracleResult(
    IndexPoints(np.arange(6), np.linspace(0.0, 1.0, 6)),
    value=np.array([0.88, 1.0, 0.5, 0.99, np.inf, np.inf]),
    limit=np.array([np.inf, np.inf, np.inf, 0.2, -0.3, -0.08]),
)


def test_what_counts_as_worse() -> None:
    """Values under the least known and limits under the most broken one, the worst first, few if asked."""
    rules = ExchangeOptions(value_tolerance=0.05, constraint_tolerance=0.05)
    assert worse_points(1.0, 0.0, SEEN, rules).family.tolist() == [
        2,
        4,
        0,
        5,
    ]  # by .45, .25, .07, .03
    assert worse_points(1.0, -0.2, SEEN, rules).family.tolist() == [
        2,
        0,
        4,
    ]  # by .45, .07, .05
    assert worse_points(
        1.0, 0.3, SEEN, replace(rules, most_added=2)
    ).family.tolist() == [2, 4]
    assert len(worse_points(0.5, -0.3, SEEN, rules)) == 0


def test_progress_counts_all_steps() -> None:
    """Steps are told as they are made, over all rounds, so that a user sees it go on."""
    told: list[int] = []
    function, index = _posed(APPROXIMATION["monic, degree 4"])
    start = _start(APPROXIMATION["monic, degree 4"])
    end = exchange(
        function,
        _oracle(function, index),
        start,
        None,
        TIGHT,
        CLOSE,
        told.append,
    )
    assert end.rounds > 1
    assert told == list(range(1, end.steps + 1))


# --- places -----------------------------------------------------------------------------------


def test_join_drops_what_is_there() -> None:
    """A place is worked with once; the same angle of another attitude is another place."""
    some = IndexPoints(np.array([0, 1]), np.array([0.5, 0.25]))
    both = some.join(
        IndexPoints(np.array([1, 0, 1]), np.array([0.5, 0.5, 0.25]))
    )
    assert list(zip(both.family, both.at, strict=True)) == [
        (0, 0.5),
        (1, 0.25),
        (1, 0.5),
    ]


WAVES = Index(3, np.linspace(0.0, 1.0, 9))
LEAST_AT = np.array([0.37, 0.71, 0.06])
LIFT = np.array([0.0, 0.05, 0.6])
# Half the last spacing of the zoom, four times into a quarter, from a grid of eighths; a cosine's rise there.
NEAR = 1 / 8 / 3**5 / 2
RISE = (2 * np.pi * NEAR) ** 2 / 2


def _wave(index: IndexPoints) -> np.ndarray:
    """One dip to -1 + LIFT a family, a row for one point."""
    return (
        LIFT[index.family]
        - np.cos(2 * np.pi * (index.at - LEAST_AT[index.family]))
    )[None, :]


def _valued(
    points: np.ndarray, index: IndexPoints, warm_start: Any = None
) -> SemiInfiniteEvaluation:
    none = np.empty((1, 0))
    return SemiInfiniteEvaluation(
        _wave(index), none, None, np.arange(len(index)), np.empty(0, dtype=int)
    )


def _bounded(
    points: np.ndarray, index: IndexPoints, warm_start: Any = None
) -> SemiInfiniteEvaluation:
    return SemiInfiniteEvaluation(
        np.zeros((1, 1)),
        _wave(index),
        None,
        np.array([-1]),
        np.arange(len(index)),
    )


def test_dip_between_grid_points() -> None:
    """Dips of cosines lie where they must, deeper than any point of the grid; the least comes first."""
    seen = separation_oracle(_valued, WAVES, np.zeros(1), band=2.0, room=0.0)
    assert seen.index_points.family[:2].tolist() == [0, 1]
    np.testing.assert_allclose(
        seen.index_points.at[:2], LEAST_AT[:2], rtol=0, atol=1.001 * NEAR
    )
    np.testing.assert_allclose(
        seen.value[:2], LIFT[:2] - 1.0, rtol=0, atol=1.001 * RISE
    )
    assert np.isinf(seen.limit).all()


def test_band_leaves_out_what_is_not_worst() -> None:
    """A dip .6 above the least is left out by a band of .3, the one .05 above is not."""
    seen = separation_oracle(_valued, WAVES, np.zeros(1), band=0.3, room=0.0)
    assert seen.index_points.family.tolist() == [0, 1]


def test_dips_of_limits() -> None:
    """Limits are looked at by themselves: dips under `room`, here -1 and -.95 but not -.4."""
    seen = separation_oracle(_bounded, WAVES, np.zeros(1), band=2.0, room=-0.5)
    assert seen.index_points.family.tolist() == [0, 1]
    np.testing.assert_allclose(
        seen.index_points.at, LEAST_AT[:2], rtol=0, atol=1.001 * NEAR
    )
    assert np.isinf(seen.value).all()


def test_no_dip_at_all() -> None:
    """Where every limit is kept with room to spare and no value has a place, nothing is worst."""
    assert (
        len(
            separation_oracle(
                _bounded, WAVES, np.zeros(1), band=2.0, room=-2.0
            ).index_points
        )
        == 0
    )


def curve(
    value: Callable[[np.ndarray], np.ndarray],
) -> Callable[..., SemiInfiniteEvaluation]:
    """A problem of one point without limits: a value at each place of the index."""

    def evaluate(
        points: np.ndarray, index: IndexPoints, warm_start: Any = None
    ) -> SemiInfiniteEvaluation:
        values, none = value(index.at)[None, :], np.empty((1, 0))
        return SemiInfiniteEvaluation(
            values, none, None, np.arange(len(index)), np.empty(0, dtype=int)
        )

    return evaluate


def test_level_floor() -> None:
    """A dip with a level floor is one place, on the floor."""

    flat = curve(lambda at: np.maximum(np.abs(at - 0.5), 0.2))
    index = Index(1, np.linspace(0.0, 1.0, 21))
    seen = separation_oracle(flat, index, np.zeros(1), band=0.25, room=0.0)
    assert seen.value.tolist() == [0.2]


@pytest.mark.parametrize("slope", [-1.0, 1.0])
def test_worst_at_an_end(slope: float) -> None:
    """A curve that only falls or only rises is worst at an end of the index, exactly there."""

    ramp = curve(lambda at: slope * at)
    index = Index(1, np.linspace(2.0, 3.0, 6))
    seen = separation_oracle(ramp, index, np.zeros(1), band=9.0, room=0.0)
    assert seen.index_points.at.tolist() == [2.0 if slope > 0.0 else 3.0]


# --- a part of the box ------------------------------------------------------------------------

PART = Subbox(np.array([0.2, 0.4, 0.0]), np.array([0.6, 0.4, 1.0]))


def test_inside_and_back() -> None:
    """Points of a part keep their place through its own unit box; what is held is held to the last bit."""
    own = np.random.default_rng(0).random((20, 2))
    whole = PART.whole(own)
    assert (whole[:, 1] == 0.4).all()
    assert ((whole >= PART.low) & (whole <= PART.high)).all()
    np.testing.assert_allclose(
        [PART.nearest(point) for point in whole], own, rtol=0, atol=1e-15
    )


def test_inside_has_the_corners_of_the_part() -> None:
    """0 and 1 of the part's own box are its borders."""
    np.testing.assert_allclose(
        PART.whole(np.array([[0.0, 0.0], [1.0, 1.0]])),
        [PART.low, PART.high],
        atol=1e-16,
    )


def test_start_outside_the_part() -> None:
    """A start outside is taken to the nearest point inside."""
    np.testing.assert_array_equal(
        PART.nearest(np.array([0.9, 0.1, 0.3])), [1.0, 0.3]
    )


def test_exchange_in_a_part() -> None:
    """|t| by a + b t, the square held at 0: the best is the constant 1/2, wrong by 1/2 at -1, 0 and 1."""
    problem = APPROXIMATION["|t| by quadratics"]
    function, index = _posed(problem)
    part = Subbox(np.array([0.0, 0.0, 0.5]), np.array([1.0, 1.0, 0.5]))
    inside, start = (
        part.inside(function),
        part.nearest(_start(problem, "second_start")),
    )
    end = exchange(inside, _oracle(inside, index), start, None, TIGHT, CLOSE)
    assert -end.merit == pytest.approx(0.5, abs=1e-6)
    np.testing.assert_allclose(
        _real(problem, part.whole(end.outcome.point)),
        [0.5, 0.0, 0.0],
        atol=1e-6,
    )
