"""Safe speeds, run-up and loss of drive, against closed forms and against plain evaluations."""

from __future__ import annotations

from dataclasses import replace
from math import atan, log, pi, sin, sqrt
from pathlib import Path

import numpy as np
import pytest
from cars import (
    GRAVITY,
    PLAIN_SETUP,
    STIFF_SETUP,
    on_tyres,
    plain_car,
    speed_for,
    stiffened,
    venue,
)

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.limits_check import broken
from setupopt.evaluation.model import evaluate
from setupopt.evaluation.result import Result
from setupopt.project import Project
from setupopt.project.model import Attitude, Car, Setup, Sweep
from setupopt.robust.speeds.at_speed import AtSpeed
from setupopt.robust.speeds.coast import coast
from setupopt.robust.speeds.motion import PathForces, distance_and_time, run_up
from setupopt.robust.speeds.study import SpeedOptions, SpeedStudy, study_speeds
from setupopt.robust.speeds.window import ENDS_TO, FLOOR, POWER, WindowSearch

STRAIGHT = Attitude(
    "straight", 0.0, 0.0, 0.0, 0.0, None, 0.0, 0.0, (0.0, 0.0, 0.0, 0.0), None
)
MU = 1.4
WORST = pi - atan(1.0 / MU)  # where a point mass needs most downforce
NEED = sqrt(1.0 + 1.0 / MU**2)  # of its weight


def one_angle(
    car: Car,
    speed: float,
    angle: float = 0.0,
    setup: Setup = STIFF_SETUP,
    **place: float,
) -> Project:
    """A car straight at one roll angle, in a section of 10 km radius unless said otherwise."""
    there = replace(
        venue(**{"curvature": 1e-4, **place}),
        sweep=Sweep(angle, angle, 1.0, speed),
        attitudes=(STRAIGHT,),
    )
    return Project(Path("nowhere"), car, there, setup, None, ())


def point_mass(drag_area: float = 0.0, shear: float = 0.05) -> Car:
    """CG 10 mm up, stiff, no load sensitivity, drag through the CG.

    The crab angle takes off some of the force across the path, which a point mass does not know. It falls
    with the stiffness in shear: 0.5 m/s of the lowest speed at 0.05, 0.07 m/s at 0.5, under 0.01 m/s at 10.
    """
    car = on_tyres(
        stiffened(plain_car(cg_height=0.01, friction=MU)),
        shear_per_foundation=shear,
    )
    return replace(
        car, air=replace(car.air, drag_area=drag_area, drag_height=0.01)
    )


# ---- way and time ------------------------------------------------------------------------------------------

REL = 1e-6  # the integration asks for 1e-8 of each step


def test_constant_force() -> None:
    """dv/dt = a: t = v / a, x = v^2 / (2 a); from standstill, two at a time, and half way in speed."""
    a, v = np.array([3.0, 8.0]), np.array([50.0, 20.0])
    metres, seconds = distance_and_time(
        lambda speed: a + 0.0 * speed, np.zeros(2), v, np.array([0.5, 1.0])
    )
    assert seconds == pytest.approx(np.array([0.5 * v / a, v / a]), rel=REL)
    assert metres == pytest.approx(
        np.array([v**2 / (8.0 * a), v**2 / (2.0 * a)]), rel=REL
    )


def test_constant_power_without_drag() -> None:
    """P t = m v^2 / 2, and m v^2 dv = P dx: t = m v^2 / (2 P), x = m v^3 / (3 P)."""
    mass, power, v = 600.0, 3e5, 50.0
    metres, seconds = distance_and_time(
        lambda u: power / (mass * np.maximum(u, 1e-9)),
        np.zeros(1),
        np.array([v]),
    )
    assert seconds[0, 0] == pytest.approx(mass * v**2 / (2.0 * power), rel=REL)
    assert metres[0, 0] == pytest.approx(mass * v**3 / (3.0 * power), rel=REL)


def test_constant_power_against_drag() -> None:
    """m v^2 dv = (P - c v^3) dx: x = m / (3 c) ln((P - c u^3) / (P - c v^3))."""
    mass, power, c, u, v = 600.0, 3e5, 0.7, 20.0, 60.0
    metres, _ = distance_and_time(
        lambda w: (power / w - c * w**2) / mass, np.array([u]), np.array([v])
    )
    expected = mass / (3.0 * c) * log((power - c * u**3) / (power - c * v**3))
    assert metres[0, 0] == pytest.approx(expected, rel=REL)


