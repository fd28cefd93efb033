"""Invented measurements of air loads, made by formulas of their own from a body that is known."""

from __future__ import annotations

from dataclasses import replace
from math import exp
from typing import Any

import numpy as np
from cars import CAR

from setupopt.fit.air.rows import AirRows
from setupopt.project.model import Air, Car

# Mirrors the car of the tests: a wing and a floor that feel the ground, and a tail that does not
LIKE = CAR
SMALL = replace(
    LIKE, air=replace(LIKE.air, elements=LIKE.air.elements[::2])
)  # wing and tail: less to fit
RADIUS = 12.0  # m


def attitudes(count: int, seed: int = 0, **fixed: Any) -> AirRows:
    """Rows without forces: ride heights of 15 to 150 mm, every third rolled, two of three in yaw, every sixth
    in a bore; `fixed` columns are the same in every row."""
    rng, number = np.random.default_rng(seed), np.arange(count)
    columns: dict[str, Any] = {
        "front_ride": rng.uniform(0.015, 0.15, count),
        "rear_ride": rng.uniform(0.015, 0.15, count),
        "body_roll": np.where(
            number % 3 == 0, rng.uniform(-0.03, 0.03, count), 0.0
        ),
        "yaw": np.where(number % 3 > 0, rng.uniform(-0.26, 0.26, count), 0.0),
        "curvature": np.where(number % 6 == 0, 1.0 / RADIUS, 0.0),
        "speed": rng.uniform(30.0, 60.0, count),
        "density": np.full(count, 1.2),
    }
    columns |= {
        name: np.full(count, float(value)) for name, value in fixed.items()
    }
    return AirRows(
        **columns, forces=np.full((count, 4), np.nan), lines=number + 2
    )


def row_forces(car: Car, rows: AirRows, row: int) -> list[float]:
    """Front, rear, drag and side force, N: the air of docs/model.md written out strip by strip, then moments
    about where the front and the rear tyres stand."""
    q, yaw = 0.5 * rows.density[row] * rows.speed[row] ** 2, rows.yaw[row]
    air, front, rear = car.air, 0.0, 0.0
    for e in air.elements:
        for i in (-1, 0, 1):
            for j in (-2, -1, 0, 1, 2):
                station, y = e.station + i * e.chord / 3.0, j * e.span / 5.0
                gap = _gap(air, rows, row, station, y) + e.offset
                near = (
                    e.ground_area
                    * gap
                    / e.peak_gap
                    * exp(1.0 - gap / e.peak_gap)
                    if gap > 0.0
                    else 0.0
                )
                push = (
                    q
                    / (1.0 + e.yaw_loss * yaw**2)
                    * (e.free_area + near)
                    / 15.0
                )
                rear += push * station / car.wheelbase
                front += push * (1.0 - station / car.wheelbase)
    shift = q * air.drag_area * air.drag_height / car.wheelbase
    return [
        front - shift,
        rear + shift,
        q * air.drag_area,
        -q * air.side_area * yaw,
    ]


def _gap(air: Air, rows: AirRows, row: int, station: float, y: float) -> float:
    """From the floor line to the surface."""
    along = (station - air.front_ride_station) / (
        air.rear_ride_station - air.front_ride_station
    )
    line = rows.front_ride[row] + along * (
        rows.rear_ride[row] - rows.front_ride[row]
    )
    bend = rows.curvature[row]
    rise = 1.0 / bend - (1.0 / bend**2 - y**2) ** 0.5 if bend else 0.0
    return float(line + y * rows.body_roll[row] - rise)


def measured(
    car: Car, rows: AirRows, noise: float = 0.0, seed: int = 0
) -> AirRows:
    """The rows with forces, each with normal noise of so much of itself."""
    forces = np.array([row_forces(car, rows, row) for row in range(len(rows))])
    scatter = np.random.default_rng(seed + 1000).standard_normal(forces.shape)
    return replace(rows, forces=forces * (1.0 + noise * scatter))


def apart(one: Air, other: Air, rows: AirRows) -> float:
    """Largest difference of the forces of two bodies, over the largest force of the first."""
    first, second = (
        measured(replace(LIKE, air=air), rows).forces for air in (one, other)
    )
    return float(np.abs(first - second).max() / np.abs(first).max())


def another(seed: int, car: Car = LIKE, spread: float = 0.3) -> Car:
    """The car with every number of its air drawn anew, within so much of itself."""
    rng = np.random.default_rng(seed + 2000)

    def drawn(value: float) -> float:
        return float(value * rng.uniform(1.0 - spread, 1.0 + spread))

    parts = [
        replace(
            e,
            free_area=drawn(e.free_area),
            ground_area=drawn(e.ground_area),
            peak_gap=drawn(e.peak_gap),
            yaw_loss=drawn(e.yaw_loss),
        )
        for e in car.air.elements
    ]
    air = replace(car.air, elements=tuple(parts))
    return replace(
        car,
        air=replace(
            air, drag_area=drawn(air.drag_area), side_area=drawn(air.side_area)
        ),
    )


def one_part(
    free: float, ground: float, peak: float, chord: float = 0.2
) -> Car:
    """A single part over the front axle that carries no drag: the front axle takes all its downforce."""
    part = replace(
        LIKE.air.elements[0], name="wing", station=0.0, chord=chord, span=0.01, offset=0.0, free_area=free,
        ground_area=ground, peak_gap=peak, yaw_loss=0.0,
    )  # fmt: skip
    return replace(
        LIKE,
        air=replace(LIKE.air, drag_area=0.0, side_area=0.0, elements=(part,)),
    )


CSV_HEAD = (
    "configuration,front_ride_height_mm,rear_ride_height_mm,body_roll_deg,yaw_deg,surface_radius_mm,"
    "speed_m_s,downforce_front_N,downforce_rear_N,drag_N,side_force_N"
)


def as_csv(tables: dict[str, AirRows]) -> str:
    """The rows as a user's file; what is not measured is left empty."""
    lines = [CSV_HEAD]
    for name, rows in tables.items():
        for row in range(len(rows)):
            radius = 1e3 / rows.curvature[row] if rows.curvature[row] else None
            cells = [
                1e3 * rows.front_ride[row], 1e3 * rows.rear_ride[row], np.degrees(rows.body_roll[row]),
                np.degrees(rows.yaw[row]), radius, rows.speed[row], *rows.forces[row],
            ]  # fmt: skip
            written = [
                "" if cell is None or np.isnan(cell) else f"{cell:.6g}"
                for cell in cells
            ]
            lines.append(",".join([name, *written]))
    return "\n".join(lines) + "\n"
