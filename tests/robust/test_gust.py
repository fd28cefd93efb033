"""Gust limits: held below and fallen above, random gusts, slow ones, mirrors, and cases without a ride."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.project import Project
from setupopt.project.model import Attitude, Axle
from setupopt.robust.gust import LONGEST, SHORTEST, GustLimit, GustRides, GustSearch
from setupopt.robust.wind import WindLimit, with_wind

from .conftest import SPEED

AHEAD, LEFT, BEHIND = 0.0, 0.5 * np.pi, np.pi


def with_axles(project: Project, change: Callable[[Axle], Axle]) -> Project:
    """The project with both axles of its car changed."""
    car = project.car
    return replace(project, car=replace(car, front=change(car.front), rear=change(car.rear)))


@pytest.fixture(scope="module")
def cases(bore: Project) -> CaseSet:
    """Straight, turned up and in a crosswind, near the worst angle."""
    few = tuple(bore.venue.attitudes[number] for number in (0, 1, 3))
    return sweep_cases(replace(bore.venue, attitudes=few), np.radians([150.0]))


@pytest.fixture(scope="module")
def search(bore: Project, cases: CaseSet) -> GustSearch:
    """With a floor of zero."""
    return GustSearch(bore, bore.setup, cases=cases)


@pytest.fixture(scope="module")
def answers(search: GustSearch) -> list[np.ndarray]:
    """From four directions."""
    return [search(direction) for direction in search.jobs(4)]


@pytest.fixture(scope="module")
def limit(search: GustSearch, answers: list[np.ndarray]) -> GustLimit:
    """All of them together."""
    return search.limit(answers)


# ---- the limit ---------------------------------------------------------------------------------------------


def test_held_at_the_limit_and_fallen_beyond(search: GustSearch, limit: GustLimit) -> None:
    """The case that falls first keeps the floor in the gust told, and not in one 2 % stronger."""
    gusts = [k for k in range(4) if np.isfinite(limit.length[k])]
    assert len(gusts) >= 3
    for k in gusts:
        row, gust = int(limit.case[k]), (float(limit.speed[k]), float(limit.length[k]))
        assert search.trace(limit.direction[k], *gust, row)[:, 1].min() >= 0.0
        assert search.trace(limit.direction[k], 1.02 * gust[0], gust[1], row)[:, 1].min() < 0.0


@pytest.mark.parametrize("k", range(4))
def test_random_gusts_are_not_worse(search: GustSearch, limit: GustLimit, k: int) -> None:
    """No random case and length breaks the floor at 98 % of the speed told, nor at less."""
    rng = np.random.default_rng(k)
    direction, speed = float(limit.direction[k]), min(0.98 * float(limit.speed[k]), 40.0)
    for _ in range(10):
        row, length = int(rng.integers(3)), float(np.exp(rng.uniform(np.log(SHORTEST), np.log(LONGEST))))
        assert search.rides.margin_in(row, direction, speed, length) >= 0.0
        assert search.rides.margin_in(row, direction, rng.uniform() * speed, length) >= 0.0


def test_gusts_are_no_milder_than_steady_wind(limit: GustLimit) -> None:
    """The lower of the two is told; a wind from ahead presses on when it stays, and harms when it passes."""
    assert (limit.speed <= limit.steady.speed).all()
    assert np.isinf(limit.steady.speed[0])
    assert np.isfinite(limit.speed[0])
    assert limit.worst == int(limit.speed.argmin())


def test_higher_floor_stands_less(search: GustSearch, limit: GustLimit) -> None:
    """What is asked for costs wind."""
    stricter = replace(search, floor=0.03)
    assert stricter(BEHIND)["speed"][0] < limit.speed[2]


def test_floor_missed_without_wind(search: GustSearch) -> None:
    """No gust is allowed where the margin is under the floor in calm air: 0, by the steady wind's word."""
    found = replace(search, floor=0.5)(AHEAD)[0]
    assert found["speed"] == found["steady_speed"] == 0.0
    assert found["case"] == search.rides.margin.argmin()
    assert np.isnan(found["length"])


