"""Air loads: downforce strip by strip from the gap under each, drag and side force from the wind."""

from __future__ import annotations

from math import atan2, exp

from setupopt.physics.inputs import STRIPS_ACROSS, STRIPS_ALONG, Floats, Record, Records
from setupopt.physics.jit import kernel


@kernel
def relative_wind(speed: float, headwind: float, crosswind: float, density: float) -> tuple[float, float]:
    """Dynamic pressure, Pa, and flow angle, rad; crosswind from the left is positive."""
    along = speed + headwind
    return 0.5 * density * (along * along + crosswind * crosswind), atan2(crosswind, along)


@kernel
def downforce(
    elements: Records, flow: Records, z: float, theta: float, phi: float, slopes: bool, rows: Floats
) -> tuple[float, float, float]:
    """Downforce, N, its roll and pitch moments, N m, and with `slopes` in `rows` (3, 3) their slopes.

    Every element in strips, in the order of `strip_places`; `flow` holds what the case means for
    each. Rows: downforce, roll moment, pitch moment; columns: heave, pitch, roll. Of the
    exponential of a strip's gap only the car's movement changes from trial to trial, and that
    is a product of powers over equally spaced strips.
    """
    lift = roll = pitch = 0.0
    if slopes:
        rows[:, :] = 0.0
    strip = 0
    for n in range(elements.size):
        e = elements[n]
        along, across = exp(e.along * theta / e.peak), exp(-e.across * phi / e.peak)
        row_decay = exp((e.x * theta - z) / e.peak) / (along * across * across)
        for i in range(STRIPS_ALONG):
            x = e.x + (i - 1) * e.along
            decay = row_decay
            row_decay *= along
            force = force_y = stiff = stiff_y = stiff_yy = 0.0
            for j in range(STRIPS_ACROSS):
                y, air = (j - 2) * e.across, flow[strip]
                strip += 1
                gap = air.rest_gap + z - x * theta + y * phi
                share = air.ground * decay * air.rest_decay if gap > 0.0 else 0.0
                decay *= across
                push = air.free + share * gap
                force += push
                force_y += y * push
                if slopes:
                    rate = share * (1.0 - gap / e.peak)
                    stiff += rate
                    stiff_y += y * rate
                    stiff_yy += y * y * rate
            lift += force
            roll -= force_y
            pitch += x * force
            if slopes:
                _add_slopes(x, stiff, stiff_y, stiff_yy, rows)
    if slopes:
        rows[1, 0], rows[1, 1], rows[2, 0] = -rows[0, 2], rows[2, 2], -rows[0, 1]
    return lift, roll, pitch


@kernel
def _add_slopes(x: float, stiff: float, stiff_y: float, stiff_yy: float, rows: Floats) -> None:
    """Slopes of one row of strips at `x`; what follows from symmetry comes at the end."""
    rows[0, 0] += stiff
    rows[0, 1] -= x * stiff
    rows[0, 2] += stiff_y
    rows[1, 2] -= stiff_yy
    rows[2, 1] -= x * x * stiff
    rows[2, 2] += x * stiff_y


@kernel
def set_pressure(element: Record, pressure: float, angle: float, strips: Records) -> None:
    """What a wind means for the strips of one element: their free force, and that per metre of gap."""
    scale = pressure / (1.0 + element.yaw_loss * angle * angle)
    free, ground = scale * element.free, scale * element.ground / element.peak
    for i in range(strips.size):
        strips[i].free, strips[i].ground = free, ground


@kernel
def set_gap(element: Record, gap: float, strip: Record) -> None:
    """Gap under one strip of the undisturbed car, on a smooth road."""
    strip.smooth_gap, strip.smooth_decay = gap, exp(1.0 - gap / element.peak)
    strip.rest_gap, strip.rest_decay = strip.smooth_gap, strip.smooth_decay


@kernel
def raise_surface(element: Record, height: float, slope: float, strips: Records) -> None:
    """Lift the surface under one element: `height` in its middle, m, and `slope` towards the left.

    The exponential of a gap is then a product of powers, as in `downforce`.
    """
    across = exp(element.across * slope / element.peak)
    first = exp(height / element.peak) / (across * across)
    for i in range(STRIPS_ALONG):
        decay = first
        for j in range(STRIPS_ACROSS):
            strip = strips[STRIPS_ACROSS * i + j]
            strip.rest_gap = strip.smooth_gap - height - (j - 2) * element.across * slope
            strip.rest_decay = strip.smooth_decay * decay
            decay *= across
