"""When linear and nonlinear answers count as different."""

from __future__ import annotations

import pytest

from setupopt.report.prove.road import RoadLine


def line(linear: float | None, rms: float, low: float, high: float) -> RoadLine:
    """A load with these rms values."""
    return RoadLine("load fl", "N", 3000.0, 3000.0, linear, rms, low, high)


@pytest.mark.parametrize(
    ("linear", "low", "high", "differs"),
    [
        (102.9, 99.0, 101.0, False),  # within 3 %
        (103.5, 99.0, 101.0, True),  # beyond 3 % and beyond chance
        (103.5, 95.0, 105.0, False),  # beyond 3 %, but chance may do that
        (None, 99.0, 101.0, True),  # there is no linear rms
    ],
)
def test_three_percent_and_more_than_chance(
    linear: float | None, low: float, high: float, differs: bool
) -> None:
    """Both must be passed."""
    assert line(linear, 100.0, low, high).differs == differs


def test_difference_is_of_the_linear_answer() -> None:
    """Five percent too high is +0.05."""
    assert line(105.0, 100.0, 99.0, 101.0).difference == pytest.approx(0.05)
