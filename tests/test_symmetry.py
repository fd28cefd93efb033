"""What must hold whatever the car and the case: symmetries and directions, on drawn examples."""

from __future__ import annotations

from dataclasses import replace
from math import atan, pi
from typing import Any

import numpy as np
import pytest
from cars import (
    CAR,
    PLAIN_SETUP,
    SETUP,
    both_axles,
    plain_car,
    set_both,
    solve,
    speed_for,
    venue,
    with_downforce,
)
from drawn import drawn
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from setupopt.evaluation.model import Model
from setupopt.physics.inputs import SIDESLIP, STEER, Record
from setupopt.project.model import Car, Setup

Case = dict[str, Any]
QUICK = settings(max_examples=40, deadline=None, derandomize=True)


def between(low: float, high: float) -> st.SearchStrategy[float]:
    """Numbers of a range, some of them at its ends or in its middle."""
    return st.floats(low, high, allow_nan=False) | st.sampled_from(
        [low, 0.5 * (low + high), high]
    )


def axle_setups() -> st.SearchStrategy[dict[str, float]]:
    """Settings of one axle that a garage might try."""
    return st.fixed_dictionaries({
        "camber": between(-0.1, 0.02),
        "ride_height": between(0.025, 0.08),
        "spring": between(8e4, 3e5),
        "anti_roll": between(0.0, 1e5),
        "third": between(0.0, 1e5),
        "pressure": between(1e5, 2e5),
    })  # fmt: skip


@st.composite
def setups(draw: st.DrawFn) -> Setup:
    """A setup of the invented car."""
    front, rear = draw(axle_setups()), draw(axle_setups())
    return replace(
        SETUP,
        front=replace(SETUP.front, **front),
        rear=replace(SETUP.rear, **rear),
    )


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """A load case on a section of its own: flat, or a bore down to 6 m radius."""
    return {
        "roll_angle": draw(between(-pi, pi)),
        "speed": draw(between(30.0, 80.0)),
        "heading": draw(between(-0.2, 0.2)),
        "acceleration": draw(between(-8.0, 4.0)),
        "path_curvature": draw(between(-0.002, 0.002)),
        "turn_curvature": draw(st.just(0.0) | between(0.0, 0.005)),
        "headwind": draw(between(-6.0, 6.0)),
        "crosswind": draw(between(-6.0, 6.0)),
        "bump": tuple(draw(between(-0.01, 0.01)) for _ in range(4)),
        "radius": draw(st.just(np.inf) | between(6.0, 40.0)),
    }


def answer(car: Car, setup: Setup, case: Case, **place: float) -> Record:
    """One case's answer."""
    return solve(car, setup, venue(**place), **case).answers[0, 0]


OTHER_SIDE = [1, 0, 3, 2]


def mirrored(case: Case) -> Case:
    """Left for right. The horizontal turn keeps to the low side, which changes sides with the angle."""
    turned = ("roll_angle", "heading", "path_curvature", "crosswind")
    bump = tuple(case["bump"][w] for w in OTHER_SIDE)
    return case | {name: -case[name] for name in turned} | {"bump": bump}


CLOSE = 1e-8  # of margin, weight, metre: the trims' own 1e-10 over the softest way a held car can give


@QUICK
@given(
    setup=setups(),
    case=cases(),
    differential=st.sampled_from(["open", "locked"]),
)
def test_mirror(setup: Setup, case: Case, differential: Any) -> None:
    """Angle, heading, crosswind and path turned round, left bumps for right: all the same, mirrored."""
    low_side = abs(np.sin(case["roll_angle"])) > 1e-9
    assume(
        low_side or not case["turn_curvature"]
    )  # without a low side a turn is to the right
    car = replace(CAR, differential=differential)
    one, other = answer(car, setup, case), answer(car, setup, mirrored(case))
    weight = car.mass * 9.80665
    assert one.contact == other.contact
    assert other.load[OTHER_SIDE] == pytest.approx(one.load, abs=CLOSE * weight)
    assert other.grip[OTHER_SIDE] == pytest.approx(one.grip, abs=CLOSE * weight)
    assert other.travel[OTHER_SIDE] == pytest.approx(one.travel, abs=CLOSE)
    assert other.inclination[OTHER_SIDE] == pytest.approx(
        one.inclination, abs=CLOSE
    )
    assert other.state[:3] * [1, 1, -1] == pytest.approx(
        one.state[:3], abs=CLOSE
    )
    angles = [SIDESLIP, STEER]
    assert -other.state[angles] == pytest.approx(one.state[angles], abs=CLOSE)
    assert other.ride_gap == pytest.approx(one.ride_gap, abs=CLOSE)
    assert other.use == pytest.approx(one.use, rel=CLOSE, abs=CLOSE)
    if one.contact:
        assert other.margin == pytest.approx(one.margin, rel=CLOSE, abs=CLOSE)


