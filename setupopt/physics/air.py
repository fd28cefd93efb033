"""Air loads: downforce strip by strip from the gap under each, and the side force."""

from __future__ import annotations

from math import sqrt

import numpy as np

from setupopt.physics import surface
from setupopt.physics.case_state import floor_height
from setupopt.physics.inputs import (
    STRIPS,
    STRIPS_ACROSS,
    STRIPS_ALONG,
    STRIPS_KEPT,
    Floats,
    Record,
    Records,
)
from setupopt.physics.jit import any_order, kernel
from setupopt.physics.linear import clear
from setupopt.physics.powers import exp_of

# Rows of the loads: downforce, N; roll and pitch moment, N m. Columns: value, then slopes by heave, pitch,
# roll and sideslip.
LOADS = 3
COLUMNS = 5

# Strips of an element, from the last row's right one on, and one that does not count: full eights.
_PLACES = STRIPS_KEPT
_ALONG = np.zeros(_PLACES)
_ACROSS = np.zeros(_PLACES)
_COUNTED = np.zeros(_PLACES)
_ALONG[:STRIPS] = np.repeat(np.arange(STRIPS_ALONG) - 1.0, STRIPS_ACROSS)
_ACROSS[:STRIPS] = np.tile(np.arange(STRIPS_ACROSS) - 2.0, STRIPS_ALONG)
_COUNTED[:STRIPS] = 1.0
# Nothing is left of ground effect where the exponential is that of less.
_LEAST_POWER = -40.0


@kernel
def side_force(car: Record, state: Record) -> float:
    """Side force, N, to the left; its slope by the flow's angle is `side_force_slope`."""
    return -state.pressure * car.side_area * state.flow


@kernel
def downforce(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    loads: Floats,
) -> None:  # fmt: skip
    """Downforce and its roll and pitch moments with their slopes, into `loads` (LOADS, COLUMNS).

    `road`: the road's unevenness under every element. A strip's downforce is q / (1 + yaw_loss angle^2) times
    free area + ground area (h/h_peak) exp(1 - h/h_peak), h the gap; docs/model.md, air.
    """
    clear(loads)
    for n in range(elements.size):
        e = elements[n]
        loss = 1.0 + e.yaw_loss * state.flow * state.flow
        pressure = state.pressure / loss
        fade = -2.0 * case.crab * e.yaw_loss * state.flow / loss
        if e.ground == 0.0:
            free = pressure * e.free * STRIPS_ALONG * STRIPS_ACROSS
            for row in range(LOADS):
                arm = 1.0 if row == 0 else -e.y if row == 1 else e.x
                loads[row, 0] += arm * free
                loads[row, 4] += arm * fade * free
            continue
        level = floor_height(car, setup, e.x, car.middle)
        before = floor_height(car, setup, e.x + 1.0, car.middle)
        height = level + e.offset + x[0] - e.x * x[1] - road[n].height
        # how the gap grows by metre forwards, by metre to the left over the CG and over the element's middle
        rising = (before - level - x[1], x[2], setup.floor_roll - road[n].slope)
        _look_down(case, e, state)
        _add(e, height, rising, pressure, fade, case.crab, state, loads)


@kernel
def _look_down(case: Record, e: Record, state: Record) -> None:
    """Height and slope of the surface under the strips of an element, into `state`."""
    sine = state.sin_heading
    cosine = state.cos_heading
    curvature = case.floor_curvature
    at = e.x
    mid = e.y
    along = e.along
    across = e.across
    has_joints = case.floor_joints[0] + case.floor_joints[1] > 0.0
    for j in range(_PLACES):
        s = (at + _ALONG[j] * along) * sine + (
            mid + _ACROSS[j] * across
        ) * cosine
        # one part of a section: as `surface.onwards` from its lowest point
        bent = curvature * s
        upright = sqrt(1.0 - bent * bent)
        state.strip_height[j] = s * bent / (1.0 + upright)
        state.strip_slope[j] = bent / upright
    if has_joints:
        for j in range(_PLACES):
            s = (at + _ALONG[j] * along) * sine + (
                mid + _ACROSS[j] * across
            ) * cosine
            height, slope = surface.under_floor(case, s)
            state.strip_height[j] = height
            state.strip_slope[j] = slope


@kernel
@any_order
def _add(
    e: Record, height: float, rising: tuple[float, float, float], pressure: float, fade: float, crab: float,
    state: Record, loads: Floats,
) -> None:  # fmt: skip
    """Add an element strip by strip: force, how it grows with the gap, how gap and force grow with sideslip.

    `height`: of its middle over the tangent plane. The processor takes eight strips at a time.
    """
    forwards, roll, floor = rising
    per_peak = 1.0 / e.peak
    steep = e.ground * per_peak
    lift = across = ahead = 0.0
    rate_0 = rate_x = rate_y = rate_xx = rate_xy = rate_yy = 0.0
    turned_0 = turned_x = turned_y = 0.0
    for j in range(_PLACES):
        x = e.x + _ALONG[j] * e.along
        y = e.y + _ACROSS[j] * e.across
        gap = height + (x - e.x) * forwards + y * roll + (y - e.y) * floor
        gap -= state.strip_height[j]
        share = gap * per_peak
        decay = steep * exp_of(min(max(1.0 - share, _LEAST_POWER), 1.0))
        touches = gap <= 0.0
        counted = _COUNTED[j] * pressure
        force = counted * (e.free if touches else e.free + decay * gap)
        rate = counted * (0.0 if touches else decay * (1.0 - share))
        opened = crab * (x * state.cos_heading - y * state.sin_heading)
        turned = rate * state.strip_slope[j] * opened + fade * force
        lift += force
        across += y * force
        ahead += x * force
        rate_0 += rate
        rate_x += rate * x
        rate_y += rate * y
        rate_xx += rate * x * x
        rate_xy += rate * x * y
        rate_yy += rate * y * y
        turned_0 += turned
        turned_x += turned * x
        turned_y += turned * y
    _add_row(loads, 0, 1.0, lift, rate_0, rate_x, rate_y, turned_0)
    _add_row(loads, 1, -1.0, across, rate_y, rate_xy, rate_yy, turned_y)
    _add_row(loads, 2, 1.0, ahead, rate_x, rate_xx, rate_xy, turned_x)


@kernel
def _add_row(
    loads: Floats, row: int, sign: float, force: float, by_heave: float, by_pitch: float, by_roll: float,
    by_sideslip: float,
) -> None:  # fmt: skip
    """Add an element to one row of the loads."""
    loads[row, 0] += sign * force
    loads[row, 1] += sign * by_heave
    loads[row, 2] -= sign * by_pitch
    loads[row, 3] += sign * by_roll
    loads[row, 4] += sign * by_sideslip
