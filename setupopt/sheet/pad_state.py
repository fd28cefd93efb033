"""The setup pad: flat, level, at rest, no air, driver aboard; what the car reads there while it is worked on.

A setup as written in a file is its own reading on the pad: camber, ride heights, and corner loads that share
the weight evenly left and right. Springs, perches, shims and pressures move the car off that reading, and
how far is solved with the balance that every case is solved with.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setupopt.errors import UserError
from setupopt.evaluation import Model
from setupopt.pack import per_wheel
from setupopt.physics import sweep
from setupopt.physics.inputs import CASE, Floats, Record, Records
from setupopt.physics.place import GRAVITY
from setupopt.project.model import Project, Setup

_THIN_AIR = 1e-9  # kg/m3; at rest it presses on nothing


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
    free_travel: (
        Floats  # (4,) m, travel at which bars and third springs carry nothing: where they were connected
    )

    @classmethod
    def of(cls, setup: Setup) -> Stance:
        """The stance of a setup as it is written: nothing turned, bars and third springs connected."""
        front, rear = setup.front, setup.rear

        def wheels(name: str) -> Floats:
            return np.repeat([getattr(front, name), getattr(rear, name)], 2).astype(float)

        def axles(name: str) -> Floats:
            return np.array([getattr(front, name), getattr(rear, name)], dtype=float)

        return cls(
            wheels("spring"), axles("anti_roll"), axles("third"), wheels("pressure"), wheels("camber"),
            np.zeros(4), axles("toe"), np.zeros(4),
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class PadReading:
    """What tape, gauge and scales read on the pad, SI."""

    ride_height: Floats  # (2,) m, on the centre line at the ride-height stations
    side_height: Floats  # (4,) m, floor line at the stations' x and the wheels' y
    camber: Floats  # (4,) rad, as a gauge on the wheel reads
    load: Floats  # (4,) N
    cross_share: float  # front right plus rear left, over the whole
    travel: Floats  # (4,) m, of the wheels from the reference; what no tape reads


class Pad:
    """The car on the pad. `reference`: the setup it stands on today, which is its own reading.

    A spring that is exchanged is taken to have the free length of the old one, so that in the same seat it
    is as far compressed. Where it has not, the turns of the perch come out other than told, and the ride
    height decides.
    """

    def __init__(self, project: Project, reference: Setup) -> None:
        self.project = project
        self.model = Model(project.car)
        self.settings: Records = self.model.settings(reference)
        body = self.model.packed[0][0]
        unsprung = body["unsprung_mass"] * GRAVITY
        self.unsprung_load: Floats = unsprung
        self.compression: Floats = (body["static_load"] - unsprung) / self.settings["wheel_rate"][0]

    def reading(self, stance: Stance) -> PadReading:
        """What the pad shows in a stance. Raises UserError where the car does not stand on its wheels."""
        _, elements, points = self.model.packed
        answer = sweep.run((self._body(stance), elements, points), self._setting(stance), _at_rest())[0]
        if not answer["contact"]:
            raise UserError("the car does not stand on its four wheels on the pad in this state")
        return self._read(answer)

    def _body(self, stance: Stance) -> Records:
        """VEHICLE (1) with the springs' force at zero travel in the place of the reference's corner loads."""
        body = self.model.packed[0].copy()
        free, other = stance.free_travel, stance.free_travel[[1, 0, 3, 2]]
        bars = (
            np.repeat(stance.anti_roll, 2) * (free - other)
            + np.repeat(stance.third, 2) * (free + other) / 4.0
        )
        springs = self._wheel_rate(stance) * (self.compression + stance.perch)
        body["static_load"][0] = self.unsprung_load + springs - bars
        return body

    def _wheel_rate(self, stance: Stance) -> Floats:
        return stance.spring * per_wheel(self.project.car, lambda axle: axle.motion_ratio) ** 2

    def _setting(self, stance: Stance) -> Records:
        """SETTING (1): what is fitted, about the reference's own place of wheels and floor."""
        setting, car = self.settings.copy(), self.project.car
        rise = per_wheel(car, lambda axle: axle.tyre.foundation_per_pressure)
        setting["foundation"][0] = per_wheel(car, lambda axle: axle.tyre.foundation) + rise * stance.pressure
        setting["wheel_rate"][0], setting["camber"][0] = self._wheel_rate(stance), stance.camber
        setting["anti_roll"][0], setting["third"][0] = stance.anti_roll, stance.third
        return setting

    def _read(self, answer: Record) -> PadReading:
        body, roll, load = self.model.packed[0][0], answer["state"][2], answer["load"]
        height = np.array(answer["ride_gap"])
        return PadReading(
            height, np.repeat(height, 2) + body["y"] * roll, np.array(answer["inclination"]), np.array(load),
            float((load[1] + load[2]) / load.sum()), np.array(answer["travel"]),
        )  # fmt: skip


def _at_rest() -> Records:
    """CASE (1): standing on the pad."""
    case = np.zeros(1, CASE)
    case["surface_grip"] = case["lean"] = case["transfer"] = 1.0
    case["air_density"] = _THIN_AIR
    return case


def changed(values: Floats, axle: int, by: float) -> Floats:
    """Values by wheel (4,) or axle (2,) with one axle's changed alike on both sides."""
    found = values.copy()
    if found.size == 4:
        found[2 * axle : 2 * axle + 2] += by
    else:
        found[axle] += by
    return found


def with_change(stance: Stance, field: str, axle: int, by: float) -> Stance:
    """A stance with one thing on one axle changed by so much, both sides alike."""
    return replace(stance, **{field: changed(getattr(stance, field), axle, by)})
