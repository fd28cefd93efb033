"""The run card tells of the setup that it is for."""

from __future__ import annotations

from dataclasses import replace

from setupopt.evaluation.model import evaluate
from setupopt.project import Project, with_body
from setupopt.sheet.card import run_card


def test_card_is_that_of_the_setup_in_its_body(bore: Project) -> None:
    """Margin and speed window, whatever body the project's car wears meanwhile."""
    setup = replace(bore.setup, body="long-floor")
    worn = with_body(bore, "long-floor")
    card, expected = run_card(bore, setup), run_card(worn, worn.setup)
    assert card.margin == float(evaluate(worn).worst_margin[0]) != run_card(bore, bore.setup).margin
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
    lost = next(reason for reason in card.do_not_run if reason.startswith("Contact lost"))
    assert f"{card.result.lost()} of {len(card.result.cases)} cases" in lost
    assert bore.venue.attitudes[0].name in lost
