"""The drawings of the page: what is drawn and said lies inside them."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from setupopt.evaluation.drawn_state import drawn_state
from setupopt.evaluation.model import evaluate
from setupopt.evaluation.report_data import Report
from setupopt.project import load
from setupopt.report.page.drawing import section_drawing
from setupopt.report.page.plan import plan_drawing
from setupopt.report.page.shapes import NARROW, Drawing

SETUPS = Path(__file__).resolve().parents[2] / "setups"
_DESCENT = 0.3  # of a letter, below its line (common practice, no source)


def test_a_caution_of_one_setup_has_its_name() -> None:
    """Two setups that are over-critical by other numbers gave two lines, and nobody knew whose each was."""

    def part(role: str, *cautions: str) -> Any:
        return SimpleNamespace(
            role=role, assessment=SimpleNamespace(cautions=cautions)
        )

    today, proposed = part("today", "a", "b"), part("proposed", "c", "a")
    both = Report(today, proposed, "", None, "")
    assert both.cautions == ("a", "today: b", "proposed: c")
    assert Report(today, None, "", None, "").cautions == ("a", "b")


def _lies_inside(drawing: Drawing) -> None:
    left, top, wide, high = drawing.box
    # letters of a near drawing are this much larger on a narrow page
    letter = drawing.letter * (NARROW if drawing.kind == "near" else 1.0)
    for label in drawing.labels:
        assert top <= label.y - letter, label
        assert label.y + _DESCENT * letter <= top + high, label
    for shape in drawing.shapes:
        numbers = re.findall(r"-?\d+(?:\.\d+)?", shape.path)
        x, y = np.array(numbers, float).reshape(-1, 2).T
        assert (y >= top).all() and (y <= top + high).all(), shape
        assert (x >= left).all() and (x <= left + wide).all(), shape


@pytest.mark.parametrize("name", ["oval", "hill"])
def test_nothing_is_cut_off(name: str) -> None:
    """A car that is turned by its sideslip and steered; the arrow of gravity on a flat section, at its lowest."""
    project = load(SETUPS / name)
    few = replace(project.venue, attitudes=project.venue.attitudes[:1])
    project = replace(project, venue=few)
    result = evaluate(project)
    state = drawn_state(project, result, 0)
    turned = replace(state, sideslip=np.radians(-8.0))
    for one in (state, turned):
        _lies_inside(plan_drawing(one))
        at = float(result.cases.at[0])
        _lies_inside(section_drawing(project.venue, one, at))
