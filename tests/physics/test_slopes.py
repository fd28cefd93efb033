"""What a car over a road is asked for, and its slopes: another differentiator, the balance's own Jacobian."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from at_trim import Bench
from scipy.optimize._numdiff import approx_derivative

import setupopt
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import evaluate
from setupopt.physics.balance import COLUMNS, WORK, balance
from setupopt.physics.contacts import columns, put_road
from setupopt.physics.inputs import ANSWER, RIDE_STATES, Record
from setupopt.physics.ride_time import begin, look_around
from setupopt.physics.slopes import OUTPUTS, output_slopes, outputs

Floats = np.ndarray
SETUPS = Path(__file__).resolve().parents[2] / "setups"


class Trimmed(Bench):
    """An example car in the trim of one of its cases."""

    def __init__(self, name: str, roll_angle: float, attitude: int = 0) -> None:
        project = setupopt.load(SETUPS / name)
        if (
            name == "hill"
        ):  # without air, slowly, so that the road's last column is that of a wheel
            bare = replace(
                project.car, air=replace(project.car.air, elements=())
            )
            slow = replace(
                project.venue,
                attitudes=(replace(project.venue.attitudes[0], speed=20.0),),
            )
            project = replace(project, car=bare, venue=slow)
        cases = sweep_cases(project.venue, np.array([roll_angle]))
        super().__init__(project.car, project.setup, cases, attitude)
        self.base = evaluate(project, cases=cases).answers[0, attitude]
        assert self.base["contact"]
        assert not self.base["slides"]
        self.columns = int(columns(self.elements))
        self.trim = np.zeros(COLUMNS)
        begin(self.car, self.case, self.base, self.state, self.trim)

    def read(self, x: Floats, road: Floats) -> tuple[Record, Record]:
        """ANSWER and WORK at a state on a road."""
        work, answer = np.zeros(1, WORK)[0], np.zeros(1, ANSWER)[0]
        put_road(
            self.car, self.elements, road, road, 0.0, self.state, self.road
        )
        balance(*self.scene, x, work)
        look_around(
            self.car,
            self.points,
            self.setup,
            self.case,
            self.state,
            x,
            work,
            answer,
        )
        return answer, work

    def outputs(self, x: Floats, road: Floats) -> Floats:
        """The kernel's outputs."""
        work, answer, out = (
            np.zeros(1, WORK)[0],
            np.zeros(1, ANSWER)[0],
            np.zeros(OUTPUTS),
        )
        put_road(
            self.car, self.elements, road, road, 0.0, self.state, self.road
        )
        outputs(self.car, self.elements, self.points, self.setup, self.case, self.state, self.road,
                np.ascontiguousarray(x), work, answer, out)  # fmt: skip
        return out

    def moved(self, ride: Floats) -> Floats:
        """The trim with the seven states of a ride, all else held."""
        x = self.trim.copy()
        x[:RIDE_STATES] = ride
        return x

    def slopes(self) -> tuple[Floats, Floats, Floats]:
        """Outputs at the trim and their slopes by state and by road."""
        work, answer = np.zeros(1, WORK)[0], np.zeros(1, ANSWER)[0]
        out, by_state, by_road = (
            np.empty(s)
            for s in (OUTPUTS, (OUTPUTS, 7), (OUTPUTS, self.columns))
        )
        output_slopes(self.car, self.elements, self.points, self.setup, self.case, self.base, self.state,
                      self.road, work, answer, out, by_state, by_road)  # fmt: skip
        return out, by_state, by_road


# Half-way up a bore, turned; banked at speed; on a hill, drawn by open differentials.
@pytest.fixture(
    scope="module",
    params=[("bore", 1.0, 1), ("bank", 0.4, 0), ("hill", 0.1, 0)],
    ids=str,
)
def car(request: pytest.FixtureRequest) -> Trimmed:
    return Trimmed(*request.param)


def pushed(car: Trimmed) -> tuple[Floats, Floats]:
    """A state 0.3 mm and 0.3 mrad off the trim, on a road 0.3 mm high."""
    rng = np.random.default_rng(3)
    ride = car.trim[:RIDE_STATES] + 3e-4 * rng.normal(size=RIDE_STATES)
    return car.moved(ride), 3e-4 * rng.normal(size=car.columns)


