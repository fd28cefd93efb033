"""One gust in time: its shape, drag by hand, another integrator, the step's order."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

import setupopt
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.physics.air import side_force
from setupopt.physics.balance import COLUMNS
from setupopt.physics.case_state import set_wind
from setupopt.physics.gust import gust_margin, gust_speed
from setupopt.physics.inputs import ANSWER, SIDESLIP
from setupopt.physics.obstacle import look
from setupopt.physics.ride import accelerations
from setupopt.physics.ride_time import begin
from setupopt.project import Project
from setupopt.robust.ride_model import RideModel

Array = np.ndarray
FOLLOWED = 0.3  # s after the gust, as the kernel says
SPEED = 54.0  # m/s, of the sweep


@pytest.fixture(scope="module")
def bore() -> Project:
    """The invented car in its bore."""
    return setupopt.load(Path(__file__).resolve().parents[2] / "setups" / "bore")


@pytest.fixture(scope="module")
def cases(bore: Project) -> CaseSet:
    """Straight at 140 deg, turned up at 60 deg, in a crosswind at 155 deg."""
    every = sweep_cases(bore.venue, np.radians([60.0, 140.0, 155.0]))
    return every.pick([1, 3, 11])


@pytest.fixture(scope="module")
def model(bore: Project, cases: CaseSet) -> RideModel:
    """Ready to ride."""
    return RideModel(bore, bore.setup, cases)


def ride(
    model: RideModel, row: int, peak: float, length: float, direction: float, dt: float = 1e-3,
    floor: float = -np.inf,
) -> tuple[float, Array]:  # fmt: skip
    """Least margin, and time and margin (looks, 2)."""
    bodies, elements, points = model.packed
    states, bed, works = model.scratch()
    trace = np.full((int((length / SPEED + FOLLOWED) / dt) + 1, 5), np.nan)
    least = gust_margin(
        bodies[0], elements, points, model.settings[0], model.cases.records[row], model.damping[0],
        model.base(row)[0], states[0], bed, peak, length, direction, dt, floor, works[0],
        np.zeros((7, COLUMNS)), np.zeros(1, ANSWER)[0], trace,
    )  # fmt: skip
    return least, trace[~np.isnan(trace[:, 0]), :2]


# ---- the gust ----------------------------------------------------------------------------------------------


def test_gust_is_the_discrete_gust_of_the_standard() -> None:
    """U = (Uds / 2) (1 - cos(pi s / H)), 0 <= s <= 2 H, 14 CFR 25.341(a)(2); H = 350 ft = 106.68 m."""
    gradient, design = 106.68, 17.07
    s = np.linspace(0.0, 2.0 * gradient, 101)
    expected = 0.5 * design * (1.0 - np.cos(np.pi * s / gradient))
    assert [gust_speed(x, design, 2.0 * gradient) for x in s] == pytest.approx(expected, abs=1e-12)


def test_gust_has_smooth_ends_and_its_peak_in_the_middle() -> None:
    """Nothing outside, no slope at either end (to 1e-6 of peak over length), the mean half the peak."""
    peak, length, near = 8.0, 40.0, 1e-6
    for end, side in ((0.0, 1.0), (length, -1.0)):
        assert gust_speed(end - side * near, peak, length) == 0.0
        assert 0.0 < gust_speed(end + side * near, peak, length) / near < 1e-6 * peak / length
    assert gust_speed(20.0, peak, length) == pytest.approx(peak, abs=1e-12)
    mean = quad(lambda s: gust_speed(s, peak, length), 0.0, length)[0] / length
    assert mean == pytest.approx(0.5 * peak, rel=1e-9)


# ---- the ride ----------------------------------------------------------------------------------------------


def test_no_gust_leaves_the_trim(model: RideModel) -> None:
    """The margin stays that of the steady case, to what the trim leaves open."""
    for row in range(len(model.cases)):
        least, trace = ride(model, row, 0.0, 20.0, 1.0)
        assert least == pytest.approx(model.margin[row], abs=1e-8)
        assert np.ptp(trace[:, 1]) < 1e-8


def test_drag_alone_by_hand(bore: Project) -> None:
    """Level, no downforce, one friction, driven as the axles are laden: the drag's growth over mu m g.

    Drag acts at the surface, so that nothing moves: rho ((v + w)^2 - v^2) A / 2 comes to what the steady
    case uses; the speed is held.
    """
    air = replace(bore.car.air, elements=(), drag_height=0.0)
    tyre = replace(bore.car.front.tyre, friction=1.2, friction_exponent=0.0)
    front, rear = (replace(axle, tyre=tyre, anti_slope=0.0) for axle in (bore.car.front, bore.car.rear))
    car = replace(bore.car, air=air, front=front, rear=rear, drive_front=bore.car.front_share)
    venue = replace(bore.venue, section="flat", curvature=0.0, surface_grip=1.0)
    project = replace(bore, car=car, venue=venue)
    model = RideModel(project, bore.setup, sweep_cases(venue, np.array([0.0])).pick([0]))
    more = 0.5 * venue.air_density * ((SPEED + 15.0) ** 2 - SPEED**2) * air.drag_area
    # a look falls on the peak; to 1e-3 of the growth, by which the axles' grip differs from mu times share
    least = ride(model, 0, 15.0, 20.0, 0.0)[0]
    assert least == pytest.approx(model.margin[0] - more / (1.2 * car.mass * 9.80665), abs=2e-5)


class Exact:
    """A case ridden by scipy's eighth-order method in a wind that changes all the time."""

    def __init__(self, model: RideModel, row: int, peak: float, length: float, direction: float) -> None:
        bodies, self.elements, self.points = model.packed
        self.car, self.setup, self.damping = bodies[0], model.settings[0], model.damping[0]
        self.case, self.base = model.cases.records[row], model.base(row)[0]
        states, self.bed, works = model.scratch()
        self.state, self.work = states[0], works[0]
        self.peak, self.length, self.direction = peak, length, direction
        self.x = np.zeros(COLUMNS)
        begin(self.car, self.case, self.base, self.state, self.x)
        look(self.car, self.elements, self.points, self.setup, self.case, self.state, self.bed, self.x,
             self.work, np.zeros(1, ANSWER)[0], np.zeros(4))  # fmt: skip
        self.rest = self.state.demand.copy()
        self.side, self.drag = side_force(self.car, self.state), self.state.drag
        self.drives = self.work.demand.copy() > 0.0

    def blow(self, time: float) -> None:
        """Put the wind of a moment on the car, and what its push asks of the axles."""
        s = SPEED * time
        wind = 0.5 * self.peak * (1.0 - np.cos(2.0 * np.pi * s / self.length)) if s < self.length else 0.0
        ahead = self.case.headwind + wind * np.cos(self.direction)
        left = self.case.crosswind + wind * np.sin(self.direction)
        set_wind(self.car, self.case, ahead, left, self.state)
        self.state.flow = self.state.air_angle + self.x[SIDESLIP]
        side = side_force(self.car, self.state) - self.side
        along = self.state.drag - self.drag
        arms = (self.car.to_rear + self.car.side_x, self.car.to_front - self.car.side_x)
        for axle, arm in enumerate(arms):
            share = (self.car.drive if self.drives[axle] else self.car.brake)[axle]
            more = np.hypot(side * arm / self.car.wheelbase, along * share)
            self.state.demand[axle] = self.rest[axle] + more

    def slope(self, time: float, ride: Array) -> Array:
        """Speeds and accelerations."""
        self.blow(time)
        self.x[:7] = ride[:7]
        out = np.zeros(7)
        accelerations(
            self.car, self.elements, self.setup, self.case, self.damping, self.state, self.bed, self.x,
            ride[7:].copy(), np.zeros(4), self.work, out,
        )  # fmt: skip
        return np.concatenate([ride[7:], out])

    def margins(self, t: Array) -> Array:
        """At these times."""
        start = np.concatenate([self.x[:7], np.zeros(7)])
        options = {"method": "DOP853", "rtol": 1e-7, "atol": 1e-10, "max_step": 0.01}
        states = solve_ivp(self.slope, (0.0, t[-1]), start, t_eval=t, **options).y[:7]
        found = np.zeros(t.size)
        for i in range(t.size):
            self.blow(t[i])
            self.x[:7] = states[:, i]
            found[i] = look(
                self.car, self.elements, self.points, self.setup, self.case, self.state, self.bed, self.x,
                self.work, np.zeros(1, ANSWER)[0], np.zeros(4),
            )  # fmt: skip
        return found


