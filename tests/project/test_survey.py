"""Sections from surveys: what a tape or a scanner measured, smoothed no more than its error allows."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from setupopt.errors import InputErrors
from setupopt.project.section import Section
from setupopt.project.survey import Surveyed, _Curve, read_survey

RADIUS = 8.0
JOINED = Section(0.0, (4.0, 3.0 * np.pi / 2, 3.0), (0.0, 1 / 3.0, 0.0))


def circle(
    first: float = -40.0, last: float = 220.0, count: int = 66
) -> np.ndarray:
    """Points of a circle of 8 m, (count, 2), m."""
    angle = np.radians(np.linspace(first, last, count))
    return RADIUS * np.stack([np.sin(angle), 1.0 - np.cos(angle)], axis=1)


def surveyed(folder: Path, points: np.ndarray, error: float = 1e-3) -> Surveyed:
    """The section of points, m, that were written down to a tenth of a millimetre."""
    return read_survey(write(folder, points), error)


def write(folder: Path, points: np.ndarray) -> Path:
    """The points as a file."""
    rows = [f"{1e3 * y:.1f},{1e3 * z:.1f}" for y, z in points]
    path = folder / "section.csv"
    path.write_text("y_mm,z_mm\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("count", [9, 30, 66])
def test_points_of_a_circle_give_the_circle(tmp_path: Path, count: int) -> None:
    """Angle from end to end, and every radius, to what a tenth of a millimetre can be off."""
    found = surveyed(tmp_path, circle(count=count))
    ends = found.section.end_angles
    assert np.degrees(ends[[0, -1]]) == pytest.approx([-40.0, 220.0], abs=0.01)
    assert 1.0 / np.array(found.section.curvatures) == pytest.approx(
        RADIUS, rel=1e-3
    )
    assert found.cautions == ()


def test_error_of_measurement_is_smoothed_away(tmp_path: Path) -> None:
    """A circle measured to 1 mm, one standard deviation: the radius everywhere within 1 %, angles in 0.2 deg.

    Three neighbours 0.55 m apart, taken alone, would tell a radius between 6 and 11 m.
    """
    rng = np.random.default_rng(5)
    found = surveyed(tmp_path, circle() + 1e-3 * rng.normal(size=(66, 2)))
    assert 1.0 / np.array(found.section.curvatures) == pytest.approx(
        RADIUS, rel=0.01
    )
    assert np.degrees(found.section.end_angles[[0, -1]]) == pytest.approx(
        [-40.0, 220.0], abs=0.2
    )


@pytest.mark.parametrize(
    ("noise", "count"), [(0.0, 60), (1e-3, 60), (2e-3, 200)]
)
def test_joined_parts_are_followed(
    tmp_path: Path, noise: float, count: int
) -> None:
    """Floor, arc of 3 m, wall: away from the joints (0.6 m) the angle is right within 1 deg, and points lie
    off by no more than the survey's error, root mean square."""
    along = np.linspace(0.0, JOINED.length, count)
    points = JOINED.point(along) + noise * np.random.default_rng(2).normal(
        size=(count, 2)
    )
    error = max(noise, 1e-3)
    found = surveyed(tmp_path, points, error)
    off = np.array(found.section.readings)[:, 1]
    assert np.sqrt(np.mean(off**2)) <= 1.001 * error
    places = np.linspace(0.3, JOINED.length - 0.3, 300)
    far = np.abs(places[:, None] - JOINED.ends[1:3]).min(axis=1) > 0.6
    difference = found.section.angle(places) - JOINED.angle(places)
    assert np.abs(np.degrees(difference[far])).max() < 1.0


def test_a_point_far_off_is_named_and_left_out(tmp_path: Path) -> None:
    """One reading 60 mm off: its line is told, and the circle is the one of the others."""
    points = circle()
    points[20] += [0.0, 0.06]
    found = surveyed(tmp_path, points)
    assert len(found.cautions) == 1
    assert (
        "section.csv line 22" in found.cautions[0]
        and "left out" in found.cautions[0]
    )
    assert 1.0 / np.array(found.section.curvatures) == pytest.approx(
        RADIUS, rel=2e-3
    )


def test_a_survey_rougher_than_stated_is_told(tmp_path: Path) -> None:
    """Every second point 8 mm off to the other side, said to be right within 0.1 mm, no arcs can follow."""
    points = circle(count=400)
    points *= 1.0 + 1e-3 * np.where(np.arange(400) % 2, 1.0, -1.0)[:, None]
    assert any(
        "survey_error_mm" in line
        for line in surveyed(tmp_path, points, 1e-4).cautions
    )


def test_wrong_order_is_refused_by_line(tmp_path: Path) -> None:
    """A point twice, a point behind its neighbour, and a survey from left to right."""
    twice, behind = circle(), circle()
    twice[10] = twice[9]
    behind[[30, 31]] = behind[[31, 30]]
    for points, line, word in (
        (twice, 12, "once more"),
        (behind, 32, "behind"),
        (circle()[::-1], None, "falling"),
    ):
        with pytest.raises(InputErrors) as refused:
            surveyed(tmp_path, points)
        first = refused.value.errors[0]
        assert word in first.found
        assert line is None or first.line in (line, line + 1)


@pytest.mark.parametrize("count", [4, 1])
def test_too_few_points_are_refused(tmp_path: Path, count: int) -> None:
    """Four points tell a circle at most, not that it is one."""
    with pytest.raises(InputErrors, match="5 to 5000 points"):
        surveyed(tmp_path, circle(count=count))


@pytest.mark.parametrize(
    "text",
    ["y_mm\n1\n", "y_mm,z_mm\n1,a\n", "y;z\n1;2\n", "", "y_mm,z_mm\n1,2,3\n"],
)
def test_no_table_is_refused(tmp_path: Path, text: str) -> None:
    """A missing column, letters for numbers, semicolons, nothing, a decimal comma."""
    path = tmp_path / "section.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputErrors):
        read_survey(path, 1e-3)


def test_slopes_of_the_fit() -> None:
    """By every parameter as by central differences, away from a best curve too: relative 1e-6."""
    rng = np.random.default_rng(0)
    curve = _Curve(
        JOINED.point(np.linspace(0.0, JOINED.length, 40))
        + 0.01 * rng.normal(size=(40, 2))
    )
    at, step = curve.first + 0.01 * rng.normal(size=curve.first.size), 1e-6
    for _ in range(30):  # until every foot is found
        curve._off(at)

    def found(p: np.ndarray) -> np.ndarray:
        ahead, off = curve._from_feet(p)
        return np.concatenate([off, ahead[[0, -1]]])

    columns = [
        (found(at + step * e) - found(at - step * e)) / (2 * step)
        for e in np.eye(at.size)
    ]
    assert curve._slopes(at) == pytest.approx(
        np.stack(columns, axis=1), rel=1e-6, abs=1e-6
    )
