"""Contact patch of one tyre: an elastic foundation under a crowned, tilted tread.

Penetration across the tread, outboard positive, is `d + y t - c y^2 / 2` with `t` the tangent of the
inclination and `c` the effective curvature across. Support acts only where it is positive and only
on the tread. Source of the law: Johnson, Contact Mechanics, 1985, section 4.3 (elastic foundation).

Arguments used throughout, SI: `d` crown penetration; `t` tan(inclination); `c_x`, `c` effective
curvatures along and across, 1/m; `w` half the tread width; `k` foundation stiffness, N/m3.
"""

from __future__ import annotations

from math import atan2, sqrt

import numpy as np

from setupopt.physics.jit import kernel

# Below this curvature the closed form loses digits to cancellation, and quadrature takes over.
_CROWNED = 0.05
# Last step towards a load, as a share of the penetration: it leaves the third power of that.
SHORT = 1e-5
# Least penetration of a node of the quadrature, m.
_DRY = 1e-15
_NODES, _WEIGHTS = (
    np.ascontiguousarray(a) for a in np.polynomial.legendre.leggauss(16)
)


# Normal force, its moment, s0, s1 and s2, see `contact`; then how the last three change with depth.
Sunk = tuple[float, float, float, float, float]
Contact = tuple[float, float, float, float, float, float, float, float]


@kernel
def _window(
    d: float, t: float, c: float, w: float
) -> tuple[float, float, float, float, float, float]:
    """Touching part of a crowned tread, in the angle that maps the roots to -90 and 90 deg.

    Returns y0, rho, then sine and cosine of both ends; rho = 0 where nothing touches.
    """
    y0 = t / c
    square = 2.0 * d / c + y0 * y0
    if square <= 0.0:
        return y0, 0.0, 0.0, 1.0, 0.0, 1.0
    rho = sqrt(square)
    if y0 - rho >= w or y0 + rho <= -w:
        return y0, 0.0, 0.0, 1.0, 0.0, 1.0
    s1 = max(-1.0, (-w - y0) / rho)
    s2 = min(1.0, (w - y0) / rho)
    c1 = sqrt(max(0.0, (1.0 - s1) * (1.0 + s1)))
    c2 = sqrt(max(0.0, (1.0 - s2) * (1.0 + s2)))
    return y0, rho, s1, c1, s2, c2


@kernel
def _crowned(
    d: float, t: float, c_x: float, c: float, w: float, k: float
) -> Contact:
    """`contact_bent` in closed form, by the substitution y = y0 + rho sin(angle)."""
    y0, rho, s1, c1, s2, c2 = _window(d, t, c, w)
    if rho == 0.0:
        return 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    angle = atan2(abs(s2 * c1 - c2 * s1), c2 * c1 + s2 * s1)
    p1 = s1 * c1
    p2 = s2 * c2
    q1 = c1 * c1
    q2 = c2 * c2
    cos2 = 0.5 * (angle + p2 - p1)
    cos4 = 0.25 * (p2 * q2 - p1 * q1) + 0.75 * cos2
    sin_cos2 = (q1 * c1 - q2 * c2) / 3.0
    sin_cos4 = (q1 * q1 * c1 - q2 * q2 * c2) / 5.0
    sin2_cos2 = 0.125 * (angle - p2 * (q2 - s2 * s2) + p1 * (q1 - s1 * s1))
    sin2 = 0.5 * (angle - p2 + p1)
    bend = 2.0 * k / sqrt(c_x * c)
    stiff = bend * c * rho * rho
    load = stiff * rho * rho * c / 3.0
    return (
        load * cos4,
        load * (y0 * cos4 + rho * sin_cos4),
        stiff * cos2,
        stiff * (y0 * cos2 + rho * sin_cos2),
        stiff
        * (y0 * y0 * cos2 + 2.0 * y0 * rho * sin_cos2 + rho * rho * sin2_cos2),
        bend * angle,
        bend * (y0 * angle + rho * (c1 - c2)),
        bend
        * (y0 * y0 * angle + 2.0 * y0 * rho * (c1 - c2) + rho * rho * sin2),
    )


@kernel
def roots(d: float, t: float, c: float) -> tuple[float, float]:
    """Where the penetration is zero, near root first; infinite where there is none."""
    square = t * t + 2.0 * c * d
    if square < 0.0:
        return np.inf, np.inf
    q = t + sqrt(square) if t >= 0.0 else t - sqrt(square)
    if q == 0.0:
        return np.inf, np.inf
    return -2.0 * d / q, (q / c if c != 0.0 else np.inf)


@kernel
def _piece_root(lower: float, upper: float, near: float, far: float) -> float:
    """The root close enough to the piece to spoil plain quadrature; infinite where none is."""
    middle = 0.5 * (lower + upper)
    reach = 2.0 * (upper - lower)
    root = near if abs(near - middle) <= abs(far - middle) else far
    return root if abs(root - middle) < reach else np.inf


