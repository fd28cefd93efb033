"""Which uncertain input matters: each entry against an evaluation of the changed car in every case."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from report.report_folders import SETUPS

from setupopt.evaluation.assessment import Assessment, assess
from setupopt.evaluation.model import evaluate
from setupopt.project import load
from setupopt.units import DEG


@pytest.fixture(scope="module")
def found() -> Assessment:
    """The bore at few angles."""
    project = load(SETUPS / "bore")
    sweep = replace(project.venue.sweep, step=20.0 * DEG)
    return assess(replace(project, venue=replace(project.venue, sweep=sweep)))


def test_entries_are_those_of_the_whole_sweep(found: Assessment) -> None:
    """The rear tyre's friction a tenth higher and lower; a case left out would show as a higher margin."""
    car = found.project.car
    (entry,) = (
        one
        for one in found.sensitivities
        if one.input == f"{car.rear.tyre.name}: friction"
    )
    for factor, margin in ((0.9, entry.low_margin), (1.1, entry.high_margin)):
        tyre = replace(car.rear.tyre, friction=factor * car.rear.tyre.friction)
        other = replace(
            found.project, car=replace(car, rear=replace(car.rear, tyre=tyre))
        )
        assert margin == pytest.approx(
            float(evaluate(other).worst_margin[0]), abs=1e-6
        )  # accuracy of a path


def test_the_order_is_that_of_the_changes(found: Assessment) -> None:
    """The largest first; inputs that are 0, and so have no spread, are left out."""
    changes = [one.most for one in found.sensitivities if one.most is not None]
    assert changes == sorted(changes, reverse=True)
    assert (
        len({one.input for one in found.sensitivities})
        == len(found.sensitivities)
        > 10
    )


def test_growth_of_the_radius_is_asked_where_it_is_left_out(
    found: Assessment,
) -> None:
    """None at the lower end; at the upper 1 % of the radius at 50 m/s, 2.25 % at 75: of every case, to 1e-6."""
    car = found.project.car
    name = f"{car.front.tyre.name}: radius growth"
    (entry,) = (one for one in found.sensitivities if one.input == name)
    speed = found.project.venue.sweep.speed
    share = np.interp(speed, (50.0, 75.0), (0.01, 0.0225))
    grown = float(share) * car.front.tyre.radius
    table = {"radius_growth_speed": (speed,), "radius_growth": (grown,)}
    front = replace(car.front, tyre=replace(car.front.tyre, **table))
    other = replace(found.project, car=replace(car, front=front))
    known = float(evaluate(other).worst_margin[0])
    assert entry.high_margin == pytest.approx(known, abs=1e-6)
    assert entry.low_margin == float(found.result.worst_margin[0])
