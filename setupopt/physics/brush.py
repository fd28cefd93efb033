"""Forces of a tyre with slip: a brush on the patch of the elastic foundation, strip by strip in closed form.

The bristles of a strip grow their deflection from the leading edge, stick until their force meets the
friction, then slide; the pressure along a strip is parabolic because the bed is elastic. Source of the brush:
Pacejka, Tyre and Vehicle Dynamics, chapter 3; its closed form for a strip with spin is derived in
docs/model.md.
"""

from __future__ import annotations

from math import copysign, pi, sqrt

import numpy as np

from setupopt.physics import tyre
from setupopt.physics.inputs import Floats, Record, layout
from setupopt.physics.jit import kernel
from setupopt.physics.linear import clear

# What the brush of one wheel is asked. depth: crown penetration; slant: tan(inclination); along, across:
# effective curvatures, 1/m; half_width: of the tread; foundation, shear: stiffness of the bed, radial and
# tangential, N/m3. friction: a strip's friction times its deepest pressure to the power `exponent`, with the
# friction factor in it; floor: the least such pressure that counts, Pa. slip_x, slip_y: in the tread's
# middle; spin: 1/m; side: 1 on the left, -1 on the right: y is positive outboard.
BRUSH = layout(
    one="depth slant along across half_width foundation shear friction exponent floor slip_x slip_y spin side"
)

# What it answers, three rows of a table: force along and across the wheel, N, and moment about its z axis, N
# m.
ALONG = 0
ACROSS = 1
MOMENT = 2
ROWS = 3
# Columns: the value, then its slopes by depth, slant, curvature across and along, longitudinal and lateral
# slip, spin, and the logarithm of the friction factor.
VALUE = 0
BY_DEPTH = 1
BY_SLANT = 2
BY_ACROSS = 3
BY_ALONG = 4
BY_SLIP_X = 5
BY_SLIP_Y = 6
BY_SPIN = 7
BY_FRICTION = 8
COLUMNS = 9

# Gauss nodes of a piece of the tread, by the sine of an angle: square roots at its ends become smooth. With
# 16, forces are within 4e-5 of the load (tests/physics/test_brush.py); the kink where sliding begins is what
# is left.
_NODES = 16
# Of a tread in three pieces, each.
_PART_NODES = 8
_GAUSS = [np.polynomial.legendre.leggauss(n) for n in (_NODES, _PART_NODES)]
_PLACE = np.concatenate([1.0 + np.sin(0.5 * pi * x) for x, _ in _GAUSS])
_WEIGHT = np.concatenate(
    [0.5 * pi * np.cos(0.5 * pi * x) * w for x, w in _GAUSS]
)
# A spin beyond this share of the friction slides over the whole patch.
_MOST_SPIN = 0.999
_TINY = 1e-300

Strip = tuple[
    float, float, float, float, float, float, float, float, float,
    float, float, float, float, float, float, float, float, float,
]  # fmt: skip


@kernel
def _sticking(
    sx: float, sy: float, chi: float, mu: float, q: float, length: float, reach: float, begin: float,
    root: float,
) -> Strip:  # fmt: skip
    """A strip of which only the rear part slides; `begin`, `root`: see `strip`."""
    per_reach = 1.0 / reach
    th = begin * per_reach
    stuck = 1.0 - th
    stiffness = q * per_reach
    force = stiffness * (3.0 - 3.0 * th + th * th)
    square = length * stiffness * stuck * stuck
    arm = square * stuck
    bent_x = stiffness * (2.0 * th - 3.0) * sx
    bent_y = stiffness * (2.0 * th - 3.0) * sy
    turned = 3.0 * square * sy
    # slopes of th
    over = per_reach / max(root, _TINY)
    by_x = sx * over
    by_y = (sy + begin * chi) * over
    by_chi = begin * by_y
    by_mu = -begin * begin * mu * over
    by_reach = -th * per_reach
    return (
        force * sx,
        force + bent_x * by_x, bent_x * by_y, bent_x * by_chi, bent_x * by_mu,
        bent_x * by_reach - force * sx * per_reach,
        force * sy + chi * q,
        bent_y * by_x, force + bent_y * by_y, q + bent_y * by_chi, bent_y * by_mu,
        bent_y * by_reach - force * sy * per_reach,
        -arm * sy,
        turned * by_x, turned * by_y - arm, turned * by_chi, turned * by_mu,
        turned * by_reach + arm * sy * per_reach,
    )  # fmt: skip


