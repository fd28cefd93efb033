"""A car whose corners differ: statics of the pad, mirror images, and what each new setting must do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cars import (
    CAR,
    PLAIN_SETUP,
    SETUP,
    both_axles,
    load_cases,
    on_tyres,
    plain_car,
    set_both,
    solve,
    venue,
)

from setupopt.evaluation.model import Model
from setupopt.evaluation.setup_record import by_wheel
from setupopt.physics.inputs import Record
from setupopt.project.model import (
    BalanceSetup,
    Ballast,
    Car,
    Project,
    Setup,
    WheelSetup,
    WingSetting,
)
from setupopt.project.static_checks import corner_loads
from setupopt.robust.speeds.motion import PathForces
from setupopt.sheet.build import as_written, changed
from setupopt.sheet.pad_state import Pad
from setupopt.units import GRAVITY


def uneven() -> tuple[Car, Setup]:
    """A car for left turns: weight, tyres and settings of each side of their own, wedged."""
    tall = replace(
        CAR.rear.tyre, name="tall", radius=CAR.rear.tyre.radius + 0.004
    )
    car = replace(CAR, left_share=0.54, rear=replace(CAR.rear, tyre_right=tall))
    left = WheelSetup(
        camber=0.03, spring=120e3, pressure=1.2e5, toe=-0.001, ride_height=0.034
    )
    right = WheelSetup(
        camber=-0.06, spring=170e3, pressure=1.6e5, toe=0.002, ride_height=0.036
    )
    setup = replace(SETUP, front=replace(SETUP.front, left=left, right=right))
    rear = replace(
        setup.rear,
        left=WheelSetup(spring=150e3),
        right=WheelSetup(spring=175e3),
    )
    pod = Ballast("pod", 15.0, 1.1, 0.5, 0.1)
    return car, replace(
        setup, rear=rear, balance=BalanceSetup(cross_share=0.53), ballast=(pod,)
    )


def mirrored(car: Car, setup: Setup) -> tuple[Car, Setup]:
    """The same car in a mirror."""
    axles = [
        replace(a, tyre=a.tyres[1], tyre_right=a.tyres[0])
        for a in (car.front, car.rear)
    ]
    sides = [
        replace(a, left=a.right, right=a.left)
        for a in (setup.front, setup.rear)
    ]
    cross = setup.balance.cross_share
    balance = replace(
        setup.balance, cross_share=None if cross is None else 1.0 - cross
    )
    ballast = tuple(replace(piece, side=-piece.side) for piece in setup.ballast)
    image = replace(
        setup, front=sides[0], rear=sides[1], balance=balance, ballast=ballast
    )
    return replace(
        car, front=axles[0], rear=axles[1], left_share=1.0 - car.left_share
    ), image


def answer(car: Car, setup: Setup, **case: float) -> Record:
    """A banked turn, round to the left for a positive curvature."""
    return solve(
        car, setup, venue(), speed=55.0, acceleration=0.5, **case
    ).answers[0, 0]


def test_a_mirror_image_answers_as_one() -> None:
    """Left for right in car, setup and turn: the same margin, the loads of the other side."""
    one = answer(*uneven(), path_curvature=0.004, crosswind=2.0)
    image = answer(*mirrored(*uneven()), path_curvature=-0.004, crosswind=-2.0)
    assert image["margin"] == pytest.approx(one["margin"], abs=1e-7)
    assert image["load"][[1, 0, 3, 2]] == pytest.approx(
        one["load"], abs=1e-4
    )  # N
    assert not np.allclose(one["load"], one["load"][[1, 0, 3, 2]], rtol=0.05)


def test_the_way_round_matters() -> None:
    """An uneven car turns better one way than the other; an even one either way alike."""
    left, right = (
        answer(*uneven(), path_curvature=c)["margin"] for c in (0.006, -0.006)
    )
    assert abs(left - right) > 0.002
    even = [
        answer(CAR, SETUP, path_curvature=c)["margin"] for c in (0.006, -0.006)
    ]
    assert even[0] == pytest.approx(even[1], abs=1e-7)


def test_corner_weights_are_statics() -> None:
    """Four equations for four scales: sum, front share, moment about the length, one diagonal."""
    car = replace(both_axles(CAR, track=1.5), left_share=0.54, cross_share=0.53)
    load = np.array(corner_loads(car)) / (car.mass * GRAVITY)
    assert load.sum() == pytest.approx(1.0)
    assert load[0] + load[1] == pytest.approx(car.front_share)
    assert load[0] + load[2] == pytest.approx(0.54)
    assert load[1] + load[2] == pytest.approx(0.53)


def test_other_tracks_keep_the_cg() -> None:
    """With unequal tracks the moment about the CG stays nothing for any cross weight."""
    for cross in (0.45, 0.5, 0.56):
        car = replace(CAR, left_share=0.54, cross_share=cross)
        body = Model(car).packed[0][0]
        assert body["static_load"] @ body["y"] == pytest.approx(0.0, abs=1e-8)
        assert body["static_load"] @ body["x"] == pytest.approx(0.0, abs=1e-8)


def test_a_car_rests_on_its_pad() -> None:
    """At rest nothing moves, whatever the corners: loads are the scales', travel and roll nothing.

    On wheels that stand upright and straight: their thrust would push the car aside.
    """
    car, setup = uneven()
    plain = on_tyres(
        replace(car, rear=replace(car.rear, tyre_right=None)),
        camber_thrust_share=0.0,
    )
    straight = replace(WheelSetup(), camber=0.0, toe=0.0)
    axles = {
        name: replace(
            getattr(setup, name),
            camber=0.0,
            toe=0.0,
            left=straight,
            right=straight,
        )
        for name in ("front", "rear")
    }
    stood = replace(setup, **axles)
    found = solve(plain, stood, venue(), speed=0.01).answers[0, 0]
    model = Model(plain)
    body = model.packed_for(model.settings(stood)[0])[0][0]
    assert found["load"] == pytest.approx(body["static_load"], abs=0.05)  # N
    assert np.abs(found["travel"]).max() < 1e-6  # m


def test_a_raised_perch_loads_its_diagonal() -> None:
    """dN = z / sum(1 / k), equal tracks: moments about both axes; k of spring and tyre in series.

    Two lines of statics: the four loads change by the same amount, plus on the perch's diagonal. The body
    tilts by micrometres, which carries its CG aside; of that the mean of the diagonals knows nothing. Rates
    of the tyres are those at the static load, so a perch of 0.2 mm is small enough for 0.2 %.
    """
    car = replace(plain_car(), mass=600.0)
    setup = set_both(PLAIN_SETUP, spring=90e3)
    project = Project(Path(), car, venue(), setup, None, ())
    pad = Pad(project, setup)
    still = as_written(setup)
    rise = 2e-4
    before = pad.reading(still)
    after = pad.reading(changed(still, perch=np.array([rise, 0.0, 0.0, 0.0])))
    more = after.load - before.load
    expected = rise / (4.0 / _corner_rate(car, setup))
    diagonal = np.array([1.0, -1.0, -1.0, 1.0])
    assert more @ diagonal / 4.0 == pytest.approx(expected, rel=2e-3)
    assert (np.sign(more) == diagonal).all()


def _corner_rate(car: Car, setup: Setup) -> float:
    """Spring and tyre of one corner in series, N/m, by the tyre's own slope about its static load."""
    heavier, lighter = (
        replace(car, mass=car.mass * share) for share in (1.001, 0.999)
    )
    pairs = []
    for one in (heavier, lighter):
        model = Model(one)
        settings = model.settings(setup)[0]
        pairs.append(
            (model.packed[0][0]["static_load"][0], settings["penetration"][0])
        )
    (high, deep), (low, shallow) = pairs
    tyre = (high - low) / (deep - shallow)
    return 1.0 / (1.0 / setup.front.spring + 1.0 / tyre)


