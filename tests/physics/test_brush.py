"""The brush on a patch: published closed forms, a sum over bristles, a fine sum over strips, slopes."""

from __future__ import annotations

from functools import partial
from math import atan, radians, sin, sqrt, tan
from random import Random

import numpy as np
import pytest
from plain_brush import Strip, strip_sum
from plain_slip_tyre import (
    Bed,
    BrushTyre,
    Slip,
    bed_at_load,
    brush_force,
    spin_followed,
)
from plain_tyre import beta_function

from setupopt.physics import brush, brush_strip, tyre
from setupopt.physics.inputs import Record

Floats = np.ndarray
ENDS = np.zeros(5)
HALF = 0.12  # m, of a flat tread
DEPTH = 0.004
BED = 3e7  # N/m3
SHEAR = 1.8 * BED
MU = 1.4
RADIUS = 0.3


def patch_of(**given: float) -> Record:
    """A flat tread on flat ground, evenly pressed in, with one friction; any entry may be another."""
    patch = np.zeros(1, brush.BRUSH)[0]
    plain = {
        "depth": DEPTH, "along": 1.0 / RADIUS, "half_width": HALF, "foundation": BED, "shear": SHEAR,
        "friction": MU, "side": 1.0,
    }  # fmt: skip
    for name, value in (plain | given).items():
        patch[name] = value
    return patch


def table_of(patch: Record) -> Floats:
    """Forces and slopes (ROWS, COLUMNS)."""
    table = np.zeros((brush.ROWS, brush.COLUMNS))
    brush.forces(patch, table)
    return table


def load_of(patch: Record) -> float:
    """Normal force of the patch, N."""
    shape = (
        patch.depth,
        patch.slant,
        patch.along,
        patch.across,
        patch.half_width,
        patch.foundation,
    )
    return float(tyre.contact(*shape, ENDS)[0])


# --- a patch of one width: Pacejka, Tyre and Vehicle Dynamics, chapter 3 ------------------------------------

LENGTH = sqrt(2.0 * DEPTH * RADIUS)  # half of the patch's, m
LOAD = load_of(patch_of())
STIFFNESS = 2.0 * SHEAR * LENGTH**2 * 2.0 * HALF  # C = 2 c_t a^2 w, N
FULL = 3.0 * MU * LOAD / STIFFNESS  # slip at which all of it slides


@pytest.mark.parametrize("share", [0.01, 0.25, 0.6, 0.99])
def test_cubic_of_the_brush(share: float) -> None:
    """F = C s - C^2 s^2 / (3 mu N) + C^3 s^3 / (27 mu^2 N^2) below full sliding, along and across alike."""
    s = share * FULL
    most = MU * LOAD
    cubic = (
        STIFFNESS * s
        - (STIFFNESS * s) ** 2 / (3 * most)
        + (STIFFNESS * s) ** 3 / (27 * most**2)
    )
    across = table_of(patch_of(slip_y=s))
    along = table_of(patch_of(slip_x=s))
    assert across[brush.ACROSS, 0] == pytest.approx(cubic, rel=1e-12)
    assert along[brush.ALONG, 0] == pytest.approx(cubic, rel=1e-12)
    assert across[brush.ALONG, 0] == along[brush.ACROSS, 0] == 0.0


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("share", [1.0001, 3.0, 1e6])
def test_full_sliding(share: float, sign: float) -> None:
    """From s = 3 mu N / C on the force is mu N and stands in the patch's middle."""
    table = table_of(patch_of(slip_y=sign * share * FULL))
    assert table[brush.ACROSS, 0] == pytest.approx(sign * MU * LOAD, rel=1e-12)
    assert table[brush.MOMENT, 0] == 0.0


def test_trail_at_small_slip() -> None:
    """The force acts a third of the half length behind the middle; what is left is a share of the slip."""
    table = table_of(patch_of(slip_y=1e-6 * FULL))
    assert -table[brush.MOMENT, 0] / table[brush.ACROSS, 0] == pytest.approx(
        LENGTH / 3.0, rel=1e-5
    )


