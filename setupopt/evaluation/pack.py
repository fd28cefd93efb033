"""The project's car and setups as the arrays that the kernels take."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from math import gamma, pi, sqrt
from operator import attrgetter
from typing import Any

import numpy as np

from setupopt.evaluation.setup_record import (
    _AS_SET,
    _CAR,
    _PIECE,
    _given,
    _piece,
)
from setupopt.physics.inputs import (
    ELEMENT,
    GROWTH_ROWS,
    POINT,
    SETTING,
    STRIPS,
    STRIPS_ACROSS,
    STRIPS_ALONG,
    VEHICLE,
    Floats,
    Record,
    Records,
)
from setupopt.physics.pad import set_penetration
from setupopt.project.car_as_set import as_set
from setupopt.project.model import (
    Air,
    Axle,
    BalanceSetup,
    Car,
    Tyre,
)
from setupopt.project.settings import (
    MOST_BALLAST,
)
from setupopt.project.static_checks import corner_loads

_SIDE = np.array([1.0, -1.0, 1.0, -1.0])


def per_wheel(car: Car, value: Callable[[Axle], float]) -> Floats:
    """(wheels) from an axle's entry."""
    front = value(car.front)
    rear = value(car.rear)
    return np.array([front, front, rear, rear], dtype=float)


def _per_tyre(car: Car, value: Callable[[Tyre], float]) -> Floats:
    """(wheels) from a tyre's entry."""
    return np.array(
        [value(tyre) for tyre in (*car.front.tyres, *car.rear.tyres)],
        dtype=float,
    )


def growth(car: Car, speed: Floats) -> Floats:
    """By how much the unloaded radius of every tyre is larger at speeds than at rest, m, (speeds, wheels)."""
    tyres = (*car.front.tyres, *car.rear.tyres)
    columns = [
        np.interp(speed, (0.0, *t.radius_growth_speed), (0.0, *t.radius_growth))
        for t in tyres
    ]
    return np.column_stack(columns)


def _growth_rows(car: Car, name: str) -> Floats:
    """One column of the tables of growth, (wheels, rows); zeros after the last row."""
    rows = np.zeros((4, GROWTH_ROWS))
    for row, tyre in zip(
        rows, (*car.front.tyres, *car.rear.tyres), strict=True
    ):
        given = getattr(tyre, name)
        row[: len(given)] = given
    return rows


def _middle(car: Car) -> float:
    """The centre line's y from the CG, m."""
    return (
        -0.5 * (car.left_share - 0.5) * (car.front.track + car.rear.track) + 0.0
    )


def _copied(part: type) -> tuple[str, ...]:
    """Entries of a part of the car that the VEHICLE record has under the same name."""
    return tuple(f.name for f in fields(part) if f.name in VEHICLE.names)


def _beta(exponent: float) -> float:
    """Euler beta function B(1/2, 2 - exponent)."""
    return sqrt(pi) * gamma(2.0 - exponent) / gamma(2.5 - exponent)


def _elements(air: Air, to_front: float, middle: float) -> Records:
    """Air elements about the CG, each cut into equal strips."""
    rows = np.zeros(len(air.elements), dtype=ELEMENT)
    for row, e in zip(rows, air.elements, strict=True):
        row["x"] = to_front - e.station
        row["y"] = middle
        row["offset"] = e.offset
        row["along"] = e.chord / STRIPS_ALONG
        row["across"] = e.span / STRIPS_ACROSS
        row["free"] = e.free_area / STRIPS
        row["ground"] = e.ground_area / STRIPS
        row["peak"] = e.peak_gap
        row["yaw_loss"] = e.yaw_loss
    return rows


def _points(car: Car, to_front: float) -> Records:
    """Named floor points about the CG."""
    points = np.zeros(len(car.clearance), dtype=POINT)
    for row, p in zip(points, car.clearance, strict=True):
        row["x"] = to_front - p.station
        row["y"] = p.side + _middle(car)
        row["offset"] = p.offset
        row["least"] = p.least_gap
    return points