def test_coasting_by_drag_alone() -> None:
    """dv/dt = -k v^2: v = v0 / (1 + k v0 t), x = ln(v0 / v) / k, with k = rho Cd A / (2 m) of the model."""
    project = one_angle(point_mass(1.1), 60.0)
    path = PathForces(project, sweep_cases(project.venue).records)
    metres, seconds = distance_and_time(
        lambda v: -path.deceleration(v), np.array([60.0]), np.array([40.0])
    )
    k = 0.5 * 1.2 * 1.1 / project.car.mass
    assert 60.0 / (1.0 + k * 60.0 * seconds[0, 0]) == pytest.approx(
        40.0, rel=REL
    )
    assert metres[0, 0] == pytest.approx(log(60.0 / 40.0) / k, rel=REL)


@pytest.mark.parametrize(
    ("heading", "slope", "climb"),
    [(0.0, 0.1, sin(0.1)), (0.2, 0.0, sin(1.0) * sin(0.2))],
)
def test_gravity_along_the_path(
    heading: float, slope: float, climb: float
) -> None:
    """What a path climbs per length slows by g: sin(slope) along the axis, sin phi sin psi round the wall."""
    project = one_angle(point_mass(), 30.0, 1.0, slope=slope)
    turned = replace(
        project.venue, attitudes=(replace(STRAIGHT, heading=heading),)
    )
    path = PathForces(project, sweep_cases(turned).records)
    assert path.deceleration(np.array([30.0]))[0] == pytest.approx(
        GRAVITY * climb, rel=1e-12
    )
    assert path.power(np.array([30.0]))[0] == pytest.approx(
        1000.0 * GRAVITY * climb * 30.0, rel=1e-12
    )


# ---- run-up ------------------------------------------------------------------------------------------------


def test_run_up_on_grip() -> None:
    """Rear drive: m a = mu (m g / 2 + m a h / l), so a = mu g / 2 / (1 - mu h / l); x = v^2 / (2 a).

    Even front share, no air, more power than can be used; 1e-4: the stiff car still pitches by micrometres.
    """
    mu, h, wheelbase, v = 1.2, 0.3, 2.6, 30.0
    car = stiffened(plain_car(cg_height=h, friction=mu, area=0.0))
    found = run_up(one_angle(replace(car, power=1e9), v, curvature=0.0))
    a = 0.5 * mu * GRAVITY / (1.0 - mu * h / wheelbase)
    assert found.is_reached
    assert found.by_grip.all()
    assert found.metres[-1] == pytest.approx(v**2 / (2.0 * a), rel=1e-4)
    assert found.seconds[-1] == pytest.approx(v / a, rel=1e-4)


def test_run_up_ends_where_drag_takes_all_power() -> None:
    """P / v = rho Cd A v^2 / 2: v = (2 P / (rho Cd A))^(1/3); a target beyond it is never reached."""
    power, area = 2e5, 1.3
    top = (2.0 * power / (1.2 * area)) ** (1.0 / 3.0)
    car = replace(point_mass(area), power=power)
    found = run_up(one_angle(car, 1.05 * top))
    assert found.top == pytest.approx(top, rel=1e-6)
    assert not found.is_reached
    assert found.speed[-1] < top
    assert run_up(one_angle(car, 0.95 * top)).is_reached


def test_grip_first_then_power(bore: Project) -> None:
    """The curve is that of the lesser: power in motion never over what there is, and all of it in the end."""
    assert bore.car.power is not None
    found = run_up(bore)
    path_force = (
        found.acceleration
        + 0.5
        * bore.venue.air_density
        * bore.car.air.drag_area
        * (found.speed**2 / bore.car.mass)
    )
    used = bore.car.mass * path_force * found.speed
    assert (used <= bore.car.power * (1.0 + 1e-9)).all()
    assert used[~found.by_grip] == pytest.approx(bore.car.power, rel=1e-9)
    assert 0.0 < found.grip_until < found.target
    assert (
        0.0 < found.doubt_m < 0.01
    )  # half as many speeds change nothing that anyone could measure


