"""Finding the trim: what holds, what does not, and what a lost case is worth to a search."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from math import pi, radians

import numpy as np
import pytest
from at_trim import Bench
from cars import (
    CAR,
    PLAIN_SETUP,
    SETUP,
    both_axles,
    load_cases,
    middle_press,
    plain_car,
    set_both,
    solve,
    speed_for,
    starts_of,
    venue,
    with_downforce,
)
from drawn import drawn, drawn_hard
from scipy.optimize import root

from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import ANSWER, SIDESLIP, TAU, UNKNOWNS, Record
from setupopt.physics.newton import MOST_SLIP
from setupopt.project.model import AirElement, Car

Floats = np.ndarray
BORE = venue(1.0 / 7.5)


# --- trims that hold ----------------------------------------------------------------------------------------


def body_stiffness(b: Bench, state: Floats) -> Floats:
    """Minus the body's part (3, 3) of the Jacobian, all other unknowns following."""
    jacobian = b.jacobian(state)
    followed = np.linalg.solve(jacobian[3:, 3:], jacobian[3:, :3])
    return -(jacobian[:3, :3] - jacobian[:3, 3:] @ followed)


def falling_ways(b: Bench, state: Floats) -> int:
    """How many independent ways the body would fall away from a state."""
    return int((np.linalg.eigvals(body_stiffness(b, state)).real < 0.0).sum())


def test_held_trims_balance_and_are_stable() -> None:
    """Left over: below 1e-9 of the weight. The body, pushed any way, is pushed back: no way to fall.

    Of 60 drawn cars and attitudes at least thirty are held, so that as many are checked.
    """
    checked = 0
    for seed in range(60):
        d = (drawn, drawn_hard)[seed % 2](seed)
        answer = d.evaluated().answers[0, 0]
        if not answer["contact"] or answer["slides"]:
            continue
        b = d.bench()
        state = answer["state"]
        assert np.abs(b.residual(state)).max() < 1e-9, seed
        assert falling_ways(b, state) == 0, seed
        assert np.abs(state[SIDESLIP:TAU]).max() < MOST_SLIP
        checked += 1
    assert checked >= 30


def test_two_starts_arrive_at_one_trim() -> None:
    """From 3 mm and 5 mrad beside the trim: the same state to a nanometre, the same margin to the fold's
    1e-6.

    Of 20 drawn cars and attitudes at least ten are held, so that as many are checked.
    """
    checked = 0
    aside = np.array(
        [
            3e-3,
            -5e-3,
            5e-3,
            3e-3,
            -3e-3,
            3e-3,
            3e-3,
            5e-3,
            5e-3,
            0,
            0,
            0,
            0,
            0.01,
            0.01,
        ]
    )
    for seed in range(20):
        d = drawn(seed)
        first = d.evaluated()
        if not first.contact[0, 0] or first.answers["slides"][0, 0]:
            continue
        model = Model(d.project.car)
        starts = starts_of(first).copy()
        starts["state"] += aside
        second = model.run(
            model.settings([d.project.setup]), d.cases, starts=starts
        )
        found, expected = second.answers[0, 0], first.answers[0, 0]
        assert found["state"] == pytest.approx(expected["state"], abs=1e-8), (
            seed
        )
        assert second.margin[0, 0] == pytest.approx(
            first.margin[0, 0], abs=1e-6
        ), seed
        checked += 1
    assert checked >= 10


def winged(*areas: float) -> Car:
    """A soft car under one wing over each axle, whose pull grows as the gap closes."""
    wings = [
        AirElement(f"wing {i}", 2.6 * i, 0.3, 1.2, 0.0, 0.0, a, 0.03, 0.0)
        for i, a in enumerate(areas)
    ]
    bare = both_axles(plain_car(mass=800.0), unsprung_mass=20.0)
    return replace(bare, air=replace(middle_press(0.0), elements=tuple(wings)))


SOFT = set_both(PLAIN_SETUP, spring=15e3, ride_height=0.14)


