"""The linear answer over a random road: its parts against other methods, the whole against rides in time."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import dblquad, quad
from scipy.linalg import expm
from scipy.stats import multivariate_normal, norm

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.model import evaluate
from setupopt.physics.balance import COLUMNS, balance
from setupopt.physics.contacts import put_road
from setupopt.physics.inputs import ANSWER
from setupopt.physics.ride_run import TRACE
from setupopt.physics.ride_time import begin, look_around
from setupopt.physics.slopes import OUTPUTS
from setupopt.project import Project
from setupopt.robust.likely_rides import LikelyRides
from setupopt.robust.ride_model import RideModel
from setupopt.robust.road.linear_road_response import (
    LINEAR,
    POINTS,
    LinearRoad,
    larger_of_two,
    margin_on_road,
    road_moments,
    road_response,
    share_under,
    slopes,
)
from setupopt.robust.road.spectrum import CLASSES, Road, synthesise
from setupopt.robust.road.waves import under, waves

from .conftest import SPEED

Array = np.ndarray
A, D = Road(CLASSES["A"].mean), Road(CLASSES["D"].mean)
STEP, RUN_IN = 5e-4, 1.5  # s


@pytest.fixture(scope="module")
def even(bore: Project) -> Project:
    """The car on dampers with one rate, the mean of both, whose force has no bend."""

    def axle(one):  # type: ignore[no-untyped-def]
        rate = 0.5 * (one.damper_bump + one.damper_rebound)
        return replace(one, damper_bump=rate, damper_rebound=rate)

    return replace(
        bore,
        car=replace(
            bore.car, front=axle(bore.car.front), rear=axle(bore.car.rear)
        ),
    )


def straight(project: Project, *degrees: float) -> CaseSet:
    """Straight along the bore at some roll angles."""
    return sweep_cases(project.venue, np.radians(degrees)).pick(
        range(len(degrees))
    )


def roads_under(
    model: RideModel,
    row: int,
    road: Road,
    seeds: int,
    seconds: float,
    spacing: float,
) -> Array:
    """Drawn roads as a case meets them, (seeds, samples, columns), over the first second faded in."""
    speed = float(model.cases.records["speed"][row])
    time = np.arange(round((seconds + RUN_IN) / STEP) + 1) * STEP
    begun = np.minimum(time, 1.0)
    track = 2.0 * float(model.packed[0]["y"][0, 0])
    drawn = synthesise(
        road, speed * (seconds + RUN_IN) + 20.0, spacing, track, range(seeds)
    )
    heights = drawn.under(speed * time, model.contacts(row)) * (
        begun**2 * (3.0 - 2.0 * begun)
    )
    return np.ascontiguousarray(np.moveaxis(heights, 1, 2))


def rms(first: Array, second: Array) -> tuple[Array, Array]:
    """Rms about the mean of all rides, and its standard error; moments are (rides, quantities)."""
    mean = first.mean(axis=0)
    variance = second - 2.0 * mean * first + mean**2
    found = np.sqrt(variance.mean(axis=0))
    return found, variance.std(axis=0, ddof=1) / np.sqrt(len(first)) / (
        2.0 * found
    )


# ---- the parts ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mean", "sigma", "correlation"),
    [
        ((0.3, 0.3), (0.1, 0.1), 0.0),
        ((0.5, 0.42), (0.05, 0.09), 0.9),
        ((-1.0, 1.0), (0.7, 1.1), -0.5),
    ],
)
def test_larger_of_two_by_quadrature(
    mean: Array, sigma: Array, correlation: float
) -> None:
    """Mean and variance of the larger by integrals over both halves of the plane; they are good to 1e-7."""
    mean, sigma = np.array(mean), np.array(sigma)
    covariance = correlation * float(sigma.prod())
    density = multivariate_normal(
        mean, [[sigma[0] ** 2, covariance], [covariance, sigma[1] ** 2]]
    ).pdf
    ends = (float((mean - 9 * sigma).min()), float((mean + 9 * sigma).max()))

    def mean_of(what: Callable[[float], float]) -> float:
        below = dblquad(
            lambda y, x: what(x) * density([x, y]), *ends, ends[0], lambda x: x
        )[0]
        above = dblquad(
            lambda y, x: what(y) * density([x, y]), *ends, lambda x: x, ends[1]
        )[0]
        return float(below + above)

    expected = mean_of(lambda m: m)
    found = larger_of_two(mean, sigma**2, covariance)
    assert found[0] == pytest.approx(expected, abs=1e-7)
    assert found[1] == pytest.approx(
        mean_of(lambda m: (m - expected) ** 2), abs=1e-7
    )


def test_larger_of_two_at_the_ends() -> None:
    """One far ahead is the larger itself; two that are one, that one; without variance: the larger mean."""
    assert larger_of_two(
        np.array([5.0, 1.0]), np.array([1e-8, 4e-4]), 0.0
    ) == pytest.approx((5.0, 1e-8))
    assert larger_of_two(
        np.full(2, 0.7), np.full(2, 0.04), 0.04
    ) == pytest.approx((0.7, 0.04))
    assert larger_of_two(np.array([0.2, 0.3]), np.zeros(2), 0.0) == (0.3, 0.0)


@pytest.mark.parametrize("spread", [0.02, 0.06, 0.12])
@pytest.mark.parametrize("correlation", [-0.3, 0.8])
def test_margin_of_drawn_capacities(spread: float, correlation: float) -> None:
    """Two axles with Gaussian capacities that hold given forces: mean and rms of the margin of a million.

    Doubt: 4 standard errors of the draw; that the lesser of two is skewed by up to 0.14; and the tail beyond
    three rms, 4e-4 k of a Gaussian's mean and 0.0013 of its rms, by the reciprocal's slope there.
    """
    use = np.array([0.5, 0.45])
    sigma = spread * np.array([1.0, 1.1]) * use
    capacity = np.random.default_rng(2).multivariate_normal(
        [1.0, 1.0],
        spread**2
        * np.array([[1.0, 1.1 * correlation], [1.1 * correlation, 1.21]]),
        1_000_000,
    )
    margin = 1.0 - (use / capacity).max(axis=1)
    mean, found = margin_on_road(
        use, sigma**2, correlation * float(sigma.prod())
    )
    k = spread * 1.1
    slope = (1.0 - 3.0 * k) ** -2
    error = float(margin.std()) / 1000.0
    assert mean == pytest.approx(
        margin.mean(), abs=4 * error + 0.07 * k**3 + 2e-4 * k * slope
    )
    assert found == pytest.approx(
        margin.std(), rel=4 / 1000 + 0.14 * k + 0.0013 * slope**2
    )


def test_margin_of_an_idle_axle() -> None:
    """An axle that is asked for next to nothing has no part, however much its own use moves."""
    alone = margin_on_road(np.array([0.4, 0.0]), np.array([1e-4, 0.0]), 0.0)
    beside = margin_on_road(np.array([0.4, 1e-3]), np.array([1e-4, 4e-4]), 1e-4)
    assert alone == beside
    assert alone[1] == pytest.approx(
        0.01, rel=0.01
    )  # 0.01 by the slope, k = 0.025
    assert margin_on_road(np.zeros(2), np.zeros(2), 0.0) == (1.0, 0.0)


@pytest.mark.parametrize("spread", [0.05, 0.2, 0.6])
def test_margin_of_one_axle_by_quadrature(spread: float) -> None:
    """One axle far ahead, on any road: capacity 1 + spread z, not below z = -3, the margin from -1 up."""

    def margin(z: float) -> float:
        return max(-1.0, 1.0 - 0.6 / max(1.0 + spread * max(z, -3.0), 1e-9))

    bends = [
        -3.0,
        (0.3 - 1.0) / spread,
    ]  # where the tail begins, and where the margin is -1
    ends = {
        "points": [z for z in bends if -9.0 < z < 9.0],
        "limit": 500,
        "epsabs": 1e-10,
    }
    mean = quad(lambda z: norm.pdf(z) * margin(z), -9.0, 9.0, **ends)[0]
    square = quad(
        lambda z: norm.pdf(z) * (margin(z) - mean) ** 2, -9.0, 9.0, **ends
    )[0]
    found = margin_on_road(
        np.array([0.6, 1e-9]), np.array([(0.6 * spread) ** 2, 0.0]), 0.0
    )
    assert found == pytest.approx((mean, square**0.5), abs=1e-4)


def test_both_axles_of_a_rough_road() -> None:
    """Where even the larger use is lost in its rms, the other is not taken for one that is asked nothing."""
    alone = margin_on_road(np.array([0.5, 0.0]), np.array([0.36, 0.0]), 0.0)
    both = margin_on_road(np.array([0.5, 0.49]), np.array([0.36, 0.36]), 0.0)
    assert both[0] < alone[0] - 0.1


def test_share_under() -> None:
    """A Gaussian's tail, and what stands still."""
    mean, sigma = (
        np.array([100.0, -30.0, 0.0, 5.0, 0.0]),
        np.array([50.0, 20.0, 3.0, 0.0, 0.0]),
    )
    expected = [norm.cdf(-2.0), norm.cdf(1.5), 0.5, 0.0, 1.0]
    np.testing.assert_allclose(share_under(mean, sigma), expected, rtol=1e-12)


