"""The brush of the plain reference against published closed forms and against a sum over bristles."""

from math import cos, pi, radians, sin, sqrt, tan
from random import Random

import numpy as np
import pytest
from plain_brush import Strip, strip_sum
from plain_slip_tyre import (
    Bed,
    BrushTyre,
    Slip,
    bed_at_load,
    bed_in_series,
    brush_force,
    spin_followed,
    strip_forces,
)
from plain_tyre import beta_function

UPRIGHT = 0.0


def tyre(**changes: float) -> BrushTyre:
    base = {
        "radius": 0.28,
        "width": 0.23,
        "crown": 1.1,
        "foundation": 3e7,
        "friction": 1.5,
        "friction_pressure": 1.5e5,
        "friction_exponent": 0.18,
        "compliance": 0.0,
        "shear": 5.4e7,
    }
    return BrushTyre(**(base | changes))


def uniform() -> Bed:
    """A flat tread on a flat surface: every strip alike, friction 1.5 at any pressure."""
    t = tyre(friction_exponent=0.0)
    return Bed(t, 0.004, UPRIGHT, 1 / t.radius, 0.0)


def elliptic() -> Bed:
    """A patch that ends inside the tread."""
    t = tyre(width=1.0)
    return Bed(t, 0.004, UPRIGHT, 1 / t.radius, 1 / t.crown)


def sideways(bed: Bed, slope: float) -> tuple[float, float]:
    """Lateral force and aligning moment at tan(alpha) = slope, rolling."""
    force = brush_force(bed, Slip(0.0, np.arctan(slope), 0.0, 1.0))
    return force.fy, force.mz


def stiffness(bed: Bed) -> float:
    """The published C = 2 c_p a^2, c_p = shear x width."""
    return 2 * bed.tyre.shear * bed.half_lengths[0] ** 2 * bed.tyre.width


# --- uniform width: Pacejka, Tyre and Vehicle Dynamics, chapter 3 (from memory) -----------------


@pytest.mark.parametrize("share", [0.0, 0.05, 0.25, 0.5, 0.9, 1.0])
def test_published_cubic(share: float) -> None:
    """Pacejka, ch. 3 (from memory): F = C s - C^2 s^2/(3 mu N) + C^3 s^3/(27 mu^2 N^2)."""
    bed = uniform()
    c, mu, load = stiffness(bed), 1.5, bed.load
    s = share * 3 * mu * load / c
    cubic = (
        c * s
        - (c * s) ** 2 / (3 * mu * load)
        + (c * s) ** 3 / (27 * (mu * load) ** 2)
    )
    assert sideways(bed, s)[0] == pytest.approx(cubic, rel=1e-12, abs=1e-9)


def test_full_sliding_begins_at_three_mu_n_over_c() -> None:
    """Pacejka, ch. 3 (from memory)."""
    bed = uniform()
    s = 3 * 1.5 * bed.load / stiffness(bed)
    assert sideways(bed, 0.999 * s)[0] < 1.5 * bed.load * (1 - 1e-10)
    assert sideways(bed, s)[0] == pytest.approx(1.5 * bed.load, rel=1e-12)
    assert sideways(bed, 2 * s) == pytest.approx(
        (1.5 * bed.load, 0.0), rel=1e-12, abs=1e-9
    )


def test_trail_of_a_third_of_the_half_length_at_no_slip() -> None:
    """Pacejka, ch. 3 (from memory): the moment turns the wheel back into its way."""
    bed = uniform()
    force, moment = sideways(bed, 1e-9)
    assert -moment / force == pytest.approx(bed.half_lengths[0] / 3, rel=1e-6)


def test_largest_aligning_moment() -> None:
    """Pacejka, ch. 3 (from memory): (27/256) mu N a at a quarter of full sliding."""
    bed = uniform()
    quarter = 3 * 1.5 * bed.load / stiffness(bed) / 4
    top = -sideways(bed, quarter)[1]
    assert top == pytest.approx(
        27 / 256 * 1.5 * bed.load * bed.half_lengths[0], rel=1e-12
    )
    assert all(
        -sideways(bed, part * quarter)[1] < top
        for part in (0.9, 0.99, 1.01, 1.1)
    )


