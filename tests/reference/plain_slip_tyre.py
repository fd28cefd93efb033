"""The plain reference's tyre with slip: a brush on an elastic bed, strip by strip across the tread.

SI and radians. Across the tread `y` is positive outboard and `y_left = sigma y` positive to the left of the
car (sigma = +1 for a left wheel, -1 for a right one). Slip, forces and spin are in the wheel's own axes:
x along its plane, y to the left.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from itertools import pairwise
from math import inf, pi, sin, tan

import numpy as np
from plain_tyre import Tyre, beta_function, first_touch, quadratic_roots

Array = np.ndarray
NODES = 40  # Gauss points over each stretch of tread
LARGEST_SPIN = 0.999  # share of the friction that the spin alone may take


@dataclass(frozen=True)
class BrushTyre(Tyre):
    """A tyre at its pressure on one surface, as before, with what slip adds."""

    shear: float  # N/m3, c_t: shear_per_foundation x k
    camber_share: float = 0.5  # f_g
    # Pa, mean over a strip, under which friction grows no more
    least_pressure: float = 0.0
    carcass: float = inf  # N/m, K_c


@lru_cache
def gauss(nodes: int) -> tuple[Array, Array]:
    """Places from -1 to 1 and weights for an integral whose ends behave as square roots."""
    places, weights = np.polynomial.legendre.leggauss(nodes)
    angle = places * pi / 2
    return np.sin(angle), weights * pi / 2 * np.cos(angle)


@dataclass(frozen=True)
class Bed:
    """Contact at a penetration `depth` of the crown; curvatures `along` and `across` the tread, 1/m."""

    tyre: BrushTyre
    depth: float
    tilt: float  # rad, top outboard positive
    along: float
    across: float
    nodes: int = field(default=NODES)

    def penetration(self, y: Array | float) -> Array | float:
        return self.depth + y * tan(self.tilt) - self.across * y * y / 2

    def roots(self, depth: float) -> list[float]:
        """Places at which the penetration is self.depth - depth."""
        return quadratic_roots(-self.across / 2, tan(self.tilt), depth)

    def zones(self) -> list[tuple[float, float]]:
        """Stretches of tread that touch, cut also where the friction's least pressure begins."""
        edge = self.tyre.width / 2
        roots = self.roots(self.depth)
        if self.tyre.least_pressure > 0 and self.tyre.friction_exponent > 0:
            roots = roots + self.roots(
                self.depth
                - 1.5 * self.tyre.least_pressure / self.tyre.foundation
            )
        cuts = [-edge, *sorted(y for y in roots if -edge < y < edge), edge]
        return [
            (lo, hi)
            for lo, hi in pairwise(cuts)
            if self.penetration((lo + hi) / 2) > 0
        ]

    @cached_property
    def strips(self) -> tuple[Array, Array, Array]:
        """Places across the tread, their widths, and the penetration there."""
        places, weights = gauss(self.nodes)
        ys = [np.empty(0)]
        widths = [np.empty(0)]
        for lo, hi in self.zones():
            ys.append((lo + hi) / 2 + (hi - lo) / 2 * places)
            widths.append((hi - lo) / 2 * weights)
        y = np.concatenate(ys)
        return y, np.concatenate(widths), np.maximum(self.penetration(y), 0.0)

    @cached_property
    def half_lengths(self) -> Array:
        return np.sqrt(2 * self.strips[2] / self.along)

    @cached_property
    def line_loads(self) -> Array:
        return 4 / 3 * self.tyre.foundation * self.half_lengths * self.strips[2]

    @cached_property
    def load(self) -> float:
        """N."""
        return float(self.strips[1] @ self.line_loads)

    @cached_property
    def load_slope(self) -> float:
        """N/m: growth of the load with the depth."""
        return float(
            self.strips[1] @ (2 * self.tyre.foundation * self.half_lengths)
        )

    @cached_property
    def load_moment(self) -> float:
        """Nm: load times the offset of the centre of pressure, outboard positive."""
        return float(self.strips[1] @ (self.strips[0] * self.line_loads))

    def area(self) -> float:
        """m2."""
        return float(self.strips[1] @ (2 * self.half_lengths))

    def frictions(self) -> Array:
        """mu_s of every strip: its grip over its load."""
        return strip_friction(self.tyre, self.strips[2])

    def grip(self) -> float:
        """N: the capacity C."""
        return float(self.strips[1] @ (self.frictions() * self.line_loads))


def strip_friction(tyre: BrushTyre, penetration: Array) -> Array:
    n = tyre.friction_exponent
    pressure = np.maximum(
        tyre.foundation * penetration, 1.5 * tyre.least_pressure
    )
    pressure = np.maximum(pressure, 1e-30)
    return (
        tyre.friction
        * (tyre.friction_pressure / pressure) ** n
        * 0.75
        * beta_function(0.5, 2 - n)
    )


def bed_at_load(
    tyre: BrushTyre,
    load: float,
    tilt: float,
    along: float,
    across: float,
    above: float = 4e-3,
) -> Bed:
    """The bed that carries a load above zero; `above` the first touch a first guess, m."""
    depth = first_touch(tyre, tilt, across) + above
    return bed_where(lambda _: load, 0.0, Bed(tyre, depth, tilt, along, across))


