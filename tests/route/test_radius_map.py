"""The map of radius and speed: what it says of a cell, its front, and the load factor in closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setupopt.errors import InputError
from setupopt.project import Project
from setupopt.project.model import Range
from setupopt.report.route.map_picture import map_picture
from setupopt.route.complete import Route
from setupopt.route.goal import RouteOptions
from setupopt.route.radius_map import (
    Cell,
    RouteMap,
    cells_of,
    load_factor,
    route_map,
)
from setupopt.route.study import study_route
from setupopt.route.whole import place_of

from .conftest import wanted, with_route


def cell(speed: float, margin: float, total: float) -> Cell:
    """A cell of which only this counts."""
    return Cell(8.0, speed, margin, "over", 200.0, total, 15.0, 2.0)


def test_the_front() -> None:
    """Margin 0.3 or more; none is beaten in both; the shortest first. Expected by hand."""
    cells = (
        cell(30.0, 0.1, 300.0),
        cell(35.0, 0.4, 400.0),
        cell(40.0, 0.35, 420.0),
        cell(45.0, 0.5, 500.0),
    )
    found = RouteMap(
        np.array([8.0]), np.array([30.0, 35.0, 40.0, 45.0]), cells, 0.3
    )
    assert [one.speed for one in found.front] == [35.0, 45.0]


def test_cells_are_routes(bore: Project) -> None:
    """Two cells: the wider one is higher; its numbers are those of its own route; and a picture of both."""
    wish = replace(
        wanted(60.0),
        least_margin=0.1,
        radius=Range(7.0, 9.0, 2.0),
        speed=Range(45.0, 45.0, 1.0),
    )
    project = with_route(bore, wish)
    options = RouteOptions(length=60.0, quick=True, speed=45.0)
    found = route_map(project, options, lambda _: None)
    assert found.grid("margin").shape == (2, 1)
    assert found.cells[1].fall > found.cells[0].fall
    there = replace(project, venue=replace(project.venue, curvature=1.0 / 9.0))
    own = study_route(there, options)
    assert found.cells[1].margin == own.margin.min()
    assert found.cells[1].total == place_of(own).metres
    assert "<svg" in (
        map_picture(Route(own, place_of(own), (), (), found)) or ""
    )
    # straight on the floor at the entry the driver feels 1 g
    assert load_factor(own)[0] == pytest.approx(1.0, abs=1e-9)
    last = own.judged.points
    press = (last.speed[0, -1] * np.sin(last.course[0, -1])) ** 2 / 9.0
    assert load_factor(own)[-1] > press / 9.80665


def test_what_is_missing_is_named(bore: Project) -> None:
    """Radii and speeds by their keys."""
    with pytest.raises(InputError, match=r"route.radius_mm"):
        cells_of(with_route(bore, wanted(60.0)))
