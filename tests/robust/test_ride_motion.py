"""The car in motion with planar states: trim, stability, closed forms, another integrator, energy.

Sources beside each check. The car of most checks rolls straight on the flat, without air, its wheels upright.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.motion import Motion
from setupopt.physics import ride_steps
from setupopt.physics.ride_motion import (
    FORWARD,
    HEADING,
    LEFTWARD,
    MOTION,
    SLIP_Y,
    SPEEDS,
    WAY,
    WHEEL_SPEED,
    YAW_RATE,
    motion_rates,
)
from setupopt.project import Project
from setupopt.robust.driver import PLANAR, best_driver, planar
from setupopt.robust.obstacle import Obstacle
from setupopt.robust.ride_model import RideModel
from setupopt.units import GRAVITY

RELAXATION = 0.25


def rates(
    motion: Motion, m: np.ndarray, road: np.ndarray | None = None
) -> np.ndarray:
    """Rates of a state on a road (4 wheels), flat where it is left out."""
    rate = np.zeros(MOTION)
    heights = np.zeros(4 + 2 * motion.elements.size)
    heights[:4] = 0.0 if road is None else road
    motion_rates(
        *motion[:9], heights, np.zeros(4), m, motion.work, motion.x, rate
    )
    return rate


@pytest.fixture(scope="module")
def model(bore: Project) -> RideModel:
    """Floor, wall and over the top."""
    return RideModel(
        bore,
        bore.setup,
        sweep_cases(bore.venue, np.radians([0.0, 90.0, 150.0])),
    )


@pytest.fixture(scope="module")
def even(bore: Project) -> RideModel:
    """Half-way up the wall, turned across; dampers with one rate, whose force has no bend."""
    ends = [
        replace(axle, damper_rebound=axle.damper_bump)
        for axle in (bore.car.front, bore.car.rear)
    ]
    project = replace(bore, car=replace(bore.car, front=ends[0], rear=ends[1]))
    return RideModel(
        project, bore.setup, sweep_cases(bore.venue, np.array([1.2])).pick([1])
    )


def plain(
    bore: Project, speed: float, relaxation: float | None = RELAXATION
) -> RideModel:
    """Straight on the flat without air; equal upright wheels that neither lean under load nor in roll."""

    def axle(one):  # type: ignore[no-untyped-def]
        tyre = replace(
            one.tyre,
            compliance=0.0,
            camber_thrust_share=0.0,
            relaxation=relaxation,
        )
        return replace(
            one,
            tyre=tyre,
            camber_gain=1.0 / (0.5 * one.track),
            roll_centre_height=0.0,
            anti_slope=0.0,
        )

    air = replace(bore.car.air, elements=(), drag_area=0.0, side_area=0.0)
    car = replace(
        bore.car,
        front=axle(bore.car.front),
        rear=axle(bore.car.rear),
        air=air,
        clearance=(),
        differential="open",
    )
    flat = replace(bore.venue, section="flat", curvature=0.0)
    venue = replace(flat, sweep=replace(flat.sweep, speed=speed))
    axles = [
        replace(side, camber=0.0, toe=0.0)
        for side in (bore.setup.front, bore.setup.rear)
    ]
    setup = replace(bore.setup, front=axles[0], rear=axles[1])
    project = replace(bore, car=car, venue=venue, setup=setup)
    return RideModel(
        project, setup, sweep_cases(venue, np.array([0.0])).pick([0])
    )


@pytest.fixture(scope="module")
def straight(bore: Project) -> RideModel:
    """The plain car at 40 m/s."""
    return plain(bore, 40.0)


def test_a_trim_is_nearly_at_rest_without_its_offset(model: RideModel) -> None:
    """Forces with half the nodes leave less than 0.02 g of the body and the planar motion."""
    for row in range(len(model.cases)):
        offset = np.abs(model.motion(row).hold.offset)
        assert offset[[SPEEDS, LEFTWARD]].max() < 0.2
        assert offset.max() > 0.0


def test_slowest_mode_is_that_of_the_quasi_static_motion(
    model: RideModel,
) -> None:
    """The growth rate with ride and tyres in motion, against `stability`, where they follow at once.

    Both hold steer, torques and the forward velocity, both let the wheels turn as they like, and both know
    gravity turning with the way round the section. Lags of some milliseconds move it by less than a tenth, or
    0.05 1/s.
    """
    steady = model.model.run(model.settings, model.cases, growth=True).answers[
        0
    ]
    kept = [j for j in range(MOTION) if j != FORWARD]
    for row in range(len(model.cases)):
        slopes = model.motion(row).slopes()
        found = np.linalg.eigvals(slopes[np.ix_(kept, kept)]).real.max()
        assert found == pytest.approx(
            float(steady["growth"][row]), abs=0.05, rel=0.1
        )


@pytest.mark.parametrize("speed", [20.0, 40.0])
def test_single_track_car(bore: Project, speed: float) -> None:
    """Yaw and sideslip rates by state and steer: the linear single-track car (Milliken, Race Car Vehicle
    Dynamics, chapter 5), with each axle's cornering stiffness C and trail t by differences of its own tyres.

    v' = -(Cf + Cr)/(m V) v + ((b Cr - a Cf)/(m V) - V) r + Cf/m steer, yaw likewise with arms a - t, b + t.
    Damping, the sum of both diagonals, falls as 1/V. To 3 %: the body rolls, and loads move with it.
    """
    model = plain(bore, speed)
    motion = model.motion(0)
    car = motion.car
    forces = []
    for sign in (1.0, -1.0):
        m = motion.m.copy()
        m[SLIP_Y : SLIP_Y + 4] += sign * 1e-5
        rates(motion, m)
        wheels = motion.work.wheels
        forces.append(np.array([wheels.across, wheels.aligning]))
    lateral, turning = (forces[0] - forces[1]).reshape(2, 2, 2).sum(axis=2) / (
        2e-5 / RELAXATION
    )
    trail = -turning / lateral
    front, rear = car.to_front - trail[0], car.to_rear + trail[1]
    cf, cr, mass, inertia = lateral[0], lateral[1], car.mass, car.inertia[2]
    law = np.array([
        [-(cf + cr) / (mass * speed), (car.to_rear * cr - car.to_front * cf) / (mass * speed) - speed],
        [(rear * cr - front * cf) / (inertia * speed),
         -(front * car.to_front * cf + rear * car.to_rear * cr) / (inertia * speed)],
    ])  # fmt: skip
    steer = np.array([cf / mass, front * cf / inertia])
    found, by_steer = planar(motion.slopes())
    place = [PLANAR.index(LEFTWARD), PLANAR.index(YAW_RATE)]
    np.testing.assert_allclose(
        found[np.ix_(place, place)],
        law,
        rtol=0.03,
        atol=0.03 * np.abs(law).max(),
    )
    np.testing.assert_allclose(by_steer[place], steer, rtol=0.03)


def test_slip_follows_over_the_relaxation_length(straight: RideModel) -> None:
    """A step of steer, all else held: the share 1 - exp(-x / sigma) of the slip (Pacejka, chapter 7)."""
    motion = straight.motion(0)
    motion.hold.steer += 1e-3
    m = motion.m.copy()
    start = m[SLIP_Y] / RELAXATION
    dt = 1e-5
    for _ in range(int(RELAXATION / 40.0 / dt)):  # one relaxation length
        m[SLIP_Y] += dt * rates(motion, m)[SLIP_Y]
    assert m[SLIP_Y] / RELAXATION - start == pytest.approx(
        1e-3 * (1.0 - np.exp(-1.0)), rel=2e-3
    )


def test_swinging_load_costs_lateral_force(bore: Project) -> None:
    """Mean lateral force of a tyre at a held angle over a wave, body and wheels held: it falls with the swing
    of the load, and more where the wave is shorter (Pacejka, chapter 8: the loss grows as the wavelength
    nears the relaxation length). Over a long wave only the load's own bend is left.
    """
    motion = plain(bore, 40.0, None).motion(0)
    motion.hold.steer += np.radians(1.5)

    def mean(height: float, length: float) -> float:
        m, dt, seen = motion.m.copy(), length / 40.0 / 60.0, []
        for i in range(60 * 8):
            wave = height * np.sin(2.0 * np.pi * i / 60.0)
            m[SLIP_Y : SLIP_Y + 4] += (
                dt * rates(motion, m, np.full(4, wave))[SLIP_Y : SLIP_Y + 4]
            )
            seen.append(motion.work.wheels.across[0])
        return float(np.mean(seen[-120:]))

    calm = mean(0.0, 4.0)
    for small, large, length in ((0.002, 0.004, 4.0), (0.002, 0.004, 0.5)):
        assert calm > 0.0
        assert mean(large, length) < mean(small, length)
    assert mean(0.004, 0.5) < mean(0.004, 4.0)


def test_linear_answer_is_that_of_small_motions(even: RideModel) -> None:
    """A state off the trim by its slopes and by the car itself, for half a tenth of a second: 1e-4 of it."""
    motion = even.motion(0)
    slopes = motion.slopes()[:, :MOTION]
    push = np.zeros(MOTION)
    push[[LEFTWARD, YAW_RATE, HEADING, WAY]] = 1e-4, 1e-4, 1e-4, 1e-4
    ends = [
        solve_ivp(law, (0.0, 0.05), start, method="DOP853", rtol=1e-9, atol=1e-13, max_step=1e-3).y[:, -1]
        for law, start in (
            (lambda _, y: rates(motion, y.copy()), motion.m + push), (lambda _, y: slopes @ y, push),
        )
    ]  # fmt: skip
    kept = [LEFTWARD, YAW_RATE, HEADING, WAY]
    scale = np.abs(ends[1][kept]).max()
    np.testing.assert_allclose(
        (ends[0] - motion.m)[kept] / scale, ends[1][kept] / scale, atol=1e-4
    )


def test_steps_are_of_third_order(even: RideModel) -> None:
    """Half the step, an eighth of the error, after a twentieth of a second off the trim."""
    ends = []
    for parts in (1, 2, 4, 16):
        motion = even.motion(0)
        motion.m[[LEFTWARD, YAW_RATE, SPEEDS]] += 0.1, 0.1, 0.05
        road = np.zeros((3, even.columns))
        k = np.zeros((6, MOTION))
        for _ in range(25 * parts):
            k[0] = rates(motion, motion.m)
            ride_steps.step(
                *motion[:9], road, 0, 5e-4 / parts, motion.m, motion.work, motion.x, k
            )  # fmt: skip
        ends.append(motion.m.copy())
    errors = [np.abs(end - ends[-1])[:SLIP_Y].max() for end in ends[:-1]]
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert orders.min() > 2.6
    assert orders.max() < 3.6


def test_coasting_through_a_bend_loses_what_its_tyres_take(
    straight: RideModel,
) -> None:
    """Energy of body, yaw and wheels before and after a swerve without drive, against the tyres' work.

    Power of a tyre's force over the speed at which its tread slides over the ground; the body is back at rest
    on its springs at both ends, its dampers' heat is reckoned. To 2 % of the loss.
    """
    motion = straight.motion(0)
    hold, car, damping = motion.hold, motion.car, motion.damping
    hold.push[:] = 0.0
    hold.is_free = 1.0
    still = hold.steer
    work = motion.work.wheels

    def energy(m: np.ndarray) -> float:
        planar_part = (
            car.mass * (m[FORWARD] ** 2 + m[LEFTWARD] ** 2)
            + car.inertia[2] * m[YAW_RATE] ** 2
        )
        return 0.5 * float(
            planar_part
            + (hold.spin * m[WHEEL_SPEED : WHEEL_SPEED + 4] ** 2).sum()
        )

    def loss(m: np.ndarray) -> float:
        up = m[SPEEDS + 3 : SPEEDS + 7] - (
            m[SPEEDS] - car.x * m[SPEEDS + 1] + car.y * m[SPEEDS + 2]
        )
        forward = (
            m[FORWARD] - m[YAW_RATE] * car.y - car.cg_height * m[SPEEDS + 1]
        )
        leftward = (
            m[LEFTWARD] + m[YAW_RATE] * car.x + car.cg_height * m[SPEEDS + 2]
        )
        steer = np.array([hold.steer, hold.steer, 0.0, 0.0])
        pull = work.along * np.cos(steer) + work.across * np.sin(steer)
        heat = np.where(up > 0.0, damping.bump, damping.rebound) * up**2
        turned = work.aligning * m[YAW_RATE]
        sliding = (
            work.along * forward
            + work.across * leftward
            - pull * m[WHEEL_SPEED : WHEEL_SPEED + 4]
        )
        return float((sliding + turned - heat).sum())

    m, dt, lost = motion.m.copy(), 5e-4, 0.0
    before = energy(m)
    for i in range(3000):
        hold.steer = still + (
            np.radians(2.0) * np.sin(np.pi * i / 1000.0) ** 2
            if i < 1000
            else 0.0
        )
        first = rates(motion, m)
        lost += dt * loss(m)
        middle = rates(motion, m + 0.5 * dt * first)
        m = m + dt * middle
    assert energy(m) < before - 200.0
    assert before + lost == pytest.approx(
        energy(m), abs=0.02 * (before - energy(m))
    )


@pytest.mark.parametrize(("share", "flies"), [(0.98, False), (1.02, True)])
def test_take_off_over_a_wave(bore: Project, share: float, flies: bool) -> None:
    """A body that g presses on leaves a wave (H/2)(1 - cos w t) under all wheels at (H/2) w^2 = g.

    From two lines of mechanics. A long wave, which the body follows on springs and tyres: 25 rad/s against 2,
    so that its acceleration is 0.6 % more than the road's. Loads are over zero 2 % below, and not 2 % above.
    """
    rides = plain(bore, 40.0)
    turn = 2.0
    half = share * GRAVITY / turn**2
    step = rides.step
    time = 0.5 * step * np.arange(2 * round(12.0 / step) + 1)
    begun = np.minimum(time / 6.0, 1.0)
    fade = begun * begun * (3.0 - 2.0 * begun)
    wave = half * fade * (1.0 - np.cos(turn * time))
    road = np.repeat(wave[:, None], rides.columns, axis=1)
    ride = rides.disturbed(0, road, step, judged=False, every=2)[0]
    assert flies or ride["seconds"] == pytest.approx(12.0, abs=0.1)
    assert (ride["least_load"].min() <= 0.0) == flies


def test_driver_holds_what_he_can(model: RideModel) -> None:
    """The delayed loop dies out as it was reckoned; it dies out later where he reacts later."""
    for row in range(0, len(model.cases), 4):
        slopes = model.motion(row).slopes()
        quick = best_driver(slopes, 0.15)
        slow = best_driver(slopes, 0.5)
        assert quick.holds
        assert quick.growth < slow.growth


def test_mirrored_motion(bore: Project) -> None:
    """Turned up at +60 deg over a bump on the left, down at -60 deg on the right: the same drift."""
    drifts = []
    for degrees, attitude, track in ((60.0, 1, 0), (-60.0, 2, 1)):
        case = sweep_cases(bore.venue, np.radians([degrees])).pick([attitude])
        rides = RideModel(bore, bore.setup, case)
        road = Obstacle(0.01, 2.0, track).road(
            rides.contacts(0), 54.0, rides.step
        )
        drifts.append(float(rides.disturbed(0, road, rides.step)["drift"][0]))
    assert drifts[0] > 1e-3
    assert drifts[0] == pytest.approx(drifts[1], rel=1e-6)
