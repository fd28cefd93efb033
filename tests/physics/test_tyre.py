"""Contact patch and grip: the kernel against adaptive quadrature, slopes against differences."""

from __future__ import annotations

from itertools import pairwise
from math import gamma, pi, radians, sqrt, tan

import numpy as np
import pytest
from patch_grip import ENDS, grip_capacity
from plain_tyre import Patch, Tyre
from scipy.integrate import quad

from setupopt.physics import tyre

Floats = np.ndarray
SEEDS = 50  # the first in which every curvature is drawn
CURVATURES = (
    3.0,
    0.7,
    0.0501,
    0.0499,
    0.01,
    1e-4,
    1e-8,
    0.0,
    -1e-8,
    -1e-4,
    -0.03,
    -0.3,
)


def beta(exponent: float) -> float:
    """B(1/2, 2 - n)."""
    return sqrt(pi) * gamma(2.0 - exponent) / gamma(2.5 - exponent)


def drawn(seed: int) -> tuple[float, float, float, float, float, float]:
    """Penetration, tan(inclination), curvatures along and across, half width, foundation."""
    rng = np.random.default_rng(seed)
    depth = float(
        rng.choice([rng.uniform(-0.004, 0.03), rng.uniform(-0.001, 0.002)])
    )
    lean, half = tan(radians(rng.uniform(-8, 8))), float(rng.uniform(0.07, 0.2))
    across = float(rng.choice(CURVATURES))
    return (
        depth,
        lean,
        float(rng.uniform(2.5, 4.0)),
        across,
        half,
        float(rng.uniform(1e7, 5e7)),
    )


def plain(
    case: tuple[float, float, float, float, float, float], exponent: float = 0.0
) -> Patch:
    """The same patch by adaptive quadrature, in the outside reference."""
    d, t, c_x, c, half, k = case
    rubber = Tyre(1.0 / c_x, 2.0 * half, 1.0, k, 1.4, 2e5, exponent, 0.0)
    return Patch(rubber, d, np.arctan(t), c_x, c)