def test_stagger_turns_a_locked_axle() -> None:
    """A larger right rear tyre on a locked axle steers the car to the left: it needs less steer to the left.

    Common practice, no source: stagger is what oval cars turn by.
    """
    tall = replace(
        CAR.rear.tyre, name="tall", radius=CAR.rear.tyre.radius + 0.006
    )
    locked = replace(CAR, driven="rear", drive_front=0.0, differential="locked")
    staggered = replace(locked, rear=replace(locked.rear, tyre_right=tall))
    steer = [
        answer(car, SETUP, path_curvature=0.003)["state"][8]
        for car in (locked, staggered)
    ]
    assert steer[1] < steer[0] - 1e-4


def test_settings_of_the_car_reach_it() -> None:
    """Brake and drive split, cross weight and ballast make another car; without them it is the car itself."""
    model = Model(CAR)
    assert model.settings(SETUP)["car"][0] == 0
    asked = replace(
        SETUP,
        balance=BalanceSetup(
            brake_front=0.7, drive_front=0.4, cross_share=0.52
        ),
    )
    settings = model.settings(asked)
    body = model.packed_for(settings[0])[0][0]
    assert body["brake"].tolist() == [0.7, pytest.approx(0.3)]
    assert body["drive"].tolist() == [0.4, 0.6]
    load = body["static_load"]
    assert (load[1] + load[2]) / load.sum() == pytest.approx(0.52)
    assert model.settings([asked, SETUP, asked])["car"].tolist() == [1, 0, 1]
    assert by_wheel(asked)["cross_share"][0] == 0.52


def test_a_car_stays_when_others_are_added() -> None:
    """Many kinds of one car: each keeps the mass that its own ballast makes."""
    model = Model(CAR)
    setups = [
        replace(SETUP, ballast=(Ballast("pod", mass, 1.1, 0.0, 0.1),))
        for mass in range(1, 8)
    ]
    rows = [model.settings(setup)[0] for setup in setups]
    found = [
        model.packed_for(row)[0]["static_load"].sum() / GRAVITY for row in rows
    ]
    assert found == pytest.approx([CAR.mass + mass for mass in range(1, 8)])


def test_speeds_know_wings_and_ballast() -> None:
    """Drag slows by force over mass: a wing set steeper adds its drag, ballast its mass. D / m by hand."""
    rows = tuple(
        WingSetting(angle, 0.5, 0.0, 0.05, drag)
        for angle, drag in ((0.0, 0.1), (0.2, 0.4))
    )
    first, *others = CAR.air.elements
    wing = replace(first, drag_area=0.1, settings=rows)
    car = replace(
        CAR, air=replace(CAR.air, drag_area=1.0, elements=(wing, *others))
    )
    flat = replace(SETUP, wings=((wing.name, 0.0),))
    steep = replace(
        flat,
        wings=((wing.name, 0.2),),
        ballast=(Ballast("pod", 20.0, 1.2, 0.0, 0.2),),
    )
    cases = load_cases(venue(), speed=50.0).records
    slowed = [
        PathForces(
            Project(Path(), car, venue(), setup, None, ()), cases
        ).deceleration(np.array([50.0]))[0]
        for setup in (flat, steep)
    ]
    assert slowed[0] == pytest.approx(0.5 * 1.2 * 50.0**2 * 1.0 / 780.0)
    assert slowed[1] == pytest.approx(0.5 * 1.2 * 50.0**2 * 1.3 / 800.0)
