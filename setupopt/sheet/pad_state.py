"""The setup pad: flat, level, at rest, no air, driver aboard; what the car reads there while it is worked on.

A setup as written in a file is its own reading on the pad: camber, ride heights, and corner loads that share
each axle's weight evenly. Springs, perches, shims and pressures move the car off that reading; how far is
solved with the balance that every load case is solved with, from another preload of the springs.

Assumed, as nobody measures it: another spring has the free length of the one it replaces and stands on the
same seat. Where it has not, the perch turns come out otherwise and the ride height decides. Stops are out of
reach, as they are counted from the pad. The swing of a wheel about its ball joints does not lift the car:
what camber does to the ride height is what the tyre's penetration does.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from setupopt.errors import UserError
from setupopt.evaluation import pack
from setupopt.physics import sweep
from setupopt.physics.inputs import CASE, Floats, Records
from setupopt.project.model import AxleSetup, Project, Setup
from setupopt.units import GRAVITY

_ACROSS = [1, 0, 3, 2]  # the wheel on the other side


@dataclass(frozen=True, eq=False)
class Stance:
    """What is fitted and turned, SI; wheels FL, FR, RL, RR, axles front, rear."""

    spring: Floats  # (4,) N/m at the spring
    anti_roll: Floats  # (2,) N/m at the wheel; 0 where the bar is disconnected
    third: Floats  # (2,) N/m of the wheel pair; 0 where it is disconnected
    pressure: Floats  # (4,) Pa
    camber: Floats  # (4,) rad at zero travel: what shims change
    perch: Floats  # (4,) m, seat or push-rod moved, as height at the wheel; positive raises the car
    toe: Floats  # (2,) m, carried along
    free_travel: Floats  # (4,) m, travel at which bars and third springs carry nothing

    @classmethod
    def of(cls, setup: Setup) -> Stance:
        """A setup as it is written: nothing turned, bars and third springs connected without load."""

        def pair(value: Callable[[AxleSetup], float]) -> Floats:
            return np.array([value(setup.front), value(setup.rear)], dtype=float)

        return cls(
            spring=np.repeat(pair(lambda a: a.spring), 2),
            anti_roll=pair(lambda a: a.anti_roll),
            third=pair(lambda a: a.third),
            pressure=np.repeat(pair(lambda a: a.pressure), 2),
            camber=np.repeat(pair(lambda a: a.camber), 2),
            perch=np.zeros(4),
            toe=pair(lambda a: a.toe),
            free_travel=np.zeros(4),
        )


@dataclass(frozen=True, eq=False)
class PadReading:
    """What tape, gauge and scales read on the pad, SI; and the wheels' travel, which none of them reads."""

    ride_height: Floats  # (2,) m, on the centre line at the ride-height stations
    side_height: Floats  # (4,) m, floor line at the stations' x and the wheels' y
    camber: Floats  # (4,) rad, as a gauge on the wheel reads
    load: Floats  # (4,) N
    cross_share: float  # cross weight: front right plus rear left, over the whole
    travel: Floats  # (4,) m, from the reference


class Pad:
    """The car on the pad. `reference`: the setup it stands on today, which is its own reading."""

    def __init__(self, project: Project, reference: Setup) -> None:
        self.project, self.reference = project, reference
        self._body, elements, points = pack.vehicle(project.car)
        self._no_air = elements[:0], points[:0]
        self._settings = pack.settings(project.car, self._body, pack.by_wheel(reference))
        self._case = np.zeros(1, dtype=CASE)
        self._case["surface_grip"] = self._case["lean"] = self._case["transfer"] = 1.0
        self._ratio2 = pack.per_wheel(project.car, lambda axle: axle.motion_ratio) ** 2

    def reading(self, stance: Stance) -> PadReading:
        """What the pad shows in a stance. Raises UserError where the car cannot stand in it."""
        car = self._preloaded(stance), *self._no_air
        answer = sweep.run(car, self._setting(stance), self._case)[0]
        if not answer["contact"]:
            raise UserError("the car cannot stand on the setup pad with these springs and perches")
        ride, load = answer["ride_gap"].copy(), answer["load"].copy()
        return PadReading(
            ride_height=ride,
            side_height=np.repeat(ride, 2) + self._body["y"][0] * answer["state"][2],
            camber=answer["inclination"].copy(),
            load=load,
            cross_share=float((load[1] + load[2]) / load.sum()),
            travel=answer["travel"].copy(),
        )

    def _preloaded(self, stance: Stance) -> Records:
        """VEHICLE (1) whose springs carry at zero travel what they would there, and without stops.

        A spring that carries S0 at the reference is compressed by S0 / k0 there. One of the same free
        length carries k (S0 / k0 + perch) at zero travel; all at the wheel.
        """
        car, k0 = self._body.copy(), self._settings["wheel_rate"][0]
        unsprung = car["unsprung_mass"][0] * GRAVITY
        compression = (car["static_load"][0] - unsprung) / k0 + stance.perch
        free, across = stance.free_travel, stance.free_travel[_ACROSS]
        links = np.repeat(stance.anti_roll, 2) * (free - across)
        links += 0.25 * np.repeat(stance.third, 2) * (free + across)
        car["static_load"][0] = unsprung + stance.spring * self._ratio2 * compression - links
        car["stop_rate"] = 0.0
        return car

    def _setting(self, stance: Stance) -> Records:
        """SETTING (1) of a stance; ride height and penetration stay the reference's, from which we count."""
        car, row = self.project.car, self._settings.copy()
        base = pack.per_wheel(car, lambda axle: axle.tyre.foundation)
        rise = pack.per_wheel(car, lambda axle: axle.tyre.foundation_per_pressure)
        row["wheel_rate"][0], row["camber"][0] = stance.spring * self._ratio2, stance.camber
        row["foundation"][0] = base + rise * stance.pressure
        row["anti_roll"][0], row["third"][0] = stance.anti_roll, stance.third
        return row
