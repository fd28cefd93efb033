"""Invented cars, setups and load cases for the tests, from model objects in SI. No such car exists."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import Any

import numpy as np

from setupopt.evaluation.cases import CaseSet, table_cases
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.project.cases_file import CaseTable
from setupopt.project.model import (
    Air,
    AirElement,
    Axle,
    AxleSetup,
    Car,
    ClearancePoint,
    Setup,
    Sweep,
    Tyre,
    Venue,
)

GRAVITY = 9.80665
STRAIGHT = Sweep(0.0, 0.0, 1.0, 0.0)

SLICK = Tyre(
    name="slick", radius=0.33, tread_width=0.30, crown_radius=1.5, foundation=8e6,
    foundation_per_pressure=120.0, friction=1.6, friction_pressure=2e5, friction_exponent=0.15,
    compliance=3e-6, shear_per_foundation=1.8, camber_thrust_share=0.5, friction_least_pressure=0.0,
    carcass=0.0, carcass_per_pressure=0.0, load_limit=None, damping=None,
)  # fmt: skip
FRONT = Axle(
    1.60,
    22.0,
    0.31,
    0.03,
    -0.35,
    0.9,
    0.040,
    0.030,
    4e5,
    0.10,
    None,
    None,
    None,
    0.33,
    SLICK,
)
REAR = Axle(
    1.58,
    25.0,
    0.315,
    0.045,
    -0.26,
    0.85,
    0.045,
    0.035,
    4e5,
    0.15,
    None,
    None,
    None,
    0.33,
    SLICK,
)
WING = AirElement("front wing", -0.7, 0.4, 1.5, 0.04, 0.6, 0.5, 0.06, 2.0)
FLOOR = AirElement("floor", 1.4, 1.8, 1.2, 0.01, 0.4, 2.0, 0.05, 4.0)
TAIL = AirElement("tail", 2.9, 0.4, 1.0, 0.6, 1.4, 0.0, 0.1, 1.0)
AIR = Air(1.2, 0.4, 3.0, 1.5, 0.35, 0.0, 2.6, (WING, FLOOR, TAIL))
NOSE = ClearancePoint("nose", -0.8, 0.0, 0.005, 0.008)
CAR = Car(
    "test car", 780.0, 2.6, 0.45, 0.28, "all", 0.3, 0.58, "locked", None, None, None, None,
    FRONT, REAR, AIR, (NOSE,),
)  # fmt: skip
SETUP = Setup(
    "baseline",
    AxleSetup(-0.044, 0.035, 140e3, 40e3, 60e3, 1.4e5, 0.001),
    AxleSetup(-0.035, 0.045, 160e3, 20e3, 80e3, 1.3e5, -0.0005),
)


def both_axles(car: Car, **changes: Any) -> Car:
    """The car with the same entries changed at both ends."""
    return replace(
        car,
        front=replace(car.front, **changes),
        rear=replace(car.rear, **changes),
    )


def on_tyres(car: Car, **changes: Any) -> Car:
    """The car on changed tyres all round."""
    return both_axles(car, tyre=replace(car.front.tyre, **changes))


def set_both(setup: Setup, **changes: Any) -> Setup:
    """The setup with the same settings changed at both ends."""
    return replace(
        setup,
        front=replace(setup.front, **changes),
        rear=replace(setup.rear, **changes),
    )


def with_downforce(car: Car, share: float) -> Car:
    """The car with every downforce area scaled: the balance of the air stays."""
    scaled = [
        replace(
            e, free_area=share * e.free_area, ground_area=share * e.ground_area
        )
        for e in car.air.elements
    ]
    return replace(car, air=replace(car.air, elements=tuple(scaled)))


def middle_press(area: float) -> Air:
    """Air that only presses, wherever the floor is, in one point half way along a 2.6 m wheelbase."""
    point = AirElement("press", 1.3, 0.0, 0.0, 0.0, area, 0.0, 0.1, 0.0)
    return Air(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 2.6, (point,))


def plain_car(
    mass: float = 1000.0,
    cg_height: float = 0.3,
    track: float = 1.5,
    friction: float = 1.5,
    area: float = 2.0,
) -> Car:
    """Evenly laden, without links, camber gain and thrust, load sensitivity; the air presses at its middle.

    Its wheels weigh next to nothing. Car and tyre friction follow closed forms.
    """
    tyre = replace(
        SLICK,
        friction=friction,
        friction_exponent=0.0,
        compliance=0.0,
        camber_thrust_share=0.0,
    )
    axle = Axle(
        track,
        1e-3,
        cg_height,
        0.0,
        0.0,
        1.0,
        0.5,
        0.5,
        1e6,
        0.0,
        None,
        None,
        None,
        0.33,
        tyre,
    )
    return Car(
        "plain car", mass, 2.6, 0.5, cg_height, "rear", 0.0, 0.5, "locked", None, None, None, None,
        axle, axle, middle_press(area), (),
    )  # fmt: skip


_NONE = dict.fromkeys(("camber", "toe", "anti_roll", "third"), 0.0)
PLAIN_SETUP = set_both(
    SETUP, ride_height=0.05, spring=150e3, pressure=1.4e5, **_NONE
)


def stiffened(car: Car) -> Car:
    """The car on hard tyres with a sharp tread: 5 kN presses them in by a micrometre.

    The middle of such a patch stays in the wheel's plane, however the wheel leans. Its tread is so soft
    in shear that it takes slips of degrees, as real tyres do.
    """
    return on_tyres(
        car, foundation=1e18, crown_radius=1e-5, shear_per_foundation=0.05
    )


def evenly_driven(car: Car) -> Car:
    """The car with half of all force along on each axle, and no differential that yaws it.

    Held across its path by a crab angle, gravity also pulls it along: with even shares and even loads both
    axles then use the same part of their grip, whatever the crab angle. A newton or so of drag keeps the car
    driven: at no force along, the rules of drive and brakes change places.
    """
    air = replace(car.air, drag_area=1e-3)
    return replace(
        car,
        driven="all",
        drive_front=0.5,
        brake_front=0.5,
        differential="open",
        air=air,
    )


# so stiff that the body moves by micrometres
STIFF_SETUP = set_both(PLAIN_SETUP, spring=1e10)


def venue(
    curvature: float = 0.0,
    slope: float = 0.0,
    grip: float = 1.0,
    density: float = 1.2,
) -> Venue:
    """A place of one section, its axis rising by `slope` (rad)."""
    section = "circle" if curvature else "flat"
    return Venue(
        "place", section, curvature, slope, grip, density, None, STRAIGHT, ()
    )


COLUMNS = (
    "roll_angle",
    "speed",
    "heading",
    "acceleration",
    "path_curvature",
    "yaw_acceleration",
    "turn_curvature",
    "headwind",
    "crosswind",
)


def load_cases(
    place: Venue,
    bump: Any = (0.0, 0.0, 0.0, 0.0),
    radius: Any = None,
    **columns: Any,
) -> CaseSet:
    """Load cases by columns of CASE, each a number or an array; `radius` (m, inf flat) by case."""
    given = {
        name: np.asarray(columns.pop(name, 0.0), dtype=float)
        for name in COLUMNS
    }
    assert not columns, f"no such columns: {list(columns)}"
    curvature = np.asarray(
        place.curvature
        if radius is None
        else 1.0 / np.asarray(radius, dtype=float)
    )
    count = max(
        1,
        *(np.size(v) for v in (*given.values(), curvature)),
        len(np.atleast_2d(bump)),
    )
    full = {
        name: np.broadcast_to(value, count).copy()
        for name, value in given.items()
    }
    table = CaseTable(
        **full,
        bump=np.broadcast_to(np.asarray(bump, dtype=float), (count, 4)).copy(),
        curvature=np.broadcast_to(curvature, count).copy(),
        label=[str(i + 1) for i in range(count)],
    )
    return table_cases(table, place)


def solve(
    car: Car, setup: Setup, place: Venue | None = None, **columns: Any
) -> Result:
    """One setup in load cases given by columns."""
    model = Model(car)
    return model.run(
        model.settings([setup]), load_cases(place or venue(), **columns)
    )


def solve_without_crab(
    car: Car, setup: Setup, place: Venue | None = None, **columns: Any
) -> Result:
    """As `solve`, but surface, wind and gravity do not see the sideslip: closed forms of a point."""
    cases = load_cases(place or venue(), **columns)
    cases.records["crab"] = 0.0
    model = Model(car)
    return model.run(model.settings([setup]), cases)


def starts_of(result: Result, setup: int = 0) -> np.ndarray:
    """First guesses (cases) from an evaluation: the answers of one of its setups."""
    return result.answers[setup]


def speed_for(car: Car, weights: float, density: float = 1.2) -> float:
    """Speed at which the free downforce areas press with `weights` times the car's weight."""
    area = sum(e.free_area for e in car.air.elements)
    return float((2.0 * weights * car.mass * GRAVITY / (density * area)) ** 0.5)


FLAT = inf