# ---- windows -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def few(bore: Project) -> Project:
    """Few angles, straight and turned up."""
    sweep = replace(bore.venue.sweep, step=np.radians(60.0), speed=52.0)
    return replace(
        bore,
        venue=replace(
            bore.venue, sweep=sweep, attitudes=bore.venue.attitudes[:2]
        ),
    )


@pytest.fixture(scope="module")
def study(few: Project) -> SpeedStudy:
    """Its study, at a floor of 0.05."""
    return study_speeds(few, SpeedOptions(0.05))


@pytest.fixture(scope="module")
def unsafe(few: Project) -> SpeedStudy:
    """The study at a floor out of reach."""
    return study_speeds(few, SpeedOptions(0.99))


def at(project: Project, speed: float) -> Result:
    """The sweep at a speed, by the plain evaluation."""
    place = replace(
        project.venue, sweep=replace(project.venue.sweep, speed=speed)
    )
    return evaluate(replace(project, venue=place), project.setup)


def test_lowest_speed_of_a_point_mass() -> None:
    """L / W = sin / mu - cos is largest at 180 deg - atan(1 / mu): sqrt(1 + 1 / mu^2).

    The end stands on the safe side, closer than what it is refined to; what breaks is the floor, there.
    """
    car = point_mass(shear=10.0)
    lowest = speed_for(car, NEED)
    found = study_speeds(one_angle(car, 1.2 * lowest, WORST))
    assert found.window is not None
    assert 0.0 <= found.window.low.speed - lowest <= ENDS_TO
    first = found.window.low.beyond[0]
    assert first.limit == FLOOR
    assert first.roll_angle_deg == pytest.approx(np.degrees(WORST), abs=1e-6)
    assert found.window.high.beyond == ()


def test_ends_hold_inside_and_not_outside(
    study: SpeedStudy, few: Project
) -> None:
    """By plain evaluations: the floor below, the limit that is named above, each within twice 0.05 m/s."""
    window = study.window
    assert window is not None
    inside, under = (
        at(few, window.low.speed),
        at(few, window.low.speed - 2.0 * ENDS_TO),
    )
    assert inside.worst_margin[0] >= study.floor > under.worst_margin[0]
    over = broken(few, few.setup, at(few, window.high.speed + 2.0 * ENDS_TO))
    assert broken(few, few.setup, at(few, window.high.speed)) == ()
    assert [limit.limit for limit in over] == [
        limit.limit for limit in window.high.beyond
    ]


def test_curve_is_the_plain_evaluation(study: SpeedStudy, few: Project) -> None:
    """Margins of each attitude and their angles at a speed of the scan; and lost contact as such."""
    row = int(np.abs(study.speeds - 55.0).argmin())
    plain = (
        at(few, float(study.speeds[row]))
        .margin[0]
        .reshape(len(study.attitudes), -1)
    )
    assert study.margin[row] == pytest.approx(plain.min(axis=1), abs=1e-9)
    assert study.angle[row] == pytest.approx(
        sweep_cases(few.venue).angles[plain.argmin(axis=1)]
    )
    assert study.margin[0].min() == -np.inf
    assert study.broken[0][0].limit == "contact"


def test_power_ends_a_window() -> None:
    """v = (2 P / (rho Cd A))^(1/3), on the flat, within 0.05 m/s."""
    area, power = 1.3, 1.5e5
    top = (2.0 * power / (1.2 * area)) ** (1.0 / 3.0)
    car = replace(point_mass(area), power=power)
    window = study_speeds(one_angle(car, 0.9 * top)).window
    assert window is not None
    assert 0.0 <= top - window.high.speed <= ENDS_TO
    assert [limit.limit for limit in window.high.beyond] == [POWER]


def test_unsafe_sweep_has_no_window(unsafe: SpeedStudy) -> None:
    """A floor out of reach: nothing is safe, and what the sweep's own speed breaks is told."""
    assert (unsafe.windows, unsafe.window, unsafe.holds) == ((), None, False)
    assert unsafe.at_driven[0].limit == FLOOR


