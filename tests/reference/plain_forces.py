"""The plain reference's forces: wheels, springs, air, and what is missing to equilibrium.

Axes: x forward, y left, z away from the surface, origin on the surface below the centre of gravity.
Wheels: FL, FR, RL, RR. State: z, theta, phi_b, then the rise of the four wheel centres.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, exp, sin
from typing import Any

import numpy as np
from plain_car import GRAVITY, Axle, Car, Point, Stand, Strip
from plain_tyre import Patch, patch_at_load

State = Sequence[float] | np.ndarray


class Sprung:
    """A wheel on the springs and links of an axle; `side`: force along the surface, `load`: out of it."""

    axle: Any
    load: float
    side: float
    fx: float
    sigma: float
    slope: float
    travel: float

    def turn(self) -> None:
        """The ground's force on the tyre, turned from the local surface into the car's axes."""
        self.fy = self.side * cos(self.slope) - self.load * sin(self.slope)
        self.fz = self.load * cos(self.slope) + self.side * sin(self.slope)

    def take_body_force(self, other_travel: float) -> None:
        """Springs and links: down on the wheel, up on the body."""
        jacking = (
            -self.sigma * self.fy * 2 * self.axle.roll_centre / self.axle.track
        )
        links = jacking + self.axle.lift_per_drive * self.fx
        self.body_force = (
            spring_force(self.axle, self.travel, other_travel) + links
        )


class Wheel(Sprung):
    """One wheel in a given state: where it stands, how hard it presses, what acts on it."""

    def __init__(
        self, axle: Axle, stand: Stand, state: State, index: int
    ) -> None:
        self.axle = axle
        self.sigma = 1.0 if index % 2 == 0 else -1.0
        self.x, self.y = axle.x, self.sigma * axle.track / 2
        self.rise = state[3 + index]
        self.travel = self.rise - body_rise(state, self.x, self.y)
        self.ground = stand.height(self.x, self.y) + stand.bumps[index]
        self.slope = stand.slope_left(self.x, self.y)
        self.patch = self.touch(stand, body_roll=state[2])
        self.side = self.fx = self.fy = self.fz = self.body_force = 0.0

    def touch(self, stand: Stand, body_roll: float) -> Patch:
        axle, tyre = self.axle, self.axle.tyre
        tilt = (
            axle.camber
            + axle.camber_gain * self.travel
            + self.sigma * (self.slope - body_roll)
        )
        hub = tyre.radius - axle.static_depth + self.rise - self.ground
        return Patch(
            tyre,
            tyre.radius - hub * cos(self.slope),
            tilt,
            *stand.curvatures(tyre),
        )

    @property
    def load(self) -> float:
        return self.patch.load

    def take_ground_force(self, side_per_load: float, fx: float) -> None:
        """The ground's force on the tyre."""
        self.side, self.fx = side_per_load * self.load, fx
        self.turn()

    def grip(self) -> float:
        """Capacity with the lean that the side force itself brings, at the same load."""
        if self.load <= 0:
            return 0.0
        tyre, patch = self.axle.tyre, self.patch
        tilt = patch.tilt - self.sigma * tyre.compliance * self.side
        return patch_at_load(
            tyre, self.load, tilt, patch.along, patch.across
        ).grip()


def spring_force(axle: Axle, u: float, other: float) -> float:
    return (
        axle.static_load
        - axle.unsprung_mass * GRAVITY
        + axle.wheel_rate * u
        + axle.anti_roll * (u - other)
        + axle.third * (u + other) / 4
        + axle.stop_rate * max(0.0, u - axle.bump_travel)
        - axle.stop_rate * max(0.0, -axle.droop_travel - u)
    )


def body_rise(state: State, x: float, y: float) -> float:
    return state[0] - x * state[1] + y * state[2]


def floor_gap(stand: Stand, state: State, point: Point) -> float:
    x, y, height = point
    return height + body_rise(state, x, y) - stand.height(x, y)


@dataclass(frozen=True)
class Downforce:
    """Sum over the strips: force onto the surface and its moments about x and y."""

    force: float
    roll: float
    pitch: float


def downforce(car: Car, stand: Stand, state: State) -> Downforce:
    pieces = [
        (strip.point, strip_force(strip, stand, state)) for strip in car.strips
    ]
    return Downforce(
        sum(force for _, force in pieces),
        -sum(y * force for (_, y, _), force in pieces),
        sum(x * force for (x, _, _), force in pieces),
    )


