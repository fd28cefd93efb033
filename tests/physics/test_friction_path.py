"""The path of falling friction: its end against the plain model, the null vector against solving anew."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from at_trim import Bench
from cars import (
    CAR,
    SETUP,
    STIFF_SETUP,
    evenly_driven,
    load_cases,
    on_tyres,
    plain_car,
    solve,
    speed_for,
    stiffened,
    venue,
)
from drawn import drawn
from plain_slip_car import read_slip_car, read_slip_case
from plain_slip_model import Problem
from scipy.optimize import root

import setupopt
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import Model
from setupopt.physics import friction_path as path
from setupopt.physics import path_end
from setupopt.physics.balance import COLUMNS, FACTOR
from setupopt.physics.inputs import SIDESLIP, TAU, UNKNOWNS, Record
from setupopt.physics.newton import MOST_SLIP
from setupopt.physics.path_step import UNITS
from setupopt.project.model import Setup

Floats = np.ndarray
BORE = venue(1.0 / 8.0)
CASES: dict[str, dict[str, Any]] = {
    "wall": {"roll_angle": 1.5},
    "overhead": {"roll_angle": 2.2, "crosswind": 2.0},
    "climbing": {"roll_angle": 2.0, "heading": 0.1},
    "braking": {"roll_angle": 1.0, "acceleration": -6.0},
    "turning": {"roll_angle": 0.8, "path_curvature": 2e-3},
}


@cache
def answer_of(name: str) -> Record:
    """A case of the invented car in a bore at 60 m/s."""
    answer = solve(CAR, SETUP, BORE, speed=60.0, **CASES[name]).answers[0, 0]
    assert answer["contact"]
    assert not answer["slides"]
    return answer


def bench_of(name: str) -> Bench:
    """Its balance."""
    return Bench(CAR, SETUP, load_cases(BORE, speed=60.0, **CASES[name]))


def is_at_a_limit(answer: Record) -> bool:
    """Whether the path ends where a slip or an angle is past driving."""
    return bool(np.abs(answer["fold"][SIDESLIP:TAU]).max() > MOST_SLIP - 1e-6)


@pytest.mark.parametrize("name", CASES)
def test_end_of_the_path_is_a_trim_without_neighbours_below(name: str) -> None:
    """The end balances to 1e-9 of the weight; a ten-thousandth less friction has no root nearby.

    A fold: the Jacobian's least singular value vanishes there. A limit of slip: it does not.
    """
    answer, b = answer_of(name), bench_of(name)
    factor = float(answer["friction_factor"])
    end = np.array(answer["fold"])
    assert np.abs(b.residual(end, factor)).max() < 1e-9
    singular = np.linalg.svd(b.jacobian(end, factor), compute_uv=False)
    at_trim = np.linalg.svd(b.jacobian(answer["state"]), compute_uv=False)
    if is_at_a_limit(answer):
        assert singular[-1] > 1e-4 * at_trim[-1]
        return
    assert singular[-1] < 1e-2 * at_trim[-1]
    less = factor - 1e-4
    found = root(
        lambda x: b.residual(x, less),
        end,
        jac=lambda x: b.jacobian(x, less),
        method="hybr",
    )
    assert np.abs(found.fun).max() > 1e-7


@pytest.mark.parametrize("name", CASES)
def test_null_vector_is_that_of_the_jacobian(name: str) -> None:
    """null . J = 0 for all unknowns (at a limit: but for the one that is held), null . dr/dlambda = 1.

    To 2e-3 of the largest sum of sizes.
    """
    answer, b = answer_of(name), bench_of(name)
    factor = float(answer["friction_factor"])
    null = np.array(answer["null"])
    by_unknown = null @ b.jacobian(answer["fold"], factor)
    scale = np.abs(null) @ np.abs(b.jacobian(answer["fold"], factor))
    share = np.abs(by_unknown) / scale.max()
    if np.all(null == 0.0):
        pytest.fail("the path broke off")
    if is_at_a_limit(answer):
        held = np.abs(answer["fold"][SIDESLIP:TAU]).argmax() + SIDESLIP
        share = np.delete(share, held)
    assert (
        share.max() < 2e-3
    )  # the fold is found to 1e-6, its unknowns to the root of that
    assert null @ b.factor_slope(answer["fold"], factor) == pytest.approx(
        1.0, rel=1e-6
    )


def changed(name: str, step: float) -> Setup:
    """One setting of both ends moved."""
    front = replace(SETUP.front, **{name: getattr(SETUP.front, name) + step})
    rear = replace(SETUP.rear, **{name: getattr(SETUP.rear, name) + step})
    return replace(SETUP, front=front, rear=rear)


STEPS = {
    "camber": 2e-4,
    "ride_height": 1e-4,
    "spring": 5e2,
    "toe": 5e-5,
    "pressure": 5e2,
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("setting", STEPS)
def test_slope_of_the_factor_against_solving_anew(
    case: str, setting: str
) -> None:
    """d factor / d p = - null . dr/dp against full solves of changed setups: 1 %, or 2e-6 of a margin.

    The answers by slope of `sweep.run` are this slope.
    """
    model = Model(CAR)
    cases = load_cases(BORE, speed=60.0, **CASES[case])
    step = STEPS[setting]
    both = model.settings([changed(setting, step), changed(setting, -step)])
    middle = model.run(model.settings([SETUP]), cases)
    starts = middle.answers[0]
    full = model.run(both, cases, starts=starts).margin[:, 0]
    slope = model.run(both, cases, starts=starts, by_slope=True).margin[:, 0]
    assert slope[0] - slope[1] == pytest.approx(
        full[0] - full[1], rel=0.01, abs=2e-6
    )


# --- against the plain model, which finds its end by bisection ----------------------------------------------


@pytest.mark.parametrize("seed", [5, 8])
def test_fold_against_a_bisection_by_the_plain_model(seed: int) -> None:
    """5e-5 above the factor the plain model has a trim near the fold, 5e-5 below it has none.

    The few nodes of the kernel's brush leave about 1e-5 between the two models.
    """
    d = drawn(seed)
    answer = d.evaluated().answers[0, 0]
    assert answer["contact"]
    assert not is_at_a_limit(answer)
    car = read_slip_car(d.car, d.setup, d.venue["venue"]["surface_grip"])
    problem = Problem(car, read_slip_case(d.venue, d.case))
    start = np.array(answer["fold"])
    start[TAU:] *= car.mass * 9.80665
    factor = float(answer["friction_factor"])
    assert problem.settle(start / problem.units, factor + 5e-5) is not None
    assert problem.settle(start / problem.units, factor - 5e-5) is None


def test_path_onto_a_plateau_ends_on_it() -> None:
    """On hard tyres of constant friction all of the tread slides at nearly one slip: the path turns upright.

    A step there is long for next to no residual. Taken on trust, it led to steer angles of many turns.
    Points of a path balance to 1e-5 of the weight, on trust to ten times that and a little more: the path
    breaks off on such a point where Newton's method stalls among treads that slide all over. The factor is
    what friction must carry, to 2e-4 of it: a plateau has no sharp fold.
    """
    car = evenly_driven(stiffened(plain_car(cg_height=1e-4, friction=1.4)))
    rng = np.random.default_rng(1)
    angle = rng.uniform(1.2, 3.0, 60)
    weights = rng.uniform(0.98, 1.3, 60) * (np.sin(angle) / 1.4 - np.cos(angle))
    speed = [speed_for(car, share) for share in weights]
    answers = solve(car, STIFF_SETUP, roll_angle=angle, speed=speed).answers[0]
    needed = np.sin(angle) / 1.4 / (np.cos(angle) + weights)
    assert answers["friction_factor"] == pytest.approx(needed, rel=2e-4)
    for row, answer in enumerate(answers):
        b = Bench(
            car,
            STIFF_SETUP,
            load_cases(venue(), roll_angle=angle, speed=speed),
            row,
        )
        left = b.residual(answer["fold"], float(answer["friction_factor"]))
        assert np.abs(left).max() < 2e-4


def test_path_that_starts_at_its_goal_does_not_move() -> None:
    """Followed from the trim to the factor that it has: the same trim."""
    b = bench_of("wall")
    work = b.forces(answer_of("wall")["state"])
    x = np.append(np.array(answer_of("wall")["state"]), 1.0)
    before = x.copy()
    end, _ = path.follow(
        b.car, b.elements, b.setup, b.case, b.state, b.road, x, 1.0, work
    )
    assert end == path_end.REACHED
    assert x == pytest.approx(before, abs=1e-8)


@pytest.mark.parametrize("goal", [0.9, 0.6])
def test_path_stops_at_its_goal(goal: float) -> None:
    """At exactly that factor, in a trim."""
    b = bench_of("wall")
    work = b.forces(answer_of("wall")["state"])
    x = np.append(np.array(answer_of("wall")["state"]), 1.0)
    end, _ = path.follow(
        b.car, b.elements, b.setup, b.case, b.state, b.road, x, goal, work
    )
    assert end == path_end.REACHED
    assert x[FACTOR] == goal
    assert np.abs(b.residual(x[:UNKNOWNS], goal)).max() < 1e-9


def test_margin_grows_with_the_surface_grip_as_it_must() -> None:
    """The friction that holds is the car's, not the surface's: lambda x grip stays, to the fold's 1e-6."""
    case = CASES["overhead"]
    low = solve(
        CAR, SETUP, venue(1.0 / 8.0, grip=0.9), speed=60.0, **case
    ).answers[0, 0]
    high = solve(
        CAR, SETUP, venue(1.0 / 8.0, grip=1.2), speed=60.0, **case
    ).answers[0, 0]
    assert 0.9 * low["friction_factor"] == pytest.approx(
        1.2 * high["friction_factor"], abs=2e-6
    )


