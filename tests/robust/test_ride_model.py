"""Rides over roads: momentum, lifted wheels, what is read off, and what is refused."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest

from setupopt.errors import InputError
from setupopt.evaluation.cases import sweep_cases
from setupopt.physics.ride_run import NOT_BACK
from setupopt.project import Project
from setupopt.robust.bump import BumpRides
from setupopt.robust.obstacle import Obstacle
from setupopt.robust.ride_model import RideModel

from .conftest import SPEED

COLUMNS = 10  # wheels, and both sides of three air elements


@pytest.fixture(scope="module")
def model(bore: Project) -> RideModel:
    """Half-way up the wall, turned across; dampers with one rate, whose force has no bend."""
    car = replace(
        bore.car,
        front=replace(
            bore.car.front, damper_rebound=bore.car.front.damper_bump
        ),
        rear=replace(bore.car.rear, damper_rebound=bore.car.rear.damper_bump),
    )
    return RideModel(
        replace(bore, car=car),
        bore.setup,
        sweep_cases(bore.venue, np.array([1.2])),
    )


def test_small_bump_moves_no_lasting_impulse(bore: Project) -> None:
    """Over a road that comes back, the changes of all tyre loads sum to nothing in time.

    Integrate the vertical momentum of all masses from rest to rest. Without air: the air's gap is that to the
    mean surface, so that its stiffness would leave an impulse.
    """
    still = replace(bore, venue=replace(bore.venue, air_density=1e-9))
    model = RideModel(
        still, still.setup, sweep_cases(still.venue, np.array([0.0]))
    )
    dt = 5e-4
    time = np.arange(0.0, 3.0 + dt, dt)
    bump = 5e-5 * np.where(
        time < 0.02, 1.0 - np.cos(2 * np.pi * time / 0.02), 0.0
    )
    road = np.zeros((1, time.size, COLUMNS))
    road[0, :, :] = bump[:, None]
    ride, flat = (
        model.ride(0, road, dt, every=1)[0],
        model.ride(0, 0.0 * road, dt, every=1)[0],
    )
    impulse = (ride["load"].sum() - flat["load"].sum()) * 2.0 * dt
    peak = (flat["least_load"] - ride["least_load"]).max()
    assert peak > 5.0  # N: the bump did something
    assert (
        abs(impulse) < 0.01 * peak * 0.02
    )  # against the peak over the bump's length


def test_tyres_never_pull(bore: Project, model: RideModel) -> None:
    """After a kerb of 60 mm, half a wheel's own swing long, wheels lift: no load is below zero, it counts."""
    time = np.arange(0.0, 0.5, 5e-4)
    kerb = 0.03 * np.where(
        time < 0.03, 1.0 - np.cos(2 * np.pi * time / 0.03), 0.0
    )
    road = np.repeat(kerb[None, :, None], COLUMNS, axis=2)
    ride = model.ride(0, road, 5e-4, every=1)[0]
    assert ride["least_load"].min() == 0.0
    assert ride["off_surface"] > 0


def test_margin_of_the_ride_is_that_of_the_trim(model: RideModel) -> None:
    """At rest the ride reads off the same margin, loads and gaps as the evaluation."""
    ride = model.ride(0, np.zeros((1, 51, COLUMNS)), 5e-4, every=1)[0]
    assert ride["margin"] / ride["samples"] == pytest.approx(
        model.margin[0], abs=1e-9
    )
    assert ride["least_margin"] == pytest.approx(model.margin[0], abs=1e-9)


def test_crossings_are_counted_downwards_once(model: RideModel) -> None:
    """One dip through the floor is one crossing, however long it lasts."""
    time = np.arange(0.0, 0.4, 5e-4)
    bump = 0.004 * np.where(
        time < 0.03, 1.0 - np.cos(2 * np.pi * time / 0.03), 0.0
    )
    road = np.repeat(bump[None, :, None], COLUMNS, axis=2)
    least = float(model.ride(0, road, 5e-4, every=1)[0]["least_margin"])
    assert least < model.margin[0]
    just_above = least + 0.02 * (model.margin[0] - least)
    assert (
        model.ride(0, road, 5e-4, every=1, floor=just_above)[0]["crossings"]
        == 1
    )
    assert (
        model.ride(0, road, 5e-4, every=1, floor=least - 0.01)[0]["crossings"]
        == 0
    )


