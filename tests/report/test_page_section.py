"""The outline of a section, and where the car stands on it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from cars import venue

from setupopt.project.section import Section
from setupopt.report.page.section import outline


@pytest.mark.parametrize("degrees", [-60.0, 0.0, 37.0, 90.0, 180.0])
def test_circle_and_place(degrees: float) -> None:
    """All of it, and the place, one radius from the middle; the place at its angle, left side at positive."""
    around = outline(venue(curvature=1 / 8.0), math.radians(degrees))
    assert np.hypot(*(around.points - [0.0, 8.0]).T) == pytest.approx(
        np.full(len(around.points), 8.0)
    )
    # by hand: from the lowest point, R sin(angle) to the left and R (1 - cos(angle)) up
    angle = math.radians(degrees)
    assert around.place == pytest.approx(
        (8.0 * math.sin(angle), 8.0 * (1.0 - math.cos(angle)))
    )
    assert (around.radius, around.tangent) == (pytest.approx(8.0), angle)


@pytest.mark.parametrize("degrees", [-20.0, 0.0, 34.0])
def test_a_flat_section_leans_by_the_roll_angle(degrees: float) -> None:
    """The left side up at positive angles; the car in the middle."""
    around = outline(venue(), math.radians(degrees))
    across, up = around.points[-1] - around.points[0]
    assert up / across == pytest.approx(math.tan(math.radians(degrees)))
    assert around.place == (0.0, 0.0)
    assert around.radius is None


def test_parts_run_into_each_other() -> None:
    """A floor of 4 m, a quarter of 8 m radius, 3 m of wall: where by hand they lie, and how they lean."""
    section = Section(0.0, (4.0, 8.0 * math.pi / 2, 3.0), (0.0, 1 / 8.0, 0.0))
    place = replace(
        venue(), section="parts", profile=section, curvature=section.tightest
    )
    around = outline(place, 4.0 + 8.0 * math.pi / 4)
    # 4 m to the left on the floor, then 8 sin 45 deg further and 8 (1 - cos 45 deg) up
    half = 8.0 * math.sqrt(0.5)
    assert around.place == pytest.approx((4.0 + half, 8.0 - half))
    assert around.tangent == pytest.approx(math.pi / 4)
    assert around.radius is None
    assert around.points[-1] == pytest.approx([12.0, 11.0])
