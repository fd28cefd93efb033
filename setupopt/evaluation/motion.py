"""One case ready to move: its trim as a motion, and the linear equations about it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from setupopt.physics.balance import COLUMNS, WORK
from setupopt.physics.case_state import CASE_STATE, ROADBED
from setupopt.physics.contacts import columns, find_contacts
from setupopt.physics.inputs import ANSWER, CASE, Floats, Record, Records
from setupopt.physics.motion_slopes import motion_slopes
from setupopt.physics.ride_motion import HOLD, MOTION, begin_motion
from setupopt.physics.slopes import OUTPUTS, output_slopes


class Motion(NamedTuple):
    """What `motion_rates` and `motion_slopes` take, in their order; `m` is the motion's state."""

    car: Record
    elements: Records
    setup: Record
    case: Record
    damping: Record
    hold: Record
    part: Record
    state: Record
    bed: Records
    m: Floats
    work: Record
    x: Floats

    def slopes(self) -> Floats:
        """Slopes of the rates: by motion, steer, road and its speed, (MOTION, MOTION + 1 + columns + 4)."""
        slopes = np.zeros(
            (MOTION, MOTION + 1 + int(columns(self.elements)) + 4)
        )
        motion_slopes(*self, slopes)
        return slopes

    def outputs(
        self, points: Records, base: Record
    ) -> tuple[Floats, Floats, Floats]:
        """Outputs of physics/slopes.py at the trim of `base` (OUTPUTS), and their slopes by the ride (OUTPUTS, 7)
        and by the road (OUTPUTS, columns).
        """
        wide = int(columns(self.elements))
        mean = np.zeros(OUTPUTS)
        by_state = np.zeros((OUTPUTS, 7))
        by_road = np.zeros((OUTPUTS, wide))
        output_slopes(
            self.car, self.elements, points, self.setup, self.case, base, self.state, self.bed,
            self.work, np.zeros(1, ANSWER)[0], mean, by_state, by_road,
        )  # fmt: skip
        return mean, by_state, by_road

    def contacts(self) -> tuple[NDArray[np.float64], ...]:
        """Where the car feels a road, column by column (physics/contacts.py): behind the front axle, to the left
        of the middle, and over what length, m.
        """
        wide = int(columns(self.elements))
        behind, length = np.zeros((2, wide))
        find_contacts(
            self.car, self.elements, self.state, self.work, behind, length
        )
        half_track = 0.5 * float(self.car["y"][0] - self.car["y"][1])
        side = np.where(np.arange(wide) % 2 == 0, half_track, -half_track)
        return behind, side, length


def motion_at(
    packed: tuple[Records, Records, Records],
    setting: Record,
    case: Record,
    damping: Records,
    base: Record,
) -> Motion:
    """A motion at the trim of `base`, a steady ANSWER at full friction.

    `packed`: VEHICLE (1), ELEMENT (elements), POINT (points); a SETTING and a CASE record; DAMPING (1).
    """
    bodies, elements, _ = packed
    one = Motion(
        bodies[0], elements, setting, case, damping[0], np.zeros(1, HOLD)[0], np.zeros(1, CASE)[0],
        np.zeros(1, CASE_STATE)[0], np.zeros(elements.size, ROADBED), np.zeros(MOTION), np.zeros(1, WORK)[0],
        np.zeros(COLUMNS),
    )  # fmt: skip
    begin_motion(
        *one[:5],
        base,
        one.part,
        one.state,
        one.bed,
        one.hold,
        one.work,
        one.x,
        one.m,
    )
    return one
