"""The plain reference's tyre: an elastic foundation under a curved, tilted tread, by quadrature.

SI and radians. `y` runs across the tread, outboard positive; `tilt` is positive with the top of
the wheel outboard, so that the outboard edge presses in.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import cos, gamma, pi, sin, sqrt, tan

from scipy.integrate import quad
from scipy.optimize import brentq


@dataclass(frozen=True)
class Tyre:
    """A tyre at its pressure on one surface: `friction` includes the surface's grip factor."""

    radius: float
    width: float
    crown: float
    foundation: float  # N/m3
    friction: float
    friction_pressure: float
    friction_exponent: float
    compliance: float  # lean per side force, rad/N


@dataclass(frozen=True)
class Patch:
    """Contact at a penetration `depth` of the crown; curvatures `along` and `across` the tread."""

    tyre: Tyre
    depth: float
    tilt: float
    along: float
    across: float

    def penetration(self, y: float) -> float:
        return max(
            0.0, self.depth + y * tan(self.tilt) - self.across * y * y / 2
        )

    def half_length(self, y: float) -> float:
        return sqrt(2 * self.penetration(y) / self.along)

    def line_load(self, y: float) -> float:
        return (
            4
            / 3
            * self.tyre.foundation
            * self.half_length(y)
            * self.penetration(y)
        )

    def line_grip(self, y: float) -> float:
        """Friction mu (p / p_ref)^-n times pressure, summed along the patch at y."""
        tyre, n = self.tyre, self.tyre.friction_exponent
        strength: float = tyre.friction * tyre.friction_pressure**n
        pressure = (tyre.foundation * self.penetration(y)) ** (1 - n)
        return (
            strength
            * pressure
            * self.half_length(y)
            * beta_function(0.5, 2 - n)
        )

    def zones(self) -> list[tuple[float, float]]:
        """The stretches of tread that touch: a hollow tread may stand on its two edges alone."""
        edge = self.tyre.width / 2
        roots = quadratic_roots(-self.across / 2, tan(self.tilt), self.depth)
        cuts = [-edge, *sorted(y for y in roots if -edge < y < edge), edge]
        return [
            (lo, hi)
            for lo, hi in pairwise(cuts)
            if self.penetration((lo + hi) / 2) > 0
        ]

    def integral(
        self, density: Callable[[float], float], least: float = 0.0
    ) -> float:
        """Over all of the tread that touches; errors below `least` do not matter."""
        return sum(
            integral_between(density, lo, hi, least) for lo, hi in self.zones()
        )

    @cached_property
    def load(self) -> float:
        return self.integral(self.line_load)

    @cached_property
    def load_moment(self) -> float:
        """Load times the offset of the centre of pressure."""
        least = 1e-14 * self.load * self.tyre.width
        return self.integral(lambda y: y * self.line_load(y), least)

    def area(self) -> float:
        return self.integral(lambda y: 2 * self.half_length(y))

    def grip(self) -> float:
        return self.integral(self.line_grip)


def beta_function(p: float, q: float) -> float:
    return gamma(p) * gamma(q) / gamma(p + q)


def quadratic_roots(a: float, b: float, c: float) -> list[float]:
    """Real roots of a y^2 + b y + c, free of cancellation; a may be zero."""
    square = b * b - 4 * a * c
    if square < 0:
        return []
    half = -(b + sqrt(square) if b >= 0 else b - sqrt(square)) / 2
    return [
        over / under for over, under in ((half, a), (c, half)) if under != 0
    ]


def integral_between(
    f: Callable[[float], float], lo: float, hi: float, least: float
) -> float:
    """Adaptive quadrature in t of y = middle + half sin t, which smooths the patch's ends."""
    middle, half = (lo + hi) / 2, (hi - lo) / 2

    def in_angle(t: float) -> float:
        return f(middle + half * sin(t)) * half * cos(t)

    # full_output keeps quad from warning where the last digits are rounding already
    value = quad(
        in_angle, -pi / 2, pi / 2, epsabs=least, epsrel=1e-13, full_output=1
    )[0]
    return float(value)


def first_touch(tyre: Tyre, tilt: float, across: float) -> float:
    """The crown depth at which the tread just touches."""
    edge, lean = tyre.width / 2, tan(tilt)
    candidates = [-edge, edge]
    if across > 0 and abs(lean) < across * edge:
        candidates.append(lean / across)
    return -max(y * lean - across * y * y / 2 for y in candidates)


def patch_at_load(
    tyre: Tyre, load: float, tilt: float, along: float, across: float
) -> Patch:
    """The patch that carries a load above zero: its depth found."""

    def patch(depth: float) -> Patch:
        return Patch(tyre, depth, tilt, along, across)

    least, span = first_touch(tyre, tilt, across), 1e-3
    while patch(least + span).load < load:
        span *= 2
    depth = brentq(
        lambda d: patch(d).load - load,
        least,
        least + span,
        xtol=1e-16,
        rtol=1e-14,
    )
    return patch(depth)