@kernel
def _sliding(
    sx: float, sy: float, chi: float, mu: float, q: float, reach: float
) -> Strip:
    """A strip that slides over its whole length: its force turns with the direction of slip only."""
    across = sy + chi * reach
    per_norm = 1.0 / max(sqrt(sx * sx + across * across), _TINY)
    ex = sx * per_norm
    ey = across * per_norm
    most = mu * q
    xx = most * per_norm * ey * ey
    xy = -most * per_norm * ex * ey
    yy = most * per_norm * ex * ex
    return (
        most * ex, xx, xy, xy * reach, q * ex, xy * chi,
        most * ey, xy, yy, yy * reach, q * ey, yy * chi,
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    )  # fmt: skip


@kernel
def strip(
    sx: float,
    sy: float,
    chi: float,
    mu: float,
    q: float,
    length: float,
    reach: float,
) -> Strip:
    """Force along and across a strip and its moment about the strip's middle, per metre of width.

    `chi`: spin as a share of the pressure; `q`: line load, N/m; `length`: half the strip's, m; `reach`: slip
    over friction at which all of it slides. Each of the three is followed by its slopes by sx, sy, chi, mu
    and reach.
    """
    square = mu * mu - chi * chi
    along = chi * sy
    root = sqrt(along * along + square * (sx * sx + sy * sy))
    begin = (along + root) / square
    if begin < reach:
        return _sticking(sx, sy, chi, mu, q, length, reach, begin, root)
    return _sliding(sx, sy, chi, mu, q, reach)


@kernel
def _touching(d: float, t: float, c: float, w: float) -> tuple[float, float]:
    """Where the touching part of the tread begins and ends; equal where nothing touches.

    A hollow tread that touches with both edges counts as touching between them: its middle gives nothing.
    """
    if tyre.deepest(d, t, c, w) <= 0.0:
        return 0.0, 0.0
    near, far = tyre.roots(d, t, c)
    lower = -w
    upper = w
    for root in (near, far):
        if abs(root) < w:
            if t - c * root > 0.0:
                lower = max(lower, root)
            else:
                upper = min(upper, root)
    if lower >= upper:
        return -w, w
    return lower, upper


@kernel
def _borders(
    d: float, t: float, c: float, depth: float, lower: float, upper: float
) -> tuple[float, float]:
    """Where the tread is pressed in by `depth`, at which the friction law begins; both `lower` where it is
    0.
    """
    if depth <= 0.0:
        return lower, lower
    near, far = tyre.roots(d - depth, t, c)
    first = min(max(min(near, far), lower), upper)
    last = min(max(max(near, far), lower), upper)
    return first, last


@kernel
def forces(patch: Record, table: Floats) -> None:
    """Forces of the wheel that `patch` (BRUSH) describes, and their slopes, into `table` (ROWS, COLUMNS)."""
    clear(table)
    lower, upper = _touching(
        patch.depth, patch.slant, patch.across, patch.half_width
    )
    begin = patch.floor / patch.foundation if patch.exponent > 0.0 else 0.0
    first, last = _borders(
        patch.depth, patch.slant, patch.across, begin, lower, upper
    )
    borders = (lower, first, last, upper)
    whole = last - first >= upper - lower or last <= first
    for i in range(3):
        if borders[i + 1] > borders[i]:
            _add_piece(
                patch, borders[i], borders[i + 1], 0 if whole else _NODES, table
            )