@lru_cache(maxsize=256)
def bed_in_series(
    tyre: BrushTyre, depth: float, tilt: float, along: float, across: float
) -> Bed:
    """The tread's own bed where tread and carcass together are pressed in by `depth`."""
    bed = Bed(tyre, depth, tilt, along, across)
    if tyre.carcass == inf or bed.load <= 0:
        return bed
    return bed_where(
        lambda tread: tyre.carcass * (depth - tread), -tyre.carcass, bed
    )


def bed_where(
    wanted: Callable[[float], float], wanted_slope: float, start: Bed
) -> Bed:
    """The bed whose load is the one wanted at its depth, by Newton's method.

    The load is zero up to the first touch and its slope grows from there, so that Newton's steps end up
    on the deep side and come down to the root without passing it.
    """
    least = first_touch(start.tyre, start.tilt, start.across)
    bed = start
    for _ in range(100):
        step = (bed.load - wanted(bed.depth)) / (bed.load_slope - wanted_slope)
        depth = bed.depth - step
        if depth <= least:
            depth = (bed.depth + least) / 2
        bed = replace(bed, depth=depth)
        if abs(step) <= 1e-14 * abs(depth - least):
            break
    return bed


@dataclass(frozen=True)
class Slip:
    """How the tread moves over the ground.

    kappa: drive positive; alpha: rad, the wheel points left of where it goes;
    spin: phi_t, 1/m, that the tread follows; sigma: +1 left wheel, -1 right wheel.
    """

    kappa: float
    alpha: float
    spin: float
    sigma: float


@dataclass(frozen=True)
class BrushForce:
    """In the wheel's axes: N, N, Nm about the up axis through the wheel's middle."""

    fx: float
    fy: float
    mz: float


def strip_forces(
    bed: Bed, slip: Slip, friction: float = 1.0
) -> tuple[Array, Array, Array]:
    """fx, fy, mz per width of tread at every strip; `friction` is a factor on all friction."""
    tyre = bed.tyre
    y = bed.strips[0]
    l = bed.half_lengths  # noqa: E741
    q = bed.line_loads
    mu = friction * bed.frictions()
    c_t = tyre.shear
    y_left = slip.sigma * y
    sx = slip.kappa / (1 + slip.kappa) - slip.spin * y_left
    sy = tan(slip.alpha) / (1 + slip.kappa)
    chi = np.clip(
        c_t * slip.spin / (tyre.foundation * bed.along),
        -LARGEST_SPIN * mu,
        LARGEST_SPIN * mu,
    )
    s_max = tyre.foundation * bed.along * l / c_t
    square = sx**2 + sy**2
    rest = mu**2 - chi**2
    s_star = (chi * sy + np.sqrt(chi**2 * sy**2 + rest * square)) / rest
    th = np.minimum(s_star / s_max, 1.0)
    e_x = sx
    e_y = sy + chi * th * s_max
    length = np.hypot(e_x, e_y)
    length = np.where(length > 0, length, 1.0)
    e_x = e_x / length
    e_y = e_y / length
    slid = th**2 * (3 - 2 * th)
    fx = 2 * c_t * l**2 * (1 - th) ** 2 * sx + mu * q * slid * e_x
    fy = (
        2 * c_t * l**2 * (1 - th) ** 2 * sy
        + chi * q * (1 - slid)
        + mu * q * slid * e_y
    )
    mz = 2 / 3 * c_t * sy * l**3 * (1 - th) ** 2 * (4 * th - 1)
    mz = mz + 3 * q * l * th**2 * (1 - th) ** 2 * (chi - mu * e_y)
    return fx, fy, mz - y_left * fx


def brush_force(bed: Bed, slip: Slip, friction: float = 1.0) -> BrushForce:
    """The strips' forces, summed over the tread."""
    if bed.load <= 0:
        return BrushForce(0.0, 0.0, 0.0)
    widths = bed.strips[1]
    fx, fy, mz = strip_forces(bed, slip, friction)
    return BrushForce(
        float(widths @ fx), float(widths @ fy), float(widths @ mz)
    )


def spin_followed(
    tyre: BrushTyre, tilt: float, sigma: float, path_curvature: float
) -> float:
    """phi_t, 1/m: the share of the geometric spin, from lean and from turning (r/v), the tread follows."""
    return tyre.camber_share * (
        sigma * sin(tilt) / tyre.radius - path_curvature
    )


@lru_cache(maxsize=256)
def leaned_bed(bed: Bed, sigma: float, side: float) -> Bed:
    """The bed with the lean that a side force (N, left positive) brings, at the same load."""
    if bed.load <= 0 or bed.tyre.compliance == 0:
        return bed
    tilt = bed.tilt - sigma * bed.tyre.compliance * side
    above = bed.depth - first_touch(bed.tyre, bed.tilt, bed.across)
    return bed_at_load(bed.tyre, bed.load, tilt, bed.along, bed.across, above)
