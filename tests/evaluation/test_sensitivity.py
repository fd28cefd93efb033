"""Which uncertain input matters: each entry against an evaluation of the changed car in every case."""

from __future__ import annotations

from dataclasses import replace

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