def test_outputs_are_what_is_read_off(car: Trimmed) -> None:
    """In the order documented, at the trim and off it."""
    for x, road in ((car.trim, np.zeros(car.columns)), pushed(car)):
        answer, _ = car.read(x, road)
        expected = np.r_[
            answer.use, answer.load, answer.ride_gap, answer.travel
        ]
        np.testing.assert_allclose(
            car.outputs(x, road)[:12], expected, rtol=1e-14
        )


def test_at_rest_the_instantaneous_margin_is_the_steady_one(
    car: Trimmed,
) -> None:
    """On the trim, on a road without unevenness: 1e-9; the axle that saturates at lambda is the one."""
    use = car.outputs(car.trim, np.zeros(car.columns))[:2]
    assert 1.0 - use.max() == pytest.approx(car.base["margin"], abs=1e-9)
    assert use.argmax() == car.base["limiting"]


def test_use_is_the_axles_demand_over_its_capacity(car: Trimmed) -> None:
    """Off the trim too: an axle's demand is held, its capacity is that of the patches now."""
    x, road = pushed(car)
    answer, _ = car.read(x, road)
    out = car.outputs(x, road)
    for axle in (0, 1):
        capacity = answer.grip[2 * axle : 2 * axle + 2].sum()
        assert out[12 + axle] == pytest.approx(capacity, rel=1e-12)
        assert out[axle] == pytest.approx(
            car.state.demand[axle] / capacity, rel=1e-12
        )


def test_slopes_against_another_differentiator(car: Trimmed) -> None:
    """scipy's differences over steps twice as long, to 1e-5 of the largest slope of a row."""
    _, by_state, by_road = car.slopes()
    level = np.zeros(car.columns)
    steps = {"method": "3-point", "abs_step": 2e-6}
    start = car.trim[:RIDE_STATES]
    expected = approx_derivative(
        lambda ride: car.outputs(car.moved(ride), level), start, **steps
    )
    for found, theirs in (
        (by_state, expected),
        (
            by_road,
            approx_derivative(
                lambda road: car.outputs(car.trim, road), level, **steps
            ),
        ),
    ):
        scale = np.maximum(np.abs(expected).max(axis=1, keepdims=True), 1e-3)
        np.testing.assert_allclose(found / scale, theirs / scale, atol=1e-5)


def test_slopes_leave_the_outputs_of_the_trim(car: Trimmed) -> None:
    """The first array is that of the trim itself, not of the last push: a push of 1e-6 m moves 3e-8 of it."""
    out = car.slopes()[0]
    np.testing.assert_allclose(
        out, car.outputs(car.trim, np.zeros(car.columns)), rtol=1e-12
    )


def test_load_rows_are_the_balances_own(car: Trimmed) -> None:
    """Analytic slopes of a load by heave, pitch, roll and its own wheel; the other wheels have no part."""
    loads = car.slopes()[1][2:6]
    work = car.forces(car.trim)
    expected = np.zeros((4, 7))
    expected[:, :3] = work.wheels.load_slope[:, :3]
    expected[range(4), range(3, 7)] = work.wheels.load_slope[:, 3]
    np.testing.assert_allclose(
        loads, expected, atol=1e-6 * np.abs(expected).max()
    )


def test_travel_rows_are_geometry(car: Trimmed) -> None:
    """u = w - (z - x theta + y phi): by hand."""
    by_state, by_road = (part[8:12] for part in car.slopes()[1:])
    body = np.column_stack([-np.ones(4), car.car.x, -car.car.y])
    np.testing.assert_allclose(
        by_state, np.hstack([body, np.eye(4)]), atol=1e-8
    )
    np.testing.assert_allclose(by_road, 0.0, atol=1e-8)


def test_lifted_with_its_road_nothing_changes(car: Trimmed) -> None:
    """Body, wheels and all of the road up together: no force and no gap knows of it.

    Each row to 1e-5 of its own slopes. Every load and gap feels the body alone.
    """
    _, by_state, by_road = car.slopes()
    together = (
        by_state[:, 0] + by_state[:, 3:].sum(axis=1) + by_road.sum(axis=1)
    )
    scale = np.abs(by_state).sum(axis=1) + np.abs(by_road).sum(axis=1)
    assert (np.abs(together) <= 1e-5 * scale).all()
    assert np.abs(by_state[2:, 0]).min() > 0.01
