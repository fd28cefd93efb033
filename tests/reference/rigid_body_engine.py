"""The car in MuJoCo, a rigid-body engine of others: exact finite rotations, the exact cylinder, our tyre law.

Sprung mass on a free joint, four wheels that slide along its up axis. The engine gives the kinematics, the
weight and
the generalized forces of every load; springs, downforce and tyre law are those of the plain model. Tangential
tyre
forces are loads taken from a trim. The equilibrium is found in heave, pitch, roll and the slides of the
wheels.

Frame: x forward, y left, z away from the surface, origin on the surface below the centre of gravity.
"""

from dataclasses import dataclass
from functools import cached_property
from math import cos, sin, sqrt

import mujoco
import numpy as np
from plain_forces import spring_force
from plain_slip_car import SlipAxle
from plain_slip_forces import Scene, SlipWheel
from plain_slip_tyre import bed_in_series
from scipy.optimize import minimize_scalar, root
from scipy.spatial.transform import Rotation

Floats = np.ndarray
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Touch:
    """A tyre on the cylinder: its contact, normal force, moment of the load in the tread."""

    place: Floats
    normal: Floats  # away from the surface
    forward: Floats
    left: Floats
    load: float
    moment: float


class Engine:
    """The car of a solved scene of the plain model, in the engine."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.model = mujoco.MjModel.from_xml_string(self.description())
        self.model.opt.gravity[:] = scene.stand.push
        self.data = mujoco.MjData(self.model)

    def description(self) -> str:
        """Bodies by their mass alone: an equilibrium knows no inertia."""
        car = self.scene.car
        behind = (
            -sum(w.x * w.axle.unsprung_mass for w in self.scene.wheels)
            / car.sprung_mass
        )
        wheels = "".join(
            self.wheel_body(w, i) for i, w in enumerate(self.scene.wheels)
        )
        inertial = f'<inertial pos="{behind} 0 {car.sprung_height}" mass="{car.sprung_mass}" diaginertia="9 9 9"/>'
        return f'<mujoco><worldbody><body name="car"><freejoint/>{inertial}{wheels}</body></worldbody></mujoco>'

    @staticmethod
    def wheel_body(w: SlipWheel, index: int) -> str:
        inertial = f'<inertial pos="0 0 0" mass="{w.axle.unsprung_mass}" diaginertia="1 1 1"/>'
        slide = '<joint type="slide" axis="0 0 1"/>'
        return f'<body name="w{index}" pos="{w.x} {w.y} {w.axle.unsprung_height}">{slide}{inertial}</body>'

    @cached_property
    def axis(self) -> Floats:
        """Direction of the bore's axis."""
        psi = self.scene.stand.heading
        return np.array([cos(psi), -sin(psi), 0.0])

    def pose(self, unknowns: Floats) -> None:
        """Put the car: heave, rotation vector about x and y, slides of the wheels."""
        z, pitch, roll, *slides = unknowns
        turned = Rotation.from_rotvec([roll, pitch, 0.0]).as_quat()
        self.data.qpos[:3] = [0.0, 0.0, z]
        self.data.qpos[3:7] = turned[[3, 0, 1, 2]]
        self.data.qpos[7:] = slides
        self.data.qvel[:] = 0.0
        mujoco.mj_forward(self.model, self.data)

    def body_axes(self) -> Floats:
        return np.array(self.data.body("car").xmat).reshape(3, 3)

    def point(self, place: tuple[float, float, float]) -> Floats:
        """Where a point of the body is."""
        return np.array(
            self.data.body("car").xpos
        ) + self.body_axes() @ np.array(place)

    def from_axis(self, place: Floats) -> Floats:
        """From the bore's axis to a point, square to the axis."""
        arm = place - self.scene.stand.radius * UP
        return arm - (arm @ self.axis) * self.axis

    def touch(self, w: SlipWheel, index: int) -> Touch:
        """The crown's deepest point on the cylinder, and the plain tyre law at its depth and inclination."""
        axle: SlipAxle = w.axle
        tyre, stand = axle.brush, self.scene.stand
        slide = float(self.data.qpos[7 + index])
        camber = axle.camber + axle.camber_gain * slide
        # top outboard: the wheel's up axis leans to +y on the left side
        lean = Rotation.from_rotvec([-w.sigma * camber, 0.0, 0.0]).as_matrix()
        axes = self.body_axes() @ lean
        at_rest = tyre.radius * cos(axle.camber) - axle.static_depth
        middle = self.point((w.x, w.y, at_rest + slide))

        def rim(angle: float) -> Floats:
            return middle + tyre.radius * (
                sin(angle) * axes[:, 0] - cos(angle) * axes[:, 2]
            )

        def depth_at(angle: float) -> float:
            return (
                float(np.linalg.norm(self.from_axis(rim(angle)))) - stand.radius
            )

        found = minimize_scalar(
            lambda a: -depth_at(a),
            bounds=(-0.3, 0.3),
            method="bounded",
            options={"xatol": 1e-9},
        )
        deepest = rim(float(found.x))
        arm = self.from_axis(deepest)
        normal = -arm / np.linalg.norm(arm)
        forward = np.array([1.0, 0.0, 0.0]) - normal[0] * normal
        forward /= np.linalg.norm(forward)
        left = np.cross(normal, forward)
        tilt = np.arcsin(w.sigma * (axes[:, 2] @ left))
        along = 1 / tyre.radius - sin(stand.heading) ** 2 / stand.radius
        across = 1 / tyre.crown - cos(stand.heading) ** 2 / stand.radius
        bed = bed_in_series(tyre, -float(found.fun), float(tilt), along, across)
        place = deepest + normal * -float(found.fun)
        return Touch(
            place, normal, forward, left, bed.load, w.sigma * bed.load_moment
        )

    def loads(self) -> Floats:
        """Normal forces of the tyres in the present pose, N."""
        return np.array(
            [self.touch(w, i).load for i, w in enumerate(self.scene.wheels)]
        )

    def push(
        self,
        body: str,
        force: Floats,
        torque: Floats,
        place: Floats,
        total: Floats,
    ) -> None:
        """Add a load on a body to the generalized forces."""
        number = self.model.body(body).id
        mujoco.mj_applyFT(
            self.model, self.data, force, torque, place, number, total
        )

    def unbalanced(self) -> Floats:
        """Generalized forces left over in the present pose: three forces, three moments, four slides."""
        total = np.zeros(self.model.nv)
        scene = self.scene
        nothing = np.zeros(3)
        for i, w in enumerate(scene.wheels):
            t = self.touch(w, i)
            force = t.load * t.normal + w.side * t.left + w.fx * t.forward
            torque = t.moment * t.forward + w.brush.mz * t.normal
            self.push(f"w{i}", force, torque, t.place, total)
            other = float(self.data.qpos[7 + i + 1 - 2 * (i % 2)])
            links = (
                -w.sigma
                * float(force[1])
                * 2
                * w.axle.roll_centre
                / w.axle.track
            )
            links += w.axle.lift_per_drive * w.fx
            total[6 + i] -= (
                spring_force(w.axle, float(self.data.qpos[7 + i]), other)
                + links
            )
        for strip in scene.car.strips:
            place = self.point(strip.point)
            self.push(
                "car", -self.downforce(strip, place) * UP, nothing, place, total
            )
        drag, side = (
            np.array([-scene.drag, 0.0, 0.0]),
            np.array([0.0, scene.side_wind, 0.0]),
        )
        self.push(
            "car",
            drag,
            nothing,
            np.array([0.0, 0.0, scene.car.drag_height]),
            total,
        )
        self.push(
            "car",
            side,
            nothing,
            np.array([scene.car.side_x, 0.0, scene.car.side_height]),
            total,
        )
        return total - self.data.qfrc_bias

    def downforce(self, strip: object, place: Floats) -> float:
        """Of a strip at its exact gap, square to the cylinder."""
        stand = self.scene.stand
        gap = stand.radius - float(np.linalg.norm(self.from_axis(place)))
        ratio = gap / strip.peak_gap
        near = (
            strip.ground_area * ratio * np.exp(1 - ratio) if ratio > 0 else 0.0
        )
        loss = 1 + strip.yaw_loss * stand.flow_angle**2
        return float(stand.dynamic_pressure / loss * (strip.free_area + near))

    def balance(self) -> Floats:
        """Find the equilibrium from the trim's own pose; what is left over of the forces that are not
        solved for.
        """
        solved = [
            2,
            3,
            4,
            6,
            7,
            8,
            9,
        ]  # force along z, moments about x and y, slides
        state = self.scene.state
        start = np.array(
            [
                state.z,
                state.pitch,
                state.roll,
                *(w.travel for w in self.scene.wheels),
            ]
        )
        weight = self.scene.car.mass * 9.80665

        def rows(scaled: Floats) -> Floats:
            self.pose(scaled * 1e-3)
            return self.unbalanced()[solved] / weight

        # steps of differences well above what the search for the deepest point leaves
        options = {"xtol": 1e-12, "eps": 1e-5}
        found = root(rows, start * 1e3, method="hybr", options=options)
        self.pose(found.x * 1e-3)
        left = self.unbalanced()
        if np.abs(left[solved]).max() > 1e-6 * weight:
            raise RuntimeError(f"no equilibrium: {left}")
        return left


def share_of_largest(loads: Floats, others: Floats) -> float:
    """Largest difference of wheel loads over the largest load."""
    return float(np.abs(loads - others).max() / others.max())


def unbalanced_force(left: Floats, weight: float) -> float:
    """Force along and across that is left over, of the weight."""
    return sqrt(float(left[0]) ** 2 + float(left[1]) ** 2) / weight
