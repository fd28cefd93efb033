"""A brush tyre's strip summed bristle by bristle: the brute force beside the closed form.

SI. A strip of tread of half length l has the pressure p = k c_x (l^2 - x^2)/2. A bristle enters at x = l and
is carried back; at the way w = l - x its foot has moved sideways to sx w, its tip stays on the ground.
Turning about the up axis (spin phi) bends it by phi (l^2 - x^2)/2 besides. It sticks until its force meets
mu p and keeps from there the force mu p in the direction that it had then.
"""

from dataclasses import dataclass
from math import hypot

import numpy as np


@dataclass(frozen=True)
class Strip:
    half_length: float  # m
    foundation: float  # N/m3
    along: float  # 1/m, curvature
    shear: float  # N/m3
    friction: float
    spin_ratio: float  # chi_t: force of the spin over pressure

    def pressure(self, x: float) -> float:
        return self.foundation * self.along * (self.half_length**2 - x**2) / 2


def bristle_force(
    strip: Strip, sx: float, sy: float, x: float
) -> tuple[float, float]:
    """Of a bristle that still sticks, per area."""
    way = strip.half_length - x
    return (
        strip.shear * sx * way,
        strip.shear * sy * way + strip.spin_ratio * strip.pressure(x),
    )


def strip_sum(
    strip: Strip, sx: float, sy: float, bristles: int = 4000
) -> tuple[float, float, float]:
    """fx, fy, mz per width, by walking from the leading edge to the trailing one (midpoints)."""
    step = 2 * strip.half_length / bristles
    direction = None
    fx = fy = mz = 0.0
    for i in range(bristles):
        x = strip.half_length - (i + 0.5) * step
        most = strip.friction * strip.pressure(x)
        force = bristle_force(strip, sx, sy, x)
        if direction is None and hypot(*force) > most:
            direction = breakaway(
                strip, sx, sy, min(x + step, strip.half_length), x
            )
        if direction is not None:
            force = (most * direction[0], most * direction[1])
        fx += force[0] * step
        fy += force[1] * step
        mz += x * force[1] * step
    return fx, fy, mz


def breakaway(
    strip: Strip, sx: float, sy: float, ahead: float, behind: float
) -> np.ndarray:
    """Direction of the force where it first meets the friction, found by halving between two places."""
    for _ in range(60):
        middle = (ahead + behind) / 2
        if hypot(
            *bristle_force(strip, sx, sy, middle)
        ) > strip.friction * strip.pressure(middle):
            behind = middle
        else:
            ahead = middle
    return direction_at(strip, sx, sy, ahead)


def direction_at(strip: Strip, sx: float, sy: float, x: float) -> np.ndarray:
    """Of the bristle's force, from force over way: at the leading edge the force itself is zero."""
    pressure_per_way = (
        strip.foundation * strip.along * (strip.half_length + x) / 2
    )
    force = np.array(
        [
            strip.shear * sx,
            strip.shear * sy + strip.spin_ratio * pressure_per_way,
        ]
    )
    return force / np.linalg.norm(force)
