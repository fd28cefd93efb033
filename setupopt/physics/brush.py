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
from setupopt.physics.brush_strip import Strip, strip
from setupopt.physics.inputs import Floats, Record, layout
from setupopt.physics.jit import any_order, kernel

# What the brush of one wheel is asked. depth: crown penetration; slant: tan(inclination); along, across:
# effective curvatures, 1/m; half_width: of the tread; foundation, shear: stiffness of the bed, radial and
# tangential, N/m3. friction: a strip's friction times its deepest pressure to the power `exponent`, with the
# friction factor in it; floor: the least such pressure that counts, Pa. slip_x, slip_y: in the tread's
# middle; spin: 1/m; side: 1 on the left, -1 on the right: y is positive outboard.
# nodes: scratch for the strips of a tread.
_MOST_NODES = 48
BRUSH = layout(
    one="depth slant along across half_width foundation shear friction exponent floor slip_x slip_y spin side",
    more=(("nodes", "f8", (8, _MOST_NODES)),),
)
# Its rows: place across the tread, width, depth, then what `_friction` says.
_PLACED = 0
_WEIGHED = 1
_PRESSED = 2
_RUBBED = 3

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
BY_SLIP_X = 5
BY_SLIP_Y = 6
BY_SPIN = 7
BY_FRICTION = 8
COLUMNS = 9

# Gauss nodes of a piece of the tread, by the sine of an angle: square roots at its ends become smooth. With
# 16, forces are within 4e-5 of the load (tests/physics/test_brush.py); the kink where sliding begins is what
# is left.
_NODES = 16
# Of a tread in three pieces, each; of a piece of less than a quarter of the tread, in a ride.
_PART_NODES = 8
_FEW_NODES = 4
_COUNTS = (_NODES, _PART_NODES, _FEW_NODES)
_GAUSS = [np.polynomial.legendre.leggauss(n) for n in _COUNTS]
_PLACE = np.concatenate([1.0 + np.sin(0.5 * pi * x) for x, _ in _GAUSS])
_SPREAD = [0.5 * pi * np.cos(0.5 * pi * x) * w for x, w in _GAUSS]
_WEIGHT = np.concatenate(_SPREAD)
# Where slip along turns round within the tread and slip across is less than this share of its change over the
# tread, strips change the side to which they slide so fast that the tread is cut there: 3e-4 of the load
# otherwise.
_SHARP = 0.2
# A spin beyond this share of the friction slides over the whole patch.
_MOST_SPIN = 0.999
_NOTHING = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)

Row = tuple[float, float, float, float, float, float, float]
# What the slopes of a strip's three forces share, and the sums over the tread.
Place = tuple[float, float, float, float, float, float, float, float, float]
Sums = Place


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
def _pieces(patch: Record) -> tuple[float, float, float, float]:
    """Borders of the pieces of the touching tread: its ends, and where the friction law begins."""
    d = patch.depth
    t = patch.slant
    c = patch.across
    lower, upper = _touching(d, t, c, patch.half_width)
    begin = patch.floor / patch.foundation if patch.exponent > 0.0 else 0.0
    first, last = _borders(d, t, c, begin, lower, upper)
    return lower, first, last, upper


@kernel
def forces(patch: Record, table: Floats) -> None:
    """Forces of the wheel that `patch` (BRUSH) describes, and their slopes, into `table` (ROWS, COLUMNS)."""
    borders = _pieces(patch)
    lower, first, last, upper = borders
    whole = last - first >= upper - lower or last <= first
    spin = patch.spin * patch.side
    turn = upper
    if abs(patch.slip_y) < _SHARP * abs(spin) * (upper - lower):
        turn = patch.slip_x / spin
    count = 0
    for i in range(3):
        begin = borders[i]
        end = borders[i + 1]
        if begin < turn < end:
            count = _set_nodes(patch, begin, turn, 0, count)
            count = _set_nodes(patch, turn, end, 0, count)
        elif begin < end:
            node = 0 if whole else _NODES
            count = _set_nodes(patch, begin, end, node, count)
    _sum_up(patch, count, table)