def started(car: Car, speed: float, state: Floats) -> tuple[Result, Bench]:
    """The soft car on the level at a speed, its trim looked for from a state."""
    model, cases = Model(car), load_cases(venue(), speed=speed)
    starts = np.zeros(1, ANSWER)
    starts["state"] = state
    starts["contact"] = True
    starts["friction_factor"] = 0.5
    result = model.run(model.settings([SOFT]), cases, starts=starts)
    return result, Bench(car, SOFT, cases)


def balanced(b: Bench, heave: float, pitch: float) -> Floats:
    """A state near the guess where all forces balance, stable or not."""
    start = np.zeros(UNKNOWNS)
    start[:2] = heave, pitch
    found = root(b.residual, start, jac=b.jacobian)
    assert np.abs(found.fun).max() < 1e-7
    return np.array(found.x)


# areas of the wings, speed, heave and pitch near which forces balance, ways to fall from there
NOSE_DIVE = ((3.0, 0.0), 44.0, -0.0287, 0.0226, 1)
EARLIER_DIVE = ((3.0, 0.0), 42.0, -0.0389, 0.0307, 1)
BOTH_DROP = ((3.0, 3.0), 44.0, -0.0611, 0.0, 2)
LOWER = ((3.0, 3.0), 50.0, -0.125, 0.0, 0)
Balance = tuple[tuple[float, float], float, float, float, int]


def on_balance(balance: Balance) -> tuple[Result, Bench, Floats]:
    """Answer from a start on a state of balance; and that state."""
    areas, speed, heave, pitch, _ = balance
    car = winged(*areas)
    state = balanced(
        Bench(car, SOFT, load_cases(venue(), speed=speed)), heave, pitch
    )
    return *started(car, speed, state), state


@pytest.mark.parametrize("balance", [NOSE_DIVE, EARLIER_DIVE, BOTH_DROP, LOWER])
def test_states_of_balance_are_what_they_are_called(balance: Balance) -> None:
    """The states that the next tests start from: stable or not, all clear of the surface."""
    _, b, state = on_balance(balance)
    assert falling_ways(b, state) == balance[-1]
    gaps = 0.14 + state[0] - b.elements["x"] * state[1]
    assert gaps.min() > 0.01


@pytest.mark.parametrize("balance", [NOSE_DIVE, EARLIER_DIVE])
def test_start_on_an_unstable_trim_is_left(balance: Balance) -> None:
    """Over one wing the forces also balance where the nose would drop at a touch: no answer."""
    result, b, _ = on_balance(balance)
    assert result.contact[0, 0]
    assert falling_ways(b, result.answers[0, 0]["state"]) == 0


def test_start_on_a_doubly_unstable_trim_is_left() -> None:
    """Over two wings the car would fall in heave and in pitch: two negative eigenvalues, no answer."""
    result, b, _ = on_balance(BOTH_DROP)
    assert (
        not result.contact[0, 0]
        or falling_ways(b, result.answers[0, 0]["state"]) == 0
    )


def test_car_that_drops_onto_its_lower_trim_is_held() -> None:
    """On the level nothing lifts the car: past the upper trim's end it stands 125 mm lower, stably."""
    assert solve(winged(3.0, 3.0), SOFT, venue(), speed=50.0).contact[0, 0]


# drawn car, speed, m/s, and heave near which it stands on its bump stops, m
SUCKED_DOWN = [(134, 100.0, -0.067), (72, 104.0, -0.082)]


@pytest.mark.parametrize(("seed", "speed", "heave"), SUCKED_DOWN)
def test_drawn_car_can_stand_on_its_stops(
    seed: int, speed: float, heave: float
) -> None:
    """On the level, pulled down past its springs: the forces balance there, stably, every tyre laden."""
    d = drawn(seed)
    b = Bench(d.project.car, d.project.setup, load_cases(venue(), speed=speed))
    state = balanced(b, heave, 0.0)
    assert falling_ways(b, state) == 0
    assert b.forces(state).wheels.load.min() > 0.5 * b.car.static_load.min()


@pytest.mark.parametrize(("seed", "speed", "heave"), SUCKED_DOWN)
def test_drawn_car_on_its_stops_is_not_lost(
    seed: int, speed: float, heave: float
) -> None:
    """Too much downforce pulls the floor down; it does not lift the car off a level road."""
    d = drawn(seed)
    assert solve(d.project.car, d.project.setup, venue(), speed=speed).contact[
        0, 0
    ], heave