@pytest.mark.parametrize("angle", [0.0, 0.4, 1.2, 2.5, -1.0])
def test_combined_slip_acts_along_the_slip(angle: float) -> None:
    """Pacejka, ch. 3 (from memory): an isotropic brush without spin has the cubic along the slip itself."""
    bed = uniform()
    s = 1.3 * 1.5 * bed.load / stiffness(bed)
    sx, sy = s * cos(angle), s * sin(angle)
    kappa = sx / (1 - sx)
    force = brush_force(bed, Slip(kappa, np.arctan(sy * (1 + kappa)), 0.0, 1.0))
    assert (force.fx, force.fy) == pytest.approx(
        (sideways(bed, s)[0] * cos(angle), sideways(bed, s)[0] * sin(angle)),
        rel=1e-12,
        abs=1e-8,
    )


# --- other patches ------------------------------------------------------------------------------


def test_elliptic_patch() -> None:
    """Two lines: C = int 2 c_t l^2 dy with l^2 = 2 delta/c_x gives (16/3)(c_t/c_x) d sqrt(2 d/c_y);
    the moment int (2/3) c_t l^3 dy over it gives the trail (9 pi/32) a0/3."""
    bed = elliptic()
    c = (
        16
        / 3
        * bed.tyre.shear
        / bed.along
        * bed.depth
        * sqrt(2 * bed.depth / bed.across)
    )
    force, moment = sideways(bed, 1e-9)
    assert force / 1e-9 == pytest.approx(c, rel=1e-6)
    a0 = sqrt(2 * bed.depth / bed.along)
    assert -moment / force == pytest.approx(9 * pi / 32 * a0 / 3, rel=1e-6)


@pytest.mark.parametrize(("across", "power"), [(1 / 1.1, 3 / 4), (0.0, 2 / 3)])
def test_cornering_stiffness_grows_with_load(
    across: float, power: float
) -> None:
    """N ~ d^2 and C ~ d^(3/2) on an ellipse, N ~ d^(3/2) and C ~ d on a flat tread."""
    t = tyre(width=1.0)
    beds = [
        bed_at_load(t, load, UPRIGHT, 1 / t.radius, across)
        for load in (800.0, 1600.0)
    ]
    ratio = sideways(beds[1], 1e-9)[0] / sideways(beds[0], 1e-9)[0]
    assert ratio == pytest.approx(2**power, rel=1e-6)


@pytest.mark.parametrize("sigma", [1.0, -1.0])
@pytest.mark.parametrize("tilt_deg", [-3.0, 1.0, 4.0])
def test_pure_spin(tilt_deg: float, sigma: float) -> None:
    """Fy/N = (c_t/k) f_g sin(gamma), any shape of patch: the bristle's bend and the pressure are both
    parabolas. Without friction's limit; sx of the spin turns the patch only."""
    t = tyre(friction=50.0)
    bed = Bed(t, 0.004, radians(tilt_deg), 1 / t.radius, 1 / t.crown)
    spin = spin_followed(t, bed.tilt, sigma, 0.0)
    force = brush_force(bed, Slip(0.0, 0.0, spin, sigma))
    expected = sigma * t.shear / t.foundation * t.camber_share * sin(bed.tilt)
    assert force.fy / bed.load == pytest.approx(expected, rel=1e-3)


def test_mirror() -> None:
    bed = Bed(tyre(), 0.004, radians(-2.0), 1 / 0.28, 1 / 1.1)
    left = brush_force(bed, Slip(0.02, 0.03, 0.1, 1.0))
    right = brush_force(bed, Slip(0.02, -0.03, -0.1, -1.0))
    assert (right.fx, right.fy, right.mz) == pytest.approx(
        (left.fx, -left.fy, -left.mz), rel=1e-12
    )


def test_full_sliding_takes_the_capacity() -> None:
    """Capacity by its own integral: mu p_ref^n int (k delta)^(1-n) l B(1/2, 2-n) dy."""
    bed = Bed(tyre(), 0.004, radians(-2.0), 1 / 0.28, 1 / 1.1)
    t, n = bed.tyre, bed.tyre.friction_exponent
    _, widths, depth = bed.strips
    density = (
        (t.foundation * depth) ** (1 - n)
        * bed.half_lengths
        * beta_function(0.5, 2 - n)
    )
    capacity = t.friction * t.friction_pressure**n * widths @ density
    assert bed.grip() == pytest.approx(capacity, rel=1e-12)
    assert sideways(bed, 50.0)[0] == pytest.approx(capacity, rel=1e-9)