@kernel
def values(patch: Record) -> tuple[float, float, float]:
    """The three forces of `forces` alone, with half its nodes: within 1e-3 of the load."""
    borders = _pieces(patch)
    at_floor = _at_floor(patch)
    along = across = moment = 0.0
    for i in range(3):
        half = 0.5 * (borders[i + 1] - borders[i])
        if half <= 0.0:
            continue
        is_small = 8.0 * half < borders[3] - borders[0]
        first = _NODES + _PART_NODES if is_small else _NODES
        nodes = _FEW_NODES if is_small else _PART_NODES
        for j in range(first, first + nodes):
            y = borders[i] + half * _PLACE[j]
            depth = patch.depth + y * (patch.slant - 0.5 * patch.across * y)
            if depth <= 0.0:
                continue
            mu, _, chi, _, _ = _friction(patch, depth, at_floor)
            shear = _shear(patch, y, depth, mu, chi)
            weight = half * _WEIGHT[j]
            along += weight * shear[0]
            across += weight * shear[6]
            moment += weight * (shear[12] - patch.side * y * shear[0])
    return along, across, moment


@kernel
def _at_floor(patch: Record) -> float:
    """What the friction law makes of the least pressure that counts."""
    return patch.floor**-patch.exponent if patch.floor > 0.0 else 1.0


@kernel
def _friction(
    patch: Record, depth: float, at_floor: float
) -> tuple[float, float, float, float, float]:
    """Friction of a strip and its slope by the depth; the spin as a share of the pressure and its slopes by
    spin, and by friction where the strip slides by spin alone.
    """
    exponent = patch.exponent
    mu = patch.friction
    by_depth = 0.0
    if exponent != 0.0:
        pressure = patch.foundation * depth
        if pressure > patch.floor:
            mu *= pressure**-exponent
            by_depth = -exponent * mu / depth
        else:
            mu *= at_floor
    bed = patch.shear / (patch.along * patch.foundation)
    chi = bed * patch.spin
    if abs(chi) > _MOST_SPIN * mu:
        chi = copysign(_MOST_SPIN * mu, chi)
        return mu, by_depth, chi, 0.0, chi / mu
    return mu, by_depth, chi, bed, 0.0


@kernel
def _shear(
    patch: Record, y: float, depth: float, mu: float, chi: float
) -> Strip:
    """`strip` at the place `y` across the tread, pressed in by `depth`."""
    length = sqrt(2.0 * depth / patch.along)
    load = 4.0 / 3.0 * length * patch.foundation * depth
    reach = length * patch.along * patch.foundation / patch.shear
    slip_x = patch.slip_x - patch.spin * patch.side * y
    return strip(slip_x, patch.slip_y, chi, mu, load, length, reach)


@kernel
def capacity(patch: Record) -> float:
    """Largest force that a patch can pass, N: friction times line load over the tread."""
    borders = _pieces(patch)
    at_floor = _at_floor(patch)
    total = 0.0
    for i in range(3):
        half = 0.5 * (borders[i + 1] - borders[i])
        if half <= 0.0:
            continue
        for j in range(_NODES):
            y = borders[i] + half * _PLACE[j]
            depth = patch.depth + y * (patch.slant - 0.5 * patch.across * y)
            if depth > 0.0:
                mu = _friction(patch, depth, at_floor)[0]
                total += half * _WEIGHT[j] * mu * sqrt(depth) * depth
    return 4.0 / 3.0 * patch.foundation * sqrt(2.0 / patch.along) * total


@kernel
def _row(
    power: float, place: Place, f: float, by_slip_x: float, by_slip_y: float, by_chi: float, by_mu: float,
    by_reach: float,
) -> Row:  # fmt: skip
    """One force of a strip with its slopes: depth, curvature along, slips, spin, logarithm of friction.

    Line load, length and reach are powers of depth and curvature; the force grows by the power `power` of the
    depth where the rest stays.
    """
    per_depth, per_along, reach, left, twist, mu, mu_depth, by_spin, clipped = (
        place
    )
    by_mu += clipped * by_chi
    grown = reach * by_reach
    by_depth = (power * f + grown) * per_depth + by_mu * mu_depth
    by_along = (grown - (power - 1.0) * f - twist * by_chi) * per_along
    turned = by_spin * by_chi - left * by_slip_x
    return f, by_depth, by_along, by_slip_x, by_slip_y, turned, by_mu * mu