def test_response_wave_by_wave(bore: Project) -> None:
    """One frequency after another, solved as it stands: the same to 1e-8 of the largest; turned and braked."""
    cases = sweep_cases(bore.venue, np.array([0.9])).pick([1, 5])
    model = LikelyRides(bore, bore.setup, cases)
    for row in range(2):
        car, read = model.linear_car(row), slopes(model, row, 0.1)
        road = waves(A, 1.56, 21)
        found = road_response(car, read, road)
        met = under(car.contacts, road)
        for n, heights, one in zip(road.wavenumber, met, found, strict=True):
            s = 2j * np.pi * car.speed * n
            push = (car.road + s * np.pad(
                car.road_speed, ((0, 0), (0, car.road.shape[1] - 4))
            )) @ heights  # fmt: skip
            states = np.linalg.solve(s * np.eye(len(car.law)) - car.law, push)
            plain = read.by_state @ states[:7] + read.by_road @ heights
            np.testing.assert_allclose(
                one, plain, atol=1e-8 * np.abs(plain).max()
            )


def test_spare_grip_is_used_up_where_the_margin_is_at_the_floor(
    bore: Project,
) -> None:
    """With the margin itself for a floor, the axle that saturates has nothing to spare."""
    model = RideModel(bore, bore.setup, straight(bore, 80.0))
    first = int(model.result.answers["limiting"][0, 0])
    spare = slopes(model, 0, float(model.margin[0])).mean[12:]
    assert spare[first] == pytest.approx(0.0, abs=1e-6)  # N
    assert spare[1 - first] >= 0.0


