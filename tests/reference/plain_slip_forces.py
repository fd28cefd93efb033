"""The plain slip model's forces: four brush tyres, springs, air, and what is missing to a trim.

Unknowns, in this order: z m, theta rad, phi_b rad, rise of the four wheel centres m, sideslip beta rad,
steer angle delta rad, four slips kappa, side force T of the front and of the rear axle N (which the lean
under load asks for). Wheels FL, FR, RL, RR.
"""

from dataclasses import dataclass
from functools import cached_property
from math import atan2, cos, inf, sin, sqrt

import numpy as np
from plain_car import GRAVITY, Stand
from plain_forces import Downforce, Sprung, body_rise, downforce
from plain_slip_car import (
    SlipAxle,
    SlipCar,
    SlipCase,
    inertia_moments,
    stand_of,
)
from plain_slip_tyre import (
    Bed,
    BrushForce,
    Slip,
    bed_in_series,
    brush_force,
    leaned_bed,
    spin_followed,
)

UNKNOWNS = 15
RISE, BETA, STEER, KAPPA, SIDE = 3, 7, 8, 9, 13


@dataclass(frozen=True)
class Posture:
    """The unknowns by name."""

    z: float
    pitch: float
    roll: float
    rises: tuple[float, ...]
    beta: float
    steer: float
    kappas: tuple[float, ...]
    sides: tuple[float, float]

    @property
    def ride(self) -> tuple[float, ...]:
        return (self.z, self.pitch, self.roll, *self.rises)


def posture(unknowns: np.ndarray) -> Posture:
    x = [float(value) for value in unknowns]
    return Posture(
        x[0],
        x[1],
        x[2],
        tuple(x[RISE:BETA]),
        x[BETA],
        x[STEER],
        tuple(x[KAPPA:SIDE]),
        (x[SIDE], x[SIDE + 1]),
    )


@dataclass(frozen=True)
class Way:
    """How the car moves over the surface: velocities along and across the body m/s, yaw rate rad/s."""

    along: float
    across: float
    yaw_rate: float

    @property
    def speed(self) -> float:
        return sqrt(self.along**2 + self.across**2)


def way_of(case: SlipCase, beta: float) -> Way:
    return Way(case.speed * cos(beta), case.speed * sin(beta), case.yaw_rate())


def slope_along(stand: Stand, x: float, y: float) -> float:
    """The surface's rise per way forward: zeta'(s) sin(psi)."""
    if stand.radius == inf:
        return 0.0
    s = stand.around(x, y)
    return s / sqrt(stand.radius**2 - s**2) * sin(stand.heading)


