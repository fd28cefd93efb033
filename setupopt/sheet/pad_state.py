"""The setup pad: flat, level, at rest, no air, driver aboard; what the car reads there while it is worked on.

A setup as written in a file is its own reading on the pad: camber, ride heights and cross weight. A leaning
wheel stands beside the middle of its tread, so wheels that do not lean alike shift weight from side to side;
springs are seated so that heights and cross weight read as written all the same. Springs, perches, shims,
pressures and ballast move the car off that reading; how far is solved with the balance that every load case
is solved with, from another preload of the springs.

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
from setupopt.project.car_as_set import car_as_set
from setupopt.project.model import Project, Setup
from setupopt.sheet.build import as_written, changed
from setupopt.units import GRAVITY

_PROBE = 1e-4  # m of perch
_CLOSE = 1e-10  # m, and of the weight: closer than any scale or tape reads
_ACROSS = [1, 0, 3, 2]  # the wheel on the other side


@dataclass(frozen=True, eq=False)
class PadReading:
    """What tape, gauge and scales read on the pad, SI; and the wheels' travel, which none of them reads."""

    ride_height: (
        Floats  # (2,) m, on the centre line at the ride-height stations
    )
    side_height: (
        Floats  # (4,) m, floor line at the stations' x and the wheels' y
    )
    camber: Floats  # (4,) rad, as a gauge on the wheel reads
    load: Floats  # (4,) N
    cross_share: (
        float  # cross weight: front right plus rear left, over the whole
    )
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
        self._ratio2 = (
            pack.per_wheel(project.car, lambda axle: axle.motion_ratio) ** 2
        )
        self._seat: Floats = np.zeros(
            4
        )  # m of perch at which the reference reads as it is written
        self._rest: Floats = np.zeros(4)  # m of travel there
        bare = changed(
            as_written(reference), anti_roll=np.zeros(2), third=np.zeros(2)
        )
        self._seat = self.perch_moves(bare, reference)
        self._rest = self.reading(bare).travel

    def perch_moves(self, stance: Record, wanted: Setup) -> Floats:
        """Moves of the four perches, m, that bring ride heights and cross weight to those of a setup.

        Newton steps with the slopes of the first; none where the stance reads as wanted.
        """
        pose = self._wanted(wanted)
        moves = np.zeros(4)
        slopes = None
        for _ in range(12):
            off = pose - _pose(self.reading(_raised(stance, moves)))
            if np.abs(off).max() < _CLOSE:
                break
            if slopes is None:
                slopes = self._slopes(stance)
            moves = moves + np.linalg.solve(slopes, off)
        return moves

    def _slopes(self, stance: Record) -> Floats:
        """What a metre of each perch does to the pose."""
        before = _pose(self.reading(stance))
        probes = _PROBE * np.eye(4)
        return np.array(
            [
                (_pose(self.reading(_raised(stance, p))) - before) / _PROBE
                for p in probes
            ]
        ).T

    def _wanted(self, setup: Setup) -> Floats:
        """The pose of a setup as it is written."""
        row = self._model.settings(setup)
        roll = float(row["floor_roll"][0]) * self.project.car.front.track
        return np.array(
            [
                *setup.ride_heights,
                roll,
                car_as_set(self.project.car, setup).cross_share,
            ]
        )

    def side_heights(self, setup: Setup) -> Floats:
        """Floor line at every wheel, m, as a setup has it: its ride heights without their twist."""
        row = self._model.settings(setup)
        y = self._body["y"][0] - self._body["middle"][0]
        return np.repeat(setup.ride_heights, 2) + y * row["floor_roll"][0]

    def reading(self, stance: Record) -> PadReading:
        """What the pad shows in a stance, a BUILD record. Raises UserError where the car cannot stand so."""
        setting = self._setting(stance)
        body = self._model.packed_for(setting[0])[0].copy()
        self._preload(body, stance)
        setting["car"] = 0.0  # the only one there is
        answer = sweep.run((body, *self._no_air), setting, self._case)[0]
        if not answer["contact"]:
            raise UserError(
                "the car cannot stand on the setup pad with these springs and perches"
            )
        ride = answer["ride_gap"].copy()
        load = answer["load"].copy()
        y = body["y"][0] - body["middle"][0]
        return PadReading(
            ride_height=ride,
            side_height=np.repeat(ride, 2)
            + y * (answer["state"][2] + self._settings["floor_roll"][0]),
            camber=answer["inclination"].copy(),
            load=load,
            cross_share=float((load[1] + load[2]) / load.sum()),
            travel=answer["travel"] - self._rest,
        )

    def _preload(self, car: Records, stance: Record) -> None:
        """Give VEHICLE (1) springs that carry at zero travel what they would there, and no stops.

        A spring that carries S0 at the reference is compressed by S0 / k0 there. One of the same free
        length carries k (S0 / k0 + perch) at zero travel; all at the wheel.
        """
        k0 = self._settings["wheel_rate"][0]
        unsprung = car["unsprung_mass"][0] * GRAVITY
        compression = (
            (self._body["static_load"][0] - unsprung) / k0
            + self._seat
            + stance.perch
        )
        free = stance.free_travel + self._rest
        across = free[_ACROSS]
        links = np.repeat(stance.anti_roll, 2) * (free - across)
        links += 0.25 * np.repeat(stance.third, 2) * (free + across)
        car["static_load"][0] = (
            unsprung + stance.spring * self._ratio2 * compression - links
        )
        car["stop_rate"] = 0.0
        car["thrust"] = 0.0  # camber thrust needs a wheel that rolls

    def _setting(self, stance: Record) -> Records:
        """SETTING (1) of a stance; ride height and penetration stay the reference's, from which we count."""
        row = self._model.settings(np.reshape(stance, 1))
        for name in ("ride_height", "floor_roll", "penetration"):
            row[name] = self._settings[name]
        row["toe"] = 0.0  # so does a slip angle
        return row


def _raised(stance: Record, moves: Floats) -> Record:
    """A stance with its perches moved, m."""
    return changed(stance, perch=stance.perch + moves)


def _pose(reading: PadReading) -> Floats:
    """Ride heights front and rear, how much higher the floor stands front left than right, cross weight."""
    side = reading.side_height
    return np.array(
        [*reading.ride_height, side[0] - side[1], reading.cross_share]
    )