def test_largest_aligning_moment() -> None:
    """27/256 mu N a, at a quarter of full sliding, and less a hundredth of slip beside it."""
    moment = [
        -table_of(patch_of(slip_y=s * FULL))[brush.MOMENT, 0]
        for s in (0.2475, 0.25, 0.2525)
    ]
    assert moment[1] == pytest.approx(
        27.0 / 256.0 * MU * LOAD * LENGTH, rel=1e-12
    )
    assert moment[0] < moment[1] > moment[2]


# --- other patches ------------------------------------------------------------------------------------------


def test_stiffness_of_an_elliptic_patch() -> None:
    """A crowned tread wider than its patch: C = (16/3) (c_t / c_x) d sqrt(2 d / c_y), both ways."""
    across = 1.0 / 1.1
    table = table_of(patch_of(across=across, half_width=0.3))
    expected = 16.0 / 3.0 * SHEAR * RADIUS * DEPTH * sqrt(2.0 * DEPTH / across)
    assert table[brush.ACROSS, brush.BY_SLIP_Y] == pytest.approx(
        expected, rel=1e-9
    )
    assert table[brush.ALONG, brush.BY_SLIP_X] == pytest.approx(
        expected, rel=1e-9
    )


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize(
    "shape",
    [{}, {"across": 0.9, "slant": 0.02}, {"across": 3.0}, {"slant": -0.05}],
)
def test_camber_thrust_of_pure_spin(
    shape: dict[str, float], side: float
) -> None:
    """F_y / N = (c_t / k) f_g sin(gamma), of any shape of patch."""
    share, lean = 0.5, radians(3.0)
    patch = patch_of(spin=side * share * sin(lean) / RADIUS, side=side, **shape)
    expected = side * SHEAR / BED * share * sin(lean)
    # the few nodes of a patch that is cut in its middle keep 2e-7
    assert table_of(patch)[brush.ACROSS, 0] / load_of(patch) == pytest.approx(
        expected, rel=5e-7
    )


def test_spin_beyond_the_friction_slides() -> None:
    """Four times the spin that the friction could follow, on a tread so narrow that it slips sideways only:
    the force is mu N, and no more (the spin is clipped at 0.999 of the friction)."""
    patch = patch_of(spin=4.0 * MU * BED / SHEAR / RADIUS, half_width=1e-5)
    assert table_of(patch)[brush.ACROSS, 0] == pytest.approx(
        MU * load_of(patch), rel=2e-3
    )


@pytest.mark.parametrize(
    "shape", [{"depth": -0.001}, {"depth": -0.02, "slant": 0.1}]
)
def test_tread_in_the_air_passes_nothing(shape: dict[str, float]) -> None:
    """Crown and edges clear of the surface: every force and slope is zero, and so is the capacity."""
    patch = patch_of(slip_y=0.1, across=1.0, **shape)
    assert not table_of(patch).any()
    patch["exponent"] = 0.1
    assert brush.capacity(patch) == 0.0


def test_strips_against_bristles() -> None:
    """200 random strips in combined slip with spin: 1e-6 of their load, moments of load times length.

    The sum takes 4,000 bristles; its own error is a hundredth of that but where the slide begins.
    """
    rng = Random(3)
    slides = 0
    for _ in range(200):
        length, mu = rng.uniform(0.02, 0.08), rng.uniform(0.5, 1.8)
        spin = rng.choice([0.0, rng.uniform(-0.9, 0.9) * mu])
        strip = Strip(length, BED, 1.0 / RADIUS, SHEAR, mu, spin)
        load = BED / RADIUS * length**3 * 2.0 / 3.0
        reach = BED / RADIUS * length / SHEAR
        sx, sy = (rng.uniform(-1.3, 1.3) * mu * reach for _ in range(2))
        got = brush_strip.strip(sx, sy, spin, mu, load, length, reach)
        fx, fy, mz = strip_sum(strip, sx, sy)
        assert got[0] == pytest.approx(fx, abs=1e-6 * load)
        assert got[4] == pytest.approx(fy, abs=1e-6 * load)
        assert got[8] == pytest.approx(mz, abs=1e-6 * load * length)
        slides += got[8] == 0.0
    assert 20 < slides < 180  # those that slide as a whole have no moment