def strip_force(strip: Strip, stand: Stand, state: State) -> float:
    ratio = floor_gap(stand, state, strip.point) / strip.peak_gap
    near = strip.ground_area * ratio * exp(1 - ratio) if ratio > 0 else 0.0
    loss = 1 + strip.yaw_loss * stand.flow_angle**2
    return stand.dynamic_pressure / loss * (strip.free_area + near)


@dataclass(frozen=True)
class Forces:
    """The forces of the air and of the road that do not depend on the state."""

    drag: float
    side_wind: float
    tractive: tuple[float, float]  # of the front and the rear axle
    side: tuple[float, float]


def set_forces(car: Car, stand: Stand) -> Forces:
    drag = stand.dynamic_pressure * car.drag_area
    wind = -stand.dynamic_pressure * car.side_area * stand.flow_angle
    needed = drag - car.mass * stand.push[0]
    parts = [
        axle.drive_share if needed > 0 else axle.brake_share
        for axle in car.axles
    ]
    pull = car.mass * stand.push[1] + wind
    a, b = car.axles[0].x, -car.axles[1].x
    front = (-b * pull - car.side_x * wind) / car.wheelbase
    rear = (-a * pull + car.side_x * wind) / car.wheelbase
    return Forces(
        drag, wind, (parts[0] * needed, parts[1] * needed), (front, rear)
    )


def standing_wheels(car: Car, stand: Stand, state: State) -> list[Wheel]:
    """The four wheels with all forces on them."""
    forces = set_forces(car, stand)
    wheels = [Wheel(car.axles[i // 2], stand, state, i) for i in range(4)]
    for pair, side, tractive in zip(
        axle_pairs(wheels), forces.side, forces.tractive, strict=True
    ):
        ratio = side_per_load(pair, side)
        for wheel, other in (pair, pair[::-1]):
            wheel.take_ground_force(ratio, tractive / 2)
            wheel.take_body_force(other.travel)
    return wheels


def axle_pairs(wheels: list[Wheel]) -> list[list[Wheel]]:
    return [wheels[:2], wheels[2:]]


def side_per_load(pair: list[Wheel], side: float) -> float:
    """Side force along the surface per normal load, equal left and right."""
    upward = sum(wheel.load * cos(wheel.slope) for wheel in pair)
    leaning = sum(wheel.load * sin(wheel.slope) for wheel in pair)
    return (side + leaning) / upward if upward > 0 else 0.0


def residual(
    car: Car, stand: Stand, state: State, as_printed: bool = False
) -> list[float]:
    """What is missing to equilibrium, over the weight: wheels, heave, pitch, roll."""
    wheels = standing_wheels(car, stand, state)
    air = downforce(car, stand, state)
    rows = [
        w.fz - w.body_force + w.axle.unsprung_mass * stand.push[2]
        for w in wheels
    ]
    rows.append(
        sum(w.body_force for w in wheels)
        + car.sprung_mass * stand.push[2]
        - air.force
    )
    rows.append(pitch_moment(car, stand, state, wheels, air, as_printed))
    rows.append(roll_moment(car, stand, state, wheels, air))
    return [row / (car.mass * GRAVITY) for row in rows]


def pitch_moment(
    car: Car,
    stand: Stand,
    state: State,
    wheels: list[Wheel],
    air: Downforce,
    as_printed: bool,
) -> float:
    """Of the whole car about y, nose down positive."""
    push_x, _, push_z = stand.push
    sprung, height = car.sprung_mass, car.sprung_height
    moment = (height + state[0]) * sprung * push_x - height * state[
        1
    ] * sprung * push_z
    moment += air.pitch - car.drag_height * set_forces(car, stand).drag
    for w in wheels:
        unsprung = w.axle.unsprung_mass
        moment += (
            w.axle.unsprung_height + w.rise
        ) * unsprung * push_x + w.ground * w.fx
        moment -= w.x * w.body_force
        # the sprung mass's own centre of gravity stands off x = 0 by what the wheels weigh
        moment += 0.0 if as_printed else w.x * unsprung * push_z
    return moment


def roll_moment(
    car: Car, stand: Stand, state: State, wheels: list[Wheel], air: Downforce
) -> float:
    """Of the whole car about x, left side up positive."""
    _, push_y, push_z = stand.push
    sprung, height = car.sprung_mass, car.sprung_height
    moment = (
        -(height + state[0]) * sprung * push_y
        - height * state[2] * sprung * push_z
    )
    moment += air.roll - car.side_height * set_forces(car, stand).side_wind
    for w in wheels:
        moment -= (
            (w.axle.unsprung_height + w.rise) * w.axle.unsprung_mass * push_y
        )
        moment += (
            w.y * w.body_force - w.ground * w.fy + w.sigma * w.patch.load_moment
        )
    return moment