def test_lost_case_stands_nothing(bore: Project) -> None:
    """A case that loses contact in calm air is the one that falls first."""
    slow = replace(bore.venue, sweep=replace(bore.venue.sweep, speed=20.0))
    lost = sweep_cases(slow, np.radians([0.0, 180.0])).pick([0, 1])
    found = GustSearch(bore, bore.setup, cases=lost)(LEFT)[0]
    assert (found["speed"], found["case"]) == (0.0, 1)


def test_every_gust_is_held_where_air_does_nothing(bore: Project) -> None:
    """A car without air loads on the level stands a storm: infinite, no case, no length."""
    air = replace(bore.car.air, elements=(), drag_area=0.0, side_area=0.0)
    calm = replace(
        bore, car=replace(bore.car, air=air), venue=replace(bore.venue, section="flat", curvature=0.0)
    )
    level = sweep_cases(calm.venue, np.array([0.0])).pick([0])
    found = GustSearch(calm, bore.setup, cases=level)(LEFT)[0]
    assert np.isinf(found["speed"])
    assert found["case"] == -1
    assert np.isnan(found["length"])


@pytest.mark.parametrize(("speed", "lengths"), [(2.0, 0), (3.5, 2)])
def test_slow_car_is_told_the_steady_wind(bore: Project, speed: float, lengths: int) -> None:
    """At 2 m/s even the shortest gust takes 3 s: the steady wind is told. At 3.5 m/s one of 2 s counts, and
    as its push counts whichever way it acts, it is told at no more than the steady wind."""
    place = replace(bore.venue, section="flat", curvature=0.0, sweep=replace(bore.venue.sweep, speed=speed))
    slope = sweep_cases(place, np.radians([56.0])).pick([0])
    search = GustSearch(bore, bore.setup, cases=slope)
    assert search.rides.lengths(0).size == lengths
    found = search(LEFT)[0]
    assert 0.0 < found["speed"] <= found["steady_speed"] < 40.0
    assert np.isnan(found["length"]) == (lengths == 0)
    if lengths == 0:
        assert found["speed"] == found["steady_speed"]


@pytest.mark.parametrize("direction", [AHEAD, 1.2])
def test_limit_of_many_cases_is_the_least_of_each(search: GustSearch, direction: float) -> None:
    """Together as one by one, to what the search leaves open; the lowest margin need not fall first."""
    rows = np.array([0, 1, 2])
    alone = [replace(search, cases=search.rides.cases.pick([row]))(direction)["speed"][0] for row in rows]
    together = replace(search, cases=search.rides.cases.pick(rows))(direction)[0]
    assert together["speed"] == pytest.approx(min(alone), rel=0.01)
    assert together["case"] == int(np.argmin(alone))


def test_sharp_answer_between_lengths_is_found(bore: Project) -> None:
    """At 90 m/s a gust of about 10 m from ahead takes twice what 6 m and 16 m take: no length is worse."""
    place = replace(bore.venue, sweep=replace(bore.venue.sweep, speed=90.0))
    search = GustSearch(bore, bore.setup, 0.2, sweep_cases(place, np.radians([120.0])).pick([0]))
    speed = search(AHEAD)["speed"][0]
    assert speed < 40.0
    least = [
        search.rides.margin_in(0, AHEAD, 0.98 * speed, length) for length in np.geomspace(6.0, 180.0, 60)
    ]
    assert min(least) >= 0.2


# ---- one ride ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("direction", [AHEAD, LEFT, BEHIND, 4.0])
def test_slow_gust_is_no_milder_than_a_steady_wind(search: GustSearch, direction: float) -> None:
    """Twenty seconds to pass, so that the body follows. The least margin is at most the least of all steady
    winds up to its peak, to 2e-3 of the body's swing. It is lower by no more than twice the gust's push over
    the lesser axle's grip: the push counts whichever way it acts, and a wind may act the other way. The push
    is no more than the change of side force and drag, rho/2 A ((V + peak)^2 - V^2) with V the wind before.
    """
    rides, air = search.rides, search.project.car.air
    for row in (1, 0):
        peak, case = 6.0 if row == 1 else 3.0, search.rides.cases.pick([row])
        winds = [with_wind(case, share * peak, direction) for share in np.linspace(0.0, 1.0, 41)]
        steady = min(float(rides.model.run(rides.settings, wind).margin[0, 0]) for wind in winds)
        found = rides.margin_in(row, direction, peak, 1000.0)
        grip = rides.result.answers["grip"][0, row].reshape(2, 2).sum(axis=1).min()
        before = float(case.records["speed"][0])  # headwind and crosswind of these cases are none
        grown = 0.5 * search.project.venue.air_density * ((before + peak) ** 2 - before**2)
        assert steady - 2.0 * grown * (air.side_area + air.drag_area) / grip - 2e-3 <= found <= steady + 2e-3