def test_more_friction_on_the_tyres_is_more_margin() -> None:
    """The same by the tyre's own friction: twice the friction halves the factor."""
    twice = on_tyres(CAR, friction=2.0 * CAR.front.tyre.friction)
    one = answer_of("wall")["friction_factor"]
    two = solve(twice, SETUP, BORE, speed=60.0, **CASES["wall"]).answers[0, 0][
        "friction_factor"
    ]
    assert 2.0 * two == pytest.approx(one, abs=2e-6)


# --- the first fold, and no other ---------------------------------------------------------------------------


def first_fold(b: Bench, state: Floats) -> float:
    """Least factor of the path from the trim `state`, walked in short steps that cannot miss a fold.

    It ends where the factor has risen by more than what a fold must; the least of a parabola through the
    three lowest points.
    """
    y = np.append(np.array(state), 1.0) / UNITS
    ahead = -np.eye(COLUMNS)[FACTOR]
    factors = [1.0]
    while factors[-1] < min(factors) + path_end.NO_FOLD:
        goal = y + 0.04 * ahead
        y = goal
        for _ in range(4):
            work = b.forces(
                y[:UNKNOWNS] * UNITS[:UNKNOWNS], y[FACTOR] * UNITS[FACTOR]
            )
            rows = np.vstack(
                [work.jacobian[:UNKNOWNS, :COLUMNS] * UNITS, ahead]
            )
            y = y - np.linalg.solve(
                rows, np.append(work.residual[:UNKNOWNS], ahead @ (y - goal))
            )
        ahead = np.linalg.solve(rows, np.eye(COLUMNS)[FACTOR])
        ahead /= np.linalg.norm(ahead)
        factors.append(float(y[FACTOR] * UNITS[FACTOR]))
        assert len(factors) < 1000
    low = int(np.argmin(factors))
    bend = np.polyfit((-1.0, 0.0, 1.0), factors[low - 1 : low + 2], 2)
    return float(np.polyval(bend, -0.5 * bend[1] / bend[0]))


