"""What a tyre shows on a rig: one wheel pressed onto a flat surface, and pushed sideways until it slides.

The answers come from the kernels that every case goes through.
"""

from __future__ import annotations

from math import sqrt, tan

import numpy as np

from setupopt.physics import brush, tyre
from setupopt.physics.inputs import Floats, Record, Records, layout
from setupopt.physics.jit import kernel

_STEEPEST = 1.0  # rad: no tyre leans further

TYRE = layout(
    one="radius half_width crown_radius foundation per_pressure friction friction_pressure exponent beta "
    "compliance"
)
# side: 1 where the lateral force pushes towards the car, -1 away from it, 0 where none was measured
READING = layout(one="load inclination pressure side")


@kernel
def _width(d: float, t: float, c: float, w: float) -> float:
    """Width of the patch between the edges of the tread, or where the tread lifts, m."""
    near, far = tyre.roots(d, t, c)
    ends = min(max(near, -w), w), min(max(far, -w), w)
    return abs(ends[1] - ends[0])


@kernel
def _capacity(one: Record, row: Record, k: float, force: float, start: float, ends: Floats) -> float:
    """Grip capacity while the wheel leans under a lateral force, N; as `answer.grip` has it."""
    lean = row.inclination + one.compliance * row.side * force
    t = tan(min(max(lean, -_STEEPEST), _STEEPEST))
    c_x, c = 1.0 / one.radius, 1.0 / one.crown_radius
    d = tyre.depth_for_load(row.load, start, t, c_x, c, one.half_width, k, ends)
    friction = 0.75 * one.beta * one.friction * one.friction_pressure**one.exponent
    return brush.capacity(d, t, c_x, c, one.half_width, k, friction, one.exponent, 0.0)


@kernel
def _peak(one: Record, row: Record, k: float, start: float, ends: Floats) -> float:
    """The lateral force that the patch can just pass while leaning under it, N: false position, Illinois."""
    upright = -row.inclination * row.side / one.compliance if one.compliance > 0.0 else 0.0
    low, high = 0.0, 1.001 * _capacity(one, row, k, upright, start, ends)  # no lean passes more than none
    above, below = _capacity(one, row, k, low, start, ends), _capacity(one, row, k, high, start, ends) - high
    force, last = above, 0.0
    for _ in range(60):
        left = _capacity(one, row, k, force, start, ends) - force
        if abs(left) < 1e-10 * high:
            break
        if left > 0.0:
            low, above = force, left
            below *= 0.5 if last > 0.0 else 1.0
        else:
            high, below = force, left
            above *= 0.5 if last < 0.0 else 1.0
        force, last = (high * above - low * below) / (above - below), left
    return force


@kernel
def read_off(one: Record, readings: Records, from_touch: float, out: Floats) -> None:
    """What a rig would show, (rows, quantities) in SI; `from_touch`: 1 or 0."""
    ends, w = np.zeros(5), one.half_width
    c_x, c = 1.0 / one.radius, 1.0 / one.crown_radius
    for i in range(readings.size):
        row = readings[i]
        t, k = tan(row.inclination), one.foundation + one.per_pressure * row.pressure
        d = tyre.depth_for_load(row.load, 0.01, t, c_x, c, w, k, ends)
        out[i, 0] = d + from_touch * tyre.deepest(0.0, t, c, w)
        out[i, 1] = 2.0 * sqrt(2.0 * max(tyre.deepest(d, t, c, w), 0.0) / c_x)
        out[i, 2] = _width(d, t, c, w)
        out[i, 3] = tyre.contact(d, t, c_x, c, w, k, ends)[2] / k
        out[i, 4] = row.side * _peak(one, row, k, d, ends) if row.side != 0.0 else 0.0
