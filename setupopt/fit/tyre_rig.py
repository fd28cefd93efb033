"""What a tyre shows on a rig: one wheel on a flat surface, pressed, steered, or pushed until it slides.

The answers come from the kernels that every case goes through. The wheel counts as one on the right-hand side
of the car: a force to the left pushes it towards the car.
"""

from __future__ import annotations

from math import inf, isnan, nan, sqrt, tan

import numpy as np

from setupopt.physics import brush, tyre
from setupopt.physics.brush import BRUSH
from setupopt.physics.inputs import Floats, Record, Records, layout
from setupopt.physics.jit import kernel

_STEEPEST = 1.0  # rad: no tyre leans further
_MOST_STEPS = 30
_SLIDING = 1.57  # rad: the whole patch slides across, to 1e-6 of the slip
_RIGHT = -1.0  # of the car, as `side` in BRUSH
# By how much a force may grow with the lean that it makes: so that a step of Newton stays finite
_MOST_ANSWER = 0.8

# floor: least pressure that the friction law takes, Pa; shear: tangential over radial stiffness of the bed;
# thrust: share of the spin that the tread follows; carcass: N/m, rigid where both are 0; relaxation: m
TYRE = layout(
    one="radius half_width crown_radius foundation per_pressure friction friction_pressure exponent beta "
    "compliance floor shear thrust carcass carcass_per_pressure relaxation"
)
# side: 1 where the peak lateral force pushes towards the car, -1 away from it, 0 where none was measured.
# slip: angle, not a number off a curve; stiffness: 1 where the cornering stiffness is wanted
READING = layout(one="load inclination pressure side slip stiffness")


@kernel
def _width(d: float, t: float, c: float, w: float) -> float:
    """Width of the patch between the edges of the tread, or where the tread lifts, m."""
    near, far = tyre.roots(d, t, c)
    return abs(min(max(far, -w), w) - min(max(near, -w), w))


@kernel
def _slant(one: Record, row: Record, force: float) -> float:
    """Tangent of the inclination while the wheel leans under a force towards the car."""
    lean = row.inclination + one.compliance * force
    return tan(min(max(lean, -_STEEPEST), _STEEPEST))


@kernel
def _friction(one: Record) -> float:
    """Friction of a strip, as in BRUSH."""
    return 0.75 * one.beta * one.friction * one.friction_pressure**one.exponent


@kernel
def _set_patch(one: Record, k: float, patch: Record) -> None:
    """What the brush needs to know beside depth, slant, slip and spin."""
    patch.along = 1.0 / one.radius
    patch.across = 1.0 / one.crown_radius
    patch.half_width = one.half_width
    patch.foundation = k
    patch.shear = one.shear * k
    patch.friction = _friction(one)
    patch.exponent = one.exponent
    patch.floor = one.floor
    patch.slip_x = 0.0
    patch.side = _RIGHT


@kernel
def _lean_under(
    one: Record,
    row: Record,
    force: float,
    start: float,
    patch: Record,
    table: Floats,
    ends: Floats,
) -> float:
    """Brush forces into `table` while the wheel leans under `force`; slope of the lateral one by `force`."""
    k = patch.foundation
    w = patch.half_width
    t = _slant(one, row, force)
    d, s0, s1, _ = tyre.depth_for_load(
        row.load, start, t, patch.along, patch.across, w, k, ends
    )
    square = 1.0 + t * t
    patch.depth = d
    patch.slant = t
    patch.spin = _RIGHT * one.thrust * t / (sqrt(square) * one.radius)
    brush.forces(patch, table)
    by_spin = _RIGHT * one.thrust / (one.radius * square * sqrt(square))
    across = table[brush.ACROSS]
    by_slant = (
        across[brush.BY_SLANT]
        - across[brush.BY_DEPTH] * s1 / s0
        + across[brush.BY_SPIN] * by_spin
    )
    return by_slant * square * one.compliance


@kernel
def _steer(
    one: Record,
    row: Record,
    slip: float,
    start: float,
    patch: Record,
    table: Floats,
    ends: Floats,
) -> float:
    """Brush forces into `table` at a slip angle, the wheel leaning under its own lateral force: Newton,
    halved where it leaves the bounds found so far.

    Returns how that force answers to the force that it leans under.
    """
    patch.slip_y = tan(slip)
    force = 0.0
    answer = 0.0
    low = -inf
    high = inf
    for _ in range(_MOST_STEPS):
        answer = _lean_under(one, row, force, start, patch, table, ends)
        left = table[brush.ACROSS, brush.VALUE] - force
        if abs(left) < 1e-9 * row.load:
            break
        if left > 0.0:
            low = force
        else:
            high = force
        force += left / (1.0 - min(answer, _MOST_ANSWER))
        if not low < force < high:
            force = 0.5 * (low + high)
    return answer


@kernel
def _read_rows(
    one: Record,
    readings: Records,
    from_touch: float,
    patch: Record,
    table: Floats,
    ends: Floats,
    answers: Floats,
) -> None:
    """What a rig shows, (rows, quantities) in SI."""
    w = one.half_width
    along = 1.0 / one.radius
    across = 1.0 / one.crown_radius
    for i in range(readings.size):
        row = readings[i]
        out = answers[i]
        t = tan(row.inclination)
        k = one.foundation + one.per_pressure * row.pressure
        carcass = one.carcass + one.carcass_per_pressure * row.pressure
        d = tyre.depth_for_load(row.load, 0.01, t, along, across, w, k, ends)[0]
        # tread and carcass in series
        out[0] = (
            d
            + (row.load / carcass if carcass > 0.0 else 0.0)
            + from_touch * tyre.deepest(0.0, t, across, w)
        )
        out[1] = 2.0 * sqrt(
            2.0 * max(tyre.deepest(d, t, across, w), 0.0) / along
        )
        out[2] = _width(d, t, across, w)
        out[3] = tyre.contact(d, t, along, across, w, k, ends)[2] / k
        out[4] = 0.0
        out[5] = out[6] = out[7] = nan
        out[8] = one.relaxation
        _set_patch(one, k, patch)
        if row.side != 0.0:
            _steer(one, row, row.side * _SLIDING, d, patch, table, ends)
            out[4] = table[brush.ACROSS, brush.VALUE]
        if not isnan(row.slip):
            _steer(one, row, row.slip, d, patch, table, ends)
            out[5] = table[brush.ACROSS, brush.VALUE]
            out[7] = -table[brush.MOMENT, brush.VALUE]
        if row.stiffness != 0.0:
            answer = _steer(one, row, 0.0, d, patch, table, ends)
            out[6] = table[brush.ACROSS, brush.BY_SLIP_Y] / (
                1.0 - min(answer, _MOST_ANSWER)
            )


def read_off(
    one: Record, readings: Records, from_touch: float, out: Floats
) -> None:
    """What a rig would show, (rows, quantities) in SI, in the order of `tyre_table.QUANTITIES`.

    `from_touch`: 1 where deflection counts from the first touch, else 0. What was not measured is no number.
    """
    patch = np.zeros(1, BRUSH)[0]
    _read_rows(
        one,
        readings,
        from_touch,
        patch,
        np.zeros((brush.ROWS, brush.COLUMNS)),
        np.zeros(5),
        out,
    )
