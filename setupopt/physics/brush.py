"""Forces of a tyre with slip: a brush on the patch of the elastic foundation, strip by strip in closed form.

The bristles of a strip grow their deflection from the leading edge, stick until their force meets the
friction, then slide; the pressure along a strip is parabolic because the bed is elastic. Source of the brush:
Pacejka, Tyre and Vehicle Dynamics, chapter 3; its closed form for a strip with spin is derived in
docs/model.md.
"""

from __future__ import annotations

from math import pi, sqrt

import numpy as np

from setupopt.physics import tyre
from setupopt.physics.brush_strip import Strip, strip
from setupopt.physics.inputs import Floats, Record, layout
from setupopt.physics.jit import any_order, kernel, shared_kernel
from setupopt.physics.powers import power_of

# What the brush of one wheel is asked. depth: crown penetration; slant: tan(inclination); along, across:
# effective curvatures, 1/m; half_width: of the tread; foundation, shear: stiffness of the bed, radial and
# tangential, N/m3. friction: a strip's friction times its deepest pressure to the power `exponent`, with the
# friction factor in it; floor: the least such pressure that counts, Pa. slip_x, slip_y: in the tread's
# middle; spin: 1/m; side: 1 on the left, -1 on the right: y is positive outboard.
# nodes: scratch for the strips of a tread.
_MOST_NODES = 48
# Its rows: place across the tread, width, depth, friction, the logarithm that friction gains per logarithm of
# depth, one over the depth; then five of each force, from its first on: the force of the strip, its slopes by
# both slips and by the share of spin, and the force times the power of the depth by which it grows where the
# rest stays.
_PLACED = 0
_WEIGHED = 1
_PRESSED = 2
_RUBBED = 3
_EASED = 4
_PER_DEPTH = 5
_FIRST = 6
_EACH = 5
BRUSH = layout(
    one="depth slant along across half_width foundation shear friction exponent floor slip_x slip_y spin side",
    more=(("nodes", "f8", (_FIRST + 3 * _EACH, _MOST_NODES)),),
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
# The least pressure that counts where a project knows none, Pa.
_LEAST_PRESSURE = 1e-3


# What the strips of a tread have in common, see `_bed`.
Bed = tuple[float, float, float, float, float, float, float]


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


@shared_kernel(BRUSH, [["f8"]])
def forces(patch: Record, table: Floats) -> None:
    """Forces of the wheel that `patch` (BRUSH) describes, and their slopes, into `table` (ROWS, COLUMNS)."""
    borders = _pieces(patch)
    law = _law(patch)
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
            count = _set_nodes(patch, law, begin, turn, 0, count)
            count = _set_nodes(patch, law, turn, end, 0, count)
        elif begin < end:
            node = 0 if whole else _NODES
            count = _set_nodes(patch, law, begin, end, node, count)
    _set_strips(patch, count)
    for row in range(ROWS):
        _sum_up(patch, count, row, table)


@shared_kernel(BRUSH, returns=("f8", "f8", "f8"))
@any_order
def values(patch: Record) -> tuple[float, float, float]:
    """The three forces of `forces` alone, with half its nodes: within 1e-3 of the load."""
    borders = _pieces(patch)
    law = _law(patch)
    count = 0
    for i in range(3):
        width = borders[i + 1] - borders[i]
        if width > 0.0:
            is_small = 4.0 * width < borders[3] - borders[0]
            node = _NODES + _PART_NODES if is_small else _NODES
            count = _set_nodes(
                patch, law, borders[i], borders[i + 1], node, count
            )
    nodes = patch.nodes
    bed = _bed(patch)
    along = across = moment = 0.0
    for j in range(count):
        y = nodes[_PLACED, j]
        weight = nodes[_WEIGHED, j]
        shear = _shear(bed, y, nodes[_PRESSED, j], nodes[_RUBBED, j])
        along += weight * shear[0]
        across += weight * shear[4]
        moment += weight * (shear[8] - patch.side * y * shear[0])
    return along, across, moment


@shared_kernel(BRUSH, returns=("f8",))
@any_order
def capacity(patch: Record) -> float:
    """Largest force that a patch can pass, N: friction times line load over the tread."""
    borders = _pieces(patch)
    law = _law(patch)
    count = 0
    for i in range(3):
        if borders[i] < borders[i + 1]:
            count = _set_nodes(patch, law, borders[i], borders[i + 1], 0, count)
    nodes = patch.nodes
    total = 0.0
    for j in range(count):
        depth = nodes[_PRESSED, j]
        pressed = nodes[_WEIGHED, j] * nodes[_RUBBED, j]
        total += pressed * depth * sqrt(depth)
    return 4.0 / 3.0 * patch.foundation * sqrt(2.0 / patch.along) * total


@kernel
def _law(patch: Record) -> tuple[float, float]:
    """Deepest pressure of the patch, or the least that counts where that is more, Pa; friction there."""
    deepest = tyre.deepest(
        patch.depth, patch.slant, patch.across, patch.half_width
    )
    top = max(_LEAST_PRESSURE, patch.floor, patch.foundation * deepest)
    if patch.exponent == 0.0:
        return top, patch.friction
    return top, patch.friction * top**-patch.exponent


@kernel
def _set_nodes(
    patch: Record, law: tuple[float, float], lower: float, upper: float, node: int, count: int
) -> int:  # fmt: skip
    """Put the strips of one piece of the tread, with the nodes from `node` on, behind the `count` that are
    there; how many there are then.
    """
    half = 0.5 * (upper - lower)
    top, friction = law
    nodes = patch.nodes
    deepest = patch.depth
    slant = patch.slant
    bend = 0.5 * patch.across
    foundation = patch.foundation
    floor = max(patch.floor, _LEAST_PRESSURE)
    exponent = patch.exponent
    more = _NODES
    if node > 0:
        more = _PART_NODES if node == _NODES else _FEW_NODES
    # never below zero, which the compiler does not see else
    at = max(count, 0)
    for j in range(more):
        y = lower + half * _PLACE[node + j]
        depth = deepest + y * (slant - bend * y)
        touches = depth > 0.0
        pressure = foundation * depth
        eased = -exponent if pressure > floor else 0.0
        weight = half * _WEIGHT[node + j] if touches else 0.0
        depth = depth if touches else 1.0
        nodes[_PLACED, at + j] = y
        nodes[_WEIGHED, at + j] = weight
        nodes[_PRESSED, at + j] = depth
        nodes[_PER_DEPTH, at + j] = 1.0 / depth
        nodes[_EASED, at + j] = eased
        power = power_of(max(pressure, floor) / top, exponent)
        nodes[_RUBBED, at + j] = friction * power
    return at + more


@kernel
def _bed(patch: Record) -> Bed:
    """What the strips of a tread have in common: slip along and across in its middle, how slip along turns to
    the left, spin as a share of the pressure, slip at which all slides over friction and length, half the
    length of a strip over the root of its depth, and its line load over that and the depth.
    """
    reach = patch.along * patch.foundation / patch.shear
    length = sqrt(2.0 / patch.along)
    turning = patch.spin * patch.side
    load = 4.0 / 3.0 * patch.foundation
    return (
        patch.slip_x, patch.slip_y, turning, patch.spin / reach, reach, length, load
    )  # fmt: skip


@kernel
def _shear(bed: Bed, y: float, depth: float, mu: float) -> Strip:
    """`strip` at the place `y` of the tread, pressed in by `depth`."""
    slip_x, slip_y, turning, chi, reach, per_root, load = bed
    most = _MOST_SPIN * mu
    chi = min(max(chi, -most), most)
    length = per_root * sqrt(depth)
    return strip(
        slip_x - turning * y, slip_y, chi, mu, load * length * depth, length, reach * length
    )  # fmt: skip


@kernel
def _set_strips(patch: Record, count: int) -> None:
    """Forces of the strips, times their widths, and their slopes into the scratch.

    In a loop of its own, as every sum is: so the processor takes eight strips at a time, and what it works on
    fits into its registers.
    """
    nodes = patch.nodes
    bed = _bed(patch)
    side = patch.side
    for j in range(count):
        y = nodes[_PLACED, j]
        mu = nodes[_RUBBED, j]
        weight = nodes[_WEIGHED, j]
        # past that the strip slides by spin alone
        free = weight if abs(bed[3]) <= _MOST_SPIN * mu else 0.0
        shear = _shear(bed, y, nodes[_PRESSED, j], mu)
        along = shear[:4]
        turned = shear[8:]
        # about the tread's middle, of which the strip stands to the left
        left = side * y
        moment = (
            turned[0] - left * along[0], turned[1] - left * along[1], turned[2] - left * along[2],
            turned[3] - left * along[3],
        )  # fmt: skip
        _keep(nodes, ALONG, j, weight, free, along, 0.0)
        _keep(nodes, ACROSS, j, weight, free, shear[4:8], 0.0)
        _keep(nodes, MOMENT, j, weight, free, moment, 0.5 * turned[0])


@kernel
def _keep(
    nodes: Floats, row: int, j: int, weight: float, free: float, force: tuple[float, float, float, float],
    more: float,
) -> None:  # fmt: skip
    """One force of strip `j` and its slopes, times its width, into the scratch; it grows as its line load does
    with the depth, by 1.5 times itself, and by `more`.
    """
    f, by_slip_x, by_slip_y, by_chi = force
    first = _FIRST + row * _EACH
    nodes[first, j] = weight * f
    nodes[first + 1, j] = weight * by_slip_x
    nodes[first + 2, j] = weight * by_slip_y
    nodes[first + 3, j] = free * by_chi
    nodes[first + 4, j] = weight * (1.5 * f + more)


@kernel
@any_order
def _sum_up(patch: Record, count: int, row: int, table: Floats) -> None:
    """Sums of one force and its slopes over the strips of a tread, into `table`.

    The strip's law has two degrees of freedom less than it has arguments. A force does not change where both
    slips and the slip at which all slides grow alike; it grows alike with friction and the share of spin where
    that slip falls alike. So its slopes by slip and spin give those by friction and by depth. Slant and
    curvature across act by the depth.
    """
    nodes = patch.nodes
    first = _FIRST + row * _EACH
    slip_x, slip_y, turning, chi, reach, _, _ = _bed(patch)
    force = by_slip_x = by_slip_y = by_chi = moved = grown = 0.0
    by_depth = by_slant = by_across = 0.0
    for j in range(count):
        y = nodes[_PLACED, j]
        f = nodes[first, j]
        f_x = nodes[first + 1, j]
        f_y = nodes[first + 2, j]
        f_chi = nodes[first + 3, j]
        by_slip = (slip_x - turning * y) * f_x + slip_y * f_y
        by_friction = f - by_slip - chi * f_chi
        deeper = nodes[first + 4, j] - 0.5 * by_slip
        deeper += nodes[_EASED, j] * by_friction
        sunk = deeper * nodes[_PER_DEPTH, j]
        force += f
        by_slip_x += f_x
        by_slip_y += f_y
        by_chi += f_chi
        moved += y * f_x
        grown += nodes[first + 4, j]
        by_depth += sunk
        by_slant += y * sunk
        by_across -= 0.5 * y * y * sunk
    by_slip = slip_x * by_slip_x + slip_y * by_slip_y - turning * moved
    twisted = chi * by_chi
    table[row, VALUE] = force
    table[row, BY_DEPTH] = by_depth
    table[row, BY_SLANT] = by_slant
    table[row, BY_ACROSS] = by_across
    by_along = force - grown - 0.5 * by_slip - twisted
    table[row, BY_ALONG] = by_along / patch.along
    table[row, BY_SLIP_X] = by_slip_x
    table[row, BY_SLIP_Y] = by_slip_y
    table[row, BY_SPIN] = by_chi / reach - patch.side * moved
    table[row, BY_FRICTION] = force - by_slip - twisted
