"""Air loads."""

from __future__ import annotations

from dataclasses import replace
from math import atan2, exp

import numpy as np
import pytest
from at_trim import Bench
from cars import AIR, CAR, SETUP, load_cases, venue

from setupopt.physics import air
from setupopt.physics.case_state import set_heading
from setupopt.project.model import AirElement, Car

Floats = np.ndarray
STATES = [(0.0, 0.0, 0.0), (0.02, -0.01, 0.01), (-0.03, 0.012, -0.02)]


def bench(
    sideslip: float = 0.0,
    car: Car = CAR,
    curvature: float = 1.0 / 9.0,
    **columns: float,
) -> Bench:
    """The invented car in a bore of 9 m radius, crabbed."""
    b = Bench(car, SETUP, load_cases(venue(curvature), speed=60.0, **columns))
    set_heading(b.car, b.case, sideslip, b.state)
    return b


def loads_of(b: Bench, z: float, theta: float, phi: float) -> Floats:
    """Downforce, roll and pitch moment with their slopes (LOADS, COLUMNS)."""
    loads = np.full((air.LOADS, air.COLUMNS), 7.0)
    x = np.array([z, theta, phi])
    air.downforce(b.car, b.elements, b.setup, b.case, b.state, b.road, x, loads)
    return loads


def direct_sum(
    b: Bench, sideslip: float, z: float, theta: float, phi: float
) -> Floats:
    """Downforce, roll and pitch moment as docs/model.md prints them, strip by strip."""
    case = b.case
    total = np.zeros(3)
    along = (case.speed + case.headwind) * np.cos(
        sideslip
    ) - case.crosswind * np.sin(sideslip)
    across = (case.speed + case.headwind) * np.sin(
        sideslip
    ) + case.crosswind * np.cos(sideslip)
    q, angle = 0.6 * (along**2 + across**2), atan2(across, along)
    psi = case.heading - sideslip
    for e in AIR.elements:
        scale = q / (1.0 + e.yaw_loss * angle**2) / 15
        for i in (-1, 0, 1):
            for j in (-2, -1, 0, 1, 2):
                x, y = (
                    b.car.to_front - e.station - i * e.chord / 3,
                    j * e.span / 5,
                )
                floor = 0.035 + 0.010 * (b.car.to_front - x) / 2.6 + e.offset
                s = x * np.sin(psi) + y * np.cos(psi)
                h = (
                    floor
                    + z
                    - x * theta
                    + y * phi
                    - (9.0 - np.sqrt(81.0 - s * s))
                )
                near = (
                    e.ground_area * h / e.peak_gap * exp(1.0 - h / e.peak_gap)
                    if h > 0.0
                    else 0.0
                )
                total += scale * (e.free_area + near) * np.array([1.0, -y, x])
    return total


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize(
    ("heading", "sideslip"), [(0.0, 0.0), (0.15, 0.0), (0.15, -0.1), (0.0, 0.1)]
)
def test_downforce_is_the_sum_of_its_strips(
    state: tuple[float, float, float], heading: float, sideslip: float
) -> None:
    """3 x 5 strips by the printed formula, over the surface as the crabbed body sees it: to rounding.

    An element without ground effect stands in one point: the moments of its strips cancel.
    """
    b = bench(sideslip, heading=heading, headwind=4.0, crosswind=7.0)
    assert loads_of(b, *state)[:, 0] == pytest.approx(
        direct_sum(b, sideslip, *state), rel=1e-12
    )