def test_several_windows_are_told_apart(
    few: Project, unsafe: SpeedStudy, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where something breaks from 20.3 to 30.6 m/s alone: two windows, ends within 0.05 m/s."""
    search, some = WindowSearch(few, 0.0), unsafe.at_driven[0]

    def moving(speed: float) -> tuple:
        return (some,) if 20.3 < speed < 30.6 else ()

    monkeypatch.setattr(search, "_broken_driven", moving)
    speeds = np.arange(1.0, 51.0)
    first, second = search.windows(
        speeds, tuple(moving(float(v)) for v in speeds)
    )
    ends = [
        first.low.speed,
        first.high.speed,
        second.low.speed,
        second.high.speed,
    ]
    assert ends == pytest.approx([1.0, 20.3, 30.6, 50.0], abs=ENDS_TO)
    assert (first.low.beyond, first.high.beyond, second.high.beyond) == (
        (),
        (some,),
        (),
    )


def test_missing_power_and_a_limit_on_the_pad_leave_the_rest(
    few: Project, study: SpeedStudy
) -> None:
    """The power is asked for by its key; a rake that is not allowed is named, and nothing is safe. Windows
    and coasting stand."""
    assert few.limits is not None
    tight = replace(
        few.limits, packaging=replace(few.limits.packaging, rake=(0.2, 0.3))
    )
    found = study_speeds(
        replace(few, limits=tight, car=replace(few.car, power=None)),
        SpeedOptions(0.05),
    )
    assert found.run_up is None
    assert "car.power_kW" in found.missing
    assert [limit.limit for limit in found.at_rest] == ["packaging.rake_mm"]
    assert found.window is not None and study.window is not None
    assert found.window.low.speed == study.window.low.speed
    assert found.coasting.worst is not None
    assert not found.holds


# ---- loss of drive -----------------------------------------------------------------------------------------


def test_loss_of_drive_of_a_point_mass() -> None:
    """Coasting by drag to the speed that L / W = sqrt(1 + 1 / mu^2) needs: v = v0 / (1 + k v0 t).

    Without drive the tyres carry lateral force alone. The speed is known to 0.01 m/s, and so are both.
    """
    car = point_mass(1.1, shear=10.0)
    lowest, k = speed_for(car, NEED), 0.5 * 1.2 * 1.1 / car.mass
    start = 1.3 * lowest
    found = coast(AtSpeed(one_angle(car, start, WORST)), 0.0)
    assert found.worst == 0
    assert 0.0 <= found.speed[0] - lowest <= 0.01
    assert found.seconds[0] == pytest.approx(
        (start / lowest - 1.0) / (k * start), abs=0.01 / (k * lowest**2)
    )
    assert found.metres[0] == pytest.approx(
        log(start / lowest) / k, abs=0.01 / (k * lowest)
    )


def test_nothing_is_lost_on_the_flat_or_under_brakes() -> None:
    """A car that only slows on a flat floor keeps its margin for ever; a braking one has no drive to lose."""
    project = one_angle(point_mass(1.1), 30.0)
    braking = replace(STRAIGHT, name="braking", acceleration=-6.0)
    both = replace(
        project, venue=replace(project.venue, attitudes=(STRAIGHT, braking))
    )
    found = coast(AtSpeed(both), 0.0)
    assert found.driven.tolist() == [True, False]
    assert found.seconds[0] == np.inf
    assert np.isnan(found.seconds[1])
    assert found.worst is None


def test_under_the_floor_at_once_leaves_no_time() -> None:
    """Slower than the lowest speed already: 0 s, 0 m."""
    car = point_mass(1.1)
    found = coast(
        AtSpeed(one_angle(car, 0.95 * speed_for(car, NEED), WORST)), 0.0
    )
    assert (found.seconds[0], found.metres[0]) == (0.0, 0.0)


def test_downhill_settles_or_breaks_on_the_way_up() -> None:
    """Steeper than drag holds, but asked to gain more: freed of drive it goes towards sqrt(g sin / k).

    On a plain setup, flat and straight, the floor is kept all the way.
    """
    car = replace(
        plain_car(friction=MU), air=replace(plain_car().air, drag_area=1.1)
    )
    project = one_angle(
        car, 20.0, setup=PLAIN_SETUP, curvature=0.0, slope=-0.05
    )
    gaining = replace(
        project.venue, attitudes=(replace(STRAIGHT, acceleration=2.0),)
    )
    found = coast(AtSpeed(replace(project, venue=gaining)), 0.0)
    assert found.driven.all()
    assert found.seconds[0] == np.inf
