"""Speed, distance and time along the path: what slows a car without drive, and the run-up from standstill."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from setupopt.evaluation.cases import CaseSet, level, sweep_cases
from setupopt.evaluation.model import Model
from setupopt.physics.case_state import gravity, low_side
from setupopt.physics.inputs import Floats, Records
from setupopt.project.car_as_set import car_as_set
from setupopt.project.model import Project, straight
from setupopt.project.needs import need
from setupopt.robust.bisection import bisect

# Speeds at which the acceleration that grip allows is solved: an odd number, so that every other one
# includes both ends.
_NODES = 49
_HALVINGS = 26  # 4 g / 2^26 is 1e-6 m/s2, the noise of the margin in units of g a tenth of that
_POINTS = 101  # of the reported curve
_TOLERANCE = 1e-8  # relative and in SI, of each step of the integration
# The run-up ends at this share of the top speed, which itself is never reached.
_NEARLY = 0.99

Acceleration = Callable[[Floats], Floats]


class PathForces:
    """What acts along the path of cases, (cases) each, on a project's car as its setup sets it."""

    def __init__(self, project: Project, cases: Records) -> None:
        car = car_as_set(project.car, project.setup)
        self.mass = car.mass
        self._drag_area = car.air.drag_area
        self._cases = cases
        self._gravity = _each(
            gravity, cases["roll_angle"], cases["heading"], cases["slope"]
        )
        # A horizontal turn asks for some of its acceleration along a car that heads across it; as v^2.
        turn = _each(low_side, cases["roll_angle"]) * cases["turn_curvature"]
        self._turn = (
            -turn * np.cos(cases["roll_angle"]) * np.sin(cases["heading"])
        )

    def deceleration(self, speed: Floats) -> Floats:
        """Deceleration, m/s2, without force of the tyres along the car: by drag, and by gravity uphill."""
        c = self._cases
        pressure = (
            0.5
            * c["air_density"]
            * ((speed + c["headwind"]) ** 2 + c["crosswind"] ** 2)
        )
        return (
            pressure * self._drag_area / self.mass
            - self._gravity
            + self._turn * speed**2
        )

    def power(self, speed: Floats) -> Floats:
        """Power at the wheels, W, that holds a speed."""
        return np.asarray(self.mass * self.deceleration(speed) * speed)


def _each(kernel: Callable[..., Any], *arguments: Floats | float) -> Floats:
    """The first value that a scalar kernel returns, by element; no elements are allowed."""
    shaped = np.broadcast_arrays(*arguments)
    found = [
        np.ravel(kernel(*numbers))[0] for numbers in zip(*shaped, strict=True)
    ]
    return np.array(found, dtype=float)


def distance_and_time(
    acceleration: Acceleration,
    first: Floats,
    last: Floats,
    shares: Floats | None = None,
) -> tuple[Floats, Floats]:
    """Metres and seconds in which the speeds of (runs), m/s, change from `first` to `last`.

    Both are (shares, runs). `acceleration` takes and gives (runs), m/s2, with the sign of last - first all
    the way. `shares` ascend from 0 to 1 of the change of speed; None: the whole change. The integration
    variable is the speed: dx/dv = v / a and dt/dv = 1 / a stay finite at standstill, dv/dx = a / v does not.
    """
    start = np.asarray(first, dtype=float)
    change = np.asarray(last, dtype=float) - first

    def rates(share: float, _: Floats) -> Floats:
        speed = start + share * change
        pace = change / acceleration(speed)
        return np.concatenate([speed * pace, pace])

    wanted = np.array([1.0]) if shares is None else shares
    found = solve_ivp(
        rates,
        (0.0, 1.0),
        np.zeros(2 * start.size),
        "DOP853",
        wanted,
        rtol=_TOLERANCE,
        atol=_TOLERANCE,
    )
    metres, seconds = np.split(found.y.T, 2, axis=1)
    return metres, seconds


# ---- run-up ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class RunUp:
    """From standstill on the flat floor of the section, straight, without wind; (points) each, SI.

    `speed` ends at `target`, or, where that is never reached, just below the speed `top` at which the
    acceleration is zero. `by_grip`: the tyres limit there, else the power. `doubt_m` and `doubt_s`: numerical
    error of the last point, as the difference to a solution with half as many speeds.
    """

    target: float
    top: float | None
    speed: Floats
    metres: Floats
    seconds: Floats
    acceleration: Floats
    by_grip: np.ndarray
    doubt_m: float
    doubt_s: float

    @property
    def is_reached(self) -> bool:
        """Whether the target is reached."""
        return self.top is None

    @property
    def grip_until(self) -> float:
        """Speed up to which the tyres limit, m/s; 0 where the power does from the start."""
        return float(self.speed[self.by_grip].max(initial=0.0))


