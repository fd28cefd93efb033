"""The setup pad: flat, level, at rest, no air, driver aboard; what the car reads there while it is worked on.

A setup as written in a file is its own reading on the pad: camber, ride heights, and corner loads that share
each axle's weight evenly. Springs, perches, shims and pressures move the car off that reading; how far is
solved with the balance that every load case is solved with, from another preload of the springs.

Assumed, as nobody measures it: another spring has the free length of the one it replaces and stands on the
same seat. Where it has not, the perch turns come out otherwise and the ride height decides. Stops are out of
reach, as they are counted from the pad. The swing of a wheel about its ball joints does not lift the car:
what camber does to the ride height is what the tyre's penetration does. The wheels stand on sliding plates,
so that neither toe nor camber pushes the car aside or up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.errors import UserError
from setupopt.evaluation import pack
from setupopt.evaluation.model import Model
from setupopt.physics import sweep
from setupopt.physics.inputs import CASE, Floats, Record, Records
from setupopt.project.model import Project, Setup
from setupopt.units import GRAVITY

_ACROSS = [1, 0, 3, 2]  # the wheel on the other side


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
        self.project = project
        self.reference = reference
        self._model = Model(project.car)
        self._settings = self._model.settings(reference)
        self._body, elements, points = self._model.packed_for(self._settings[0])
        self._no_air = elements[None, :0], points[None, :0]
        self._case = np.zeros(1, dtype=CASE)
        for name in ("surface_grip", "lean", "transfer", "crab"):
            self._case[name] = 1.0
        self._ratio2 = pack.per_wheel(project.car, lambda axle: axle.motion_ratio) ** 2

    def reading(self, stance: Record) -> PadReading:
        """What the pad shows in a stance, a BUILD record. Raises UserError where the car cannot stand so."""
        car = self._preloaded(stance), *self._no_air
        answer = sweep.run(car, self._setting(stance), self._case)[0]
        if not answer["contact"]:
            raise UserError("the car cannot stand on the setup pad with these springs and perches")
        ride = answer["ride_gap"].copy()
        load = answer["load"].copy()
        y = self._body["y"][0] - self._body["middle"][0]
        return PadReading(
            ride_height=ride,
            side_height=np.repeat(ride, 2) + y * (answer["state"][2] + self._settings["floor_roll"][0]),
            camber=answer["inclination"].copy(),
            load=load,
            cross_share=float((load[1] + load[2]) / load.sum()),
            travel=answer["travel"].copy(),
        )

    def _preloaded(self, stance: Record) -> Records:
        """VEHICLE (1) whose springs carry at zero travel what they would there, and without stops.

        A spring that carries S0 at the reference is compressed by S0 / k0 there. One of the same free
        length carries k (S0 / k0 + perch) at zero travel; all at the wheel.
        """
        car = self._body.copy()
        k0 = self._settings["wheel_rate"][0]
        unsprung = car["unsprung_mass"][0] * GRAVITY
        compression = (car["static_load"][0] - unsprung) / k0 + stance.perch
        free = stance.free_travel
        across = free[_ACROSS]
        links = np.repeat(stance.anti_roll, 2) * (free - across)
        links += 0.25 * np.repeat(stance.third, 2) * (free + across)
        car["static_load"][0] = unsprung + stance.spring * self._ratio2 * compression - links
        car["stop_rate"] = 0.0
        car["thrust"] = 0.0  # camber thrust needs a wheel that rolls
        return car

    def _setting(self, stance: Record) -> Records:
        """SETTING (1) of a stance; ride height and penetration stay the reference's, from which we count."""
        row = self._model.settings(np.reshape(stance, 1))
        for name in ("ride_height", "floor_roll", "penetration"):
            row[name] = self._settings[name]
        row["car"] = 0.0  # the preloaded one
        row["toe"] = 0.0  # so does a slip angle
        return row