def test_missing_damper_is_asked_for(bore: Project) -> None:
    """Keys that only rides need are asked for by name, with what they are for."""
    bare = replace(
        bore,
        car=replace(bore.car, front=replace(bore.car.front, damper_bump=None)),
    )
    with pytest.raises(InputError, match=r"front\.damper_bump_Ns_per_mm"):
        RideModel(bare, bore.setup, sweep_cases(bore.venue, np.array([0.0])))


def test_a_long_wave_lifts_car_and_floor_alike(bore: Project) -> None:
    """A rise of 30 mm over 60 m, the same left and right, leaves load, gap and margin as they were.

    On the flat, so that the tyres' own heights play no part; what remains is the slope's beginning and end.
    """
    flat = replace(
        bore, venue=replace(bore.venue, curvature=0.0, section="flat")
    )
    model = RideModel(
        flat, flat.setup, sweep_cases(flat.venue, np.array([0.0]))
    )
    time = np.arange(0.0, 1.8, 5e-4)
    front = SPEED * time[:, None] - model.contacts(0).behind
    rise = 0.015 * (1.0 - np.cos(np.pi * np.clip(front / 60.0, 0.0, 1.0)))
    roads = np.stack([rise, 0.0 * rise])
    up, level = model.ride(0, roads, 5e-4, every=1, skip=1600)
    # drag keeps its height over the mean surface: 1800 N x 30 mm over the wheelbase, 11 N a wheel of 2900,
    # which presses tyre and spring in by 0.1 mm of a gap of 25
    for field in ("margin", "gap", "load", "least_margin"):
        np.testing.assert_allclose(up[field], level[field], rtol=6e-3)
    whole = model.ride(0, roads, 5e-4, every=1)
    assert (
        np.abs(whole["gap_square"][0] / whole["gap_square"][1] - 1).max() < 0.02
    )  # 1 % of a gap, 0.5 mm


def test_rides_are_about_the_trims_that_are_given(bore: Project) -> None:
    """Of a sweep, the lower of two trims: some of its cases, and another machine, must not find the other one."""
    cases = sweep_cases(bore.venue, np.array([0.2, 0.4])).pick([0, 1])
    answers = RideModel(bore, bore.setup, cases).result.answers[0]
    answers["state"][:, 0] += 1e-3
    model = RideModel(bore, bore.setup, cases, answers)
    sent = pickle.loads(pickle.dumps(model))
    for one, row in ((model.pick([1]), 0), (sent, 1), (sent.pick([1]), 0)):
        assert (one.base(row)["state"][0] == answers["state"][1]).all()


def test_a_ride_that_is_not_back_at_its_end_is_not_stood(
    bore: Project,
) -> None:
    """Whatever its steps in time, and so the rounding of their sum, are."""
    cases = sweep_cases(bore.venue, np.array([2.0])).pick([1])
    model = BumpRides(bore, bore.setup, cases)
    model.allowed = replace(model.allowed, within=0.2)
    bump = Obstacle(4e-3, 8.0, 2)
    reasons = []
    for step in np.linspace(1e-3, 2e-3, 25):
        road = bump.road(model.contacts(0), SPEED, float(step))
        ride = model.disturbed(0, road, float(step))[0]
        assert ride["back"] == ride["seconds"], "or this ride shows nothing"
        reasons.append(int(ride["reason"]))
    assert set(reasons) == {NOT_BACK}


def test_there_is_no_ride_about_a_case_that_slides(bore: Project) -> None:
    """On a wet surface the car slides in the trim: a ride would start from nothing, and is refused."""
    wet = replace(bore.venue, surface_grip=0.2)
    model = RideModel(
        bore, bore.setup, sweep_cases(wet, np.array([1.2])).pick([0])
    )
    assert model.result.answers["slides"][0, 0]
    assert not model.rides(0)
    with pytest.raises(ValueError, match="no ride"):
        model.ride(0, np.zeros((1, 11, COLUMNS)), 5e-4)
