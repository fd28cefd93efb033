"""The surface under the car."""

from __future__ import annotations

from dataclasses import replace
from math import asin, atan, cos, sin

import cars
import numpy as np
import pytest

from setupopt.evaluation.cases import placed_cases
from setupopt.physics import surface
from setupopt.physics.inputs import CASE
from setupopt.project.model import Attitude
from setupopt.project.section import Section

RADII = (4.0, 7.5, 30.0)


def height(curvature: float, s: float) -> float:
    """Height over the tangent plane of one circle."""
    return float(surface.onwards(0.0, 0.0, curvature, s)[0])


def slope(curvature: float, s: float) -> float:
    """Slope of one circle, as it is under a wheel."""
    case = np.zeros(1, CASE)[0]
    case.curvature = curvature
    return float(surface.under_wheel(case, s)[1])


@pytest.mark.parametrize("radius", RADII)
def test_height_lies_on_the_circle(radius: float) -> None:
    """A point at `s` is as far from the axis as the one below the car: (R - zeta)^2 + s^2 = R^2."""
    for s in np.linspace(-0.9 * radius, 0.9 * radius, 19):
        rise = height(1.0 / radius, float(s))
        assert (radius - rise) ** 2 + s * s == pytest.approx(
            radius**2, rel=1e-14
        )
        assert 0.0 <= rise < radius


def test_nearly_flat_surface_keeps_its_digits() -> None:
    """On R = 1e9 m the height is s^2 / 2R to rounding; subtracting R from R would leave nothing."""
    assert height(1e-9, 2.0) == pytest.approx(2e-9, rel=1e-15)
    assert height(0.0, 2.0) == slope(0.0, 2.0) == 0.0


@pytest.mark.parametrize("radius", RADII)
def test_slope_is_the_slope_of_the_height(radius: float) -> None:
    """The error of central differences falls with the square of the step, so it is their error alone."""
    s, kappa = 0.6 * radius, 1.0 / radius

    def error(step: float) -> float:
        difference = height(kappa, s + step) - height(kappa, s - step)
        return abs(difference / (2.0 * step) - slope(kappa, s))

    order = np.log2(error(0.02 * radius) / error(0.01 * radius))
    assert order == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize("radius", RADII)
@pytest.mark.parametrize("y", [-0.8, 0.3, 0.8])
def test_normals_of_a_circle_meet_on_its_axis(radius: float, y: float) -> None:
    """At heading 0 the surface at y is tilted by asin(y / R), so that its normal points to the axis."""
    assert atan(slope(1.0 / radius, y)) == pytest.approx(
        asin(y / radius), rel=1e-13
    )


# A floor, an arc of 8 m, a wall, an arc of 6 m, and a crest of 20 m that bulges towards the car.
MIXED = Section(
    0.0, (3.0, 2.0, 2.0, 1.5, 3.0), (0.0, 1 / 8.0, 0.0, 1 / 6.0, -1 / 20.0)
)


def standing(section: Section, along: float) -> np.record:
    """The case of a car at a place on a section."""
    level = Attitude(
        "level", 0.0, 0.0, 0.0, 0.0, None, 0.0, 0.0, (0.0, 0.0, 0.0, 0.0), None
    )
    venue = replace(
        cars.venue(section.tightest),
        section="parts",
        profile=section,
        attitudes=(level,),
    )
    return placed_cases(venue, np.array([0]), np.array([along])).records[0]


def seen(section: Section, along: float) -> tuple[np.ndarray, np.ndarray]:
    """Points 0.1 mm apart on a section, in the tangent plane of a place: how far to the left, how high."""
    points = section.point(
        np.arange(0.0, section.length, 1e-4)
    ) - section.point(np.array([along]))
    angle = float(section.angle(np.array([along]))[0])
    return points @ [cos(angle), sin(angle)], points @ [-sin(angle), cos(angle)]


@pytest.mark.parametrize(
    "along", [1.5, 2.6, 3.0, 4.0, 4.9, 6.0, 7.5, 8.2, 8.6, 9.5]
)
def test_heights_across_joints_lie_on_the_section(along: float) -> None:
    """The same points turned into the tangent plane, read off between neighbours: within 1e-8 m."""
    case, (left, up) = standing(MIXED, along), seen(MIXED, along)
    for s in np.linspace(-1.4, 1.4, 29):
        expected = np.interp(s, left, up)
        assert surface.under_wheel(case, s)[0] == pytest.approx(
            expected, abs=1e-8
        )
        assert surface.under_floor(case, s) == surface.under_wheel(case, s)


@pytest.mark.parametrize("along", [2.6, 3.0, 4.9, 8.6])
def test_slope_across_joints_is_the_slope_of_the_height(along: float) -> None:
    """Central differences of the height over 0.1 mm, on both sides of every joint: within 1e-6."""
    case = standing(MIXED, along)
    for s in np.linspace(-1.35, 1.35, 24):
        rise = (
            surface.under_wheel(case, s + 5e-5)[0]
            - surface.under_wheel(case, s - 5e-5)[0]
        )
        assert surface.under_wheel(case, s)[1] == pytest.approx(
            rise / 1e-4, abs=1e-6 + 5e-5 / 6.0
        )


def test_tread_across_a_joint_stands_on_the_mean() -> None:
    """A tread of 0.3 m with a third of its width on the arc of 8 m feels a third of its curvature."""
    case = standing(MIXED, 2.0)  # the arc begins 1 m to the left
    assert surface.mean_curvature(case, 0.95, 0.15) == pytest.approx(
        1 / 24.0, rel=1e-6
    )
    assert surface.mean_curvature(case, 0.5, 0.15) == pytest.approx(
        0.0, abs=1e-12
    )
    assert surface.mean_curvature(case, 1.5, 0.15) == pytest.approx(
        1 / 8.0, rel=1e-9
    )