def test_least_pressure_holds_the_friction_down() -> None:
    """Every strip under the least pressure: one friction for all of the patch."""
    t = tyre(least_pressure=1e6)
    bed = Bed(t, 0.004, UPRIGHT, 1 / t.radius, 1 / t.crown)
    mu = t.friction * (1.5e5 / 1.5e6) ** 0.18 * 0.75 * beta_function(0.5, 1.82)
    assert bed.grip() == pytest.approx(mu * bed.load, rel=1e-12)


def test_worked_tread_and_carcass() -> None:
    """0.137 N/mm3 in series with 240 N/mm at 1,300 N: 198 N/mm, 160 kPa, 8,135 mm2 (worked here)."""
    t = tyre(foundation=1.37e8, carcass=2.4e5)
    tread = bed_at_load(t, 1300.0, UPRIGHT, 1 / t.radius, 1 / t.crown)
    depth = tread.depth + 1300.0 / t.carcass
    assert bed_in_series(
        t, depth, UPRIGHT, 1 / t.radius, 1 / t.crown
    ).load == pytest.approx(1300.0, rel=1e-9)
    near = bed_in_series(t, depth + 1e-6, UPRIGHT, 1 / t.radius, 1 / t.crown)
    assert (near.load - 1300.0) / 1e-6 == pytest.approx(198e3, rel=0.01)
    assert 1300.0 / tread.area() == pytest.approx(160e3, rel=0.01)
    assert tread.area() == pytest.approx(8135e-6, rel=0.01)


# --- bristle by bristle -------------------------------------------------------------------------


def random_slip(rng: Random, t: BrushTyre) -> Slip:
    return Slip(
        rng.uniform(-0.15, 0.15),
        rng.uniform(-0.15, 0.15),
        rng.uniform(-0.3, 0.3),
        rng.choice([1.0, -1.0]),
    )


@pytest.mark.parametrize("seed", range(200))
def test_strip_against_bristles(seed: int) -> None:
    """Combined slip with spin: 1e-6 of the load, friction constant within the strip."""
    rng = Random(seed)
    t = tyre(shear=3e7 * rng.uniform(1, 3), friction=rng.uniform(0.6, 1.8))
    bed = Bed(
        t,
        rng.uniform(0.001, 0.008),
        radians(rng.uniform(-4, 4)),
        1 / t.radius,
        1 / t.crown,
    )
    slip = random_slip(rng, t)
    fx, fy, mz = strip_forces(bed, slip)
    i = rng.randrange(len(fx))
    sx = (
        slip.kappa / (1 + slip.kappa)
        - slip.spin * slip.sigma * bed.strips[0][i]
    )
    sy = tan(slip.alpha) / (1 + slip.kappa)
    mu = bed.frictions()[i]
    chi = min(
        max(t.shear * slip.spin / (t.foundation * bed.along), -0.999 * mu),
        0.999 * mu,
    )
    strip = Strip(
        bed.half_lengths[i], t.foundation, bed.along, t.shear, mu, chi
    )
    sum_x, sum_y, sum_z = strip_sum(strip, sx, sy)
    load = bed.line_loads[i]
    sum_z -= slip.sigma * bed.strips[0][i] * sum_x
    assert fx[i] == pytest.approx(sum_x, abs=1e-6 * load)
    assert fy[i] == pytest.approx(sum_y, abs=1e-6 * load)
    assert mz[i] == pytest.approx(
        sum_z, abs=1e-6 * load * max(strip.half_length, abs(bed.strips[0][i]))
    )


def test_nodes_are_enough() -> None:
    """Forty strips a stretch of tread against four hundred: 1e-5 of the load."""
    rng = Random(5)
    for _ in range(40):
        t = tyre()
        coarse = Bed(
            t,
            rng.uniform(0.001, 0.008),
            radians(rng.uniform(-4, 4)),
            1 / t.radius,
            1 / t.crown,
        )
        fine = Bed(
            t, coarse.depth, coarse.tilt, coarse.along, coarse.across, nodes=400
        )
        slip = random_slip(rng, t)
        a, b = brush_force(coarse, slip), brush_force(fine, slip)
        assert (a.fx, a.fy) == pytest.approx((b.fx, b.fy), abs=1e-5 * fine.load)
