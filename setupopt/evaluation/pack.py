"""The project's car and setups as the arrays that the kernels take."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from math import gamma, pi, sqrt
from operator import attrgetter
from typing import Any

import numpy as np

from setupopt.physics.inputs import (
    ELEMENT,
    POINT,
    SETTING,
    STRIPS,
    STRIPS_ACROSS,
    STRIPS_ALONG,
    VEHICLE,
    Floats,
    Record,
    Records,
    layout,
)
from setupopt.physics.pad import set_penetration
from setupopt.project.model import AXLES, Air, Axle, AxleSetup, Car, Setup, Tyre
from setupopt.project.settings import SETTINGS
from setupopt.units import GRAVITY

_SIDE = np.array([1.0, -1.0, 1.0, -1.0])


def per_wheel(car: Car, value: Callable[[Axle], float]) -> Floats:
    """(wheels) from an axle's entry."""
    front = value(car.front)
    rear = value(car.rear)
    return np.array([front, front, rear, rear], dtype=float)


def _per_tyre(car: Car, value: Callable[[Tyre], float]) -> Floats:
    """(wheels) from a tyre's entry."""
    return per_wheel(car, lambda axle: value(axle.tyre))


def _copied(part: type) -> tuple[str, ...]:
    """Entries of a part of the car that the VEHICLE record has under the same name."""
    return tuple(field.name for field in fields(part) if field.name in VEHICLE.names)


def _beta(exponent: float) -> float:
    """Euler beta function B(1/2, 2 - exponent)."""
    return sqrt(pi) * gamma(2.0 - exponent) / gamma(2.5 - exponent)


def _elements(air: Air, to_front: float) -> Records:
    """Air elements about the CG, each cut into equal strips."""
    rows = np.zeros(len(air.elements), dtype=ELEMENT)
    for row, e in zip(rows, air.elements, strict=True):
        row["x"] = to_front - e.station
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
        row["y"] = p.side
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
    share = np.array([car.front_share, car.front_share, 1 - car.front_share, 1 - car.front_share])
    return {
        "sprung_mass": float(sprung),
        "sprung_height": float((car.mass * car.cg_height - unsprung @ height) / sprung),
        "to_front": to_front,
        "to_rear": to_rear,
        "x": np.array([to_front, to_front, -to_rear, -to_rear]),
        "side": _SIDE,
        "y": 0.5 * _SIDE * per_wheel(car, lambda a: a.track),
        "static_load": 0.5 * car.mass * GRAVITY * share,
    }


def _links(car: Car) -> dict[str, Floats]:
    """Links of every wheel."""
    anti = per_wheel(car, lambda a: a.anti_slope) * np.array([-1.0, -1.0, 1.0, 1.0])
    return {
        "link": -_SIDE * per_wheel(car, lambda a: 2.0 * a.roll_centre_height / a.track),
        "anti": anti,
    }


def _tyres(car: Car) -> dict[str, Floats]:
    """What a case asks of the tyre of every wheel."""
    return {
        "half_width": 0.5 * _per_tyre(car, lambda t: t.tread_width),
        "crown": 1.0 / _per_tyre(car, lambda t: t.crown_radius),
        "friction_beta": _per_tyre(car, lambda t: _beta(t.friction_exponent)),
        "friction_floor": 1.5 * _per_tyre(car, lambda t: t.friction_least_pressure),
        "shear": _per_tyre(car, lambda t: t.shear_per_foundation),
        "thrust": _per_tyre(car, lambda t: t.camber_thrust_share),
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
    spin = [axle.wheel_inertia or 0.0 for axle in (car.front, car.rear)]
    radius = [axle.tyre.radius for axle in (car.front, car.rear)]
    return {
        "inertia": np.array([0.0, 0.0, 0.0] if None in body else whole),
        "spin_inertia": sum(2.0 * inertia / r for inertia, r in zip(spin, radius, strict=True)),
    }


def _air(air: Air, to_front: float) -> dict[str, object]:
    """Drag, side force and the stations of the ride heights, about the CG."""
    return {
        "side_x": to_front - air.side_station,
        "ride_x": to_front - np.array([air.front_ride_station, air.rear_ride_station]),
    }


def vehicle(car: Car) -> tuple[Records, Records, Records]:
    """The car without its setup: VEHICLE (1), ELEMENT (elements), POINT (points)."""
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
    return whole, _elements(car.air, to_front), _points(car, to_front)


# Setups wheel by wheel, SI: what may differ from side to side has a value for every wheel, the rest one for
# each axle. Fields are those of SETTINGS.
SETUP = layout(
    axles=" ".join(s.field for s in SETTINGS if s.per == "axle"),
    wheels=" ".join(s.field for s in SETTINGS if s.per == "wheel"),
)
_AS_SET = tuple(name for name in SETTING.names if name in SETUP.names and name != "toe")


def by_wheel(setups: Setup | Sequence[Setup] | Records) -> Records:
    """SETUP records (setups) of setups as files give them, left and right alike; records stay as they are.

    Raises ValueError where two bodies are worn.
    """
    if isinstance(setups, np.ndarray):
        return setups
    many = [setups] if isinstance(setups, Setup) else list(setups)
    if len({setup.body for setup in many}) > 1:
        raise ValueError("setups that are solved together must wear the same body")
    rows = np.zeros(len(many), SETUP)
    for setting in SETTINGS:
        for axle, name in enumerate(AXLES):
            values = [getattr(getattr(setup, name), setting.field) for setup in many]
            rows[setting.field][:, setting.slots(axle)] = np.array(values, dtype=float)[:, None]
    return rows


def as_setup(row: Record, like: Setup) -> Setup:
    """A SETUP record as a file gives it, with name and body of another setup; the mean of left and right."""
    axles = {}
    for axle, name in enumerate(AXLES):
        values = {s.field: float(row[s.field][s.slots(axle)].mean()) for s in SETTINGS}
        axles[name] = AxleSetup(**values)
    return replace(like, front=axles["front"], rear=axles["rear"])


def settings(car: Car, vehicle: Records, setups: Records) -> Records:
    """SETTING records (setups) from SETUP records: the one place where a setup is made ready for the kernels.

    `vehicle` is the VEHICLE record. Wheel rate is the spring's times the motion ratio squared.
    """
    rows = np.zeros(setups.size, dtype=SETTING)
    for name in _AS_SET:
        rows[name] = setups[name]
    rows["wheel_rate"] = setups["spring"] * per_wheel(car, lambda a: a.motion_ratio) ** 2
    by_pressure = _per_tyre(car, lambda t: t.foundation_per_pressure) * setups["pressure"]
    rows["foundation"] = _per_tyre(car, lambda t: t.foundation) + by_pressure
    rows["toe"] = np.arcsin(setups["toe"] / per_wheel(car, lambda a: a.toe_over))
    by_pressure = _per_tyre(car, lambda t: t.carcass_per_pressure) * setups["pressure"]
    rows["carcass"] = _per_tyre(car, lambda t: t.carcass) + by_pressure
    set_penetration(vehicle, rows)
    return rows
