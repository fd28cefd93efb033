"""What a tyre shows on a rig, against the plain reference's tyre, worked out by adaptive quadrature."""

from __future__ import annotations

from dataclasses import replace
from math import atan, radians, sqrt, tan

import numpy as np
import plain_tyre
import pytest
from scipy.optimize import brentq

from setupopt.fit.tyre_table import QUANTITIES
from setupopt.units import DEG

from .tyre_tables import Invented, Row, answers

ROWS: list[Row] = [
    (1500, 0, 1.2),
    (6000, 0, 1.8),
    (3000, -6, 1.5),
    (4500, 3, 1.2),
    (9000, -2, 1.0),
]
# The last: at ROWS[2] its force leans it from -6 deg to upright, where the grip of a flat tread bends; steps
# of Newton alone jump over that place for ever
TYRES = {
    "crowned": Invented(),
    "nearly flat": Invented(crown_radius=50.0),
    "stiff": Invented(foundation=3e8),
    "wide": Invented(
        0.27,
        0.2,
        40.0,
        2e7,
        360.0,
        3.95,
        exponent=0.4,
        compliance=0.59 * DEG / 1e3,
    ),
}


def plain(tyre: Invented, row: Row) -> tuple[plain_tyre.Tyre, float]:
    """The reference's tyre at the row's pressure, and the row's inclination."""
    foundation = tyre.foundation + tyre.per_pressure * row[2] * 1e5
    made = plain_tyre.Tyre(
        tyre.radius, 2 * tyre.half_width, tyre.crown_radius, foundation,
        tyre.friction, tyre.friction_pressure, tyre.exponent, tyre.compliance,
    )  # fmt: skip
    return made, radians(row[1])


def patch(tyre: plain_tyre.Tyre, load: float, lean: float) -> plain_tyre.Patch:
    """The patch under a load on flat ground."""
    return plain_tyre.patch_at_load(
        tyre, load, lean, 1 / tyre.radius, 1 / tyre.crown
    )


@pytest.mark.parametrize("name", TYRES)
@pytest.mark.parametrize("row", ROWS)
def test_patch_of_a_rig(name: str, row: Row) -> None:
    """Penetration of the crown, longest line, width where it touches, and area. 1e-7 of each.

    The longest line and the width are looked for on 20001 places across the tread: 12 micrometres of width.
    """
    tyre, lean = plain(TYRES[name], row)
    found = patch(tyre, row[0], lean)
    y = np.linspace(-tyre.width / 2, tyre.width / 2, 20001)
    pressed = np.array([found.penetration(place) for place in y])
    deflection, length, width, area = answers(TYRES[name], [row])[0, :4]
    assert deflection == pytest.approx(found.depth, rel=1e-7)
    assert length == pytest.approx(
        2 * sqrt(2 * pressed.max() * tyre.radius), rel=1e-7
    )
    assert width == pytest.approx(np.ptp(y[pressed > 0.0]), abs=2.5e-5)
    assert area == pytest.approx(found.area(), rel=1e-7)


@pytest.mark.parametrize("name", TYRES)
@pytest.mark.parametrize("row", ROWS[1:4])
def test_peak_lateral_force_is_what_the_patch_passes_under_it(
    name: str, row: Row
) -> None:
    """F = grip at inclination + compliance F, solved by scipy's brentq on the reference's patch. 1e-6."""
    tyre, lean = plain(TYRES[name], row)

    def spare(force: float) -> float:
        return (
            patch(tyre, row[0], lean + tyre.compliance * force).grip() - force
        )

    expected = brentq(spare, 0.2 * row[0], 6.0 * row[0], xtol=1e-6)
    assert answers(TYRES[name], [row])[0, 4] == pytest.approx(
        expected, rel=1e-6
    )


def test_lean_of_an_outer_wheel_brings_grip_back() -> None:
    """A sign: pushed towards the car, the wheel leans its top outwards, so that one leant inwards gains."""
    soft = replace(Invented(), compliance=1.0 * DEG / 1e3)
    inwards, outwards = answers(
        soft, [(4000.0, -4.0, 1.5), (4000.0, 4.0, 1.5)]
    )[:, 4]
    assert inwards > 1.02 * outwards