@kernel
def values(patch: Record) -> tuple[float, float, float]:
    """The three forces of `forces` alone, with half its nodes: within 1e-3 of the load."""
    lower, upper = _touching(
        patch.depth, patch.slant, patch.across, patch.half_width
    )
    begin = patch.floor / patch.foundation if patch.exponent > 0.0 else 0.0
    first, last = _borders(
        patch.depth, patch.slant, patch.across, begin, lower, upper
    )
    borders = (lower, first, last, upper)
    along = across = moment = 0.0
    for i in range(3):
        if borders[i + 1] > borders[i]:
            x, y, m = _piece_values(patch, borders[i], borders[i + 1])
            along += x
            across += y
            moment += m
    return along, across, moment


@kernel
def _piece_values(
    patch: Record, lower: float, upper: float
) -> tuple[float, float, float]:
    """Forces of one piece of the tread."""
    d = patch.depth
    t = patch.slant
    c = patch.across
    k = patch.foundation
    spin = patch.spin
    floor = patch.floor
    per_along = 1.0 / patch.along
    bed = patch.shear * per_along / k
    half = 0.5 * (upper - lower)
    x_sum = y_sum = m_sum = 0.0
    for j in range(_NODES, _NODES + _PART_NODES):
        y = lower + half * _PLACE[j]
        depth = d + y * (t - 0.5 * c * y)
        if depth <= 0.0:
            continue
        weight = half * _WEIGHT[j]
        mu = patch.friction
        if patch.exponent != 0.0:
            mu *= max(k * depth, floor) ** -patch.exponent
        chi = bed * spin
        if abs(chi) > _MOST_SPIN * mu:
            chi = copysign(_MOST_SPIN * mu, chi)
        length = sqrt(2.0 * depth * per_along)
        left = patch.side * y
        load = 4.0 / 3.0 * length * k * depth
        (
            fx, _, _, _, _, _, fy, _, _, _, _, _, mz, _, _, _, _, _,
        ) = strip(patch.slip_x - spin * left, patch.slip_y, chi, mu, load, length, length / bed)  # fmt: skip
        x_sum += weight * fx
        y_sum += weight * fy
        m_sum += weight * (mz - left * fx)
    return x_sum, y_sum, m_sum


@kernel
def capacity(
    d: float, t: float, along: float, c: float, w: float, k: float, friction: float, exponent: float,
    floor: float,
) -> float:  # fmt: skip
    """Largest force that a patch can pass, N: friction times line load over the tread; arguments as in
    BRUSH.
    """
    lower, upper = _touching(d, t, c, w)
    first, last = _borders(
        d, t, c, floor / k if exponent > 0.0 else 0.0, lower, upper
    )
    borders = (lower, first, last, upper)
    total = 0.0
    for i in range(3):
        half = 0.5 * (borders[i + 1] - borders[i])
        if half <= 0.0:
            continue
        for j in range(_NODES):
            y = borders[i] + half * _PLACE[j]
            depth = max(0.0, d + y * (t - 0.5 * c * y))
            mu = friction
            if exponent != 0.0 and depth > 0.0:
                mu *= max(k * depth, floor) ** -exponent
            total += half * _WEIGHT[j] * mu * sqrt(depth) * depth
    return 4.0 / 3.0 * k * sqrt(2.0 / along) * total