# --- whole wheels -------------------------------------------------------------------------------------------


def drawn_tyre(rng: Random) -> BrushTyre:
    """Of the plain model."""
    foundation = rng.uniform(1.5e7, 5e7)
    return BrushTyre(
        radius=rng.uniform(0.27, 0.34),
        width=rng.uniform(0.18, 0.32),
        crown=rng.choice([rng.uniform(0.5, 2.5), 1e3]),
        foundation=foundation,
        friction=rng.uniform(1.0, 1.8),
        friction_pressure=rng.uniform(1e5, 2e5),
        friction_exponent=rng.choice([0.0, rng.uniform(0.05, 0.3)]),
        compliance=0.0,
        shear=foundation * rng.uniform(1.0, 3.0),
        camber_share=rng.uniform(0.0, 1.0),
        least_pressure=rng.choice([0.0, 0.0, rng.uniform(3e4, 1.5e5)]),
    )


def drawn_wheel(seed: int, nodes: int = 600) -> tuple[Bed, Slip, float, Record]:
    """Bed, slip and friction factor of the plain model, and the same as the kernel takes it."""
    rng = Random(seed)
    rubber = drawn_tyre(rng)
    tilt, sigma = radians(rng.uniform(-6.0, 4.0)), rng.choice([1.0, -1.0])
    along = 1.0 / rubber.radius - rng.choice([0.0, 0.01])
    across = 1.0 / rubber.crown - rng.choice([0.0, 0.0, 1.0 / 8.0])
    bed = bed_at_load(rubber, rng.uniform(200.0, 6000.0), tilt, along, across)
    fine = Bed(rubber, bed.depth, tilt, along, across, nodes)
    kappa, alpha = (
        rng.choice([0.0, rng.uniform(-0.1, 0.1)]),
        rng.uniform(-0.12, 0.12),
    )
    spin = spin_followed(
        rubber, tilt, sigma, rng.choice([0.0, rng.uniform(-0.03, 0.03)])
    )
    factor = rng.choice([1.0, rng.uniform(0.6, 1.6)])
    n = rubber.friction_exponent
    friction = (
        0.75
        * beta_function(0.5, 2.0 - n)
        * factor
        * rubber.friction
        * rubber.friction_pressure**n
    )
    patch = patch_of(
        depth=bed.depth, slant=tan(tilt), along=along, across=across, half_width=rubber.width / 2,
        foundation=rubber.foundation, shear=rubber.shear, friction=friction, exponent=n,
        floor=1.5 * rubber.least_pressure, side=sigma, spin=spin, slip_x=kappa / (1 + kappa),
        slip_y=tan(alpha) / (1 + kappa),
    )  # fmt: skip
    return fine, Slip(kappa, alpha, spin, sigma), factor, patch


@pytest.mark.parametrize("seed", range(60))
def test_forces_against_a_fine_sum_of_strips(seed: int) -> None:
    """The plain model with 600 nodes a zone: 5e-5 of the load, moments of load times a tenth of a metre.

    That is what the kernel's few nodes leave open, beside the bend where a strip begins to slide as a whole.
    """
    bed, slip, factor, patch = drawn_wheel(seed)
    expected = brush_force(bed, slip, factor)
    got = table_of(patch)[:, 0]
    assert got[:2] == pytest.approx(
        [expected.fx, expected.fy], abs=5e-5 * bed.load
    )
    assert got[2] == pytest.approx(expected.mz, abs=5e-6 * bed.load)
    capacity = brush.capacity(patch)
    assert capacity == pytest.approx(factor * bed.grip(), rel=5e-5)


