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
