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

ROWS: list[Row] = [(1500, 0, 1.2), (6000, 0, 1.8), (3000, -6, 1.5), (4500, 3, 1.2), (9000, -2, 1.0)]
TYRES = {"crowned": Invented(), "nearly flat": Invented(crown_radius=50.0), "stiff": Invented(foundation=3e8)}


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
    return plain_tyre.patch_at_load(tyre, load, lean, 1 / tyre.radius, 1 / tyre.crown)


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
    deflection, length, width, area, _ = answers(TYRES[name], [row])[0]
    assert deflection == pytest.approx(found.depth, rel=1e-7)
    assert length == pytest.approx(2 * sqrt(2 * pressed.max() * tyre.radius), rel=1e-7)
    assert width == pytest.approx(np.ptp(y[pressed > 0.0]), abs=2.5e-5)
    assert area == pytest.approx(found.area(), rel=1e-7)


@pytest.mark.parametrize("name", TYRES)
@pytest.mark.parametrize("row", ROWS[1:4])
def test_peak_lateral_force_is_what_the_patch_passes_under_it(name: str, row: Row) -> None:
    """F = grip at inclination + compliance F, solved by scipy's brentq on the reference's patch. 1e-6."""
    tyre, lean = plain(TYRES[name], row)

    def spare(force: float) -> float:
        return patch(tyre, row[0], lean + tyre.compliance * force).grip() - force

    expected = brentq(spare, 0.2 * row[0], 3.0 * row[0], xtol=1e-6)
    assert answers(TYRES[name], [row])[0, 4] == pytest.approx(expected, rel=1e-6)


def test_lean_of_an_outer_wheel_brings_grip_back() -> None:
    """A sign: pushed towards the car, the wheel leans its top outwards, so that one leant inwards gains."""
    soft = replace(Invented(), compliance=1.0 * DEG / 1e3)
    inwards, outwards = answers(soft, [(4000.0, -4.0, 1.5), (4000.0, 4.0, 1.5)])[:, 4]
    assert inwards > 1.02 * outwards


def test_deflection_from_the_first_touch() -> None:
    """The crown still hangs by y tan(e) - y^2 / 2 Rc when the lowest place y of the tread touches.

    At 3 deg y = Rc tan(e) = 58 mm, inside the tread of 115: t^2 Rc / 2 = 1.51 mm; at 8 deg the edge: 10.2 mm.
    """
    for degrees, lowest in ((3.0, 1.1 * tan(3 * DEG)), (8.0, 0.115)):
        rows = [(3000.0, degrees, 1.5)]
        hung = lowest * tan(degrees * DEG) - lowest**2 / 2.2
        crown, touch = (answers(Invented(), rows, from_touch=kind)[0, 0] for kind in (False, True))
        assert touch - crown == pytest.approx(hung, abs=1e-12)
    assert atan(0.115 / 1.1) < 8 * DEG


def test_grip_of_the_rig_scales_the_force_alone() -> None:
    """Without lean under load: half the surface grip, half the force; the patch does not change."""
    stiff = replace(Invented(), compliance=0.0)
    full, half = answers(stiff, ROWS), answers(stiff, ROWS, grip=0.5)
    assert half[:, 4] == pytest.approx(0.5 * full[:, 4], rel=1e-9)
    assert (half[:, :4] == full[:, :4]).all()
    assert len(QUANTITIES) == full.shape[1]
