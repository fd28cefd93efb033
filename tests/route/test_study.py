"""The route of the bore example: better than a hand search, and what it says is what assess says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setupopt.errors import InputError, UserError
from setupopt.evaluation.assessment import assess
from setupopt.evaluation.case_file import case_file
from setupopt.project import Project
from setupopt.project.limits_model import Packaging
from setupopt.report.route.fields import as_dict, cases_text, columns, mark_rows
from setupopt.route.by_hand import by_hand
from setupopt.route.complete import Route
from setupopt.route.goal import RouteOptions, goal_of
from setupopt.route.judged import Judge
from setupopt.route.study import RouteStudy, best_first, study_route
from setupopt.route.table import _solved
from setupopt.route.whole import place_of

from .conftest import wanted, with_route

SPEED = 40.0
LENGTH = 91.0


@pytest.fixture(scope="module")
def climb(bore: Project) -> RouteStudy:
    """Up to 150 deg within 91 m at 40 m/s."""
    return study_route(
        with_route(bore, wanted(150.0)),
        RouteOptions(speed=SPEED, length=LENGTH),
    )


@pytest.fixture(scope="module")
def unlimited(bore: Project) -> RouteStudy:
    """The same without limits of packaging, tyres and gaps."""
    assert bore.limits is not None
    free = replace(
        bore,
        limits=replace(bore.limits, packaging=Packaging(None, None, None, ())),
    )
    axles = {
        name: replace(axle, tyre=replace(axle.tyre, load_limit=None))
        for name, axle in (("front", bore.car.front), ("rear", bore.car.rear))
    }
    free = replace(free, car=replace(bore.car, clearance=(), **axles))
    return study_route(
        with_route(free, wanted(150.0)),
        RouteOptions(speed=SPEED, length=LENGTH),
    )


def test_better_than_the_way_by_hand(climb: RouteStudy) -> None:
    """15 deg after a ramp of 20 m, 91 m, and whatever other heading is best; 40 m/s straight along loses contact.

    A helix has the length of the way round over the sine; 1 m: the ramp is a spline.
    """
    options = replace(climb.options, heading=np.radians(15.0))
    hand = by_hand(replace(climb, options=options))
    top = 8.0 * np.radians(150.0)
    assert hand.length == pytest.approx(
        top / np.sin(hand.heading) + 0.5 * hand.ramp, abs=1.0
    )
    best = by_hand(climb)
    assert best.margin > hand.margin - 1e-9
    assert best.route_margin == climb.margin.min() > best.margin
    assert best.route_length == pytest.approx(climb.length, abs=1e-6)
    assert climb.length <= LENGTH * 1.001
    assert climb.straight == -np.inf
    assert climb.holds


def test_least_margin_is_even_along_the_way(unlimited: RouteStudy) -> None:
    """A max-min answer: most of the way lies within 0.02 of the least margin, none given away."""
    assert (unlimited.margin < unlimited.margin.min() + 0.02).mean() > 0.5


def test_the_first_path_is_no_better(unlimited: RouteStudy) -> None:
    """The search raises what dynamic programming found within the same length."""
    first = unlimited.firsts["climb"]
    assert first is not None
    assert first.length <= LENGTH
    assert unlimited.margin.min() > first.margin


def test_assess_says_the_same(climb: RouteStudy, tmp_path: Path) -> None:
    """The list of cases at the marks, read back and assessed by itself: the margins of the route to 1e-6."""
    path = tmp_path / "cases.csv"
    path.write_text(cases_text(Route(climb, place_of(climb), (), ())))
    found = assess(climb.project, case_file(path, climb.project))
    assert found.result.margin[0] == pytest.approx(
        climb.margin[mark_rows(climb)], abs=1e-6
    )


def test_json_is_the_table(climb: RouteStudy) -> None:
    """Marks are rows of the table; the pieces add up to the whole."""
    answer = as_dict(Route(climb, place_of(climb), (), ()))
    table = columns(climb)
    assert answer["margin"] == climb.margin.min()
    assert answer["worst"]["way_m"] == table["way_m"][climb.margin.argmin()]
    assert sum(piece["metres"] for piece in answer["pieces"]) == pytest.approx(
        climb.length, abs=1e-9
    )
    assert [mark["margin"] for mark in answer["marks"]] == list(
        climb.margin[mark_rows(climb)]
    )


def test_mirror_image(bore: Project, climb: RouteStudy) -> None:
    """The same way up the other side has the same margins, steer of the other sign; 1e-6 of a margin."""
    leg = climb.paths.legs[0]
    judge = Judge(bore, climb.goal)
    shares = np.linspace(0.0, 1.0, 12)
    other = replace(leg, end=-leg.end, course=-leg.course)
    left, right = (judge.judged(one.points(shares)) for one in (leg, other))
    assert right.column("margin") == pytest.approx(
        left.column("margin"), abs=1e-6
    )
    assert right.steer_rate == pytest.approx(-left.steer_rate, abs=1e-5)
    assert right.power == pytest.approx(left.power, rel=1e-9)


def test_power_of_a_climb(bore: Project, climb: RouteStudy) -> None:
    """Work of the drive = weight x height + work of drag - motion lost; 0.2 %: trapezoids."""
    found = climb.judged
    seconds = climb.seconds
    power = found.power[0]
    work = np.sum(0.5 * (power[1:] + power[:-1]) * np.diff(seconds))
    speed = found.points.speed[0]
    car = bore.car
    drag = 0.5 * bore.venue.air_density * car.air.drag_area * speed**3
    against = np.sum(0.5 * (drag[1:] + drag[:-1]) * np.diff(seconds))
    height = 8.0 * (1.0 - np.cos(np.radians(150.0)))
    energy = car.mass * (
        9.80665 * height + 0.5 * (speed[-1] ** 2 - speed[0] ** 2)
    )
    assert work == pytest.approx(energy + against, rel=2e-3)


def test_refusals(bore: Project) -> None:
    """Without [route]; on a flat section; where nothing keeps contact."""
    assert bore.limits is not None
    with pytest.raises(InputError, match=r"route.to_deg"):
        goal_of(
            replace(bore, limits=replace(bore.limits, route=None)),
            RouteOptions(),
        )
    flat = replace(
        bore, venue=replace(bore.venue, section="flat", curvature=0.0)
    )
    with pytest.raises(UserError, match="curves up"):
        study_route(with_route(flat, wanted(90.0)), RouteOptions())
    with pytest.raises(UserError, match="no route"):
        best_first({"over": None, "back": None}, "margin")


def test_the_table_knows_the_turn(bore: Project) -> None:
    """Straight on in a place that bends: the margin of the route's own case, 1e-9, less than without the turn.

    First paths of a banking were sought as if it were straight.
    """
    bend = replace(bore.venue.attitudes[0], turn_radius=200.0)
    bent = replace(bore, venue=replace(bore.venue, attitudes=(bend,)))
    found = []
    for project in (bent, bore):
        there = with_route(project, wanted(60.0))
        judge = Judge(there, goal_of(there, RouteOptions()))
        margin, _ = _solved(judge, 45.0, *np.zeros((3, 1)))
        straight = judge.straight(0.0, np.full(1, 45.0))
        assert margin[0] == pytest.approx(straight, abs=1e-9)
        found.append(straight)
    assert found[0] < found[1] - 0.05
