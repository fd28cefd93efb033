"""K. L. Johnson, Contact Mechanics, Cambridge University Press, 1985, section 4.3: elastic foundation.

The section's number is from memory; the formulas follow from p = k (delta - x^2 / 2 R1 - y^2 / 2 R2) by
integration: half axes a = sqrt(2 R1 delta), b = sqrt(2 R2 delta), area pi a b, load the paraboloid's
volume k delta pi a b / 2. Here R1 is the tyre's radius and R2 its crown radius.
"""

from __future__ import annotations

from math import pi, radians, sqrt, tan

import numpy as np
import pytest
from patch_grip import ENDS, grip_capacity
from scipy.integrate import dblquad

from setupopt.physics import tyre

R1, R2, K, DELTA = 0.33, 1.2, 4e7, 0.008
WIDE = 0.5  # half of a tread wider than the patch


def grip(exponent: float, depth: float = DELTA, k: float = K) -> float:
    """Integral of p^(1 - n) over an upright patch inside the tread, by the grip kernel at mu = p_ref = 1."""
    return grip_capacity(
        depth, 0.0, 1 / R1, 1 / R2, WIDE, k, 1.0, 1.0, exponent
    )


def patch(
    depth: float = DELTA,
    lean_deg: float = 0.0,
    crown: float = R2,
    half: float = WIDE,
) -> list[float]:
    """Load N, offset of the centre of pressure m, area m2."""
    load, moment, s0, _, _ = tyre.contact(
        depth, tan(radians(lean_deg)), 1 / R1, 1 / crown, half, K, ENDS
    )  # fmt: skip
    return [load, moment / load, s0 / K]


def test_load_and_area_of_the_worked_patch() -> None:
    """5061.012745 N and 0.03163132966 m2, recomputed for this project by two-fold quadrature (11 digits)."""
    load, offset, area = patch()
    assert load == pytest.approx(5061.012745, abs=5e-7)
    assert area == pytest.approx(0.03163132966, abs=5e-12)
    assert offset == pytest.approx(0.0, abs=1e-15)


def test_two_fold_quadrature_of_the_worked_patch() -> None:
    """The same load from the pressure itself, over the ellipse; 1e-8 of scipy's dblquad."""

    def half_width(x: float) -> float:
        return sqrt(max(0.0, 2 * R2 * (DELTA - x * x / (2 * R1))))

    def pressure(y: float, x: float) -> float:
        return K * max(0.0, DELTA - x * x / (2 * R1) - y * y / (2 * R2))

    edge = sqrt(2 * R1 * DELTA)
    load = dblquad(
        pressure, -edge, edge, lambda x: -half_width(x), half_width, epsrel=1e-9
    )[0]
    assert patch()[0] == pytest.approx(load, rel=1e-7)


def test_pressure_squared_of_the_worked_patch() -> None:
    """int p^2 dA = 2/3 pi k^2 delta^3 sqrt(R1 R2) = 1.07968272e9 N2/m2: exponent -1. To its 9 digits."""
    assert grip(-1.0) == pytest.approx(1.07968272e9, abs=5.0)
    assert grip(-1.0) == pytest.approx(
        2 / 3 * pi * K**2 * DELTA**3 * sqrt(R1 * R2), rel=1e-8
    )


@pytest.mark.parametrize("depth", [0.0005, 0.002, 0.008])
def test_patch_inside_the_tread(depth: float) -> None:
    """N = pi k delta^2 sqrt(R1 R2), area = 2 pi delta sqrt(R1 R2); mean pressure k delta / 2."""
    load, _, area = patch(depth)
    assert load == pytest.approx(pi * K * depth**2 * sqrt(R1 * R2), rel=1e-12)
    assert area == pytest.approx(2 * pi * depth * sqrt(R1 * R2), rel=1e-12)
    assert load / area == pytest.approx(K * depth / 2, rel=1e-12)


# lean deg: load N, offset m, area m2; R = 0.33, w = 0.25, k = 4e7, delta = 0.008 at the middle, flat tread
FLAT_TREAD = {
    0.0: (7750.784906, 0.0, 0.03633180),
    1.0: (7823.056503, 0.01685676, 0.03621758),
    3.0: (8419.838454, 0.04623226, 0.03513874),
    5.0: (
        9774.718804,
        0.06315988,
        0.03226221,
    ),  # the inner edge is off the ground
}


@pytest.mark.parametrize("lean_deg", FLAT_TREAD)
def test_flat_tread_with_camber(lean_deg: float) -> None:
    """Integrals of (4/3) k sqrt(2 R) e^1.5 with e = delta + y tan(lean), worked out for this project.

    A tread without any crown of its own (curvature 0); tolerance half a unit of the last digit kept.
    """
    load, offset, area = patch(lean_deg=lean_deg, crown=np.inf, half=0.125)
    expected = FLAT_TREAD[lean_deg]
    assert load == pytest.approx(expected[0], abs=5e-7)
    assert offset == pytest.approx(expected[1], abs=5e-9)
    assert area == pytest.approx(expected[2], abs=5e-9)


def test_nearly_flat_tread_tends_to_the_flat_one() -> None:
    """A crown of 1 km gives the table's numbers to its w^2 / 8 Rc = 8 micrometres of 8 mm: 0.2 %."""
    assert patch(lean_deg=3.0, crown=1000.0, half=0.125) == pytest.approx(
        list(FLAT_TREAD[3.0]), rel=2e-3
    )


# exponent n: friction of the patch over friction at its mean pressure, 2^(1-n) / (2-n)
MEAN_PRESSURE_RATIO = {0.1: 0.982140, 0.2: 0.967278, 1 / 3: 0.952441}


def ratio(exponent: float) -> float:
    """Friction of the worked patch over friction at its mean pressure."""
    load, _, area = patch()
    return grip(exponent) / load / (load / area) ** -exponent


@pytest.mark.parametrize("exponent", [0.05, 0.5])
def test_friction_over_that_at_the_mean_pressure(exponent: float) -> None:
    """int p^(1-n) dA = pi a b (k delta)^(1-n) / (2-n), so mu_eff / mu(mean p) = 2^(1-n) / (2-n)."""
    assert ratio(exponent) == pytest.approx(
        2 ** (1 - exponent) / (2 - exponent), rel=1e-7
    )


@pytest.mark.parametrize("exponent", [0.0, 0.2, 1 / 3, 0.6])
def test_friction_falls_with_the_load(exponent: float) -> None:
    """Mean pressure goes as sqrt(N) while the patch is inside the tread, so mu_eff goes as N^(-n/2)."""

    def friction(depth: float) -> float:
        return grip(exponent, depth) / patch(depth)[0]

    shallow, deep = 0.002, 0.008  # a load 16 times as high
    assert friction(deep) / friction(shallow) == pytest.approx(
        16 ** (-exponent / 2), rel=1e-7
    )
