"""One case ready to move: its trim as a motion, and the linear equations about it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from setupopt.physics.balance import COLUMNS, WORK
from setupopt.physics.case_state import CASE_STATE, ROADBED
from setupopt.physics.contacts import columns
from setupopt.physics.inputs import CASE, Floats, Record, Records
from setupopt.physics.motion_slopes import motion_slopes
from setupopt.physics.ride_motion import HOLD, MOTION, begin_motion


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
