"""The map of radius and speed: what it says of a cell, its front, and the load factor in closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setupopt.errors import InputError
from setupopt.project import Project
from setupopt.project.model import Range
from setupopt.report.route.map_picture import map_picture
from setupopt.route import grid
from setupopt.route.complete import Route
from setupopt.route.front import LengthFront
from setupopt.route.goal import RouteOptions
from setupopt.route.grid import Cell, load_factor
from setupopt.route.radius_map import RouteMap, cells_of, route_map
from setupopt.route.study import KnownWay, RouteStudy, study_route
from setupopt.route.whole import place_of

from .conftest import wanted, with_route


def cell(
    row: float, speed: float, margin: float, total: float, keeps: bool = True
) -> Cell:
    """A cell of which only this counts."""
    return Cell(row, speed, (keeps, margin), 200.0, total, 15.0, 2.0, ROUTE)


ROUTE = np.zeros(1)


def test_the_front() -> None:
    """Margin 0.3 or more, limits kept; none is beaten in both; the shortest first. Expected by hand."""
    cells = (
        cell(8.0, 30.0, 0.1, 300.0),
        cell(8.0, 33.0, 0.6, 350.0, keeps=False),
        cell(8.0, 35.0, 0.4, 400.0),
        cell(8.0, 40.0, 0.35, 420.0),
        cell(8.0, 45.0, 0.5, 500.0),
    )
    speeds = np.array([one.speed for one in cells])
    found = RouteMap(np.array([8.0]), speeds, cells, 0.3)
    assert [one.speed for one in found.front] == [35.0, 45.0]


def test_what_more_costs() -> None:
    """Margin 0.40 within 200 m and 0.50 within 220 m: 2 m for 0.01. At 45 m/s 0.40 takes 210 m: 2 m for 1 m/s.

    A faster way with the margin and length of a slower one is off the front. By hand.
    """
    cells = (
        cell(200.0, 40.0, 0.40, 1.0),
        cell(200.0, 45.0, 0.35, 1.0),
        cell(220.0, 40.0, 0.50, 1.0),
        cell(220.0, 45.0, 0.45, 1.0),
    )
    grid = (np.array([200.0, 220.0]), np.array([40.0, 45.0]))
    first, longer, *faster = LengthFront(*grid, cells, 0.3).points
    assert first.margin_costs == pytest.approx(2.0)
    assert first.speed_costs == pytest.approx(2.0)
    assert np.isnan(longer.margin_costs)
    assert np.isnan(longer.speed_costs)
    assert [point.on_front for point in (first, longer, *faster)] == [
        True,
        True,
        False,
        False,
    ]


def test_neighbours_help(
    bore: Project, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A thinned map of short climbs. A search that ends in a poor route at one cell (twice as steep as it
    may be) is found out: its margin lies within 0.05 of the middle of the cells around it, and no cell is
    worse than its own search.
    """
    wish = replace(
        wanted(60.0),
        radius=Range(7.0, 9.0, 1.0),
        speed=Range(42.0, 46.0, 2.0),
    )
    project = with_route(bore, wish)
    options = RouteOptions(length=70.0, quick=True)

    def poor(there: Project, chosen: RouteOptions) -> RouteStudy:
        found = study_route(there, chosen)
        if there.venue.curvature != 1.0 / 8.0 or chosen.speed != 44.0:
            return found
        steep = tuple(1.3 * course for course in found.found.courses)
        speed = chosen.speed
        way = KnownWay("climb", speed, steep, found.found.coasting)
        return way.driven(there, chosen)

    monkeypatch.setattr(grid, "study_route", poor)
    found = route_map(project, options, lambda _: None)
    margin = found.of("margin")
    middle = 0.25 * (margin[0, 1] + margin[2, 1] + margin[1, 0] + margin[1, 2])
    assert margin[1, 1] == pytest.approx(middle, abs=0.05)
    assert np.abs(np.diff(margin, n=2, axis=0)).max() < 0.1
    venue = replace(project.venue, curvature=1.0 / 9.0)
    there = replace(project, venue=venue)
    own = study_route(there, replace(options, speed=46.0))
    assert margin[2, 2] >= own.margin.min() - 1e-9
    assert (np.diff(found.of("fall"), axis=0) > 0.0).all()
    last = own.judged.points
    assert "<svg" in (
        map_picture(Route(own, place_of(own), (), (), found)) or ""
    )
    # straight on the floor at the entry the driver feels 1 g
    assert load_factor(own)[0] == pytest.approx(1.0, abs=1e-9)
    press = (last.speed[0, -1] * np.sin(last.course[0, -1])) ** 2 / 9.0
    assert load_factor(own)[-1] > press / 9.80665


def test_what_is_missing_is_named(bore: Project) -> None:
    """Radii and speeds by their keys."""
    with pytest.raises(InputError, match=r"route.radius_mm"):
        cells_of(with_route(bore, wanted(60.0)))