@kernel
def _node(
    lower: float, upper: float, root: float, j: int
) -> tuple[float, float]:
    """Place and weight of quadrature node j; squared distance from a close root, so all is smooth."""
    if root == np.inf:
        half = 0.5 * (upper - lower)
        return lower + half * (1.0 + _NODES[j]), half * _WEIGHTS[j]
    a = sqrt(abs(lower - root))
    b = sqrt(abs(upper - root))
    half = 0.5 * abs(b - a)
    s = min(a, b) + half * (1.0 + _NODES[j])
    side = 1.0 if lower + upper > 2.0 * root else -1.0
    return root + side * s * s, 2.0 * s * half * _WEIGHTS[j]


@kernel
def _pieces(
    d: float, t: float, c: float, w: float, ends: np.ndarray
) -> tuple[float, float]:
    """Cut the tread into pieces at the roots and at its middle; `ends` (5) takes the borders, sorted."""
    near, far = roots(d, t, c)
    ends[0] = -w
    ends[1] = 0.0
    ends[2] = min(max(near, -w), w)
    ends[3] = min(max(far, -w), w)
    ends[4] = w
    for i in range(1, 5):
        for j in range(i, 0, -1):
            if ends[j] < ends[j - 1]:
                kept = ends[j]
                ends[j] = ends[j - 1]
                ends[j - 1] = kept
    return near, far


@kernel
def _flat(
    d: float,
    t: float,
    c_x: float,
    c: float,
    w: float,
    k: float,
    ends: np.ndarray,
) -> Contact:
    """`contact_bent` by quadrature, for a tread that is flat or hollow against the surface."""
    near, far = _pieces(d, t, c, w, ends)
    load = moment = s0 = s1 = s2 = b0 = b1 = b2 = 0.0
    for i in range(4):
        lower = ends[i]
        upper = ends[i + 1]
        middle = 0.5 * (lower + upper)
        if upper <= lower or d + middle * (t - 0.5 * c * middle) <= 0.0:
            continue
        root = _piece_root(lower, upper, near, far)
        for j in range(_NODES.size):
            y, weight = _node(lower, upper, root, j)
            depth = max(_DRY, d + y * (t - 0.5 * c * y))
            length = weight * sqrt(depth)
            bend = 0.5 * length / depth
            s0 += length
            s1 += length * y
            s2 += length * y * y
            load += length * depth
            moment += length * depth * y
            b0 += bend
            b1 += bend * y
            b2 += bend * y * y
    scale = 2.0 * k * sqrt(2.0 / c_x)
    share = scale * 2.0 / 3.0
    return (
        share * load, share * moment, scale * s0, scale * s1, scale * s2, scale * b0, scale * b1, scale * b2
    )  # fmt: skip


@kernel
def contact_bent(
    d: float,
    t: float,
    c_x: float,
    c: float,
    w: float,
    k: float,
    ends: np.ndarray,
) -> Contact:
    """As `contact`; then how s0, s1 and s2 change with d."""
    if c >= _CROWNED:
        return _crowned(d, t, c_x, c, w, k)
    return _flat(d, t, c_x, c, w, k, ends)


@kernel
def contact(
    d: float,
    t: float,
    c_x: float,
    c: float,
    w: float,
    k: float,
    ends: np.ndarray,
) -> Sunk:
    """Normal force, its moment about the tread's middle, and how both change.

    Returns N (newton), the moment of N (outboard positive, N m), then s0, s1, s2 with
    dN/dd = s0, dN/dt = dM/dd = s1, dM/dt = s2. The patch area is s0/k. `ends` is scratch (5).
    """
    return contact_bent(d, t, c_x, c, w, k, ends)[:5]


@kernel
def deepen(found: Contact, step: float) -> Sunk:
    """`contact` a small step deeper than where `found` is from: loads leave its third power, slopes its
    square.
    """
    n, m, s0, s1, s2, b0, b1, b2 = found
    half = 0.5 * step
    return (
        n + step * (s0 + half * b0), m + step * (s1 + half * b1), s0 + step * b0, s1 + step * b1, s2 + step * b2
    )  # fmt: skip


@kernel
def step_towards(missing: float, slope: float, bend: float) -> float:
    """Step to where a force that is `missing` is there, by its slope and how that bends (Halley's method)."""
    step = missing / slope
    return step / (1.0 + 0.5 * step * bend / slope)


@kernel
def deepest(d: float, t: float, c: float, w: float) -> float:
    """Penetration where the tread is pressed in most, m; negative where it hangs over the surface."""
    edges = max(d + w * (t - 0.5 * c * w), d - w * (t + 0.5 * c * w))
    middle = t / c if c > 0.0 else 2.0 * w
    return max(edges, d + 0.5 * t * middle) if abs(middle) < w else edges


@kernel
def depth_for_load(
    load: float,
    start: float,
    t: float,
    c_x: float,
    c: float,
    w: float,
    k: float,
    ends: np.ndarray,
) -> tuple[float, float, float, float]:
    """Crown penetration that carries `load` > 0, m, by steps from `start`; then s0, s1 and s2 there."""
    d = start
    s0 = s1 = s2 = 0.0
    for _ in range(60):
        found = contact_bent(d, t, c_x, c, w, k, ends)
        if found[2] <= 0.0:
            d = d + 0.001 + abs(t) * w
            continue
        step = step_towards(load - found[0], found[2], found[5])
        step = min(step, 0.02)
        d += step
        _, _, s0, s1, s2 = deepen(found, step)
        if abs(step) < SHORT * abs(d):
            break
    return d, s0, s1, s2
