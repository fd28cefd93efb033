"""One strip of the brush: its forces in closed form, sticking in front and sliding behind, or sliding as a whole."""

from __future__ import annotations

from math import sqrt

from setupopt.physics.jit import kernel

_TINY = 1e-300
Strip = tuple[
    float, float, float, float, float, float, float, float, float, float, float, float
]  # fmt: skip


@kernel
def strip(
    sx: float, sy: float, chi: float, mu: float, q: float, length: float, reach: float
) -> Strip:  # fmt: skip
    """Force along and across a strip and its moment about the strip's middle, per metre of width.

    `chi`: spin as a share of the pressure; `q`: line load, N/m; `length`: half the strip's, m; `reach`: slip
    over friction at which all of it slides. Each of the three is followed by its slopes by sx, sy and chi.

    Both forces have one factor `force` times the slip. Where all of the strip slides, its force turns with the
    direction of slip only.
    """
    per_reach = 1.0 / reach
    square = mu * mu - chi * chi
    along = chi * sy
    root = sqrt(along * along + square * (sx * sx + sy * sy))
    th = min((along + root) / square * per_reach, 1.0)
    sticks = th < 1.0
    slid = th * reach
    stuck = 1.0 - th
    across = sy + chi * slid
    norm = sx * sx + across * across
    # slopes of th where the strip sticks, of the direction of slip where it slides
    over = (per_reach if sticks else 1.0) / ((root if sticks else norm) + _TINY)
    turn_x = sx * over
    turn_y = across * over
    turn_chi = slid * turn_y
    stiffness = q * per_reach
    force = (
        stiffness * (3.0 - 3.0 * th + th * th)
        if sticks
        else mu * q * sqrt(norm) * over
    )
    bent = stiffness * (2.0 * th - 3.0) if sticks else -force
    by_x = bent * turn_x
    by_y = bent * turn_y
    by_chi = bent * turn_chi
    sideways = sy if sticks else across
    held = q if sticks else force * reach
    trail = length * stiffness * stuck * stuck
    arm = trail * stuck
    turned = 3.0 * trail * sy
    return (
        force * sx, force + by_x * sx, by_y * sx, by_chi * sx,
        force * sy + chi * held, by_x * sideways, force + by_y * sideways, held + by_chi * sideways,
        -arm * sy, turned * turn_x, turned * turn_y - arm, turned * turn_chi,
    )  # fmt: skip
