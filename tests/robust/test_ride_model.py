"""The car in motion: its equations against their own derivatives, another integrator, and a free body."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from setupopt.errors import InputError
from setupopt.evaluation.cases import sweep_cases
from setupopt.physics.balance import COLUMNS as UNKNOWNS
from setupopt.physics.contacts import put_road
from setupopt.physics.ride import accelerations
from setupopt.physics.ride_time import begin, step
from setupopt.project import Project
from setupopt.robust.ride_model import RideModel

from .conftest import SPEED

Array = np.ndarray
COLUMNS = 10  # wheels, and both sides of three air elements


@pytest.fixture(scope="module")
def model(bore: Project) -> RideModel:
    """Half-way up the wall, turned across; dampers with one rate, whose force has no bend."""
    car = replace(
        bore.car,
        front=replace(bore.car.front, damper_rebound=bore.car.front.damper_bump),
        rear=replace(bore.car.rear, damper_rebound=bore.car.rear.damper_bump),
    )
    return RideModel(replace(bore, car=car), bore.setup, sweep_cases(bore.venue, np.array([1.2])))


class Motion:
    """The compiled accelerations and step of the first case, called one at a time. States are (7)."""

    def __init__(self, model: RideModel) -> None:
        self.model = model
        self.bodies, self.elements, _ = model.packed
        states, self.bed, works = model.scratch()
        self.state = states[0]
        self.work = works[0]
        self.case = model.cases.records[0]
        self.scratch = np.zeros((7, UNKNOWNS))
        self.start = np.zeros(UNKNOWNS)
        begin(self.bodies[0], self.case, model.base(0)[0], self.state, self.start)

    @property
    def trim(self) -> Array:
        """What a ride moves, in the trim."""
        return self.start[:7].copy()

    def _whole(self, x: Array) -> Array:
        """All unknowns, those that a ride holds as in the trim."""
        return np.concatenate([x, self.start[7:]])

    def accelerations(self, x: Array, v: Array, road: Array, speed: Array) -> Array:
        out = np.zeros(7)
        put_road(self.bodies[0], self.elements, road, road, 0.0, self.state, self.bed)
        accelerations(
            self.bodies[0], self.elements, self.model.settings[0], self.case, self.model.damping[0],
            self.state, self.bed, self._whole(x), v, speed, self.work, out,
        )  # fmt: skip
        return out

    def ride(self, road: Array, dt: float) -> tuple[Array, Array]:
        """State and speeds at the end of a road (samples, columns)."""
        x = self.start.copy()
        v = np.zeros(UNKNOWNS)
        for before, after in pairwise(road):
            step(
                self.bodies[0], self.elements, self.model.settings[0], self.case, self.model.damping[0],
                self.state, self.bed, before, after, dt, x, v, self.work, self.scratch,
            )  # fmt: skip
        assert (x[7:] == self.start[7:]).all()  # sideslip, steer and slips are held
        return x[:7], v[:7]


def _waves(time: Array) -> Array:
    """A smooth road (samples, columns), 2 mm high, rear later than front, left and right apart."""
    delay = np.array([0.0, 0.0, 0.05, 0.05, *6 * [0.02]])
    pitch = np.array([40.0, 55.0, 40.0, 55.0, *3 * [35.0, 45.0]])
    wave = 0.001 * (1.0 - np.cos(pitch * np.maximum(time[:, None] - delay, 0.0)))
    return np.asarray(wave)


def test_linear_matrices_are_the_derivatives(model: RideModel) -> None:
    """Every column of stiffness, damping and road terms, by differences of the nonlinear accelerations."""
    linear, motion, rest = model.linear(0), Motion(model), np.zeros(COLUMNS)
    h = 1e-7
    for j in range(7):
        push = h * np.eye(7)[j]
        by_x = motion.accelerations(motion.trim + push, np.zeros(7), rest, rest)
        by_x -= motion.accelerations(motion.trim - push, np.zeros(7), rest, rest)
        by_v = motion.accelerations(motion.trim, push, rest, rest)
        by_v -= motion.accelerations(motion.trim, -push, rest, rest)
        # relative to the largest entry of the row: differences keep six digits of it
        for found, matrix in ((by_x, linear.stiffness), (by_v, linear.damping)):
            expected = -matrix[:, j]
            scale = np.abs(matrix).max(axis=1)
            np.testing.assert_allclose(found / (2 * h) * linear.mass / scale, expected / scale, atol=1e-5)
    for c in range(COLUMNS):
        push = h * np.eye(COLUMNS)[c]
        by_road = motion.accelerations(motion.trim, np.zeros(7), push, rest)
        by_road -= motion.accelerations(motion.trim, np.zeros(7), -push, rest)
        scale = np.abs(linear.road).max(axis=1)
        np.testing.assert_allclose(
            by_road / (2 * h) * linear.mass / scale, linear.road[:, c] / scale, atol=1e-5
        )


def test_on_a_smooth_road_nothing_moves(model: RideModel) -> None:
    """The trim is an equilibrium of the motion too."""
    motion = Motion(model)
    x, v = motion.ride(np.zeros((500, COLUMNS)), 5e-4)
    np.testing.assert_allclose(x, motion.trim, atol=1e-9)
    np.testing.assert_allclose(v, 0.0, atol=1e-9)


def test_time_step_is_of_fourth_order(model: RideModel) -> None:
    """Halving the step divides the error by 16, on a road that is straight between coarse samples."""
    motion, coarse = Motion(model), 1.6e-3
    road = _waves(np.arange(0.0, 0.12, coarse))
    ends = []
    for parts in (1, 2, 4, 16):
        fine = np.array([np.interp(np.arange(0, len(road) - 1 + 1e-9, 1 / parts), np.arange(len(road)), c)
                         for c in road.T]).T  # fmt: skip
        ends.append(motion.ride(fine, coarse / parts)[0])
    errors = [np.abs(end - ends[-1]).max() for end in ends[:3]]
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert orders.min() > 3.5
    assert orders.max() < 4.6


def test_step_against_another_integrator(model: RideModel) -> None:
    """scipy's eighth-order integrator on the same accelerations ends within a micrometre."""
    motion, dt = Motion(model), 5e-4
    time = np.arange(0.0, 0.1, dt)
    road = _waves(time)
    rates = np.diff(road, axis=0) / dt

    def derivative(t: float, y: Array) -> Array:
        i = min(int(t / dt), len(rates) - 1)
        height = road[i] + (t - i * dt) * rates[i]
        return np.r_[y[7:], motion.accelerations(y[:7].copy(), y[7:].copy(), height, rates[i])]

    start = np.r_[motion.trim, np.zeros(7)]
    other = solve_ivp(
        derivative, (0.0, time[-1]), start, method="DOP853", max_step=dt, rtol=1e-10, atol=1e-13
    )
    np.testing.assert_allclose(motion.ride(road, dt)[0], other.y[:7, -1], atol=1e-6)