@kernel
def _add_piece(
    patch: Record, lower: float, upper: float, node: int, table: Floats
) -> None:
    """Add one piece of the tread, with the nodes from `node` on.

    Line load, length and reach are powers of the depth and of the curvature along. Sums stand in plain
    variables: in an array they take more than twice the time.
    """
    d = patch.depth
    t = patch.slant
    c = patch.across
    k = patch.foundation
    sx = patch.slip_x
    sy = patch.slip_y
    spin = patch.spin
    friction = patch.friction
    exponent = patch.exponent
    floor = patch.floor
    side = patch.side
    per_floor = floor**-exponent if floor > 0.0 else 1.0
    per_along = 1.0 / patch.along
    bed = patch.shear * per_along / k
    half = 0.5 * (upper - lower)
    x = x_d = x_t = x_c = x_a = x_x = x_y = x_s = x_f = 0.0
    y_ = y_d = y_t = y_c = y_a = y_x = y_y = y_s = y_f = 0.0
    m = m_d = m_t = m_c = m_a = m_x = m_y = m_s = m_f = 0.0
    nodes = _NODES if node == 0 else _PART_NODES
    for j in range(node, node + nodes):
        y = lower + half * _PLACE[j]
        depth = d + y * (t - 0.5 * c * y)
        if depth <= 0.0:
            continue
        weight = half * _WEIGHT[j]
        mu = friction
        mu_depth = 0.0
        if exponent != 0.0:
            if k * depth > floor:
                mu *= (k * depth) ** -exponent
                mu_depth = -exponent * mu / depth
            else:
                mu *= per_floor
        chi = bed * spin
        by_spin = bed
        clipped = 0.0
        if abs(chi) > _MOST_SPIN * mu:
            chi = copysign(_MOST_SPIN * mu, chi)
            by_spin = 0.0
            clipped = chi / mu
        length = sqrt(2.0 * depth * per_along)
        reach = length / bed
        left = side * y
        (
            fx, fx_x, fx_y, fx_chi, fx_mu, fx_r, fy, fy_x, fy_y, fy_chi, fy_mu, fy_r,
            mz, mz_x, mz_y, mz_chi, mz_mu, mz_r,
        ) = strip(sx - spin * left, sy, chi, mu, 4.0 / 3.0 * length * k * depth, length, reach)  # fmt: skip
        per_depth = 1.0 / depth
        half_reach = 0.5 * reach
        twist = spin * by_spin
        curve = -0.5 * y * y

        fx_mu += clipped * fx_chi
        by_depth = (1.5 * fx + half_reach * fx_r) * per_depth + fx_mu * mu_depth
        by_along = (half_reach * fx_r - 0.5 * fx - twist * fx_chi) * per_along
        turn = by_spin * fx_chi - left * fx_x
        x += weight * fx
        x_d += weight * by_depth
        x_t += weight * y * by_depth
        x_c += weight * curve * by_depth
        x_a += weight * by_along
        x_x += weight * fx_x
        x_y += weight * fx_y
        x_s += weight * turn
        x_f += weight * fx_mu * mu

        mz_mu += clipped * mz_chi
        arm_depth = (
            (2.0 * mz + half_reach * mz_r) * per_depth
            + mz_mu * mu_depth
            - left * by_depth
        )
        arm_along = (
            half_reach * mz_r - mz - twist * mz_chi
        ) * per_along - left * by_along
        m += weight * (mz - left * fx)
        m_d += weight * arm_depth
        m_t += weight * y * arm_depth
        m_c += weight * curve * arm_depth
        m_a += weight * arm_along
        m_x += weight * (mz_x - left * fx_x)
        m_y += weight * (mz_y - left * fx_y)
        m_s += weight * (by_spin * mz_chi - left * (mz_x + turn))
        m_f += weight * (mz_mu - left * fx_mu) * mu

        fy_mu += clipped * fy_chi
        by_depth = (1.5 * fy + half_reach * fy_r) * per_depth + fy_mu * mu_depth
        by_along = (half_reach * fy_r - 0.5 * fy - twist * fy_chi) * per_along
        y_ += weight * fy
        y_d += weight * by_depth
        y_t += weight * y * by_depth
        y_c += weight * curve * by_depth
        y_a += weight * by_along
        y_x += weight * fy_x
        y_y += weight * fy_y
        y_s += weight * (by_spin * fy_chi - left * fy_x)
        y_f += weight * fy_mu * mu
    _add_row(table, ALONG, (x, x_d, x_t, x_c, x_a, x_x, x_y, x_s, x_f))
    _add_row(table, ACROSS, (y_, y_d, y_t, y_c, y_a, y_x, y_y, y_s, y_f))
    _add_row(table, MOMENT, (m, m_d, m_t, m_c, m_a, m_x, m_y, m_s, m_f))


@kernel
def _add_row(table: Floats, row: int, sums: tuple[float, ...]) -> None:
    for j in range(COLUMNS):
        table[row, j] += sums[j]