def run_up(project: Project) -> RunUp:
    """Run-up to the sweep's speed with all the power, or all the grip of the driven axles where that is less.

    The project's car must have its body on. Raises InputError where the car's power is not given.
    """
    file = project.folder / "car.toml"
    power = need(
        project.car.power,
        file,
        "car.power_kW",
        "the power check and the run-up need it",
    )
    floor = _FlatFloor(project)
    nodes = np.linspace(0.0, project.venue.sweep.speed, _NODES)
    limit = floor.grip_limit(nodes)
    fine, coarse = (floor.pushed(power, nodes[::n], limit[::n]) for n in (1, 2))
    return _curve(
        fine, coarse, PchipInterpolator(nodes, limit), project.venue.sweep.speed
    )


class _FlatFloor:
    """The flat floor of the section, driven straight along its axis."""

    def __init__(self, project: Project) -> None:
        self.case = sweep_cases(
            replace(project.venue, attitudes=(straight("run-up"),)),
            np.array([level(project.venue)]),
        )
        self.model = Model(project.car)
        self.settings = self.model.settings(project.setup)
        self.path = PathForces(project, self.case.records)

    def pushed(
        self, power: float, nodes: Floats, limit: Floats
    ) -> Acceleration:
        """Acceleration by speed: the lesser of what the power and what the grip give."""
        by_grip = PchipInterpolator(nodes, limit)

        def acceleration(speed: Floats) -> Floats:
            by_power = power / (
                self.path.mass * np.maximum(speed, 1e-9)
            ) - self.path.deceleration(speed)
            return np.minimum(by_power, by_grip(speed))

        return acceleration

    def grip_limit(self, speed: Floats) -> Floats:
        """Largest acceleration, m/s2 (speeds), at which no axle slides and contact is kept."""
        coasting = -self.path.deceleration(speed)
        grip = self._answers(speed, coasting)["grip"].sum(axis=1)

        def keeps(acceleration: Floats) -> np.ndarray:
            answers = self._answers(speed, acceleration)
            return np.asarray(answers["contact"] & (answers["margin"] > 0.0))

        return bisect(
            keeps, coasting, coasting + 2.0 * grip / self.path.mass, _HALVINGS
        )[0]

    def _answers(self, speed: Floats, acceleration: Floats) -> Records:
        records = np.repeat(self.case.records, speed.size)
        records["speed"] = speed
        records["acceleration"] = acceleration
        cases = CaseSet(
            records, self.case.attitude * speed.size, np.empty(0), ()
        )
        return self.model.run(self.settings, cases).answers[0]


def _curve(
    fine: Acceleration,
    coarse: Acceleration,
    by_grip: Acceleration,
    target: float,
) -> RunUp:
    """The curve up to the target, or to just below the speed where the acceleration ends."""
    top = _top(fine, target)
    last = target if top is None else _NEARLY * top
    shares = np.linspace(0.0, 1.0, _POINTS)
    standstill = np.zeros(1)
    end = np.array([last])
    metres, seconds = (
        column[:, 0]
        for column in distance_and_time(fine, standstill, end, shares)
    )
    coarse_m, coarse_s = (
        float(column[-1, 0])
        for column in distance_and_time(coarse, standstill, end)
    )
    speed = last * shares
    acceleration = fine(speed)
    return RunUp(
        target, top, speed, metres, seconds, acceleration, acceleration >= by_grip(speed),
        abs(metres[-1] - coarse_m), abs(seconds[-1] - coarse_s),
    )  # fmt: skip


def _top(acceleration: Acceleration, target: float) -> float | None:
    """The first speed up to the target at which the acceleration is zero; None where it never is."""
    speed = np.linspace(0.0, target, 20 * _NODES)
    ended = np.flatnonzero(acceleration(speed) <= 0.0)
    if ended.size == 0:
        return None
    first = int(ended[0])
    if first == 0:
        return 0.0
    return float(
        brentq(
            lambda v: float(acceleration(np.array([v]))[0]),
            speed[first - 1],
            speed[first],
        )
    )
