"""Linear systems over a road, in time and in frequency."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from linear_ride import (
    LinearSystem,
    Transition,
    march,
    transition,
)
from random_ride import (
    frequency_response,
    output,
    response_density,
    response_to_road,
    white_covariance,
)
from scipy.integrate import quad, solve_ivp
from scipy.linalg import expm

from setupopt.robust.road.spectrum import Contacts, Road, synthesise

from .rides import (
    BODY,
    CONTACTS,
    TRAVEL,
    TYRE,
    WHEELS,
    car,
    random_system,
    seen,
    tyre_loads,
)

ONE = np.eye(1)


def oscillator(wn: float, damping: float = 0.0) -> LinearSystem:
    """A unit mass on a spring to the road."""
    return LinearSystem(
        ONE, 2 * damping * wn * ONE, wn**2 * ONE, wn**2 * ONE, 0 * ONE
    )


@pytest.mark.parametrize(("dof", "inputs"), [(1, 1), (2, 1), (3, 2), (7, 4)])
def test_step_against_a_general_integrator(dof: int, inputs: int) -> None:
    """Random full matrices, D too: one step over a slope as scipy's Runge-Kutta does it (its 1e-11)."""
    draw = np.random.default_rng(dof)
    system, step = random_system(draw, dof, inputs), 0.2
    x, e0, e1 = (
        draw.normal(size=2 * dof),
        draw.normal(size=inputs),
        draw.normal(size=inputs),
    )

    def law(t: float, state: np.ndarray) -> np.ndarray:
        road, rate = e0 + (e1 - e0) * t / step, (e1 - e0) / step
        q, v = np.split(state, 2)
        force = system.road_stiffness @ road + system.road_damping @ rate
        return np.concatenate(
            [
                v,
                np.linalg.solve(
                    system.mass,
                    force - system.damping @ v - system.stiffness @ q,
                ),
            ]
        )

    expected = solve_ivp(law, (0, step), x, "DOP853", rtol=1e-12, atol=1e-13).y[
        :, -1
    ]
    one = transition(*system, step)
    assert one.state @ x + one.before @ e0 + one.after @ e1 == pytest.approx(
        expected, rel=1e-8, abs=1e-9
    )


def test_steps_join() -> None:
    """On a straight slope one step is the same as ten of a tenth; without road it is a matrix exponential."""
    draw = np.random.default_rng(5)
    system = random_system(draw, 3, 2)
    road = np.linspace(draw.normal(size=2), draw.normal(size=2), 11)
    start = draw.normal(size=6)
    fine = march(transition(*system, 0.01), road, start)
    assert march(transition(*system, 0.1), road[[0, -1]], start)[
        -1
    ] == pytest.approx(fine[-1], rel=1e-10)
    assert transition(*system, 0.1).state == pytest.approx(
        expm(0.1 * system.free()), rel=1e-10
    )


def test_march_is_the_recursion() -> None:
    """The compiled loop against the formula in its docstring."""
    draw = np.random.default_rng(6)
    step = Transition(
        *(draw.normal(size=shape) for shape in ((4, 4), (4, 2), (4, 2)))
    )
    road, start = draw.normal(size=(5, 2)), draw.normal(size=4)
    states = [start]
    for before, after in itertools.pairwise(road):
        states.append(
            step.state @ states[-1] + step.before @ before + step.after @ after
        )
    assert march(step, road, start) == pytest.approx(
        np.array(states), rel=1e-12
    )


# From memory (Harris, Shock and vibration handbook): what swings on after a half-sine bump of 10 mm under an
# undamped 15 Hz, |2 H b cos(pi / 2 b) / (1 - b^2)|, b = pi / (tau wn). tau s: m, to the digits worked out
HALF_SINE = {0.01: 5.874768e-3, 0.02: 1.102097e-2, 0.05: 1.697056e-2, 0.1: 0.0}


def swing(duration: float, points: int) -> float:
    """Amplitude after a half-sine bump drawn with so many straight lines."""
    system, step = oscillator(2 * np.pi * 15), duration / points
    road = 0.01 * np.sin(np.pi * np.arange(points + 1) / points)
    end = march(transition(*system, step), road[:, None], np.zeros(2))[-1]
    return float(np.hypot(end[0], end[1] / (2 * np.pi * 15)))


