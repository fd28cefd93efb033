"""The speed of the sweep as something to choose."""

from __future__ import annotations

from dataclasses import replace

import pytest

from setupopt.evaluation.model import evaluate
from setupopt.project import Project
from setupopt.project.model import Range
from setupopt.search.engine.batch import silent
from setupopt.search.objective import objective_of
from setupopt.search.proposing import at_best_speed
from setupopt.search.setup_problem import SetupProblem


@pytest.mark.parametrize("angle", [0.0, 3.14159])
def test_the_speed_that_holds_most(small_bore: Project, angle: float) -> None:
    """On the floor the slowest, inverted the fastest, as `evaluate` says where nothing else may change."""
    sweep = replace(small_bore.venue.sweep, start=angle, stop=angle, step=1.0)
    venue = replace(
        small_bore.venue, sweep=sweep, attitudes=small_bore.venue.attitudes[1:2]
    )
    project = replace(small_bore, venue=venue)
    kept = frozenset({"camber_deg", "ride_height_mm", "spring_N_per_mm"})
    problem = SetupProblem(project, objective_of(venue), kept)
    assert not problem.variables
    found = at_best_speed(
        problem, Range(40.0, 60.0, 5.0), silent
    ).venue.sweep.speed
    margins = {}
    for speed in (40.0, 45.0, 50.0, 55.0, 60.0):
        there = replace(venue, sweep=replace(sweep, speed=speed))
        margins[speed] = float(
            evaluate(replace(project, venue=there)).worst_margin[0]
        )
    assert found == max(margins, key=margins.__getitem__)
    assert found == (60.0 if angle > 0.0 else 40.0)
