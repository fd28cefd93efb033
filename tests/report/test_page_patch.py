"""The pressure shown in a patch is that of the law by which the wheel carries its load."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from setupopt.evaluation.drawn_parts import Patch
from setupopt.physics.tyre import contact
from setupopt.report.page.patch import highest, patches_picture

PATCH = Patch(0.006, 0.03, 1 / 0.33, 1 / 1.5, 0.15, 2e7, 1.0)


def summed(patch: Patch) -> tuple[float, float]:
    """Load and area, by summing the pressure over a fine net of points."""
    u = (np.arange(800) + 0.5) / 400 - 1.0
    x = ((np.arange(800) + 0.5) / 400 - 1.0) * patch.half_length
    pressure = patch.pressure(patch.half_width * u[None, :], x[:, None])
    spot = patch.half_width / 400 * patch.half_length / 400
    return float(pressure.sum() * spot), float((pressure > 0.0).sum() * spot)


@pytest.mark.parametrize("slant", [-0.08, 0.0, 0.03, 0.2])
@pytest.mark.parametrize("across", [1 / 1.5, 0.01, -0.05])
def test_pressure_adds_up_to_the_load(slant: float, across: float) -> None:
    """Summed over the patch it is the normal force and the area of the balance's own law."""
    patch = replace(PATCH, slant=slant, across=across)
    load, area = summed(patch)
    n, _, s0, _, _ = contact(
        patch.depth,
        slant,
        patch.along,
        across,
        patch.half_width,
        patch.foundation,
        np.zeros(5),
    )
    assert load == pytest.approx(n, rel=2e-4)
    assert area == pytest.approx(s0 / patch.foundation, rel=2e-3)


def test_a_patch_inside_the_tread_is_johnsons_ellipse() -> None:
    """Johnson 1985, section 4.3: load and area; the highest pressure is k d; half length sqrt(2 d r)."""
    upright = replace(PATCH, slant=0.0)
    root = math.sqrt(0.33 * 1.5)
    assert summed(upright) == pytest.approx(
        (math.pi * 2e7 * 0.006**2 * root, 2.0 * math.pi * 0.006 * root),
        rel=1e-3,
    )
    assert upright.peak == pytest.approx(2e7 * 0.006)
    assert upright.half_length == pytest.approx(math.sqrt(2.0 * 0.006 * 0.33))


def test_the_scale_reaches_over_every_wheel() -> None:
    """A common top in plain numbers, neither under the highest pressure nor far over it."""
    for depth in (1e-5, 0.0013, 0.006, 0.0125, 0.02):
        peak = replace(PATCH, depth=depth, slant=0.0).peak
        top = highest(
            [
                replace(PATCH, depth=depth, slant=0.0),
                replace(PATCH, depth=0.5 * depth, slant=0.0),
            ]
        )
        assert peak <= top <= 2.0 * peak
    assert highest([replace(PATCH, depth=-0.01)]) > 0.0


def test_a_wheel_in_the_air_is_told() -> None:
    """It has no pressure, and its picture says why it is empty; the others are there."""
    lifted = replace(PATCH, depth=-0.02)
    assert lifted.peak == 0.0
    drawn = patches_picture(
        [lifted, PATCH, PATCH, PATCH], highest([lifted, PATCH]), 0.2
    )
    assert "FL: in the air" in drawn
    assert "FR: peak" in drawn


def test_outboard_lies_outside_on_either_side() -> None:
    """Top outwards presses the outer edge: left on the left wheel, right on the right one."""
    leaning = replace(PATCH, slant=0.2)
    assert leaning.depth_at(np.array([0.1])) > leaning.depth_at(
        np.array([-0.1])
    )