@pytest.mark.parametrize("duration", HALF_SINE)
def test_half_sine_bump(duration: float) -> None:
    """Swing after the bump, 2000 lines: half of the last digit."""
    assert swing(duration, 2000) == pytest.approx(
        HALF_SINE[duration], abs=5.1e-9
    )


def test_straight_lines_converge_with_order_two() -> None:
    """A curved bump drawn with straight lines: twice as many, a quarter of the error."""
    errors = [
        abs(swing(0.02, points) - swing(0.02, 16_384))
        for points in (32, 64, 128)
    ]
    assert np.log2(np.divide(errors[:-1], errors[1:])) == pytest.approx(
        [2.0, 2.0], abs=0.02
    )


def bump_run(
    pace: float, height: float, length: float, speed: float
) -> tuple[np.ndarray, ...]:
    """The car over a bump under both tracks, at rest before and after: time s, states, e, e'."""
    time = np.arange(0, 3.0, pace)
    place = speed * time[:, None] - CONTACTS.behind
    inside = (place > 0) & (place < length)
    side = np.array([1.0, 0.3, 1.0, 0.3])  # the left track is higher
    road = side * np.where(
        inside, height / 2 * (1 - np.cos(2 * np.pi * place / length)), 0.0
    )
    rate = side * np.where(
        inside,
        height * np.pi * speed / length * np.sin(2 * np.pi * place / length),
        0.0,
    )
    states = march(transition(*car(), pace), road, np.zeros(14))
    return time, states, road, rate


def test_bump_leaves_no_impulse() -> None:
    """Derived from momentum: over a bump that ends level, the change of load has no impulse, no first moment
    in time, no pitching and no rolling impulse; travel sums up to what the standing car has on the mean road.

    Each against the integral of its size: 1e-6 (trapezoids of 50 us, and what still swings after 3 s).
    """
    time, states, road, rate = bump_run(5e-5, 0.02, 0.5, 40.0)
    system = car()
    load = seen(tyre_loads(system), states, road, rate)
    on_body = load @ BODY  # force, pitch, roll
    size = np.trapezoid(np.abs(on_body), time, axis=0)
    assert np.abs(on_body).max() > 1000.0
    assert np.trapezoid(on_body, time, axis=0) == pytest.approx(
        np.zeros(3), abs=float(1e-6 * size.min())
    )
    moments = np.trapezoid(time[:, None] * on_body, time, axis=0)
    assert moments[0] == pytest.approx(
        0.0, abs=1e-6 * np.trapezoid(time * np.abs(on_body[:, 0]), time)
    )
    sums, under = (
        np.trapezoid(states[:, :7], time, axis=0),
        np.trapezoid(road, time, axis=0),
    )
    at_rest = np.linalg.solve(system.stiffness, system.road_stiffness @ under)
    assert sums == pytest.approx(
        at_rest,
        abs=1e-6 * np.trapezoid(np.abs(states[:, :7]), time, axis=0).max(),
    )


def test_quarter_car_over_a_versine_bump() -> None:
    """Own value: +4729.8 and -1442.0 N over 20 mm x 0.5 m at 40 m/s; dF = kt H the instant a step is met."""
    ms, mu, k, kt, c = 150, 20, 100e3, 250e3, 3500
    pair = np.array([[1.0, -1.0], [-1.0, 1.0]])
    stiffness = k * pair + np.diag([0.0, kt])
    quarter = LinearSystem(
        np.diag([ms, mu]),
        c * pair,
        stiffness,
        np.array([[0.0], [kt]]),
        np.zeros((2, 1)),
    )
    time = np.arange(0, 2, 2e-5)
    road = np.where(
        time < 0.0125, 0.01 * (1 - np.cos(2 * np.pi * time / 0.0125)), 0.0
    )
    states = march(transition(*quarter, 2e-5), road[:, None], np.zeros(4))
    load = kt * (road - states[:, 1])
    assert (load.max(), load.min()) == (
        pytest.approx(4729.8, abs=0.05),
        pytest.approx(-1442.0, abs=0.05),
    )
    assert np.trapezoid(states[:, 0] - states[:, 1], time) == pytest.approx(
        0.0, abs=1e-9
    )
    jump = transition(*quarter, 1e-7).held()
    assert kt * (0.02 - (jump.before @ [0.02])[1]) == pytest.approx(
        kt * 0.02, rel=1e-6
    )