def _masses(car: Car) -> dict[str, object]:
    """Where the weight stands, and the sprung part of it."""
    to_rear = car.wheelbase * car.front_share
    to_front = car.wheelbase - to_rear
    unsprung = per_wheel(car, lambda a: a.unsprung_mass)
    height = per_wheel(car, lambda a: a.unsprung_height)
    sprung = car.mass - unsprung.sum()
    middle = _middle(car)
    return {
        "middle": middle,
        "sprung_mass": float(sprung),
        "sprung_height": float(
            (car.mass * car.cg_height - unsprung @ height) / sprung
        ),
        "to_front": to_front,
        "to_rear": to_rear,
        "x": np.array([to_front, to_front, -to_rear, -to_rear]),
        "side": _SIDE,
        "y": 0.5 * _SIDE * per_wheel(car, lambda a: a.track) + middle,
        "static_load": corner_loads(car),
    }


def _links(car: Car) -> dict[str, Floats]:
    """Links of every wheel."""
    anti = per_wheel(car, lambda a: a.anti_slope) * np.array(
        [-1.0, -1.0, 1.0, 1.0]
    )
    return {
        "link": -_SIDE
        * per_wheel(car, lambda a: 2.0 * a.roll_centre_height / a.track),
        "anti": anti,
    }


def _tyres(car: Car) -> dict[str, Floats]:
    """What a case asks of the tyre of every wheel."""
    return {
        "half_width": 0.5 * _per_tyre(car, lambda t: t.tread_width),
        "crown": 1.0 / _per_tyre(car, lambda t: t.crown_radius),
        "friction": _per_tyre(car, lambda t: t.friction * t.grip_share),
        "friction_beta": _per_tyre(car, lambda t: _beta(t.friction_exponent)),
        "friction_floor": 1.5
        * _per_tyre(car, lambda t: t.friction_least_pressure),
        "shear": _per_tyre(car, lambda t: t.shear_per_foundation),
        "thrust": _per_tyre(car, lambda t: t.camber_thrust_share),
        "growth_speed": _growth_rows(car, "radius_growth_speed"),
        "growth": _growth_rows(car, "radius_growth"),
    }


def _drive(car: Car) -> dict[str, Floats]:
    """How drive and brake forces are shared, and where a differential is open."""
    drive = np.array([car.drive_front, 1.0 - car.drive_front])
    driven = drive > 0.0
    is_open = driven & (car.differential == "open")
    return {
        "drive": drive,
        "brake": np.array([car.brake_front, 1.0 - car.brake_front]),
        "is_open": is_open.astype(float),
        "is_locked": (driven & ~is_open).astype(float),
    }


def _inertia(car: Car) -> dict[str, object]:
    """What turning the body and the wheels takes; zero where the project leaves it out."""
    body = (car.roll_inertia, car.pitch_inertia, car.yaw_inertia)
    whole = [0.0 if part is None else part for part in body]
    spin = per_wheel(car, lambda axle: axle.wheel_inertia or 0.0)
    return {
        "inertia": np.array([0.0, 0.0, 0.0] if None in body else whole),
        "spin_inertia": float(
            (spin / _per_tyre(car, lambda tyre: tyre.radius)).sum()
        ),
    }


def _air(air: Air, to_front: float) -> dict[str, object]:
    """Drag, side force and the stations of the ride heights, about the CG."""
    return {
        "side_x": to_front - air.side_station,
        "ride_x": to_front
        - np.array([air.front_ride_station, air.rear_ride_station]),
    }


def vehicle(car: Car) -> tuple[Records, Records, Records]:
    """The car as it is, without a setup: VEHICLE (1), ELEMENT (elements), POINT (points)."""
    to_front = car.wheelbase * (1.0 - car.front_share)
    entries: dict[str, Any] = {
        **{name: getattr(car, name) for name in _copied(Car)},
        **{name: getattr(car.air, name) for name in _copied(Air)},
        **{name: per_wheel(car, attrgetter(name)) for name in _copied(Axle)},
        **{name: _per_tyre(car, attrgetter(name)) for name in _copied(Tyre)},
        **_masses(car),
        **_links(car),
        **_tyres(car),
        **_drive(car),
        **_inertia(car),
        **_air(car.air, to_front),
    }
    whole = np.zeros(1, dtype=VEHICLE)
    for name in whole.dtype.names or ():
        whole[name][0] = entries[name]
    elements = _elements(car.air, to_front, _middle(car))
    return whole, elements, _points(car, to_front)