@QUICK
@given(case=cases(), angle=between(0.3, pi))
def test_mirror_of_lifted_and_lost_cases(case: Case, angle: float) -> None:
    """Straight across a section, with little downforce: the same verdict either way, margin to 1e-6."""
    car = with_downforce(CAR, 0.35)
    plain = case | {
        "roll_angle": angle,
        "heading": 0.0,
        "bump": (0.0,) * 4,
        "turn_curvature": 0.0,
    }
    one, other = answer(car, SETUP, plain), answer(car, SETUP, mirrored(plain))
    assert one.contact == other.contact
    if one.contact:
        assert other.margin == pytest.approx(one.margin, rel=1e-6, abs=1e-6)


@settings(QUICK, max_examples=12)  # twice a solve at half the grip
@given(
    case=cases(),
    grip=between(0.4, 1.2),
    differential=st.sampled_from(["open", "locked"]),
)
def test_more_surface_grip_is_more_margin(
    case: Case, grip: float, differential: Any
) -> None:
    """All friction is in proportion to the surface's grip: what holds at least is the car's, whatever it is.

    So the friction factor times the grip stays, to the 1e-6 to which a fold is found and once more for its
    start, and the margin only ever rises. Cars that hold on the poorer surface; those that do not may be
    found on another branch.
    """
    car = replace(CAR, differential=differential)
    low, high = (
        answer(car, SETUP, case, grip=grip),
        answer(car, SETUP, case, grip=1.5 * grip),
    )
    assert high.contact or not low.contact
    assume(low.contact and not low.slides)
    assert 1.5 * high.friction_factor == pytest.approx(
        low.friction_factor, abs=5e-6
    )
    assert high.margin > low.margin


@QUICK
@given(
    angle=between(0.0, pi),
    weights=between(0.0, 2.0),
    more=between(0.0, 1.0),
    height=between(0.15, 0.5),
    spring=between(6e4, 4e5),
)
@example(angle=pi, weights=0.99, more=0.02, height=0.3, spring=1e5)
@example(angle=2.2, weights=0.3, more=0.1, height=0.45, spring=8e4)
def test_more_downforce_never_loses_contact(
    angle: float, weights: float, more: float, height: float, spring: float
) -> None:
    """Held stays held; a lost case needs no more press. Narrowed to where it is a theorem:

    straight on a flat surface, an evenly laden car without links, its air pressing at its middle
    whatever the gap. The air then adds to both wheels alike and lowers the CG, and gravity's moment
    needs a smaller share of a larger sum; tyres only get stiffer with load. With gap-dependent air,
    links or bends it need not hold: a floor may stall as it is pulled down.
    """
    car, setup = (
        plain_car(cg_height=height),
        set_both(PLAIN_SETUP, spring=spring),
    )
    less_speed, more_speed = (
        speed_for(car, weights),
        speed_for(car, weights + more),
    )
    less, more_pressed = (
        answer(car, setup, {"roll_angle": angle, "speed": v})
        for v in (less_speed, more_speed)
    )
    assert more_pressed.contact or not less.contact
    assert more_pressed.press <= less.press + 1e-8


@pytest.mark.parametrize("seed", range(12))
def test_more_downforce_on_drawn_cars(seed: int) -> None:
    """No theorem, but seen on every car tried: with all areas grown together, lost, then held, then held."""
    d = drawn(seed)
    d.case.update(
        roll_angle_deg=90.0 + 7.0 * seed,
        speed_m_s=55.0,
        path_curvature_per_m=0.0,
    )
    held = []
    for share in np.linspace(0.0, 1.5, 31):
        model = Model(with_downforce(d.project.car, float(share)))
        held.append(
            bool(
                model.run(model.settings([d.project.setup]), d.cases).contact[
                    0, 0
                ]
            )
        )
    assert held == sorted(held)
    assert held[-1]


@QUICK
@given(case=cases(), thinner=between(0.5, 2.0))
def test_thicker_air_at_lower_speed(case: Case, thinner: float) -> None:
    """On a straight path only rho v^2 counts: the same pressures, the same answer.

    A bend turns the wheels' own paths besides, whatever the speed.
    """
    scale = thinner**-0.5
    straight = case | {
        "heading": 0.0,
        "path_curvature": 0.0,
        "turn_curvature": 0.0,
    }
    fast = {
        name: straight[name] * scale
        for name in ("speed", "headwind", "crosswind")
    }
    one = answer(CAR, SETUP, straight, density=1.2)
    other = answer(CAR, SETUP, straight | fast, density=1.2 * thinner)
    assert one.contact == other.contact
    assert other.load == pytest.approx(one.load, abs=CLOSE * CAR.mass * 9.80665)
    assert other.use == pytest.approx(one.use, rel=CLOSE, abs=CLOSE)


