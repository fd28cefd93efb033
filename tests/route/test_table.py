"""Dynamic programming on tables whose best paths are known."""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.route.surface import Circle
from setupopt.route.table import MOST_COURSE, ChainSearch, MarginTable

SURFACE = Circle(8.0)
END = 10.0
COURSES = np.linspace(0.0, MOST_COURSE, 9)
CURVATURES = np.linspace(-0.02, 0.02, 5)


def table(margin: np.ndarray) -> MarginTable:
    """Margins (places, courses, curvatures) by formula."""
    return MarginTable(
        SURFACE, np.linspace(0.0, END, 13), COURSES, CURVATURES, margin
    )


def by_curvature() -> MarginTable:
    """1 - |curvature| / 0.02, whatever place and course."""
    return table(
        np.broadcast_to(1.0 - np.abs(CURVATURES) / 0.02, (13, 9, 5)).copy()
    )


@pytest.mark.parametrize("level", [0.3, 0.5, 0.7])
def test_shortest_way_with_a_bounded_curvature(level: float) -> None:
    """It turns as hard as it may all the way: cos(course) = 1 - k S, and the length is course / k.

    Courses in steps of 0.25 deg round the curvature down: 5 % of the length.
    """
    curvature = 0.02 * (1.0 - level)
    course = np.arccos(1.0 - curvature * END)
    found = ChainSearch(by_curvature(), (0.0, END), False).shortest(level)
    assert found is not None
    assert course < MOST_COURSE
    assert found.margin >= level
    assert course / curvature <= found.way[-1] <= 1.05 * course / curvature


def test_shortest_way_that_ends_level() -> None:
    """Half of the way round it turns up, the other half back: twice the length of half the way."""
    curvature = 0.01
    course = np.arccos(1.0 - 0.5 * curvature * END)
    found = ChainSearch(by_curvature(), (0.0, END), True).shortest(0.5)
    assert found is not None
    assert found.course[-1] == 0.0
    assert (
        2.0 * course / curvature
        <= found.way[-1]
        <= 1.05 * 2.0 * course / curvature
    )


def test_the_highest_level_of_a_ridge() -> None:
    """Margin falls away from a course of 20 deg: the chain gets there, and is no better than the entry.

    Where course 0 has the margin 0.5 and 20 deg has 0.9, every chain has 0.5 at most; a wall in the middle of
    the section, of margin 0.2, is the least of every chain that must pass it.
    """
    ridge = 0.9 - 0.4 * np.abs(COURSES / np.radians(20.0) - 1.0)
    margin = np.broadcast_to(ridge[None, :, None], (13, 9, 5)).copy()
    found = ChainSearch(table(margin), (0.0, END), False)
    assert found.shortest(0.499) is not None
    assert found.shortest(0.501) is None
    margin[6] = 0.2
    walled = ChainSearch(table(margin), (0.0, END), False)
    assert walled.shortest(0.199) is not None
    assert walled.shortest(0.201) is None  # a layer stands in the wall


def test_no_way() -> None:
    """A band of lost contact across the section: no chain at any level above it."""
    margin = np.full((13, 9, 5), 0.8)
    margin[5:8] = -2.0
    assert ChainSearch(table(margin), (0.0, END), False).shortest(0.0) is None


def test_downhill_courses_are_negative() -> None:
    """From the end of the section back to its beginning, the mirror image of the way up."""
    up = ChainSearch(by_curvature(), (0.0, END), False).shortest(0.5)
    down_table = MarginTable(
        SURFACE,
        np.linspace(0.0, END, 13),
        -COURSES[::-1],
        CURVATURES,
        by_curvature().margin,
    )
    down = ChainSearch(down_table, (END, 0.0), False).shortest(0.5)
    assert up is not None
    assert down is not None
    assert down.way[-1] == pytest.approx(up.way[-1], abs=1e-9)
    assert down.course == pytest.approx(-up.course, abs=1e-12)


def test_straight_running_at_the_ends_is_the_most() -> None:
    """A path begins, and where it ends level it ends, at course 0 without curvature: 0.4 on the floor, 0.3 at
    the end of this table, whatever a chain with curvature has there.
    """
    margin = np.full((13, 9, 5), 0.9)
    margin[0, 0, 2] = 0.4
    margin[-1, 0, 2] = 0.3
    assert ChainSearch(table(margin), (0.0, END), True).least == pytest.approx(
        0.3
    )
    assert ChainSearch(table(margin), (0.0, END), False).least == pytest.approx(
        0.4
    )


def test_the_curvature_of_a_chain_is_eased() -> None:
    """A mean over 12 m: level on both sides, no more curvature than the chain, as much way round within 3 %."""
    chain = ChainSearch(by_curvature(), (0.0, END), True, 12.0).shortest(0.5)
    assert chain is not None
    assert chain.length == pytest.approx(chain.way[-1] + 12.0)
    share = np.linspace(0.0, 1.0, 2001)
    course = chain.courses_at(share)
    assert course[[0, -1]] == pytest.approx(0.0, abs=np.radians(0.1))
    assert np.abs(np.gradient(course, share * chain.length)).max() < 0.0101
    gained = np.mean(np.sin(course)) * chain.length
    assert gained == pytest.approx(END, rel=0.03)
