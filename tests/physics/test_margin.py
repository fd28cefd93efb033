"""Use of grip of an axle, against a cone program that knows nothing of the formulas."""

from __future__ import annotations

from functools import cache
from math import exp, hypot, log

import cvxpy as cp
import numpy as np
import pytest

from setupopt.physics.margin import MOST_USE, axle_use, search_value

# Relative; the cone solver is asked for 1e-10 and keeps about 1e-8
CLOSE = 1e-6


class ConeAxle:
    """Largest factor by which an axle's whole force may grow inside both wheels' friction circles."""

    def __init__(self, is_open: bool) -> None:
        self.grip, self.force = (
            cp.Parameter(2, nonneg=True),
            cp.Parameter(2),
        )  # left, right; lateral, along
        self.factor, wheels = (
            cp.Variable(),
            cp.Variable((2, 2)),
        )  # (wheels; lateral, along)
        rules = [cp.norm(wheels[w]) <= self.grip[w] for w in (0, 1)]
        rules += [cp.sum(wheels, axis=0) == self.factor * self.force]
        if is_open:  # an open differential gives both wheels the same torque
            rules.append(wheels[0, 1] == wheels[1, 1])
        self.problem = cp.Problem(cp.Maximize(self.factor), rules)

    def use(
        self, lateral: float, along: float, left: float, right: float
    ) -> float:
        """One over the largest factor."""
        self.grip.value, self.force.value = (
            np.array([left, right]),
            np.array([lateral, along]),
        )
        tight = {"tol_gap_abs": 1e-10, "tol_gap_rel": 1e-10, "tol_feas": 1e-10}
        self.problem.solve(solver=cp.CLARABEL, **tight)
        return 1.0 / float(self.factor.value)


@cache
def cone(is_open: bool) -> ConeAxle:
    """Built once."""
    return ConeAxle(is_open)


def random_axle(seed: int) -> tuple[float, float, float, float]:
    """Lateral and longitudinal force over grips near one; some forces or grips nearly vanish."""
    rng = np.random.default_rng(seed)
    lateral, along = rng.normal(size=2) * 10.0 ** rng.choice(
        [0.0, 0.0, -2.0], size=2
    )
    left, right = rng.uniform(0.05, 2.0, size=2)
    return float(lateral), float(along), float(left), float(right)


@pytest.mark.parametrize("is_open", [False, True])
def test_use_against_a_cone_program(is_open: bool) -> None:
    """250 random axles, driving and braking; when braking, an open axle is no other than a locked one."""
    for seed in range(250):
        axle = random_axle(seed)
        expected = cone(is_open and axle[1] > 0.0).use(*axle)
        assert axle_use(*axle, float(is_open)) == pytest.approx(
            expected, rel=CLOSE
        ), axle


def test_cone_program_meets_both_branches_of_the_open_differential() -> None:
    """Among the random axles some are held by the weaker wheel alone, others by both."""
    spinning = 0
    for seed in range(250):
        lateral, along, left, right = random_axle(seed)
        if along > 0.0:
            use = axle_use(lateral, along, left, right, 1.0)
            spinning += use == pytest.approx(
                along / 2.0 / min(left, right), rel=1e-12
            )
    assert 10 < spinning < 115


EDGES = {
    "no force at all": ((0.0, 0.0, 1.0, 1.0), 0.0),
    "axle in the air": ((0.3, 0.2, 0.0, 0.0), MOST_USE),
    "axle in the air, nothing asked": ((0.0, 0.0, 0.0, 0.0), MOST_USE),
    "lateral force alone": ((-0.5, 0.0, 0.4, 0.6), 0.5),
    "braking": ((0.3, -0.4, 0.2, 0.8), 0.5),
    "beyond the cap": ((300.0, 0.0, 1.0, 1.0), MOST_USE),
}


@pytest.mark.parametrize("is_open", [0.0, 1.0])
@pytest.mark.parametrize("edge", EDGES)
def test_edges_that_any_axle_shares(edge: str, is_open: float) -> None:
    """Without drive the kind of differential does not matter."""
    axle, use = EDGES[edge]
    assert axle_use(*axle, is_open) == pytest.approx(use, rel=1e-14)


OPEN_EDGES = {
    "driven wheel in the air": ((0.1, 0.4, 0.0, 5.0), MOST_USE),
    "no lateral force: the weaker wheel's half": ((0.0, 0.4, 0.1, 5.0), 2.0),
    "even grip: the same as locked": ((0.3, 0.4, 0.5, 0.5), 0.5),
    "even grip, hardly any lateral force": ((1e-150, 0.4, 0.5, 0.5), 0.4),
    "hardly any drive": ((0.6, 1e-150, 0.2, 0.4), 1.0),
    "weaker wheel just on its limit: sqrt(0.5^2 - 0.3^2) = 0.4 from the other": (
        (0.4, 0.6, 0.3, 0.5),
        1.0,
    ),
}


@pytest.mark.parametrize("edge", OPEN_EDGES)
def test_edges_of_an_open_differential(edge: str) -> None:
    """Left and right may change places."""
    (lateral, along, left, right), use = OPEN_EDGES[edge]
    assert axle_use(lateral, along, left, right, 1.0) == pytest.approx(
        use, rel=1e-12
    )
    assert axle_use(-lateral, along, right, left, 1.0) == pytest.approx(
        use, rel=1e-12
    )


@pytest.mark.parametrize("seed", range(40))
def test_open_use_solves_its_own_condition(seed: int) -> None:
    """With f = 1/use: both wheels at f X / 2 leave f |T| between them, unless the weaker one spins first."""
    lateral, along, left, right = random_axle(seed)
    factor, along = (
        1.0 / axle_use(lateral, abs(along), left, right, 1.0),
        abs(along),
    )
    room = [c * c - (factor * along / 2.0) ** 2 for c in (left, right)]
    assert min(room) > -1e-12
    left_over = sum(max(0.0, r) ** 0.5 for r in room) - factor * abs(lateral)
    on_limit = min(room) < 1e-12
    assert (
        left_over > -1e-6
        if on_limit
        else left_over == pytest.approx(0.0, abs=1e-9)
    )


@pytest.mark.parametrize("seed", range(40))
def test_open_is_never_better_than_locked(seed: int) -> None:
    """A locked axle may share the drive as it likes, so it needs no more of its grip."""
    lateral, along, left, right = random_axle(seed)
    locked = axle_use(lateral, abs(along), left, right, 0.0)
    assert axle_use(lateral, abs(along), left, right, 1.0) >= locked * (
        1.0 - 1e-12
    )
    assert locked == pytest.approx(
        hypot(lateral, along) / (left + right), rel=1e-12
    )


def test_search_value_is_the_margin_down_to_minus_one() -> None:
    """Then its logarithm, without a step or a kink: value and slope agree at -1."""
    assert search_value(0.3, 0.0) == 0.3
    assert search_value(-1.0, 0.0) == -1.0
    assert search_value(-50.0, 0.0) == pytest.approx(
        -1.0 - log(50.0), rel=1e-14
    )
    above, below = (search_value(-1.0 + h, 0.0) for h in (1e-6, -1e-6))
    assert (above + 1.0) / 1e-6 == pytest.approx(1.0, rel=1e-5)
    assert (-1.0 - below) / 1e-6 == pytest.approx(1.0, rel=1e-5)


def test_press_only_ever_takes_from_the_search_value() -> None:
    """A lost case that needs 0.25 g is worth 2.5 less: ten for each g."""
    assert search_value(-exp(2.0), 0.25) == pytest.approx(-5.5, rel=1e-14)