def spare_grip(model: RideModel, floor: float, dx: Array, road: Array) -> Array:
    """(1 - floor) x the sum of both wheels' grip - what the axle must pass, N, `dx` (7) off the trim."""
    bodies, elements, points = model.packed
    motion = model.motion(0)
    state, bed, work = motion.state, motion.bed, motion.work
    setup, case = motion.setup, motion.case
    answer = np.zeros(1, ANSWER)[0]
    x = np.zeros(COLUMNS)
    begin(bodies[0], case, model.base(0)[0], state, x)
    x[:7] += dx
    put_road(bodies[0], elements, road, road, 0.0, state, bed)
    balance(bodies[0], elements, setup, case, state, bed, x, work)
    look_around(bodies[0], points, setup, case, state, x, work, answer)
    return np.array(
        (1.0 - floor) * answer.grip.reshape(2, 2).sum(axis=1) - state.demand
    )


def test_slopes_of_the_spare_grip(bore: Project) -> None:
    """Against differences ten times as long in drawn directions, to 1e-5 of the largest, their own error."""
    model, rng, floor = (
        RideModel(bore, bore.setup, straight(bore, 80.0)),
        np.random.default_rng(1),
        0.2,
    )
    read = slopes(model, 0, floor)
    level = np.zeros(model.columns)
    np.testing.assert_allclose(
        read.mean[12:], spare_grip(model, floor, np.zeros(7), level), rtol=1e-9
    )
    for _ in range(5):
        dx, de = (
            1e-5 * rng.normal(size=7),
            1e-5 * rng.normal(size=model.columns),
        )
        change = spare_grip(model, floor, dx, de) - spare_grip(
            model, floor, -dx, -de
        )
        found = 2.0 * (read.by_state[12:] @ dx + read.by_road[12:] @ de)
        np.testing.assert_allclose(
            found, change, atol=1e-5 * np.abs(change).max() + 1e-4
        )


# ---- the whole ---------------------------------------------------------------------------------------------


def test_points_are_enough(bore: Project) -> None:
    """With waves five times as close no rms value moves by 0.5 %, in any kind of case, and no rate by 1 %."""
    cases = sweep_cases(bore.venue, np.radians([0.0, 50.0, 100.0]))
    found = LinearRoad(LikelyRides(bore, bore.setup, cases), A, 60.0)(
        range(len(cases))
    )
    close = LinearRoad(
        LikelyRides(bore, bore.setup, cases), A, 60.0, points=2001
    )(range(len(cases)))
    assert POINTS <= 401
    for name in LINEAR.names:
        if name.startswith("sigma"):
            np.testing.assert_allclose(
                found[name], close[name], rtol=5e-3, atol=1e-9
            )
    np.testing.assert_allclose(
        found["crossing_rate"], close["crossing_rate"], rtol=1e-2, atol=1e-12
    )