@pytest.mark.parametrize("seed", range(20))
def test_slip_that_turns_round_within_the_tread(seed: int) -> None:
    """A wheel with much camber that drives a little: one shoulder brakes while the other drives.

    Strips between them change the side to which they slide within millimetres: 1e-4 of the load, moments of
    load times a tenth of a metre.
    """
    bed, slip, factor, patch = drawn_wheel(seed)
    rng = Random(seed)
    patch["spin"] = rng.uniform(0.2, 0.5)
    turns_at = rng.uniform(-0.6, 0.6) * float(patch["half_width"])
    patch["slip_x"] = patch["spin"] * patch["side"] * turns_at
    patch["slip_y"] = rng.uniform(-0.005, 0.005)
    kappa = float(patch["slip_x"] / (1.0 - patch["slip_x"]))
    alpha = atan(float(patch["slip_y"]) * (1.0 + kappa))
    turning = Slip(kappa, alpha, float(patch["spin"]), slip.sigma)
    expected = brush_force(bed, turning, factor)
    got = table_of(patch)[:, 0]
    assert got[:2] == pytest.approx(
        [expected.fx, expected.fy], abs=1e-4 * bed.load
    )
    assert got[2] == pytest.approx(expected.mz, abs=5e-6 * bed.load)


def test_drawn_wheels_are_of_every_kind() -> None:
    """Some slide for the most part, some hardly; some have the friction's floor within their patch."""
    part = []
    floors = 0
    for seed in range(60):
        bed, slip, factor, patch = drawn_wheel(seed)
        force = brush_force(bed, slip, factor)
        part.append(np.hypot(force.fx, force.fy) / (factor * bed.grip()))
        deepest = bed.tyre.foundation * bed.strips[2].max()
        floors += 0.0 < patch.floor < deepest and patch.exponent > 0.0
    assert min(part) < 0.3
    assert max(part) > 0.95
    assert floors > 5


STEPS = {
    "depth": (brush.BY_DEPTH, 1e-8),
    "slant": (brush.BY_SLANT, 1e-7),
    "across": (brush.BY_SLANT + 1, 1e-6),
    "along": (brush.BY_SLANT + 2, 1e-6),
    "slip_x": (brush.BY_SLIP_X, 1e-7),
    "slip_y": (brush.BY_SLIP_Y, 1e-7),
    "spin": (brush.BY_SPIN, 1e-6),
}


def moved(patch: Record, name: str, step: float) -> Floats:
    """Forces with one entry moved."""
    other = patch.copy()
    other[name] += step
    return table_of(other)[:, 0]


@pytest.mark.parametrize("seed", range(60))
def test_slopes_against_differences(seed: int) -> None:
    """Central differences of every column, to 2e-3 of a row's slope by that entry.

    Nodes move with the ends of the patch, so that the sum's own slope differs by what the nodes leave open.
    """
    patch = drawn_wheel(seed)[3]
    table = table_of(patch)
    load = load_of(patch)
    for name, (column, step) in STEPS.items():
        slope = (moved(patch, name, step) - moved(patch, name, -step)) / (
            2.0 * step
        )
        scale = np.abs(table[:2, column]).max() + 0.01 * load
        assert np.abs(slope - table[:, column])[:2].max() < 2e-3 * scale, name
        assert abs(slope[2] - table[2, column]) < 2e-3 * (
            abs(table[2, column]) + 0.1 * scale
        ), name
    grown = partial(moved, patch, "friction")
    step = 1e-6 * patch.friction
    slope = (grown(step) - grown(-step)) / 2e-6
    assert slope == pytest.approx(table[:, brush.BY_FRICTION], abs=1e-5 * load)


def test_mirror() -> None:
    """Left and right exchanged, slip and spin turned round: the same forces, lateral ones turned round."""
    patch = drawn_wheel(5)[3]
    other = patch.copy()
    for name in ("side", "slip_y", "spin"):
        other[name] = -patch[name]
    one, two = table_of(patch)[:, 0], table_of(other)[:, 0]
    assert two == pytest.approx(one * [1.0, -1.0, -1.0], rel=1e-12)


def test_without_sliding_the_force_is_stiffness_times_slip() -> None:
    """With a million times the friction nothing slides: the force is the slope at zero slip times the
    slip.
    """
    patch = patch_of(friction=1e6 * MU, across=1.0, slant=0.02)
    stiffness = table_of(patch)[brush.ACROSS, brush.BY_SLIP_Y]
    patch.slip_y = 0.05
    assert table_of(patch)[brush.ACROSS, 0] == pytest.approx(
        0.05 * stiffness, rel=1e-5
    )