class CarTable:
    """The cars that setups make of one car, packed: other wings, ballast, shares. The first: the car itself.

    It grows with every kind of car that a setup asks for; SETTING records know theirs by its row.
    """

    def __init__(self, car: Car) -> None:
        self.car = car
        self._rows: dict[bytes, int] = {}
        self._room = [np.repeat(part[None], 1, axis=0) for part in vehicle(car)]
        self._count = 1

    @property
    def packed(self) -> tuple[Records, Records, Records]:
        """VEHICLE (kinds), ELEMENT (kinds, elements), POINT (kinds, points)."""
        vehicles, elements, points = (
            part[: self._count] for part in self._room
        )
        return vehicles[:, 0], elements, points

    def rows(self, setups: Records) -> Floats:
        """The row of the car that each SETUP record makes, (setups)."""
        is_plain = np.isnan(setups["wing"]).all(axis=1) & (
            setups["mass"] == 0.0
        ).all(axis=1)
        for name in _CAR:
            is_plain &= np.isnan(setups[name])
        found = np.zeros(setups.size)
        for number in np.flatnonzero(~is_plain):
            found[number] = self._row(setups[number])
        return found

    def _row(self, setup: Record) -> int:
        key = np.concatenate(
            [np.atleast_1d(setup[name]) for name in (*_CAR, "wing", *_PIECE)]
        ).tobytes()
        if key not in self._rows:
            self._rows[key] = self._add(car_of(self.car, setup))
        return self._rows[key]

    def _add(self, car: Car) -> int:
        number = self._count
        if number == len(self._room[0]):
            self._room = [np.concatenate((part, part)) for part in self._room]
        for room, part in zip(self._room, vehicle(car), strict=True):
            room[number] = part
        self._count += 1
        return number


def car_of(car: Car, setup: Record) -> Car:
    """The car as a SETUP record sets it."""
    balance = BalanceSetup(**{name: _given(setup[name]) for name in _CAR})
    angles = [float(angle) for angle in setup["wing"] if not np.isnan(angle)]
    pieces = [_piece(setup, number, "") for number in range(MOST_BALLAST)]
    return as_set(car, balance, angles, pieces)


def settings(cars: CarTable, setups: Records) -> Records:
    """SETTING records (setups) from SETUP records: the one place where a setup is made ready for the kernels.

    Wheel rate is the spring's times the motion ratio squared. Ride heights count on the centre line, and by
    the roll of the floor between left and right.
    """
    car = cars.car
    rows = np.zeros(setups.size, dtype=SETTING)
    rows["car"] = cars.rows(setups)
    for name in _AS_SET:
        rows[name] = setups[name]
    heights = setups["ride_height"].reshape(-1, 2, 2)
    rows["ride_height"] = heights.mean(axis=2)
    tracks = np.array([car.front.track, car.rear.track])
    rows["floor_roll"] = ((heights[:, :, 0] - heights[:, :, 1]) / tracks).mean(
        axis=1
    )
    rows["wheel_rate"] = (
        setups["spring"] * per_wheel(car, lambda a: a.motion_ratio) ** 2
    )
    pressure = setups["pressure"]
    stiffer = _per_tyre(car, lambda t: t.foundation_per_pressure) * pressure
    rows["foundation"] = _per_tyre(car, lambda t: t.foundation) + stiffer
    rows["toe"] = np.arcsin(
        setups["toe"] / per_wheel(car, lambda a: a.toe_over)
    )
    stiffer = _per_tyre(car, lambda t: t.carcass_per_pressure) * pressure
    rows["carcass"] = _per_tyre(car, lambda t: t.carcass) + stiffer
    set_penetration(cars.packed[0], rows)
    return rows