def test_the_linear_car_in_time(even: Project) -> None:
    """The same matrices stepped over drawn roads: rms of outputs and crossings, to 3 % or 4 standard errors.

    Crossings, there and here, are those of either axle's spare grip through nothing.
    """
    model = LikelyRides(even, even.setup, straight(even, 120.0))
    seeds, seconds = 12, 6.0
    read, car, runs = slopes(model, 0, 0.0), model.linear_car(0), []
    for road in roads_under(model, 0, A, seeds, seconds, 0.02):
        speed = np.gradient(road[:, :4], STEP, axis=0)
        push = road @ car.road.T + speed @ car.road_speed.T
        whole = expm(STEP * car.law)
        half = expm(0.5 * STEP * car.law)
        states = np.zeros_like(push)
        for k in range(len(push) - 1):
            middle = 0.5 * STEP * (push[k] + push[k + 1])
            states[k + 1] = whole @ states[k] + half @ middle
        runs.append(
            (states[:, :7] @ read.by_state.T + road @ read.by_road.T)[
                int(RUN_IN / STEP) :
            ]
        )
    seen = np.array(runs)  # (seeds, samples, outputs)
    m0 = road_moments(car, read, waves(A, 1.56, POINTS))[0]
    found, error = rms(seen.mean(axis=1), (seen**2).mean(axis=1))
    np.testing.assert_array_less(
        np.abs(np.sqrt(m0[:OUTPUTS]) / found - 1),
        np.maximum(0.03, 4 * error / found),
    )
    spare = read.mean[12:] + seen[:, :, 12:]
    counts = ((spare[:, 1:] < 0) & (spare[:, :-1] >= 0)).sum(
        axis=(1, 2)
    ) / seconds
    rate = float(
        LinearRoad(LikelyRides(even, even.setup, model.cases), A, 10.0)([0])[
            "crossing_rate"
        ][0]
    )
    assert rate == pytest.approx(
        counts.mean(), abs=max(0.03 * rate, 4 * counts.std() / np.sqrt(seeds))
    )


@pytest.mark.parametrize(
    ("degrees", "road"), [(60.0, A), (30.0, Road(A.coefficient / 8))]
)
def test_against_rides_in_time(
    even: Project, degrees: float, road: Road
) -> None:
    """No wheel lifts: rms of margin, loads, gaps and travels of 8 nonlinear rides of 5 s.

    To 3 % or 4 standard errors of the rides, whichever is more. Loads, gaps and travels keep to the 3 %; the
    margin at 60 deg needs the errors, and its tail was chosen on rides like these; on the road of an eighth
    the tail plays no part. The mean margin, which the road lowers by 0.004 to 0.05, to a tenth of that or 4
    standard errors.
    """
    model = RideModel(even, even.setup, straight(even, degrees))
    rides = model.ride(
        0,
        roads_under(model, 0, road, 8, 5.0, 0.05),
        STEP,
        skip=int(RUN_IN / STEP / 2),
    )
    answer = LinearRoad(LikelyRides(even, even.setup, model.cases), road, 5.0)(
        [0]
    )[0]
    assert not rides["lost"].any()
    assert not rides["off_surface"].any()
    count = rides["samples"][:, None]
    for name in ("margin", "load", "gap", "travel"):
        first, second = (
            rides[field].reshape(8, -1) / count
            for field in (name, f"{name}_square")
        )
        found, error = rms(first, second)
        off = np.abs(np.atleast_1d(answer[f"sigma_{name}"]) / found - 1)
        assert (off < np.maximum(0.03, 4 * error / found)).all(), (
            name,
            off,
            error / found,
        )
    means = rides["margin"] / rides["samples"]
    lowered = answer["margin"] - means.mean()
    close = max(0.1 * lowered, 4.0 * means.std(ddof=1) / np.sqrt(len(means)))
    assert answer["margin"] - answer["mean_margin"] == pytest.approx(
        lowered, abs=close
    )