# --- lost cases ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("weights", [0.0, 0.3, 0.9, 0.999])
def test_press_of_an_inverted_car_is_what_its_downforce_lacks(
    weights: float,
) -> None:
    """Upside down, m g pulls off and L presses on: contact needs 1 - L / (m g) in g, to 1e-7 g."""
    car = plain_car()
    result = solve(
        car, PLAIN_SETUP, roll_angle=pi, speed=speed_for(car, weights)
    )
    assert not result.contact[0, 0]
    assert result.answers[0, 0]["press"] == pytest.approx(
        1.0 - weights, abs=1e-7
    )


def with_share(share: float, angle_deg: float, heading: float = 0.0) -> Record:
    """The invented car in its bore at 60 m/s, with a share of its downforce."""
    car = with_downforce(CAR, share)
    result = solve(
        car,
        SETUP,
        BORE,
        roll_angle=radians(angle_deg),
        speed=60.0,
        heading=heading,
    )
    return result.answers[0, 0]


def loss(angle_deg: float, heading: float) -> tuple[float, float]:
    """Shares of downforce just below and just above the loss of contact, 1e-7 apart."""
    low, high = 0.0, 1.2
    assert not with_share(low, angle_deg, heading).contact
    assert with_share(high, angle_deg, heading).contact
    while high - low > 1e-7:
        middle = 0.5 * (low + high)
        low, high = (
            (low, middle)
            if with_share(middle, angle_deg, heading).contact
            else (middle, high)
        )
    return low, high


STANCES = [(90.0, 0.0), (120.0, 0.0), (150.0, 0.0), (180.0, 0.0)]


@pytest.mark.parametrize(("angle_deg", "heading"), STANCES)
def test_search_value_of_lost_cases_climbs_towards_contact(
    angle_deg: float, heading: float
) -> None:
    """More downforce is worth more all the way, and the case that has contact is worth more than one
    without.
    """
    low, high = loss(angle_deg, heading)
    values = [
        with_share(share, angle_deg, heading).search_margin
        for share in np.linspace(0.0, low, 9)
    ]
    values.append(with_share(high, angle_deg, heading).search_margin)
    assert np.diff(values).min() > 0.0


def steer_of_drawn(seed: int, share: float, angle_deg: float) -> Record:
    """A random car and attitude at another roll angle, with a share of its downforce."""
    d = drawn(seed)
    d.case.update(
        roll_angle_deg=angle_deg, speed_m_s=55.0, path_curvature_per_m=0.0
    )
    model = Model(with_downforce(d.project.car, share))
    return model.run(model.settings([d.project.setup]), d.cases).answers[0, 0]


def test_drawn_car_that_peels_off_is_steered_back() -> None:
    """Braking on a wall with too little downforce: less downforce must not be worth more."""
    steer = [
        steer_of_drawn(12, share, 117.0).search_margin
        for share in np.linspace(0.1, 0.8, 8)
    ]
    assert np.diff(steer).min() > 0.0


def test_search_value_is_always_a_number() -> None:
    """Random cars with down to none of their downforce, at every angle; margin only where held."""
    lost = 0
    for seed in range(20):
        for share in (0.0, 0.3):
            answer = steer_of_drawn(seed, share, 9.0 * seed)
            assert np.isfinite(answer.search_margin)
            assert (
                np.isnan(answer.margin)
                == (not answer.contact)
                == (answer.press > 0.0)
            )
            lost += not answer.contact
    assert lost > 5


def test_lost_case_is_worth_less_than_any_that_grips() -> None:
    """Where contact is lost no search may see a car that grips: below 0, whatever the attitude."""
    solved = partial(solve, with_downforce(CAR, 0.2), SETUP, BORE, speed=60.0)
    result = solved(roll_angle=np.radians(np.arange(0.0, 361.0, 10.0)))
    assert 3 < result.lost() < 34
    assert result.search_margin[~result.contact].max() < 0.0
