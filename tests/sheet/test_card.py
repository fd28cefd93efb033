"""The run card tells of the setup that it is for."""

from __future__ import annotations

from dataclasses import replace

import pytest

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import evaluate
from setupopt.project import Project, with_body
from setupopt.robust.speeds.motion import PathForces
from setupopt.robust.speeds.study import SpeedOptions, study_speeds
from setupopt.sheet.card import run_card


def test_card_is_that_of_the_setup_in_its_body(bore: Project) -> None:
    """Margin and speed window, whatever body the project's car wears meanwhile."""
    setup = replace(bore.setup, body="long-floor")
    worn = with_body(bore, "long-floor")
    card, expected = run_card(bore, setup), run_card(worn, worn.setup)
    assert (
        card.margin
        == float(evaluate(worn).worst_margin[0])
        != run_card(bore, bore.setup).margin
    )
    assert card.speeds == expected.speeds
    assert card.project.car == worn.car


def test_card_names_every_reason_not_to_run(bore: Project) -> None:
    """A broken limit by its key, lost contact by its attitude, a missed floor, and no safe speed.

    The sheets of such a setup were printed without a word.
    """
    assert bore.limits is not None
    assert run_card(bore, bore.setup).do_not_run == ()
    packaging = replace(bore.limits.packaging, rake=(0.0, 0.001))
    strict = replace(bore, limits=replace(bore.limits, packaging=packaging))
    limit, speed = run_card(strict, bore.setup).do_not_run
    assert limit.startswith("Limit broken: packaging.rake_mm: ")
    assert "at most 1 mm, at rest" in limit
    assert speed.startswith("No safe speed")
    margin, _ = run_card(bore, bore.setup, floor=0.99).do_not_run
    assert margin.startswith("Margin under the minimum: ")


def test_lost_contact_is_a_reason_not_to_run(bore: Project) -> None:
    """A car too slow to stay on the ceiling: the attitudes with their numbers of lost cases."""
    venue = replace(bore.venue, sweep=replace(bore.venue.sweep, speed=10.0))
    card = run_card(replace(bore, venue=venue), bore.setup)
    lost = next(
        reason
        for reason in card.do_not_run
        if reason.startswith("Contact lost")
    )
    assert f"{card.result.lost()} of {len(card.result.cases)} cases" in lost
    assert bore.venue.attitudes[0].name in lost


@pytest.mark.parametrize(
    ("enough_to", "ends_by"),
    [(None, "a limit"), (50.0, None), (53.5, "the power")],
)
def test_card_allows_no_speed_that_speeds_refuses(
    bore: Project, enough_to: float | None, ends_by: str | None
) -> None:
    """A car whose power is not given, is enough to 50 m/s, or to 53.5 m/s, in a sweep at 52 m/s.

    Both ends lie inside the window of `speeds`, by less than 0.1 m/s of rounding. Where the sweep's own
    speed is not safe, the card has no window.
    """
    sweep = replace(bore.venue.sweep, speed=52.0)
    there = replace(
        bore,
        venue=replace(
            bore.venue, sweep=sweep, attitudes=bore.venue.attitudes[:1]
        ),
    )
    records = sweep_cases(there.venue).records
    power = (
        None
        if enough_to is None
        else float(PathForces(there, records).power(enough_to).max())
    )
    project = replace(there, car=replace(bore.car, power=power))
    study = study_speeds(project, SpeedOptions(0.05))
    speeds = run_card(project, project.setup, 0.05).speeds
    assert (speeds is not None) == study.holds == (ends_by is not None)
    if speeds is not None and study.window is not None:
        assert 0.0 <= speeds.low - study.window.low.speed < 0.1
        assert 0.0 <= study.window.high.speed - speeds.high < 0.1
        assert (speeds.above == "the power") == (ends_by == "the power")