def test_rough_roads_are_not_linear(even: Project) -> None:
    """On twice class D wheels fly: both answers say so; the linear one has loads that no tyre can pull."""
    model = RideModel(even, even.setup, straight(even, 0.0))
    rough = Road(2.0 * D.coefficient)
    on = np.zeros((1, len(TRACE)))  # a ride that is looked at goes on
    rides = np.concatenate(
        [
            model.disturbed(
                0,
                road,
                2.0 * STEP,
                judged=False,
                every=1,
                skip=int(RUN_IN / STEP / 2),
                trace=on,
            )
            for road in roads_under(model, 0, rough, 6, 4.0, 0.05)
        ]
    )
    rides = rides[rides["samples"] > 0.0]
    assert rides.size >= 4
    answer = LinearRoad(
        LikelyRides(even, even.setup, model.cases), rough, 10.0
    )([0])[0]
    assert (rides["off_surface"] / rides["samples"]).min() > 0.2
    assert (answer["off_surface"] > 0.1).all()
    count = rides["samples"][:, None]
    loads, _ = rms(rides["load"] / count, rides["load_square"] / count)
    gaps, _ = rms(rides["gap"] / count, rides["gap_square"] / count)
    # beyond the 3 % that calm roads keep to; tyres that harden as they land take some of it back
    assert (answer["sigma_load"] > 1.03 * loads).all()
    assert (answer["sigma_gap"] < 0.9 * gaps).all()


def test_shares_of_the_time(bore: Project) -> None:
    """Gaussian tails from loads and travels in the trim: near bump at 0 deg, near droop at 120 rear left."""
    cases = straight(bore, 0.0, 120.0)
    body = RideModel(bore, bore.setup, cases).packed[0][0]
    trim = evaluate(bore, cases=cases).answers[0]
    answers = LinearRoad(LikelyRides(bore, bore.setup, cases), D, 10.0)([0, 1])
    off = norm.cdf(0.0, trim["load"], answers["sigma_load"])
    bump = norm.sf(body.bump_travel, trim["travel"], answers["sigma_travel"])
    droop = norm.cdf(
        -body.droop_travel, trim["travel"], answers["sigma_travel"]
    )
    np.testing.assert_allclose(answers["off_surface"], off, rtol=1e-6)
    np.testing.assert_allclose(answers["on_stop"], bump + droop, rtol=1e-6)
    assert (bump[0] > 10 * droop[0]).all()
    assert droop[1, 2] > 2 * bump[1, 2]


def test_rms_grows_as_the_road(bore: Project) -> None:
    """A road of four times the coefficient has twice the rms of all that is linear; the trim stays."""
    cases = straight(bore, 30.0)
    one, two = (
        LinearRoad(LikelyRides(bore, bore.setup, cases), road, 10.0)([0])[0]
        for road in (A, Road(4 * A.coefficient))
    )
    for name in ("sigma_use", "sigma_load", "sigma_gap", "sigma_travel"):
        np.testing.assert_allclose(two[name], 2 * one[name], rtol=1e-9)
    assert one["margin"] == two["margin"]
    assert two["mean_margin"] < one["mean_margin"] < one["margin"]


def test_under_the_floor_without_a_road(bore: Project) -> None:
    """The chance is then 1, whatever the seconds; else it is nothing in no time."""
    cases = straight(bore, 100.0)
    margin = float(
        LinearRoad(LikelyRides(bore, bore.setup, cases), A, 0.0)([0])["margin"][
            0
        ]
    )
    over, under = (
        LinearRoad(LikelyRides(bore, bore.setup, cases), A, 0.0, margin + off)(
            [0]
        )[0]
        for off in (-0.01, 0.01)
    )
    assert over["chance"] == 0.0
    assert under["chance"] == 1.0
    assert over["crossing_rate"] == pytest.approx(
        under["crossing_rate"], rel=0.05
    )


def test_lost_cases_and_standing_cars(bore: Project) -> None:
    """No number where there is no ride, alone of its chunk; a standing car crosses no level."""
    cases = straight(bore, 0.0, 150.0, 30.0)
    cases.records["speed"][:] = [SPEED, 5.0, 0.0]
    answers = LinearRoad(LikelyRides(bore, bore.setup, cases), A, 10.0)(
        [0, 1, 2]
    )
    assert all(np.isnan(answers[1][name]).all() for name in LINEAR.names)
    assert all(
        np.isfinite(answers[row][name]).all()
        for row in (0, 2)
        for name in LINEAR.names
    )
    assert answers["crossing_rate"][2] == 0.0


def test_chunks_are_pieces_of_the_whole(bore: Project) -> None:
    """Any cut of the rows gives the same records; another process gets the work whole."""
    cases = sweep_cases(bore.venue, np.radians([20.0, 110.0]))
    work = LinearRoad(LikelyRides(bore, bore.setup, cases), A, 10.0, floor=0.1)
    whole = work(range(6))
    assert whole.dtype == LINEAR
    sent = pickle.loads(pickle.dumps(work))
    pieces = np.concatenate(
        [work([0]), sent(np.array([1, 2, 3])), work([4, 5])]
    )
    assert whole.tobytes() == pieces.tobytes()