def test_small_bump_moves_no_lasting_impulse(bore: Project) -> None:
    """Over a road that comes back, the changes of all tyre loads sum to nothing in time.

    Integrate the vertical momentum of all masses from rest to rest. Without air: the air's gap is that to the
    mean surface, so that its stiffness would leave an impulse.
    """
    still = replace(bore, venue=replace(bore.venue, air_density=1e-9))
    model = RideModel(still, still.setup, sweep_cases(still.venue, np.array([0.0])))
    dt = 5e-4
    time = np.arange(0.0, 3.0, dt)
    bump = 5e-5 * np.where(time < 0.02, 1.0 - np.cos(2 * np.pi * time / 0.02), 0.0)
    road = np.zeros((1, time.size, COLUMNS))
    road[0, :, :] = bump[:, None]
    ride, flat = model.ride(0, road, dt, every=1)[0], model.ride(0, 0.0 * road, dt, every=1)[0]
    impulse = (ride["load"].sum() - flat["load"].sum()) * dt
    peak = (flat["least_load"] - ride["least_load"]).max()
    assert peak > 5.0  # N: the bump did something
    assert abs(impulse) < 0.01 * peak * 0.02  # against the peak over the bump's length


def test_tyres_never_pull(bore: Project, model: RideModel) -> None:
    """After a kerb of 60 mm, half a wheel's own swing long, wheels lift: no load is below zero, it counts."""
    time = np.arange(0.0, 0.5, 5e-4)
    kerb = 0.03 * np.where(time < 0.03, 1.0 - np.cos(2 * np.pi * time / 0.03), 0.0)
    road = np.repeat(kerb[None, :, None], COLUMNS, axis=2)
    ride = model.ride(0, road, 5e-4, every=1)[0]
    assert ride["least_load"].min() == 0.0
    assert ride["off_surface"] > 0
    assert ride["samples"] == time.size - 1


