"""Many bodies against each other: what it costs as they are, and with the best setup of each."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np

import setupopt
from setupopt.project import Project
from setupopt.project.model import Body
from setupopt.search.comparison import Comparison, ComparisonOptions, compare

BODIES, ATTITUDES, ANGLES = 40, 6, 37
# "In seconds" and "in minutes", on two cores.
SECONDS, MINUTES = 5.0, 15.0


def many_bodies(bore: Project) -> Project:
    """The bore's car in forty bodies, its own and 39 with up to 15 % more or less of each element's areas."""
    air, rng = bore.car.air, np.random.default_rng(0)

    def body(number: int) -> Body:
        elements = tuple(
            replace(
                e,
                free_area=e.free_area * free,
                ground_area=e.ground_area * ground,
            )
            for e, (free, ground) in zip(
                air.elements, rng.uniform(0.85, 1.15, (8, 2)), strict=False
            )
        )
        return Body(
            f"body {number}",
            replace(air, elements=elements),
            bore.car.clearance,
        )

    venue = replace(bore.venue, attitudes=bore.venue.attitudes[:ATTITUDES])
    return replace(
        bore,
        venue=venue,
        bodies=tuple(body(number) for number in range(2, BODIES + 1)),
    )


def timed(project: Project, **asked: object) -> tuple[Comparison, float]:
    """A comparison and its seconds."""
    began = time.perf_counter()
    return compare(
        project, options=ComparisonOptions(**asked)
    ), time.perf_counter() - began  # type: ignore[arg-type]


def show(what: str, found: Comparison, seconds: float) -> None:
    """Cost, and the ends of the list."""
    first, last = found.contenders[0], found.contenders[-1]
    print(
        f"\n{what}: {len(found.contenders)} bodies in {seconds:.2f} s, margins {first.margin:.4f} to ",
        end="",
    )
    print(
        f"{last.margin:.4f}; {sum(count > 0 for count in found.best_in)} of them best somewhere"
    )


def test_as_they_are_in_seconds(bore: Project) -> None:
    """Forty bodies on the whole sweep of six attitudes."""
    project = many_bodies(bore)
    setupopt.evaluate(project)  # compiled before the clock runs
    found, seconds = timed(project, as_is=True)
    assert (
        len(found.contenders) == BODIES
        and len(found.contenders[0].result.cases) == ATTITUDES * ANGLES
    )
    show("as they are", found, seconds)
    assert seconds < SECONDS


def test_own_best_in_minutes(bore: Project) -> None:
    """Each with the best setup of its own; none is worse for it."""
    project = many_bodies(bore)
    before, _ = timed(project, as_is=True)
    found, seconds = timed(project, starts=2)
    show("own best", found, seconds)
    margins = {one.setup.body: one.margin for one in found.contenders}
    assert all(
        margins[one.setup.body] >= one.margin
        for one in before.contenders
        if not one.broken
    )
    assert seconds < 60.0 * MINUTES
