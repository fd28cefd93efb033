"""The gap of every named point of the floor, from trims that are solved already."""

from __future__ import annotations

from math import cos, sin

import numpy as np

from setupopt.physics.case_state import CASE_STATE, rest_gap
from setupopt.physics.inputs import (
    CASE,
    POINT,
    SETTING,
    SIDESLIP,
    VEHICLE,
    Floats,
    Record,
    Records,
)
from setupopt.physics.jit import kernel, shared_kernel


@kernel
def point_gap(
    car: Record, point: Record, setup: Record, case: Record, state: Record, heave: float, pitch: float,
    roll: float,
) -> float:  # fmt: skip
    """Gap of one point with the body moved from the pad, m; only the heading is read of `state`."""
    gap = rest_gap(car, setup, case, state, point.x, point.y) + point.offset
    return gap + heave - point.x * pitch + point.y * roll


@shared_kernel(
    [VEHICLE], [[POINT]], [SETTING], [CASE], [[["f8"]]], [CASE_STATE], [[["f8"]]],
    first=True,
)  # fmt: skip
def fill_gaps(
    cars: Records, points: Records, setups: Records, cases: Records, trims: Floats, states: Records,
    gaps: Floats,
) -> None:  # fmt: skip
    """Fill `gaps` (setups, cases, points) from `trims` (setups, cases, UNKNOWNS). `cars` (kinds), `points`
    (kinds, points), `states` (1).
    """
    state = states[0]
    for i in range(cases.size):
        for s in range(setups.size):
            x = trims[s, i]
            kind = int(setups[s].car)
            heading = cases[i].surface_heading - cases[i].crab * x[SIDESLIP]
            state.sin_heading = sin(heading)
            state.cos_heading = cos(heading)
            for p in range(points.shape[1]):
                point = points[kind, p]
                gaps[s, i, p] = point_gap(
                    cars[kind],
                    point,
                    setups[s],
                    cases[i],
                    state,
                    x[0],
                    x[1],
                    x[2],
                )


def point_gaps(
    car: tuple[Records, Records, Records],
    setups: Records,
    cases: Records,
    answers: Records,
) -> Floats:
    """Gaps (setups, cases, points), m, of steady answers (setups, cases). `car`: `pack.CarTable.packed`.

    The least over the points is an answer's `clearance`. A lost case has the gaps of the trim that its
    press would hold.
    """
    vehicle, _, points = car
    gaps = np.empty((setups.size, cases.size, points.shape[1]))
    trims = np.ascontiguousarray(answers["state"])
    fill_gaps(
        vehicle, points, setups, cases, trims, np.zeros(1, CASE_STATE), gaps
    )
    return gaps