def test_margin_of_the_ride_is_that_of_the_trim(model: RideModel) -> None:
    """At rest the ride reads off the same margin, loads and gaps as the evaluation."""
    ride = model.ride(0, np.zeros((1, 50, COLUMNS)), 5e-4, every=1)[0]
    assert ride["margin"] / ride["samples"] == pytest.approx(model.margin[0], abs=1e-9)
    assert ride["least_margin"] == pytest.approx(model.margin[0], abs=1e-9)


def test_crossings_are_counted_downwards_once(model: RideModel) -> None:
    """One dip through the floor is one crossing, however long it lasts."""
    time = np.arange(0.0, 0.4, 5e-4)
    bump = 0.004 * np.where(time < 0.03, 1.0 - np.cos(2 * np.pi * time / 0.03), 0.0)
    road = np.repeat(bump[None, :, None], COLUMNS, axis=2)
    least = float(model.ride(0, road, 5e-4, every=1)[0]["least_margin"])
    assert least < model.margin[0]
    just_above = least + 0.02 * (model.margin[0] - least)
    assert model.ride(0, road, 5e-4, every=1, floor=just_above)[0]["crossings"] == 1
    assert model.ride(0, road, 5e-4, every=1, floor=least - 0.01)[0]["crossings"] == 0


def test_missing_damper_is_asked_for(bore: Project) -> None:
    """Keys that only rides need are asked for by name, with what they are for."""
    bare = replace(bore, car=replace(bore.car, front=replace(bore.car.front, damper_bump=None)))
    with pytest.raises(InputError, match=r"front\.damper_bump_Ns_per_mm"):
        RideModel(bare, bore.setup, sweep_cases(bore.venue, np.array([0.0])))


def test_a_long_wave_lifts_car_and_floor_alike(bore: Project) -> None:
    """A rise of 30 mm over 60 m, the same left and right, leaves load, gap and margin as they were.

    On the flat, so that the tyres' own heights play no part; what remains is the slope's beginning and end.
    """
    flat = replace(bore, venue=replace(bore.venue, curvature=0.0, section="flat"))
    model = RideModel(flat, flat.setup, sweep_cases(flat.venue, np.array([0.0])))
    time = np.arange(0.0, 1.8, 5e-4)
    front = SPEED * time[:, None] - model.contacts(0).behind
    rise = 0.015 * (1.0 - np.cos(np.pi * np.clip(front / 60.0, 0.0, 1.0)))
    roads = np.stack([rise, 0.0 * rise])
    up, level = model.ride(0, roads, 5e-4, every=1, skip=3200)
    # drag keeps its height over the mean surface: 1800 N x 30 mm over the wheelbase, 11 N a wheel of 2900,
    # which presses tyre and spring in by 0.1 mm of a gap of 25
    for field in ("margin", "gap", "load", "least_margin"):
        np.testing.assert_allclose(up[field], level[field], rtol=6e-3)
    whole = model.ride(0, roads, 5e-4, every=1)
    assert np.abs(whole["gap_square"][0] / whole["gap_square"][1] - 1).max() < 0.02  # 1 % of a gap, 0.5 mm


def test_there_is_no_ride_about_a_case_that_slides(bore: Project) -> None:
    """On a wet surface the car slides in the trim: a ride would start from nothing, and is refused."""
    wet = replace(bore.venue, surface_grip=0.2)
    model = RideModel(bore, bore.setup, sweep_cases(wet, np.array([1.2])).pick([0]))
    assert model.result.answers["slides"][0, 0]
    assert not model.rides(0)
    with pytest.raises(ValueError, match="no ride"):
        model.ride(0, np.zeros((1, 10, COLUMNS)), 5e-4)