FOLDS = [
    ("straight", 100.0),
    ("straight", 180.0),
    ("turned up 8 deg", 45.0),
    ("crosswind", 45.0),
    ("crosswind", 115.0),
]


@pytest.mark.parametrize(("attitude", "angle"), FOLDS)
def test_path_ends_at_its_first_fold(attitude: str, angle: float) -> None:
    """Cases of the bore in which a path of long steps ended beside its fold, or passed it for another one.

    To 2e-6 of the friction: the parabola of the short steps leaves 1e-6.
    """
    bore = setupopt.load(Path(setupopt.__file__).parents[1] / "setups" / "bore")
    venue = replace(
        bore.venue,
        attitudes=tuple(a for a in bore.venue.attitudes if a.name == attitude),
    )
    cases = sweep_cases(venue, np.radians([angle]))
    answer = setupopt.evaluate(bore, cases=cases).answers[0, 0]
    factor = first_fold(Bench(bore.car, bore.setup, cases), answer["state"])
    assert answer["friction_factor"] == pytest.approx(factor, abs=2e-6)


@pytest.mark.parametrize("name", ["bore", "hill", "bank"])
def test_margins_do_not_move_with_rounding(name: str) -> None:
    """Springs stiffer by a billionth: no margin moves by more than a millionth.

    Where all of a tyre slides at nearly one friction, an end may move within a rise that is no fold.
    """
    project = setupopt.load(
        Path(setupopt.__file__).parents[1] / "setups" / name
    )
    front = project.setup.front
    near = [
        replace(
            project.setup, front=replace(front, spring=front.spring * (1.0 + e))
        )
        for e in (0.0, 1e-9)
    ]
    sweep = project.venue.sweep
    cases = sweep_cases(project.venue, np.linspace(sweep.start, sweep.stop, 10))
    factor = setupopt.evaluate(project, near, cases).answers["friction_factor"]
    moved = np.abs(factor[1] - factor[0])
    assert moved.max() < path_end.NO_FOLD
    assert np.mean(moved > 1e-6) < 0.01