class SlipWheel(Sprung):
    """One wheel in a given posture: where it stands, how hard it presses, how it slips, what acts on it."""

    def __init__(
        self,
        car: SlipCar,
        stand: Stand,
        way: Way,
        state: Posture,
        index: int,
        friction: float = 1.0,
    ) -> None:
        self.axle: SlipAxle = car.ends[index // 2]
        self.front = index < 2
        self.sigma = 1.0 if index % 2 == 0 else -1.0
        self.x, self.y = self.axle.x, self.sigma * self.axle.track / 2
        self.rise = state.rises[index]
        self.travel = self.rise - body_rise(state.ride, self.x, self.y)
        self.ground = stand.height(self.x, self.y) + stand.bumps[index]
        self.slope = stand.slope_left(self.x, self.y)
        self.tilt = self.inclination(state.roll)
        self.bed = self.touch(stand)
        self.load = self.bed.load
        self.along_load = (
            -self.load * cos(self.slope) * slope_along(stand, self.x, self.y)
        )
        self.kappa = state.kappas[index]
        self.steer = (
            state.steer if self.front else 0.0
        ) - self.sigma * self.axle.toe
        self.speed_along = way.along - way.yaw_rate * self.y
        self.alpha = self.steer - atan2(
            way.across + way.yaw_rate * self.x, self.speed_along
        )
        self.path_curvature = way.yaw_rate / way.speed
        self.friction = friction
        self.body_force = 0.0

    def inclination(self, body_roll: float) -> float:
        """eps: against the local surface, top outboard positive."""
        axle = self.axle
        return (
            axle.camber
            + axle.camber_gain * self.travel
            + self.sigma * (self.slope - body_roll)
        )

    def touch(self, stand: Stand) -> Bed:
        """Tread and carcass pressed in by the crown's depth, crown swing included."""
        axle, tyre = self.axle, self.axle.brush
        hub = (
            tyre.radius * cos(axle.camber)
            - axle.static_depth
            + self.rise
            - self.ground
        )
        depth = tyre.radius * cos(self.tilt) - hub * cos(self.slope)
        along = 1 / tyre.radius - sin(stand.heading) ** 2 / stand.radius
        across = 1 / tyre.crown - cos(stand.heading) ** 2 / stand.radius
        return bed_in_series(tyre, depth, self.tilt, along, across)

    def slide(self, side_per_load: float) -> None:
        """The brush's forces, leaned by the wheel's part of the axle's side force, in the car's axes."""
        tyre = self.axle.brush
        self.leaned = leaned_bed(
            self.bed, self.sigma, side_per_load * self.load
        )
        spin = spin_followed(
            tyre, self.leaned.tilt, self.sigma, self.path_curvature
        )
        self.brush: BrushForce = brush_force(
            self.leaned,
            Slip(self.kappa, self.alpha, spin, self.sigma),
            self.friction,
        )
        self.fx = self.brush.fx * cos(self.steer) - self.brush.fy * sin(
            self.steer
        )
        self.side = self.brush.fx * sin(self.steer) + self.brush.fy * cos(
            self.steer
        )
        self.turn()

    def capacity(self) -> float:
        """N: friction of the leaned patch at its full."""
        return self.friction * self.leaned.grip() if self.load > 0 else 0.0


@dataclass(frozen=True)
class Scene:
    """Everything that acts on the car in one posture."""

    car: SlipCar
    stand: Stand
    way: Way
    state: Posture
    friction: float

    @cached_property
    def wheels(self) -> list[SlipWheel]:
        wheels = [
            SlipWheel(
                self.car, self.stand, self.way, self.state, i, self.friction
            )
            for i in range(4)
        ]
        for pair, side in zip(
            (wheels[:2], wheels[2:]), self.state.sides, strict=True
        ):
            load = pair[0].load + pair[1].load
            ratio = side / load if load > 0 else 0.0
            for wheel, other in (pair, pair[::-1]):
                wheel.slide(ratio)
                wheel.take_body_force(other.travel)
        return wheels

    @cached_property
    def pairs(self) -> list[list[SlipWheel]]:
        return [self.wheels[:2], self.wheels[2:]]

    @cached_property
    def air(self) -> Downforce:
        return downforce(self.car, self.stand, self.state.ride)

    @property
    def drag(self) -> float:
        return self.stand.dynamic_pressure * self.car.drag_area

    @property
    def side_wind(self) -> float:
        return (
            -self.stand.dynamic_pressure
            * self.car.side_area
            * self.stand.flow_angle
        )

    @cached_property
    def needed(self) -> float:
        """X: tractive force, N."""
        along = sum(wheel.along_load for wheel in self.wheels)
        return self.drag - self.car.mass * self.stand.push[0] - along

    @property
    def driving(self) -> bool:
        return self.needed > 0

    @property
    def parts(self) -> tuple[float, float]:
        """Shares of the front and the rear axle in the tractive force."""
        front, rear = (
            end.drive_share if self.driving else end.brake_share
            for end in self.car.ends
        )
        return front, rear

    @property
    def tractive(self) -> tuple[float, float]:
        """X of the front and the rear axle."""
        return self.parts[0] * self.needed, self.parts[1] * self.needed


def scene_of(
    car: SlipCar, case: SlipCase, unknowns: np.ndarray, friction: float
) -> Scene:
    """The scene of a trim's unknowns."""
    state = posture(unknowns)
    stand = stand_of(car, case, state.beta)
    return Scene(car, stand, way_of(case, state.beta), state, friction)


def missing(
    car: SlipCar, case: SlipCase, unknowns: np.ndarray, friction: float
) -> np.ndarray:
    """The rows of the trim, forces over the weight, moments over weight and 1 m, speeds over the car's."""
    scene = scene_of(car, case, unknowns, friction)
    moments = inertia_moments(car, case, scene.state.beta)
    weight = car.mass * GRAVITY
    rows = [row / weight for row in ride_rows(scene, moments)]
    rows.append(side_row(scene) / weight)
    rows.append(yaw_row(scene, moments[2]) / weight)
    share = (
        along_rows_in_wheel_planes if car.drive_in_wheel_planes else along_rows
    )
    rows.extend(share(scene, weight))
    for pair, side in zip(scene.pairs, scene.state.sides, strict=True):
        rows.append((sum(wheel.side for wheel in pair) - side) / weight)
    return np.array(rows)


def ride_rows(scene: Scene, moments: tuple[float, float, float]) -> list[float]:
    """Wheels, heave, pitch, roll."""
    car, push = scene.car, scene.stand.push
    rows = [
        w.fz - w.body_force + w.axle.unsprung_mass * push[2]
        for w in scene.wheels
    ]
    body = sum(w.body_force for w in scene.wheels)
    rows.append(body + car.sprung_mass * push[2] - scene.air.force)
    rows.append(pitch_row(scene) - moments[1])
    rows.append(roll_row(scene) - moments[0])
    return rows


def pitch_row(scene: Scene) -> float:
    """Moment about y, nose down positive."""
    car, state = scene.car, scene.state
    push_x, _, push_z = scene.stand.push
    sprung, height = car.sprung_mass, car.sprung_height
    moment = (
        height + state.z
    ) * sprung * push_x - height * state.pitch * sprung * push_z
    moment += scene.air.pitch - car.drag_height * scene.drag
    for w in scene.wheels:
        unsprung = w.axle.unsprung_mass
        moment -= w.x * (w.body_force - unsprung * push_z)
        moment += (w.axle.unsprung_height + w.rise) * unsprung * push_x
        moment += w.ground * (w.fx + w.along_load)
    return moment


def roll_row(scene: Scene) -> float:
    """Moment about x, left side up positive."""
    car, state = scene.car, scene.state
    _, push_y, push_z = scene.stand.push
    sprung, height = car.sprung_mass, car.sprung_height
    moment = (
        -(height + state.z) * sprung * push_y
        - height * state.roll * sprung * push_z
    )
    moment += scene.air.roll - car.side_height * scene.side_wind
    for w in scene.wheels:
        moment += w.y * w.body_force
        moment -= (
            (w.axle.unsprung_height + w.rise) * w.axle.unsprung_mass * push_y
        )
        moment -= w.ground * w.fy
        moment += w.sigma * w.bed.load_moment
    return moment


def side_row(scene: Scene) -> float:
    return (
        sum(w.fy for w in scene.wheels)
        + scene.car.mass * scene.stand.push[1]
        + scene.side_wind
    )


def yaw_row(scene: Scene, moment_asked: float) -> float:
    """Moment about z, nose to the left positive."""
    moment = scene.car.side_x * scene.side_wind - moment_asked
    for w in scene.wheels:
        moment += w.x * w.fy - w.y * (w.fx + w.along_load) + w.brush.mz
    return moment


def along_rows(scene: Scene, weight: float) -> list[float]:
    """Two rows an axle: how the tractive force is shared, and how the wheels' speeds are tied."""
    rows: list[float] = []
    for pair, asked, end in zip(
        scene.pairs, scene.tractive, scene.car.ends, strict=True
    ):
        if free_to_turn(scene, end):
            rows.extend(free_row(wheel, asked / 2, weight) for wheel in pair)
        else:
            rows.append((pair[0].fx + pair[1].fx - asked) / weight)
            rows.append(tie(scene, pair))
    return rows


def along_rows_in_wheel_planes(scene: Scene, weight: float) -> list[float]:
    """The same with the shares on the forces in the wheels' planes, in which the torques act."""
    parts = scene.parts
    pulls = [sum(wheel.brush.fx for wheel in pair) for pair in scene.pairs]
    rows = [
        (parts[1] * pulls[0] - parts[0] * pulls[1]) / weight,
        (sum(wheel.fx for wheel in scene.wheels) - scene.needed) / weight,
    ]
    for pair, end in zip(scene.pairs, scene.car.ends, strict=True):
        if free_to_turn(scene, end):
            rows.append((pair[0].brush.fx - pair[1].brush.fx) / weight)
        else:
            rows.append(tie(scene, pair))
    return rows


def free_to_turn(scene: Scene, end: SlipAxle) -> bool:
    """Whether the wheels of an axle turn as they like, each under its half of the axle's force."""
    return scene.driving and (scene.car.open_differential or not end.driven)


def tie(scene: Scene, pair: list[SlipWheel]) -> float:
    """A locked axle has one speed, the brakes of an axle one slip."""
    left, right = pair
    if scene.driving:
        return (
            (1 + left.kappa) * left.speed_along
            - (1 + right.kappa) * right.speed_along
        ) / scene.way.speed
    return left.kappa - right.kappa


def free_row(wheel: SlipWheel, asked: float, weight: float) -> float:
    """A wheel in the air that nothing is asked of rolls along: its slip would be undetermined."""
    if wheel.load <= 0 and asked == 0:
        return wheel.kappa
    return (wheel.fx - asked) / weight