@pytest.mark.parametrize(
    ("row", "peak", "length", "degrees"), [(0, 8.0, 8.0, 60.0), (1, 10.0, 30.0, 180.0), (2, 0.8, 9.0, 0.0)]
)
def test_ride_against_another_integrator(
    model: RideModel, row: int, peak: float, length: float, degrees: float
) -> None:
    """The margin at every look is that of scipy's integrator, to 5e-5; the gust moves it by 30 times that."""
    _, trace = ride(model, row, peak, length, np.radians(degrees))
    every = trace[4::5]
    exact = Exact(model, row, peak, length, np.radians(degrees)).margins(every[:, 0])
    assert every[:, 1] == pytest.approx(exact, abs=5e-5)
    assert np.ptp(exact) > 30 * 5e-5


def test_halving_the_step_quarters_the_error(model: RideModel) -> None:
    """Second order: the wind of a step is that of its middle. 2 ms is within 1e-4 of a margin."""
    looks = {}
    for dt in (2e-3, 1e-3, 5e-4, 1.25e-4):
        every = round(2e-3 / dt)
        looks[dt] = ride(model, 2, 0.8, 8.0, 0.0, dt)[1][every - 1 :: every, 1][:100]
    errors = [np.abs(looks[dt] - looks[1.25e-4]).max() for dt in (2e-3, 1e-3, 5e-4)]
    assert errors[0] < 1e-4
    assert np.log2(errors[0] / errors[1]) > 1.8
    assert np.log2(errors[1] / errors[2]) > 1.8


def test_early_stop_and_trace(model: RideModel) -> None:
    """Under the floor the ride ends with the margin found there; the trace's least is the value told."""
    least, trace = ride(model, 1, 15.0, 20.0, np.pi)
    assert trace[:, 1].min() == least
    assert trace[-1, 0] == pytest.approx(20.0 / SPEED + FOLLOWED, abs=2e-3)  # a look
    floor = 0.5 * (least + model.margin[1])
    stopped, looked = ride(model, 1, 15.0, 20.0, np.pi, floor=floor)
    assert least < stopped < floor
    assert stopped == looked[-1, 1]
    assert (looked[:-1, 1] >= floor).all()