def test_deflection_from_the_first_touch() -> None:
    """The crown still hangs by y tan(e) - y^2 / 2 Rc when the lowest place y of the tread touches.

    At 3 deg y = Rc tan(e) = 58 mm, inside the tread of 115: t^2 Rc / 2 = 1.51 mm; at 8 deg the edge: 10.2 mm.
    """
    for degrees, lowest in ((3.0, 1.1 * tan(3 * DEG)), (8.0, 0.115)):
        rows = [(3000.0, degrees, 1.5)]
        hung = lowest * tan(degrees * DEG) - lowest**2 / 2.2
        crown, touch = (
            answers(Invented(), rows, from_touch=kind)[0, 0]
            for kind in (False, True)
        )
        assert touch - crown == pytest.approx(hung, abs=1e-12)
    assert atan(0.115 / 1.1) < 8 * DEG


def test_grip_of_the_rig_scales_the_force_alone() -> None:
    """Without lean under load: half the surface grip, half the force; the patch does not change."""
    stiff = replace(Invented(), compliance=0.0)
    full, half = answers(stiff, ROWS), answers(stiff, ROWS, grip=0.5)
    assert half[:, 4] == pytest.approx(0.5 * full[:, 4], rel=1e-9)
    assert (half[:, :4] == full[:, :4]).all()
    assert len(QUANTITIES) == full.shape[1]


# ---- slip --------------------------------------------------------------------------------------------------

# A tread of even width and length: the crown's sag across it is 7 nm
EVEN = replace(Invented(), crown_radius=1e6, exponent=0.0, compliance=0.0)
LATERAL, STIFFNESS, ALIGNING = (
    QUANTITIES.index(key)
    for key in ("lateral_N", "cornering_stiffness_N_per_deg", "aligning_Nm")
)


def even_patch(load: float) -> tuple[float, float]:
    """Half the length of an even patch, m, and its cornering stiffness 2 c_t l^2 w, N per unit slip."""
    half = (
        0.5
        * answers(EVEN, [(load, 0.0, 1.5)])[
            0, QUANTITIES.index("patch_length_mm")
        ]
    )
    bed = EVEN.shear * (EVEN.foundation + EVEN.per_pressure * 1.5e5)
    return half, 2.0 * bed * half**2 * 2.0 * EVEN.half_width


def test_even_patch_gives_the_published_cubic() -> None:
    """F = C s - C^2 s^2 / 3 mu N + C^3 s^3 / 27 mu^2 N^2 up to s = tan(alpha) = 3 mu N / C, mu N beyond.

    Pacejka, Tyre and Vehicle Dynamics, chapter 3, from memory. To 1e-5 of the load.
    """
    load = 3000.0
    _, stiffness = even_patch(load)
    most = EVEN.friction * load
    slips = np.array([0.1, 0.3, 0.6, 0.99, 1.5]) * 3.0 * most / stiffness
    rows = [(load, 0.0, 1.5, np.degrees(np.arctan(s))) for s in slips]
    s = np.minimum(slips, 3.0 * most / stiffness)
    cubic = (
        stiffness * s
        - (stiffness * s) ** 2 / (3 * most)
        + (stiffness * s) ** 3 / (27 * most**2)
    )
    found = answers(EVEN, rows)
    assert found[:, LATERAL] == pytest.approx(cubic, abs=1e-5 * load)
    assert found[:, STIFFNESS] == pytest.approx(np.full(5, stiffness), rel=1e-5)


