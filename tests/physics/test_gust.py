"""One gust in time: its shape, drag by hand, another integrator, the step's order."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from setupopt.physics.place import FLOW, PLACE, prepare, set_demand, set_wind

import setupopt
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.physics.balance import WORK
from setupopt.physics.gust import gust_margin, gust_speed
from setupopt.physics.inputs import ANSWER, STRIPS
from setupopt.physics.obstacle import look
from setupopt.physics.ride import accelerations
from setupopt.project import Project
from setupopt.robust.ride_model import RideModel

Array = np.ndarray
FOLLOWED = 0.3  # s after the gust, as the kernel says
SPEED = 50.0  # m/s, of the sweep


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
    (bodies, elements, points), (places, flow, works) = model.model.packed, model.scratch()
    trace = np.full((int((length / SPEED + FOLLOWED) / dt) + 1, 5), np.nan)
    least = gust_margin(
        bodies[0], elements, points, model.settings[0], model.cases.records[row], model.damping[0],
        places[0], flow, model.trim(row), peak, length, direction, dt, floor, works[0], np.zeros((7, 7)),
        np.zeros(1, ANSWER)[0], trace,
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
    """Level, no downforce, one friction, driven as the axles are laden: use = drag over mu m g at the peak.

    Drag acts at the surface, so that nothing moves: rho (v + w)^2 A / 2 against mu m g, the speed held.
    """
    air = replace(bore.car.air, elements=(), drag_height=0.0)
    tyre = replace(bore.car.front.tyre, friction=1.2, friction_exponent=0.0)
    front, rear = (replace(axle, tyre=tyre, anti_slope=0.0) for axle in (bore.car.front, bore.car.rear))
    car = replace(bore.car, air=air, front=front, rear=rear, drive_front=bore.car.front_share)
    venue = replace(bore.venue, section="flat", curvature=0.0, surface_grip=1.0)
    project = replace(bore, car=car, venue=venue)
    model = RideModel(project, bore.setup, sweep_cases(venue, np.array([0.0])).pick([0]))
    drag = 0.5 * venue.air_density * (SPEED + 15.0) ** 2 * air.drag_area
    # a look falls on the peak; to what the trim leaves open
    assert ride(model, 0, 15.0, 20.0, 0.0)[0] == pytest.approx(
        1.0 - drag / (1.2 * car.mass * 9.80665), abs=1e-8
    )


def exact_margins(
    model: RideModel, row: int, peak: float, length: float, direction: float, t: Array
) -> Array:
    """Margin at times t (looks), by scipy's eighth-order method in a wind that changes all the time."""
    bodies, elements, points = model.model.packed
    place, work, answer = np.zeros(1, PLACE)[0], np.zeros(1, WORK)[0], np.zeros(1, ANSWER)[0]
    flow, out, case = np.zeros(elements.size * STRIPS, FLOW), np.zeros(7), model.cases.records[row]
    prepare(bodies[0], elements, model.settings[0], case, place, flow)

    def blow(time: float) -> None:
        s = SPEED * time
        wind = 0.5 * peak * (1.0 - np.cos(2.0 * np.pi * s / length)) if s < length else 0.0
        ahead, left = case.headwind + wind * np.cos(direction), case.crosswind + wind * np.sin(direction)
        set_wind(bodies[0], elements, case, ahead, left, place, flow)
        set_demand(bodies[0], place)

    def slope(time: float, state: Array) -> Array:
        blow(time)
        accelerations(
            bodies[0], elements, model.settings[0], model.damping[0], place, flow, state[:7].copy(),
            state[7:].copy(), np.zeros(4), work, out,
        )  # fmt: skip
        return np.concatenate([state[7:], out])

    start = np.concatenate([model.trim(row), np.zeros(7)])
    states = solve_ivp(
        slope, (0.0, t[-1]), start, method="DOP853", t_eval=t, rtol=1e-7, atol=1e-10, max_step=0.01
    ).y[:7]
    margins, seen = np.zeros(t.size), np.zeros(4)
    for i, x in enumerate(np.ascontiguousarray(states.T)):
        blow(t[i])
        margins[i] = look(
            bodies[0], elements, points, model.settings[0], case, place, flow, x, work, answer, seen
        )
    return margins


@pytest.mark.parametrize(
    ("row", "peak", "length", "degrees"), [(0, 8.0, 8.0, 60.0), (1, 10.0, 30.0, 180.0), (2, 0.8, 9.0, 0.0)]
)
def test_ride_against_another_integrator(
    model: RideModel, row: int, peak: float, length: float, degrees: float
) -> None:
    """The margin at every look is that of scipy's integrator, to 5e-5; the gust moves it by 30 times that."""
    _, trace = ride(model, row, peak, length, np.radians(degrees))
    every = trace[4::5]
    exact = exact_margins(model, row, peak, length, np.radians(degrees), every[:, 0])
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