# ---- frequency ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("damping", [0.05, 0.4])
def test_gain_of_one_mass(damping: float) -> None:
    """1 / (1 - r^2 + 2 i zeta r), the closed form; its rate and its acceleration are s and s^2 times it."""
    wn, r = 12.0, np.array([0.01, 0.5, 1.0, 3.0])
    system = oscillator(wn, damping)
    rows = output(
        system,
        position=[[1], [0], [0]],
        velocity=[[0], [1], [0]],
        acceleration=[[0], [0], [1]],
    )
    found = frequency_response(system, rows, wn * r / (2 * np.pi))[:, :, 0]
    gain, s = 1 / (1 - r**2 + 2j * damping * r), 1j * wn * r
    assert found == pytest.approx(
        np.stack([gain, s * gain, s**2 * gain], axis=1), rel=1e-12
    )


def test_response_is_what_a_long_run_settles_to() -> None:
    """Frequency and time agree for the car, D and e' included: 1e-4, straight lines."""
    system, f, pace = car(), 6.0, 2e-4
    rows, phase = tyre_loads(system), 2j * np.pi * f
    time = np.arange(0, 5.0, pace)
    wave = np.exp(phase * time)[:, None] * np.array([0.01, 0.0, 0.004j, 0.0])
    states = march(transition(*system, pace), wave.real, np.zeros(14))
    load = seen(rows, states, wave.real, (phase * wave).real)
    expected = (
        frequency_response(system, rows, np.array([f]))[0] @ wave[-1]
    ).real
    assert load[-1] == pytest.approx(
        expected, abs=1e-4 * np.abs(load[-5000:]).max()
    )


def test_level_rise_of_the_road() -> None:
    """A road higher everywhere lifts the car and changes no load."""
    system = car()
    q = np.linalg.solve(system.stiffness, system.road_stiffness @ np.ones(4))
    assert q == pytest.approx([1, 0, 0, 1, 1, 1, 1], abs=1e-12)
    slow = frequency_response(system, tyre_loads(system), np.array([1e-6]))[
        0
    ].sum(axis=1)
    assert np.abs(slow).max() < 1e-6 * TYRE.max()


def test_road_itself_as_output() -> None:
    """Height under a patch and the difference to a wheel behind and beside, against quadrature.

    Checks delay, coherence, patch and the change from wavenumber to frequency; 1e-6 by Simpson.
    """
    road, system = (
        Road(64e-6, 2.3),
        LinearSystem(ONE, ONE, ONE, np.ones((1, 2)), np.zeros((1, 2))),
    )
    contacts = Contacts(
        np.array([0.0, 2.7]), np.array([0.7, -0.6]), np.array([0.1, 0.25])
    )
    rows = output(system, position=[[0.0]], road=[[1.0, 0.0], [1.0, -1.0]])
    found = response_to_road(system, rows, road, contacts, 55.0).moment(0)

    def one(n: float) -> float:
        return float(road.psd(n) * np.sinc(0.1 * n) ** 2)

    def both(n: float) -> float:
        alike = road.coherence(n, 1.3) * np.cos(2 * np.pi * n * 2.7)
        a, b = np.sinc(0.1 * n), np.sinc(0.25 * n)
        return float(road.psd(n) * (a**2 + b**2 - 2 * a * b * alike))

    expected = [
        quad(f, *road.band, limit=500, epsrel=1e-9)[0] for f in (one, both)
    ]
    assert found == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("speed", [15.0, 80.0])
def test_frequencies_are_close_enough(speed: float) -> None:
    """Four times as many points change no moment of the load by 1e-6."""
    system, road = car(), Road(16e-6)
    coarse, fine = (
        response_to_road(
            system, tyre_loads(system), road, CONTACTS, speed, points
        )
        for points in (2001, 8001)
    )
    for order in (0, 2, 4):
        assert coarse.moment(order) == pytest.approx(
            fine.moment(order), rel=1e-6
        )


def test_left_and_right_are_alike() -> None:
    """A symmetric car has the same variances left and right, but front and rear differ."""
    system = car()
    fl, fr, rl, rr = response_to_road(
        system, tyre_loads(system), Road(16e-6), CONTACTS, 60.0
    ).moment(0)
    assert (fl, rl) == (
        pytest.approx(fr, rel=1e-9),
        pytest.approx(rr, rel=1e-9),
    )
    assert abs(fl - rl) > 0.01 * fl


