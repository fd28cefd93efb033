"""The gap of every named point of the floor, from trims that are solved already."""

from __future__ import annotations

from math import cos, sin

import numpy as np

from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.place import PLACE, rest_gap


@kernel
def point_gap(
    car: Record, point: Record, setup: Record, case: Record, place: Record, heave: float, pitch: float,
    roll: float,
) -> float:  # fmt: skip
    """Gap of one point with the body moved from the pad, m; only the heading is read of `place`."""
    gap = rest_gap(car, setup, case, place, point.x, point.y) + point.offset
    return gap + heave - point.x * pitch + point.y * roll


@kernel
def fill_gaps(
    cars: Records, points: Records, setups: Records, cases: Records, states: Floats, places: Records,
    gaps: Floats,
) -> None:  # fmt: skip
    """Fill `gaps` (setups, cases, points) from `states` (setups, cases, 7). `cars`, `places`: one each."""
    place = places[0]
    for i in range(cases.size):
        place.sin_heading, place.cos_heading = sin(cases[i].surface_heading), cos(cases[i].surface_heading)
        for s in range(setups.size):
            heave, pitch, roll = states[s, i, 0], states[s, i, 1], states[s, i, 2]
            for p in range(points.size):
                gaps[s, i, p] = point_gap(
                    cars[0], points[p], setups[s], cases[i], place, heave, pitch, roll
                )  # fmt: skip


def point_gaps(
    car: tuple[Records, Records, Records], setups: Records, cases: Records, answers: Records
) -> Floats:
    """Gaps (setups, cases, points), m, of steady answers (setups, cases). `car`: as `pack.vehicle` makes it.

    The least over the points is an answer's `clearance`. A lost case has the gaps of the trim that its
    press would hold.
    """
    body, _, points = car
    gaps = np.empty((setups.size, cases.size, points.size))
    states = np.ascontiguousarray(answers["state"])
    fill_gaps(body, points, setups, cases, states, np.zeros(1, PLACE), gaps)
    return gaps