@kernel
@any_order
def _added(sums: Sums, row: Row, weight: float, y: float) -> Sums:
    """Sums of one force over the tread with one strip more: slant and curvature across act by the depth."""
    f, by_depth, by_along, by_slip_x, by_slip_y, by_spin, by_friction = row
    sunk = weight * by_depth
    return (
        sums[0] + weight * f,
        sums[1] + sunk,
        sums[2] + sunk * y,
        sums[3] - 0.5 * sunk * y * y,
        sums[4] + weight * by_along,
        sums[5] + weight * by_slip_x,
        sums[6] + weight * by_slip_y,
        sums[7] + weight * by_spin,
        sums[8] + weight * by_friction,
    )


@kernel
def _about_middle(row: Row, along: Row, left: float) -> Row:
    """Moment about the tread's middle of a strip whose own moment is `row`, `left` m to its left."""
    return (
        row[0] - left * along[0],
        row[1] - left * along[1],
        row[2] - left * along[2],
        row[3] - left * along[3],
        row[4] - left * along[4],
        row[5] - left * along[5],
        row[6] - left * along[6],
    )


@kernel
def _set_nodes(
    patch: Record, lower: float, upper: float, node: int, count: int
) -> int:
    """Put the strips of one piece of the tread, with the nodes from `node` on, behind the `count` that are
    there; how many there are then.
    """
    half = 0.5 * (upper - lower)
    at_floor = _at_floor(patch)
    nodes = patch.nodes
    for j in range(node, node + (_NODES if node == 0 else _PART_NODES)):
        y = lower + half * _PLACE[j]
        depth = patch.depth + y * (patch.slant - 0.5 * patch.across * y)
        if depth > 0.0:
            nodes[_PLACED, count] = y
            nodes[_WEIGHED, count] = half * _WEIGHT[j]
            nodes[_PRESSED, count] = depth
            friction = _friction(patch, depth, at_floor)
            for i in range(len(friction)):
                nodes[_RUBBED + i, count] = friction[i]
            count += 1
    return count


@kernel
@any_order
def _sum_up(patch: Record, count: int, table: Floats) -> None:
    """Sums over the strips of a tread, into `table`.

    Sums stand in plain variables, and friction with its powers was found before: so the processor takes
    several strips at a time.
    """
    along = across = moment = _NOTHING
    nodes = patch.nodes
    per_along = 1.0 / patch.along
    half_reach = 0.5 * sqrt(2.0 * patch.along) * patch.foundation / patch.shear
    for j in range(count):
        y = nodes[_PLACED, j]
        weight = nodes[_WEIGHED, j]
        depth = nodes[_PRESSED, j]
        mu = nodes[_RUBBED, j]
        by_spin = nodes[_RUBBED + 3, j]
        shear = _shear(patch, y, depth, mu, nodes[_RUBBED + 2, j])
        left = patch.side * y
        place = (
            1.0 / depth, per_along, half_reach * sqrt(depth), left, patch.spin * by_spin, mu,
            nodes[_RUBBED + 1, j], by_spin, nodes[_RUBBED + 4, j],
        )  # fmt: skip
        first = _row(1.5, place, *shear[:6])
        second = _row(1.5, place, *shear[6:12])
        turning = _row(2.0, place, *shear[12:])
        # a strip's own moment turns with the slip of its place too
        along = _added(along, first, weight, y)
        across = _added(across, second, weight, y)
        moment = _added(moment, _about_middle(turning, first, left), weight, y)
    for j in range(COLUMNS):
        table[ALONG, j] = along[j]
        table[ACROSS, j] = across[j]
        table[MOMENT, j] = moment[j]
