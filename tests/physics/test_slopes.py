"""What a car over a road is asked for, and its slopes: another differentiator, the balance's own Jacobian."""

from __future__ import annotations

from dataclasses import replace
from math import hypot
from pathlib import Path

import numpy as np
import pytest
from at_trim import Bench
from scipy.optimize._numdiff import approx_derivative

import setupopt
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import evaluate
from setupopt.physics.answer import read_off
from setupopt.physics.balance import WORK, balance
from setupopt.physics.contacts import columns, put_road
from setupopt.physics.inputs import ANSWER, Record
from setupopt.physics.margin import axle_use
from setupopt.physics.slopes import OUTPUTS, output_slopes, outputs

Floats = np.ndarray
SETUPS = Path(__file__).resolve().parents[2] / "setups"


class Trimmed(Bench):
    """An example car in the trim of one of its cases."""

    def __init__(self, name: str, roll_angle: float, attitude: int = 0) -> None:
        project = setupopt.load(SETUPS / name)
        if name == "hill":  # without air, so that the road's last column is that of a wheel
            bare = replace(project.car, air=replace(project.car.air, elements=()))
            project = replace(project, car=bare)
        cases = sweep_cases(project.venue, np.array([roll_angle]))
        super().__init__(project.car, project.setup, cases, attitude)
        answer = evaluate(project, cases=cases).answers[0, attitude]
        assert answer["contact"]
        self.trim = np.array(answer["state"])
        self.columns = int(columns(self.elements))

    def read(self, x: Floats, road: Floats) -> tuple[Record, Record]:
        """ANSWER and WORK at a state on a road."""
        work, answer = np.zeros(1, WORK)[0], np.zeros(1, ANSWER)[0]
        put_road(self.car, self.elements, road, road, 0.0, self.place, self.flow)
        balance(self.car, self.elements, self.setup, self.place, self.flow, x, work)
        answer.state[:] = x
        read_off(self.car, self.points, self.setup, self.case, self.place, 0.0, answer, work)
        return answer, work

    def outputs(self, x: Floats, road: Floats) -> Floats:
        """The kernel's outputs."""
        work, answer, out = np.zeros(1, WORK)[0], np.zeros(1, ANSWER)[0], np.zeros(OUTPUTS)
        put_road(self.car, self.elements, road, road, 0.0, self.place, self.flow)
        outputs(self.car, self.elements, self.points, self.setup, self.case, self.place, self.flow,
                np.ascontiguousarray(x), work, answer, out)  # fmt: skip
        return out

    def slopes(self) -> tuple[Floats, Floats, Floats]:
        """Outputs at the trim and their slopes by state and by road."""
        work, answer, level = np.zeros(1, WORK)[0], np.zeros(1, ANSWER)[0], np.zeros(self.columns)
        put_road(self.car, self.elements, level, level, 0.0, self.place, self.flow)
        out, by_state, by_road = (np.empty(s) for s in (OUTPUTS, (OUTPUTS, 7), (OUTPUTS, self.columns)))
        output_slopes(self.car, self.elements, self.points, self.setup, self.case, self.place, self.flow,
                      self.trim, work, answer, out, by_state, by_road)  # fmt: skip
        return out, by_state, by_road


# Half-way up a bore, turned; banked at speed; on a hill, drawn by open differentials.
@pytest.fixture(scope="module", params=[("bore", 1.0, 1), ("bank", 0.4, 0), ("hill", 0.1, 0)], ids=str)
def car(request: pytest.FixtureRequest) -> Trimmed:
    return Trimmed(*request.param)


def pushed(car: Trimmed) -> tuple[Floats, Floats]:
    """A state 0.3 mm and 0.3 mrad off the trim, on a road 0.3 mm high."""
    rng = np.random.default_rng(3)
    return car.trim + 3e-4 * rng.normal(size=7), 3e-4 * rng.normal(size=car.columns)