def test_grip_of_the_surface_moves_no_fold() -> None:
    """Overhead in the bore: friction factor times grip is one number, to 1e-6 of the friction."""
    bore = setupopt.load(Path(setupopt.__file__).parents[1] / "setups" / "bore")
    found = []
    for grip in (1.0, 0.91, 0.9):
        venue = replace(
            bore.venue,
            attitudes=bore.venue.attitudes[:1],
            surface_grip=grip * bore.venue.surface_grip,
        )
        answer = setupopt.evaluate(
            bore, cases=sweep_cases(venue, np.array([np.pi]))
        ).answers[0, 0]
        found.append(grip * float(answer["friction_factor"]))
    assert np.ptp(found) < 1e-6


def test_slip_limit_on_the_way_to_a_fold_ends_the_path() -> None:
    """Springs of 114.9 to 115 N/mm, round one at which a step of the path passes a wheel's slip limit and the
    fold behind it at once: no end is past the limit, and no factor jumps by more than what it is found to."""
    hill = setupopt.load(Path(setupopt.__file__).parents[1] / "setups" / "hill")
    front = replace(hill.setup.front, ride_height=0.04978074, spring=118968.0)
    rear = replace(hill.setup.rear, ride_height=0.06978053)
    springs = np.linspace(114900.0, 115000.0, 21)
    setups = [
        Setup("tried", front, replace(rear, spring=float(spring)))
        for spring in springs
    ]
    fast = replace(hill.venue, attitudes=hill.venue.attitudes[:1])
    cases = sweep_cases(fast, np.array([hill.venue.sweep.stop]))
    model = Model(hill.car)
    answers = model.run(model.settings(setups), cases).answers[:, 0]
    assert np.abs(answers["fold"][:, SIDESLIP:TAU]).max() < MOST_SLIP + 1e-9
    assert np.abs(np.diff(answers["friction_factor"], n=2)).max() < 2e-6