@pytest.mark.parametrize("seed", range(SEEDS))
def test_contact_against_quadrature(seed: int) -> None:
    """Load, moment and area; among the draws are treads that touch in part or just touch.

    1e-9 of the load, of the load times the half width and of the area: the digits of the quadrature.
    """
    case = drawn(seed)
    load, moment, s0, _, _ = tyre.contact(*case, ENDS)
    patch = plain(case)
    assert load == pytest.approx(patch.load, rel=1e-9, abs=1e-9)
    assert moment == pytest.approx(
        patch.load_moment, rel=1e-9, abs=1e-9 * (patch.load * case[4] + 1e-3)
    )
    assert s0 / case[5] == pytest.approx(patch.area(), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("seed", range(SEEDS))
def test_grip_against_quadrature(seed: int) -> None:
    """The friction integral. Twelve nodes keep 3e-7 where rubber is rubber, 1e-6 at the exponent's end."""
    case = drawn(seed)
    exponent = (0.0, 0.15, 0.35, 0.9)[seed % 4]
    grip = grip_capacity(*case, 1.4, 2e5, exponent)
    digits = 3e-7 if exponent < 0.5 else 1e-6
    assert grip == pytest.approx(
        plain(case, exponent).grip(), rel=digits, abs=1e-6
    )


def test_the_draws_hold_every_kind_of_patch() -> None:
    """At least eight touch all over the tread, at least eight in part; every curvature is drawn."""
    whole = 0
    for seed in range(SEEDS):
        d, t, _, c, half, _ = drawn(seed)
        y = np.linspace(-half, half, 2001)
        is_pressed = d + t * y - 0.5 * c * y * y > 0.0
        assert is_pressed.any(), seed
        whole += bool(is_pressed.all())
    assert 8 <= whole <= SEEDS - 8
    assert {drawn(seed)[3] for seed in range(SEEDS)} == set(CURVATURES)


@pytest.mark.parametrize("seed", range(40))
def test_grip_is_friction_times_load_without_load_sensitivity(
    seed: int,
) -> None:
    """Exponent 0: the integral of mu p is mu N (an identity of the two kernels, to the rule's 3e-7)."""
    case = drawn(seed)
    grip = grip_capacity(*case, 1.4, 2e5, 0.0)
    assert grip == pytest.approx(
        1.4 * tyre.contact(*case, ENDS)[0], rel=3e-7, abs=1e-6
    )


@pytest.mark.parametrize("seed", range(60))
def test_slopes_of_contact(seed: int) -> None:
    """dN/dd, dN/dt = dM/dd and dM/dt against central differences of 1e-6 m and 1e-5 rad.

    1e-5 of the largest slope, or the difference's own error next to an edge that just touches.
    """
    d, t, c_x, c, half, k = drawn(seed)
    d = (
        abs(d) + 2e-3
    )  # well in contact: the slopes of a patch that vanishes have a kink of their own
    _, _, s0, s1, s2 = tyre.contact(d, t, c_x, c, half, k, ENDS)

    def slope(dd: float, dt: float) -> Floats:
        ahead = np.array(
            tyre.contact(d + dd, t + dt, c_x, c, half, k, ENDS)[:2]
        )
        return (
            ahead
            - np.array(tyre.contact(d - dd, t - dt, c_x, c, half, k, ENDS)[:2])
        ) / (2 * (dd + dt))

    scale = np.array([s0, s0 * half])
    assert np.abs((slope(1e-6, 0.0) - [s0, s1]) / scale).max() < 1e-5
    assert np.abs((slope(0.0, 1e-5) - [s1, s2]) / (scale * half)).max() < 1e-5


@pytest.mark.parametrize("depth", [0.002, -0.0005])
@pytest.mark.parametrize("lean", [0.0, 0.001, -0.002])
def test_hollow_tread_stands_on_its_two_edges(
    depth: float, lean: float
) -> None:
    """A tread hollow against the surface: two zones of contact when lifted, one when pressed in."""
    c_x, c, half, k = 3.0, -0.3, 0.14, 3e7

    def line(y: float) -> float:
        delta = max(0.0, depth + lean * y - 0.5 * c * y * y)
        return float(4.0 / 3.0 * k * sqrt(2.0 * delta / c_x) * delta)

    roots = np.roots([-0.5 * c, lean, depth])
    cuts = sorted(
        {
            -half,
            half,
            *(
                float(r.real)
                for r in roots
                if abs(r.imag) < 1e-12 and abs(r) < half
            ),
        }
    )
    zones = [(a, b) for a, b in pairwise(cuts) if line(0.5 * (a + b)) > 0.0]
    assert len(zones) == (2 if depth < 0.0 else 1)
    load = sum(
        quad(line, a, b, epsabs=0.0, epsrel=1e-11, limit=400)[0]
        for a, b in zones
    )
    moment = sum(
        quad(lambda y: y * line(y), a, b, epsabs=1e-7, epsrel=1e-11, limit=400)[
            0
        ]
        for a, b in zones
    )
    got = tyre.contact(depth, lean, c_x, c, half, k, ENDS)
    assert got[0] == pytest.approx(load, rel=1e-9)
    assert got[1] == pytest.approx(moment, rel=1e-8, abs=1e-6)


@pytest.mark.parametrize("seed", range(30))
def test_closed_form_and_quadrature_meet(seed: int) -> None:
    """Where the kernel changes over between its two ways, every result goes on without a step.

    2e-12 of curvature apart, the results may differ by that times their slope: 1e-9 is ample.
    """
    d, t, c_x, _, half, k = drawn(seed)
    below, above = (
        np.array(tyre.contact(d, t, c_x, 0.05 + e, half, k, ENDS))
        for e in (-1e-12, 1e-12)
    )
    assert above == pytest.approx(below, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("across", CURVATURES)
@pytest.mark.parametrize("lean", [0.0, 0.05])
def test_tread_in_the_air_carries_nothing(across: float, lean: float) -> None:
    """No part of the tread touches: load, moment, area and grip are all exactly zero."""
    assert tyre.contact(-0.05, lean, 3.0, across, 0.15, 3e7, ENDS) == (
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
    )
    assert (
        grip_capacity(-0.05, lean, 3.0, across, 0.15, 3e7, 1.4, 2e5, 0.2) == 0.0
    )


@pytest.mark.parametrize("seed", range(30))
def test_leaning_the_other_way_mirrors_the_patch(seed: int) -> None:
    """Inclination turned round: the same load and area, the moment the other way."""
    d, t, c_x, c, half, k = drawn(seed)
    n, m, s0, s1, s2 = tyre.contact(d, t, c_x, c, half, k, ENDS)
    other = tyre.contact(d, -t, c_x, c, half, k, ENDS)
    assert other == pytest.approx((n, -m, s0, -s1, s2), rel=1e-12, abs=1e-9)


# Loads, curvatures and starts in full; leans go round, so that each meets every load, curvature and start
DEPTHS = [
    (load, across, start, lean)
    for load in (0.5, 900.0, 25000.0)
    for i, across in enumerate((2.0, 0.3, 0.03, 0.0, -0.03, -0.3))
    for j, start in enumerate((-0.02, 0.0, 0.01, 0.05))
    for lean in ((-0.1, 0.0, 0.02)[(i + j) % 3],)
]


def test_depth_for_load_from_any_start() -> None:
    """The penetration found carries the load to 1e-9, whether the start floats or is far too deep."""
    for load, across, start, lean in DEPTHS:
        depth = tyre.depth_for_load(
            load, start, lean, 3.0, across, 0.15, 3e7, ENDS
        )[0]
        carried = tyre.contact(depth, lean, 3.0, across, 0.15, 3e7, ENDS)[0]
        assert carried == pytest.approx(load, rel=1e-9), (
            load,
            across,
            start,
            lean,
        )