def test_time_and_frequency_agree_on_random_roads() -> None:
    """Variance of tyre load and travel in 24 drawn roads of 1.5 km against the spectra: within 4 standard
    errors of the mean over the seeds, and those below 3 %."""
    system, road, speed, pace = car(), Road(64e-6), 50.0, 0.001
    tracks = synthesise(road, 1500.0, 0.05, 1.5, range(24))
    place = np.arange(0, 1500.0, speed * pace)
    heights = np.moveaxis(tracks.under(place, CONTACTS), 1, 2)
    loads, travel = tyre_loads(system), output(system, position=TRAVEL)
    step, skip = transition(*system, pace), 2000
    found = []
    for seed in heights:
        states = march(step, seed, np.zeros(14))
        rate = np.gradient(seed, pace, axis=0)
        values = np.hstack(
            [seen(rows, states, seed, rate)[skip:] for rows in (loads, travel)]
        )
        found.append(values.var(axis=0))
    parts = [
        response_to_road(system, rows, road, CONTACTS, speed).moment(0)
        for rows in (loads, travel)
    ]
    expected, error = np.concatenate(parts), np.std(found, axis=0) / np.sqrt(24)
    assert (error < 0.03 * expected).all()
    assert (np.abs(np.mean(found, axis=0) - expected) < 4 * error).all()


# ---- white road velocity -----------------------------------------------------------------------------------


# Roads that do not warp: one under all wheels; a plane that heaves, pitches and rolls
PLANES = {
    "one": np.ones((4, 4)),
    "plane": BODY @ np.diag([1.0, 0.3, 0.8]) @ BODY.T,
}


@pytest.mark.parametrize("name", PLANES)
def test_covariance_under_white_velocity(name: str) -> None:
    """Travel of the car and speed of its body: Lyapunov equation against frequency integral (1e-4)."""
    system, intensity = car(), 1e-4 * PLANES[name]
    position, velocity = np.zeros((5, 7)), np.zeros((5, 7))
    position[:4], velocity[4, 0] = TRAVEL, 1.0
    rows = output(system, position=position, velocity=velocity)
    frequency = np.geomspace(1e-3, 1e4, 8001)
    road = 2 * intensity / (2 * np.pi * frequency[:, None, None]) ** 2
    density = response_density(
        frequency_response(system, rows, frequency), road
    )
    expected = np.trapezoid(density, frequency, axis=0)
    assert np.diag(white_covariance(system, rows, intensity)) == pytest.approx(
        expected, rel=1e-4
    )


def test_acceleration_under_white_velocity() -> None:
    """Body acceleration of the car with undamped tyres, the Lyapunov equation against the integral (1e-4)."""
    system = car(0.0)
    rows = output(system, acceleration=np.eye(7)[:3])
    intensity, frequency = 1e-4 * np.eye(4), np.geomspace(1e-3, 1e5, 16_001)
    road = 2 * intensity / (2 * np.pi * frequency[:, None, None]) ** 2
    density = response_density(
        frequency_response(system, rows, frequency), road
    )
    found = white_covariance(system, rows, intensity)
    assert np.diag(found) == pytest.approx(
        np.trapezoid(density, frequency, axis=0), rel=1e-4
    )
    assert found == pytest.approx(found.T)


def test_infinite_variances_are_refused() -> None:
    """Height over a far datum, load of a damped tyre, acceleration of a wheel on one: no number at all."""
    system, one = car(), np.ones((4, 4))
    for rows in (
        output(system, position=WHEELS),
        tyre_loads(system),
        output(system, acceleration=WHEELS),
        output(system, position=[0.0] * 7, road_velocity=[1.0, 0, 0, 0]),
    ):
        with pytest.raises(ValueError, match="infinite"):
            white_covariance(system, rows, one)


def test_roads_that_warp_twist_the_car() -> None:
    """Loads of undamped tyres are finite on a road that stays a plane, not where each wheel has its own."""
    system = car(0.0)
    loads = tyre_loads(system, 0.0)
    assert np.isfinite(white_covariance(system, loads, PLANES["plane"])).all()
    with pytest.raises(ValueError, match="infinite"):
        white_covariance(system, loads, np.eye(4))
