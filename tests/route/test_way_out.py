"""Free flight against closed forms; ways out and the whole place of a short climb."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setupopt.project import Project
from setupopt.route.complete import Route, route
from setupopt.route.flight import flight
from setupopt.route.goal import RouteOptions

from .conftest import wanted, with_route

G = 9.80665
RADIUS = 7.0


def test_fall_from_the_top() -> None:
    """Straight along: 2 R = g t2 / 2, met at g t, v t along."""
    found = flight(RADIUS, np.pi, 0.0, 40.0)
    seconds = np.sqrt(4.0 * RADIUS / G)
    assert found.seconds == pytest.approx(seconds, rel=1e-9)
    assert found.across == pytest.approx(G * seconds, rel=1e-9)
    assert found.along == pytest.approx(40.0 * seconds, rel=1e-9)


def test_fall_from_the_side() -> None:
    """At 90 deg, straight along: it slides down the wall; held. At 120 deg it falls on the chord below it."""
    assert flight(RADIUS, 0.49 * np.pi, 0.0, 40.0).seconds == 0.0
    found = flight(RADIUS, np.radians(120.0), 0.0, 40.0)
    drop = 2.0 * RADIUS * np.cos(np.radians(60.0))
    assert found.seconds == pytest.approx(np.sqrt(2.0 * drop / G), rel=1e-9)


def test_the_loop_condition() -> None:
    """At the top v2 sin2(course) = g R holds the car, as in every loop; a little less does not."""
    course = np.arcsin(np.sqrt(G * RADIUS) / 40.0)
    assert flight(RADIUS, np.pi, course * 1.001, 40.0).seconds == 0.0
    assert flight(RADIUS, np.pi, course * 0.98, 40.0).seconds > 0.0


@pytest.fixture(scope="module")
def up(bore: Project) -> Route:
    """Up to 100 deg at 45 m/s and back, with ways out and prices."""
    wish = replace(wanted(100.0, returns=True), stop=6.0)
    options = RouteOptions(
        speed=45.0, length=170.0, over=False, way_out=True, prices=True
    )
    return route(with_route(bore, wish), options)


def test_the_place_adds_up(up: Route) -> None:
    """The stages on the section are the route; braking is v2 / (2 a); the run-up is that of `speeds`."""
    stages = {stage.name: stage for stage in up.place.stages}
    on_section = sum(
        stages[name].metres for name in ("entry", "climb", "descent", "exit")
    )
    hold = stages["hold"].metres if "hold" in stages else 0.0
    assert on_section + hold == pytest.approx(up.study.length, abs=1e-9)
    last = up.study.judged.points.speed[0, -1]
    assert stages["braking"].metres == pytest.approx(last**2 / 12.0, rel=1e-12)
    assert stages["run-up"].last_speed == 45.0
    assert up.place.metres == pytest.approx(
        sum(stage.metres for stage in up.place.stages)
    )


def test_ways_out(up: Route) -> None:
    """On the floor the car holds where it is; the higher the longer; what it needs is what it says."""
    first = up.escapes[0]
    assert all(
        way is not None and way.metres == 0.0 for way in first.ways.values()
    )
    high = max(up.escapes, key=lambda one: up.study.roll_angle[one.row])
    way = high.ways["loss of drive"]
    assert way is not None
    assert way.metres > 0.0
    assert way.margin >= 0.0
    assert way.seconds == pytest.approx(
        way.metres / 43.0, rel=0.1
    )  # it rolls at 38 to 45 m/s
    assert high.stopping == pytest.approx(way.metres + way.speed**2 / 12.0)


def test_prices_have_their_signs(up: Route) -> None:
    """More margin takes more way; a wider section too, for the same angle is further away."""
    found = {price.what: price.metres for price in up.prices}
    assert found["least margin"] is None or found["least margin"] > 0.0
    assert found["radius"] is None or found["radius"] > 0.0


def test_notebooks_show_the_way(up: Route) -> None:
    """Points along the route with their place and margin."""
    shown = up._repr_html_()
    assert "way_m" in shown
    assert "margin" in shown