@pytest.mark.parametrize("state", STATES)
def test_slopes_of_the_air_loads(state: tuple[float, float, float]) -> None:
    """Central differences of 1e-6 m and rad by heave, pitch, roll and sideslip; 1e-6 of the largest slope."""
    sideslip = 0.05
    given = {"crosswind": 5.0, "heading": 0.1}
    rows = loads_of(bench(sideslip, **given), *state)
    scale = np.abs(rows[:, 1:]).max()
    for column in range(4):
        ahead, behind = (
            np.array([*state, sideslip]),
            np.array([*state, sideslip]),
        )
        ahead[column] += 1e-6
        behind[column] -= 1e-6
        slope = loads_of(bench(ahead[3], **given), *ahead[:3])[:, 0]
        slope -= loads_of(bench(behind[3], **given), *behind[:3])[:, 0]
        assert (
            np.abs(slope / 2e-6 - rows[:, 1 + column]).max() < 1e-6 * scale
        ), column


def strip_force(gap: float, yaw: float = 0.0) -> float:
    """Force at 1 kPa of an element with 0.3 m2 free, 0.7 m2 from a gap that peaks at 50 mm; a point in
    size.
    """
    floor = 0.035 + 0.010 * 1.3 / 2.6
    element = AirElement(
        "flat", 1.3, 0.0, 0.0, gap - floor, 0.3, 0.7, 0.05, 4.0
    )
    b = bench(
        car=replace(CAR, air=replace(AIR, elements=(element,))), curvature=0.0
    )
    b.state.pressure = 1000.0
    b.state.flow = yaw
    return float(loads_of(b, 0.0, 0.0, 0.0)[0, 0])


def test_peak_gap_is_where_the_peak_is() -> None:
    """ground_area is what the gap adds at peak_gap; half a millimetre away is less; none below 0."""
    assert strip_force(0.05) == pytest.approx(1000.0, rel=1e-12)
    assert strip_force(0.0495) < strip_force(0.05) > strip_force(0.0505)
    assert strip_force(0.0) == pytest.approx(300.0, rel=1e-12)
    assert strip_force(-0.01) == pytest.approx(300.0, rel=1e-12)
    assert strip_force(5.0) == pytest.approx(300.0, rel=1e-12)


def test_yaw_takes_downforce() -> None:
    """At 0.5 rad a loss of 4 per rad2 halves it."""
    assert strip_force(0.05, yaw=0.5) == pytest.approx(500.0, rel=1e-12)


@pytest.mark.parametrize(
    ("headwind", "crosswind", "pressure", "angle"),
    [
        (0.0, 0.0, 2160.0, 0.0),
        (-60.0, 0.0, 0.0, 0.0),
        (-20.0, 30.0, 1500.0, 0.6435011087932844),
    ],
)
def test_relative_wind(
    headwind: float, crosswind: float, pressure: float, angle: float
) -> None:
    """60 m/s in air of 1.2 kg/m3: half rho v^2, and the angle of a 3-4-5 triangle."""
    b = bench(headwind=headwind, crosswind=crosswind)
    assert (b.state.pressure, b.state.flow) == pytest.approx(
        (pressure, angle), abs=1e-9
    )


@pytest.mark.parametrize("sideslip", [0.0, -0.1])
def test_crosswind_pushes_away(sideslip: float) -> None:
    """Wind from the left pushes to the right: Y < 0; a car that goes to its left has wind from there."""
    b = bench(sideslip, crosswind=8.0)
    q, angle = 0.6 * (60.0**2 + 8.0**2), atan2(8.0, 60.0) + sideslip
    assert air.side_force(b.car, b.state) == pytest.approx(
        -q * 3.0 * angle, rel=1e-12
    )
    assert b.state.drag == pytest.approx(1.2 * q, rel=1e-12)


def test_raised_surface_is_a_lowered_car() -> None:
    """A road under an element that rises and leans takes the gap that sinking and rolling would."""
    only_floor = replace(CAR, air=replace(AIR, elements=AIR.elements[1:2]))
    b = bench(car=only_floor)
    b.road["height"] = 0.004
    b.road["slope"] = 0.003
    raised = loads_of(b, 0.0, 0.0, 0.0)
    b.road["height"] = 0.0
    b.road["slope"] = 0.0
    assert raised == pytest.approx(loads_of(b, -0.004, 0.0, -0.003), rel=1e-12)