def test_outputs_are_what_is_read_off(car: Trimmed) -> None:
    """In the order told, at the trim and off it."""
    for x, road in ((car.trim, np.zeros(car.columns)), pushed(car)):
        answer, _ = car.read(x, road)
        expected = np.r_[answer.use, answer.load, answer.ride_gap, answer.travel]
        np.testing.assert_allclose(car.outputs(x, road)[:12], expected, rtol=1e-14)


def test_capacity_is_the_force_at_full_use(car: Trimmed) -> None:
    """An axle's forces, both grown to the capacity, use all of its grip: 1 to rounding."""
    x, road = pushed(car)
    answer, work = car.read(x, road)
    for axle, capacity in enumerate(car.outputs(x, road)[12:]):
        wheels = slice(2 * axle, 2 * axle + 2)
        across, along = float(work.across[wheels].sum()), float(car.place.axle_drive[axle])
        grow = capacity / hypot(across, along)
        use = axle_use(grow * across, grow * along, *answer.grip[wheels], car.car.is_open[axle])
        assert use == pytest.approx(1.0, abs=1e-9)


def test_slopes_against_another_differentiator(car: Trimmed) -> None:
    """scipy's differences over steps twice as long, to 1e-5 of the largest slope of a row."""
    _, by_state, by_road = car.slopes()
    level = np.zeros(car.columns)
    steps = {"method": "3-point", "abs_step": 2e-6}
    expected = approx_derivative(lambda x: car.outputs(x, level), car.trim, **steps)
    for found, theirs in (
        (by_state, expected),
        (by_road, approx_derivative(lambda road: car.outputs(car.trim, road), level, **steps)),
    ):
        scale = np.maximum(np.abs(expected).max(axis=1, keepdims=True), 1e-3)
        np.testing.assert_allclose(found / scale, theirs / scale, atol=1e-5)


def test_slopes_leave_the_outputs_of_the_trim(car: Trimmed) -> None:
    """The first array is that of the trim itself, not of the last push."""
    out = car.slopes()[0]
    np.testing.assert_array_equal(out, car.outputs(car.trim, np.zeros(car.columns)))


def test_load_rows_are_the_balances_own(car: Trimmed) -> None:
    """Analytic slopes of a load by heave, pitch, roll and its own wheel; the other wheels have no part."""
    loads = car.slopes()[1][2:6]
    work = car.forces(car.trim)
    expected = np.zeros((4, 7))
    expected[:, :3] = work.load_slope[:, :3]
    expected[range(4), range(3, 7)] = work.load_slope[:, 3]
    np.testing.assert_allclose(loads, expected, atol=1e-6 * np.abs(expected).max())


def test_travel_rows_are_geometry(car: Trimmed) -> None:
    """u = w - (z - x theta + y phi): by hand."""
    by_state, by_road = (part[8:12] for part in car.slopes()[1:])
    body = np.column_stack([-np.ones(4), car.car.x, -car.car.y])
    np.testing.assert_allclose(by_state, np.hstack([body, np.eye(4)]), atol=1e-8)
    np.testing.assert_allclose(by_road, 0.0, atol=1e-8)


def test_lifted_with_its_road_nothing_changes(car: Trimmed) -> None:
    """Body, wheels and all of the road up together: no force and no gap knows of it."""
    _, by_state, by_road = car.slopes()
    together = by_state[:, 0] + by_state[:, 3:].sum(axis=1) + by_road.sum(axis=1)
    np.testing.assert_allclose(together, 0.0, atol=1e-6 * np.abs(by_state).max(axis=1).max())
    assert np.abs(by_state[:, 0]).min() > 0.01  # each of them feels the body alone


def test_axle_with_nothing_to_hold() -> None:
    """Straight on the flat and not driven, a front axle uses nothing, however it moves."""
    car = Trimmed("bank", 0.0)
    car.place.axle_side[:] = 0.0
    out, by_state, _ = car.slopes()
    assert out[0] == 0.0
    np.testing.assert_array_equal(by_state[0], 0.0)
    answer, _ = car.read(car.trim, np.zeros(car.columns))
    assert out[12] == pytest.approx(answer.grip[:2].sum(), rel=1e-12)
    assert np.abs(by_state[12]).max() > 1e3  # N/m
