"""The surface under the car."""

from __future__ import annotations

from math import asin, cos, pi, radians, sin, sqrt, tan

import numpy as np
import pytest

from setupopt.physics import surface

RADII = (4.0, 7.5, 30.0)


@pytest.mark.parametrize("radius", RADII)
def test_height_lies_on_the_circle(radius: float) -> None:
    """A point at `s` is as far from the axis as the one below the car: (R - zeta)^2 + s^2 = R^2."""
    for s in np.linspace(-0.9 * radius, 0.9 * radius, 19):
        rise = surface.height(1.0 / radius, float(s))
        assert (radius - rise) ** 2 + s * s == pytest.approx(radius**2, rel=1e-14)
        assert 0.0 <= rise < radius


def test_nearly_flat_surface_keeps_its_digits() -> None:
    """On R = 1e9 m the height is s^2 / 2R to rounding; subtracting R from R would leave nothing."""
    assert surface.height(1e-9, 2.0) == pytest.approx(2e-9, rel=1e-15)
    assert surface.height(0.0, 2.0) == surface.slope(0.0, 2.0) == surface.tilt_across(0.0, 2.0, 1.0) == 0.0


@pytest.mark.parametrize("radius", RADII)
def test_slope_is_the_slope_of_the_height(radius: float) -> None:
    """The error of central differences falls with the square of the step, so it is their error alone."""
    s, kappa = 0.6 * radius, 1.0 / radius

    def error(step: float) -> float:
        difference = surface.height(kappa, s + step) - surface.height(kappa, s - step)
        return abs(difference / (2.0 * step) - surface.slope(kappa, s))

    order = np.log2(error(0.02 * radius) / error(0.01 * radius))
    assert order == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize("radius", RADII)
@pytest.mark.parametrize("y", [-0.8, 0.3, 0.8])
def test_normals_of_a_circle_meet_on_its_axis(radius: float, y: float) -> None:
    """At heading 0 the surface at y is tilted by asin(y / R), so that its normal points to the axis."""
    assert surface.tilt_across(1.0 / radius, y, 1.0) == pytest.approx(asin(y / radius), rel=1e-13)


@pytest.mark.parametrize("heading_deg", [20.0, 90.0, 160.0])
def test_tilt_across_a_heading(heading_deg: float) -> None:
    """tan(tilt) is the slope along +y: the slope round the section times cos(heading)."""
    heading, y, radius = radians(heading_deg), 0.8, 9.0
    s = y * cos(heading) + 1.3 * sin(heading)
    tilt = surface.tilt_across(1.0 / radius, s, cos(heading))
    assert tan(tilt) == pytest.approx(s / sqrt(radius**2 - s**2) * cos(heading), rel=1e-13, abs=1e-16)
    assert abs(tilt) < pi / 2
