"""Air loads."""

from __future__ import annotations

from math import atan2, exp

import numpy as np
import pytest
from at_trim import Bench
from cars import AIR, CAR, SETUP, load_cases, venue
from setupopt.physics.place import FLOW

from setupopt.physics import air
from setupopt.physics.inputs import ELEMENT

Floats = np.ndarray
STATES = [(0.0, 0.0, 0.0), (0.02, -0.01, 0.01), (-0.03, 0.012, -0.02)]


def bench(**columns: float) -> Bench:
    """The invented car in a bore of 9 m radius."""
    return Bench(CAR, SETUP, load_cases(venue(1.0 / 9.0), speed=60.0, **columns))


def direct_sum(b: Bench, z: float, theta: float, phi: float) -> tuple[float, float, float]:
    """Downforce, roll and pitch moment as model.md section 6 prints them, strip by strip."""
    case, total = b.case, np.zeros(3)
    along = case.speed + case.headwind
    q, angle = 0.6 * (along**2 + case.crosswind**2), atan2(case.crosswind, along)
    for e in AIR.elements:
        scale = q / (1.0 + e.yaw_loss * angle**2) / 15
        for i in (-1, 0, 1):
            for j in (-2, -1, 0, 1, 2):
                x, y = b.car.to_front - e.station - i * e.chord / 3, j * e.span / 5
                floor = 0.035 + 0.010 * (b.car.to_front - x) / 2.6 + e.offset
                s = x * np.sin(case.heading) + y * np.cos(case.heading)
                h = floor + z - x * theta + y * phi - (9.0 - np.sqrt(81.0 - s * s))
                near = e.ground_area * h / e.peak_gap * exp(1.0 - h / e.peak_gap) if h > 0.0 else 0.0
                total += scale * (e.free_area + near) * np.array([1.0, -y, x])
    return tuple(total)


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("heading", [0.0, 0.15])
def test_downforce_is_the_sum_of_its_strips(state: tuple[float, float, float], heading: float) -> None:
    """3 x 5 strips by the printed formula; the kernel's products of powers give the same to rounding."""
    b = bench(heading=heading, headwind=4.0, crosswind=7.0)
    got = air.downforce(b.elements, b.flow, *state, False, np.zeros((3, 3)))
    assert got == pytest.approx(direct_sum(b, *state), rel=1e-12)


@pytest.mark.parametrize("state", STATES)
def test_slopes_of_the_air_loads(state: tuple[float, float, float]) -> None:
    """Central differences of 1e-6 m and rad; 1e-6 of the largest slope is their own error here."""
    b, rows, spare = bench(crosswind=5.0), np.zeros((3, 3)), np.zeros((3, 3))
    air.downforce(b.elements, b.flow, *state, True, rows)
    for column in range(3):
        step = 1e-6 * np.eye(3)[column]
        ahead = air.downforce(b.elements, b.flow, *(state + step), True, spare)
        behind = air.downforce(b.elements, b.flow, *(state - step), True, spare)
        slope = (np.array(ahead) - np.array(behind)) / 2e-6
        assert np.abs(slope - rows[:, column]).max() < 1e-6 * np.abs(rows).max()


def strip_force(gap: float, yaw: float = 0.0) -> float:
    """Force at 1 kPa of an element with 0.3 m2 free, 0.7 m2 from a gap that peaks at 50 mm."""
    element, flow = np.zeros(1, ELEMENT), np.zeros(15, FLOW)
    element[["free", "ground", "peak", "yaw_loss"]] = (0.3 / 15, 0.7 / 15, 0.05, 4.0)
    air.set_pressure(element[0], 1000.0, yaw, flow)
    for strip in flow:
        air.set_gap(element[0], gap, strip)
    return float(air.downforce(element, flow, 0.0, 0.0, 0.0, False, np.zeros((3, 3)))[0])


def test_peak_gap_is_where_the_peak_is() -> None:
    """ground_area is what the gap adds at peak_gap; half a millimetre away is less; none below 0."""
    assert strip_force(0.05) == pytest.approx(1000.0, rel=1e-12)
    assert strip_force(0.0495) < strip_force(0.05) > strip_force(0.0505)
    assert strip_force(0.0) == strip_force(-0.01) == pytest.approx(300.0, rel=1e-12)
    assert strip_force(5.0) == pytest.approx(300.0, rel=1e-12)


def test_yaw_takes_downforce() -> None:
    """At 0.5 rad a loss of 4 per rad2 halves it."""
    assert strip_force(0.05, yaw=0.5) == pytest.approx(500.0, rel=1e-12)


@pytest.mark.parametrize(
    ("headwind", "crosswind", "pressure", "angle"),
    [(0.0, 0.0, 2160.0, 0.0), (-60.0, 0.0, 0.0, 0.0), (-20.0, 30.0, 1500.0, 0.6435011087932844)],
)
def test_relative_wind(headwind: float, crosswind: float, pressure: float, angle: float) -> None:
    """60 m/s in air of 1.2 kg/m3: half rho v^2, and the angle of a 3-4-5 triangle."""
    assert air.relative_wind(60.0, headwind, crosswind, 1.2) == pytest.approx((pressure, angle), abs=1e-9)


def test_crosswind_pushes_away_and_side_force_stands_for_it() -> None:
    """Wind from the left pushes to the right: Y < 0; drag follows the whole dynamic pressure."""
    b = bench(crosswind=8.0)
    q, angle = 0.6 * (60.0**2 + 8.0**2), atan2(8.0, 60.0)
    assert b.place.side_force == pytest.approx(-q * 3.0 * angle, rel=1e-12)
    assert b.place.drag == pytest.approx(1.2 * q, rel=1e-12)


def test_raised_surface_is_a_lowered_car() -> None:
    """A plane under an element that rises and leans takes the gap that sinking and rolling would."""
    b = bench()
    e, strips = b.elements[0], b.flow[:15]
    before = strips.copy()
    air.raise_surface(e, 0.004, 0.003, strips)
    raised = air.downforce(b.elements[:1], strips, 0.0, 0.0, 0.0, False, np.zeros((3, 3)))
    moved = air.downforce(b.elements[:1], before, -0.004, 0.0, -0.003, False, np.zeros((3, 3)))
    assert raised == pytest.approx(moved, rel=1e-12)