def test_even_patch_aligns_as_published() -> None:
    """Same source: trail l / 3 at small slip; largest moment (27/256) mu N l at a quarter of full sliding;
    none when all slides. To 1e-4 of the largest."""
    load = 3000.0
    half, stiffness = even_patch(load)
    most = EVEN.friction * load
    full = 3.0 * most / stiffness
    rows = [
        (load, 0.0, 1.5, np.degrees(np.arctan(share * full)))
        for share in (1e-4, 0.23, 0.25, 0.27, 1.01)
    ]
    found = answers(EVEN, rows)
    moments = found[:, ALIGNING]
    assert moments[0] / found[0, LATERAL] == pytest.approx(half / 3.0, rel=1e-3)
    assert moments[2] == pytest.approx(27.0 / 256.0 * most * half, rel=1e-4)
    assert moments[2] > max(moments[1], moments[3])
    assert abs(moments[4]) < 1e-4 * moments[2]


def test_elliptic_patch_and_pure_spin() -> None:
    """C = (16/3)(c_t / c_x) d sqrt(2 d / c_y) of a patch inside its tread; the spin of a leaning wheel alone
    gives (c_t / k) f sin(lean) of the load, away from the car when the top leans outwards. To 1e-4.

    Both derived in docs/model.md.
    """
    tyre = replace(
        Invented(), half_width=0.5, compliance=0.0, friction=50.0
    )  # nothing slides
    rows = [(2000.0, 0.0, 1.5, 0.0), (2000.0, 3.0, 1.5, 0.0)]
    found = answers(tyre, rows)
    depth = found[0, 0]
    bed = tyre.shear * (tyre.foundation + tyre.per_pressure * 1.5e5)
    elliptic = (
        16.0
        / 3.0
        * bed
        * tyre.radius
        * depth
        * sqrt(2.0 * depth * tyre.crown_radius)
    )
    assert found[0, STIFFNESS] == pytest.approx(elliptic, rel=1e-4)
    thrust = 2000.0 * tyre.shear * tyre.thrust * np.sin(radians(3.0))
    assert found[1, LATERAL] == pytest.approx(-thrust, rel=1e-4)


@pytest.mark.parametrize("slip", [-6.0, 0.0, 1.0, 4.0])
def test_the_wheel_leans_under_its_own_lateral_force(slip: float) -> None:
    """A wheel that leans by 0.8 deg/kN has the force of a stiff one that stands so: 1e-6 of the load."""
    soft = answers(Invented(), [(4000.0, -2.0, 1.5, slip)])[0, LATERAL]
    leant = -2.0 + 0.8e-3 * soft
    stiff = answers(
        replace(Invented(), compliance=0.0), [(4000.0, leant, 1.5, slip)]
    )[0, LATERAL]
    assert soft == pytest.approx(stiff, abs=1e-6 * 4000.0)


@pytest.mark.parametrize("lean", [-5.0, 0.0, 3.0])
def test_cornering_stiffness_is_the_slope_of_the_curve(lean: float) -> None:
    """By differences over 0.005 deg either way, the lean under load included: 1e-3, of which the curve's bend
    C s / 3 mu N leaves a third."""
    rows = [(4000.0, lean, 1.5, slip) for slip in (-0.005, 0.005)]
    found = answers(Invented(), rows)
    slope = (found[1, LATERAL] - found[0, LATERAL]) / (0.01 * DEG)
    assert found[0, STIFFNESS] == pytest.approx(slope, rel=1e-3)


def test_a_mirrored_wheel_gives_the_mirrored_curve() -> None:
    """Inclination and slip angle turned round: force and moment turn round, to rounding."""
    rows = [(4000.0, -3.0, 1.5, 2.0), (4000.0, 3.0, 1.5, -2.0)]
    one, other = answers(Invented(), rows)[:, [LATERAL, ALIGNING]]
    assert one == pytest.approx(-other, rel=1e-9)


def test_carcass_adds_to_the_deflection_alone() -> None:
    """Springs in series: load over stiffness; at 1.5 bar 150 + 1.5 * 60 N/mm. The patch does not change."""
    stiff = Invented()
    soft = replace(stiff, carcass=150e3, carcass_per_pressure=0.6)
    row = (4000.0, -3.0, 1.5, 2.0)
    before, after = answers(stiff, [row])[0], answers(soft, [row])[0]
    assert after[0] - before[0] == pytest.approx(4000.0 / 240e3, rel=1e-9)
    assert (after[1:] == before[1:]).all()