@QUICK
@given(setup=setups(), grade=between(-0.3, 0.3), speed=between(10.0, 70.0))
def test_a_grade_is_a_grade(setup: Setup, grade: float, speed: float) -> None:
    """Uphill by the venue's slope, or square across a plane banked as much: the same flat surface."""
    along = solve(CAR, setup, venue(slope=atan(grade)), speed=speed).answers[
        0, 0
    ]
    across = solve(
        CAR, setup, venue(), roll_angle=atan(grade), heading=pi / 2, speed=speed
    ).answers[0, 0]
    assert across.load == pytest.approx(
        along.load, abs=CLOSE * CAR.mass * 9.80665
    )
    assert across.use == pytest.approx(along.use, rel=CLOSE, abs=CLOSE)
    assert across.state == pytest.approx(along.state, abs=CLOSE)


@QUICK
@given(setup=setups(), speed=between(10.0, 70.0), heading=between(-3.0, 3.0))
def test_heading_does_not_matter_on_the_level(
    setup: Setup, speed: float, heading: float
) -> None:
    """Flat and level, there is no direction that differs from another."""
    one = solve(CAR, setup, venue(), speed=speed).answers[0, 0]
    other = solve(CAR, setup, venue(), speed=speed, heading=heading).answers[
        0, 0
    ]
    assert other.load == pytest.approx(one.load, abs=CLOSE * CAR.mass * 9.80665)
    assert other.use == pytest.approx(one.use, rel=CLOSE, abs=CLOSE)


@QUICK
@given(setup=setups(), case=cases())
def test_whole_turns_of_the_roll_angle(setup: Setup, case: Case) -> None:
    """-180 deg and 180 deg are one place, as are 30 and 390 deg."""
    assume(not case["turn_curvature"])  # its low side is told by the sign
    one = answer(CAR, setup, case)
    other = answer(
        CAR, setup, case | {"roll_angle": case["roll_angle"] + 2 * pi}
    )
    assert other.use == pytest.approx(one.use, rel=CLOSE, abs=CLOSE)


@QUICK
@given(case=cases(), factor=between(0.3, 3.0))
def test_a_car_of_another_scale(case: Case, factor: float) -> None:
    """All masses, stiffnesses and areas multiplied: the same motion, forces multiplied.

    Of friction only p / p_ref counts, so its reference pressure is multiplied too. Compliance is
    per force: divided.
    """
    tyre = replace(
        CAR.front.tyre,
        foundation=factor * CAR.front.tyre.foundation,
        foundation_per_pressure=factor * CAR.front.tyre.foundation_per_pressure,
        friction_pressure=factor * CAR.front.tyre.friction_pressure,
        compliance=CAR.front.tyre.compliance / factor,
    )
    air = replace(
        CAR.air,
        drag_area=factor * CAR.air.drag_area,
        side_area=factor * CAR.air.side_area,
    )
    car = with_downforce(replace(CAR, mass=factor * CAR.mass, air=air), factor)
    ends = {
        end: heavier(getattr(car, end), factor) for end in ("front", "rear")
    }
    car = both_axles(replace(car, **ends), tyre=tyre)
    setup = replace(
        SETUP,
        front=stiffer(SETUP.front, factor),
        rear=stiffer(SETUP.rear, factor),
    )
    one, other = answer(CAR, SETUP, case), answer(car, setup, case)
    assert other.state == pytest.approx(one.state, abs=CLOSE)
    assert other.load / factor == pytest.approx(
        one.load, abs=CLOSE * CAR.mass * 9.80665
    )
    assert other.use == pytest.approx(one.use, rel=CLOSE, abs=CLOSE)


def heavier(axle: Any, factor: float) -> Any:
    """The axle with its masses and stop rates multiplied."""
    return replace(
        axle,
        unsprung_mass=factor * axle.unsprung_mass,
        stop_rate=factor * axle.stop_rate,
    )


def stiffer(axle: Any, factor: float) -> Any:
    """The axle's setup with every rate multiplied."""
    return replace(
        axle,
        **{
            name: factor * getattr(axle, name)
            for name in ("spring", "anti_roll", "third")
        },
    )


def test_draws_hold_what_the_properties_need() -> None:
    """Attitudes as above reach lost cases, lifted wheels and cases with all wheels well down."""
    rng, count = np.random.default_rng(3), 400
    result = solve(
        CAR,
        SETUP,
        roll_angle=rng.uniform(-pi, pi, count),
        speed=rng.uniform(30, 80, count),
        heading=rng.uniform(-0.2, 0.2, count),
        path_curvature=rng.uniform(-0.002, 0.002, count),
        radius=rng.uniform(6, 40, count),
    )
    least = result.answers["load"][0].min(axis=1)
    assert 20 < result.lost() < 300
    assert (least > 50.0).sum() > 100
    assert ((least == 0.0) & result.contact[0]).sum() > 10