def test_gust_of_two_seconds_is_nearly_one(search: GustSearch) -> None:
    """Where lengths end a gust takes 2 s, and a tenth more or less margin than one of twenty seconds."""
    rides, row = search.rides, 1
    assert rides.lengths(row)[[0, -1]] == pytest.approx([6.0, 2.0 * SPEED])
    slow = rides.margin[row] - rides.margin_in(row, BEHIND, 6.0, 1000.0)
    loss = rides.margin[row] - rides.margin_in(row, BEHIND, 6.0, 100.0)
    assert slow > 0.01
    assert loss == pytest.approx(slow, rel=0.1)


def test_mirrored_gust(bore: Project) -> None:
    """From the left, turned up at +70 deg; from the right, turned down at -70 deg: the same margin."""
    calm = partial(Attitude, acceleration=0.0, path_curvature=0.0, turn_radius=None, headwind=1.0,
                   bump=(0.0,) * 4, speed=None, yaw_acceleration=0.0)  # fmt: skip
    margins = []
    for side in (1.0, -1.0):
        attitude = calm("turned", heading=0.1 * side, crosswind=2.0 * side)
        place = replace(bore.venue, attitudes=(attitude,))
        rides = GustRides(bore, bore.setup, sweep_cases(place, np.radians([70.0 * side])))
        margins.append(rides.margin_in(0, side * 1.1, 9.0, 12.0))
        assert margins[-1] < rides.margin[0] - 0.005
    assert margins[0] == pytest.approx(margins[1], abs=1e-9)


def test_stiff_dampers_take_a_shorter_step(bore: Project, cases: CaseSet) -> None:
    """Ten times the damping is too quick for 2 ms, at 5000/s against 2.8 per step: ridden all the same."""
    stiff = with_axles(
        bore, lambda a: replace(a, damper_bump=10 * a.damper_bump, damper_rebound=10 * a.damper_rebound)
    )
    rides = GustRides(stiff, stiff.setup, cases)
    rate = 1e4 * 9.0 * 0.92**2 / 15.0  # 1/s, rear: damper rate times motion ratio squared over unsprung mass
    assert rides.step * rate < 2.0
    coarse = rides.margin_in(1, BEHIND, 6.0, 10.0)
    rides.__dict__["step"] = 0.25 * rides.step
    assert coarse == pytest.approx(rides.margin_in(1, BEHIND, 6.0, 10.0), abs=1e-4)


# ---- as work -----------------------------------------------------------------------------------------------


def test_copy_answers_the_same(search: GustSearch, limit: GustLimit) -> None:
    """A search taken elsewhere, by what pickle goes by, finds the same numbers there."""
    taken = deepcopy(replace(search))
    assert "rides" not in vars(taken)
    assert taken(BEHIND)["speed"][0] == limit.speed[2]


def test_limit_keeps_the_order_of_its_answers(
    search: GustSearch, answers: list[np.ndarray], limit: GustLimit
) -> None:
    """Answers stand by direction, 0 from ahead, 90 deg from the left."""
    assert limit.direction == pytest.approx([0.0, LEFT, BEHIND, 3 * LEFT])
    again = search.limit(answers[::-1])
    assert again.speed.tolist() == limit.speed[::-1].tolist()
    assert isinstance(again.steady, WindLimit)


def test_venue_is_swept_where_no_cases_are_given(bore: Project) -> None:
    """Without cases the venue's own are ridden."""
    small = replace(bore.venue, sweep=replace(bore.venue.sweep, stop=0.0), attitudes=bore.venue.attitudes[:2])
    assert len(GustSearch(replace(bore, venue=small), bore.setup).rides.cases) == 2
