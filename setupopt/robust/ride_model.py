"""A car's ride about its trims: from the project's dampers and inertias to rides in time."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any, NamedTuple, Self

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.model import Model
from setupopt.evaluation.motion import Motion, motion_at
from setupopt.evaluation.result import Result
from setupopt.evaluation.ride_modes import damping_records
from setupopt.evaluation.setup_record import by_wheel
from setupopt.physics.contacts import columns
from setupopt.physics.inputs import ANSWER, Floats, Record, Records
from setupopt.physics.ride_motion import HEADING, MOTION
from setupopt.physics.ride_run import (
    ALLOWED,
    DRIVER,
    EVENT,
    NOW,
    REST,
    TRACE,
    run,
)
from setupopt.physics.ride_time import RIDE
from setupopt.project.limits_model import disturbed
from setupopt.project.model import Project, Setup
from setupopt.project.needs import need
from setupopt.robust.driver import REACTION, Driver, best_driver
from setupopt.robust.event import NOTHING, Event
from setupopt.robust.road.spectrum import Contacts

_PURPOSE = "prove needs it for the car's movement over bumps"
_STEP, _STABLE = 2e-3, 1.8
_CALM = np.zeros((0, 2))
_NO_TRACE = np.zeros((0, len(TRACE)))
# Why a ride is not stood, by its reason (physics/ride_run.py), and when there is no driver for it.
NO_DRIVER = 6
REASONS = (
    "stood", "it leaves its path by more than allowed", "it slips sideways by more than allowed",
    "two wheels are off the surface for longer than allowed", "it leaves the surface",
    "it is not back in time", "no driver of that reaction time holds the car",
)  # fmt: skip


class Loop(NamedTuple):
    """Slopes of the rates at a trim (`Motion.slopes`), the driver who suits them, `rest` of `rest_step`, and where
    the car feels a road.
    """

    slopes: Floats
    driver: Driver
    rest: Floats
    contacts: Contacts


class RideModel:
    """One setup in many cases, each about its trim. Raises InputError where dampers or inertias are missing.

    `margin` (cases) is not a number where contact is lost. There is no ride about such a case, nor about one
    that slides: asking for one raises ValueError. `answers` (cases): the setup's answers, if they are known. A
    case that has two trims rides about that of its answer: of a whole sweep, the one of the lower margin.
    """

    def __init__(
        self,
        project: Project,
        setup: Setup,
        cases: CaseSet,
        answers: Records | None = None,
    ) -> None:
        car = project.car
        self.project = project
        self.setup = setup
        self.model = Model(car)
        self.cases = cases
        self.settings = self.model.settings(setup)
        self.packed = self.model.packed_for(self.settings[0])
        self.damping = damping_records(
            project, by_wheel(setup)[0], self.packed[0]
        )
        need(
            car.yaw_inertia,
            str(project.folder / "car.toml"),
            "car.yaw_inertia_kgm2",
            _PURPOSE,
        )
        self.result = (
            self.model.run(self.settings, cases)
            if answers is None
            else Result(cases, answers[None], self.packed[0][0])
        )
        self.margin = self.result.margin[0]
        self.allowed = disturbed(project.limits)
        self.reaction = car.driver_reaction or REACTION
        self.most_steer = (car.steer_limit or np.inf, car.steer_rate or np.inf)
        self._loops: dict[int, Loop] = {}

    def __reduce__(self) -> tuple[Any, ...]:
        """Another machine makes its own, about the same trims."""
        answers = self.result.answers[0]
        return type(self), (self.project, self.setup, self.cases, answers)

    def pick(self, rows: Sequence[int] | np.ndarray) -> Self:
        """Some of the cases, about the same trims."""
        cases = self.cases.pick(rows)
        answers = self.result.answers[0, rows]
        return type(self)(self.project, self.setup, cases, answers)

    @classmethod
    def about(cls, other: RideModel) -> Self:
        """The same setup and cases, with all that is known of them already."""
        one = cls.__new__(cls)
        one.__dict__ = other.__dict__
        return one

    @cached_property
    def step(self) -> float:
        """Longest step in time, s: one of third order is stable to 2.5 over the quickest rate (Hairer and
        Wanner, Solving Ordinary Differential Equations II), which is that of a wheel between its dampers.
        """
        damping, mass = self.damping[0], self.damping["mass"][0, 3:]
        rates = (
            np.maximum(damping["bump"], damping["rebound"]) + damping["tyre"]
        ) / mass
        return float(min(_STEP, _STABLE / rates.max()))

    @property
    def columns(self) -> int:
        """Heights of a road at one moment (physics/contacts.py)."""
        return int(columns(self.packed[1]))

    def rides(self, row: int) -> bool:
        """Whether there is a ride about a case: it keeps contact and does not slide."""
        return bool(self.has_ride[row])

    def is_driven(self, row: int = 0) -> bool:
        """Whether there is a ride about a case, and a driver who holds the car in it."""
        return self.rides(row) and self.driver(row).holds

    def speed(self, row: int) -> float:
        """Of a case, m/s."""
        return float(self.cases.records["speed"][row])

    @property
    def places(self) -> Floats:
        """Roll angle and place along a section of every case, (cases, 2)."""
        records = self.cases.records
        return np.column_stack([records["roll_angle"], records["along"]])

    @property
    def has_ride(self) -> np.ndarray:
        """`rides` of all cases, (cases)."""
        return is_judged(self.result.answers[0])

    def base(self, row: int) -> Records:
        """The steady answer (1) that a ride of one case starts from."""
        if not self.rides(row):
            raise ValueError(
                "no ride about a case that slides or loses contact"
            )
        return np.ascontiguousarray(self.result.answers[0, row : row + 1])

    def trim(self, row: int) -> Floats:
        """Trim (COLUMNS) of one case, at full friction."""
        return np.append(self.base(row)["state"][0], 1.0)

    def contacts(self, row: int) -> Contacts:
        """Where this car feels a road in one case, column by column (physics/contacts.py)."""
        return self.loop(row).contacts

    def motion(self, row: int) -> Motion:
        """One case ready to move, at its trim."""
        case = self.cases.records[row]
        return motion_at(
            self.packed, self.settings[0], case, self.damping, self.base(row)[0]
        )

    def loop(self, row: int) -> Loop:
        """What rides need to know of one case beside its trim, made at the first use."""
        if row not in self._loops:
            motion = self.motion(row)
            contacts = Contacts(*motion.contacts())
            slopes = motion.slopes()
            own = np.eye(MOTION) - REST * slopes[:, :MOTION]
            driver = best_driver(slopes, self.reaction)
            self._loops[row] = Loop(
                slopes, driver, np.linalg.inv(own), contacts
            )
        return self._loops[row]

    def driver(self, row: int) -> Driver:
        """The driver whose gains suit one case best."""
        return self.loop(row).driver

    def disturbed(
        self, row: int, road: Floats, step: float, *, wind: Floats = _CALM, event: Event = NOTHING,
        start: Motion | None = None, driven: bool = True, judged: bool = True, trace: Floats = _NO_TRACE,
        every: int = 0, skip: int = 0, floor: float = 0.0,
    ) -> Records:  # fmt: skip
        """RIDE (1) of one case through a disturbance; see `ride_run.run`.

        `road` (samples, columns) in m, half a `step` apart; `wind` (samples, 2) in m/s. `start`: another trim
        that the car comes from. Not `driven`: the steer stays as it is. Not `judged`: whether the car comes
        back is not asked, and the ride ends with the road.
        """
        motion = self.motion(row)
        steer = 0.0 if start is None else _come_from(start, motion)
        event.begin(motion)
        body = self.packed[0].copy()[0]
        if (
            event.flat >= 0
        ):  # a flat tyre has no more friction than it had, however low its pressure
            base, w = self.base(row)[0], event.flat
            pressure = (
                1.5 * base.load[w] / base.patch[w]
                if base.load[w] > 0.0
                else 0.0
            )
            body.friction_floor[w] = max(body.friction_floor[w], pressure)
        ride = np.zeros(1, RIDE)
        within = self.allowed.within if judged else 0.0
        allowed = _record(
            ALLOWED,
            self.allowed.drift,
            self.allowed.sideslip,
            self.allowed.airborne,
            within,
        )
        loop = self.loop(row)
        gains = loop.driver.gains if driven else np.zeros(4)
        run(
            body, motion.elements, self.settings.copy()[0], *motion[3:], self.packed[2], self.base(row)[0],
            motion.setup, _record(DRIVER, self.reaction, *self.most_steer, gains), allowed,
            _record(EVENT, *event.numbers), np.ascontiguousarray(road), wind, step, loop.rest, within, every,
            skip, floor, steer, np.zeros((6, max(MOTION, self.columns))), np.zeros(1, ANSWER)[0], trace,
            np.zeros(1, NOW)[0], ride[0],
        )  # fmt: skip
        return ride

    def ride(
        self,
        row: int,
        roads: Floats,
        dt: float,
        every: int = 1,
        skip: int = 0,
        floor: float = 0.0,
    ) -> Records:
        """RIDE (rides) of one case over roads (rides, samples, columns) in m, `dt` seconds apart.

        A step takes two of them; a ride that is not stood ends there.
        """
        given = {"judged": False, "every": every, "skip": skip, "floor": floor}
        step = 2.0 * dt
        rides = [self.disturbed(row, road, step, **given) for road in roads]  # type: ignore[arg-type]
        return np.concatenate(rides)


def _record(kind: np.dtype, *values: object) -> Record:
    """One record of a layout from its values in their order."""
    one = np.zeros(1, kind)[0]
    for name, value in zip(kind.names or (), values, strict=True):
        one[name] = value
    return one


def _come_from(start: Motion, motion: Motion) -> float:
    """Put a motion on another trim, of the same course; returns that one's steer off its own, rad."""
    turned = float(motion.hold.sideslip - start.hold.sideslip)
    steer = float(start.hold.steer - motion.hold.steer)
    motion.m[:] = start.m
    motion.m[HEADING] = turned
    return steer
