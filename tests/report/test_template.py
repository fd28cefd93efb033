"""Texts from templates: nothing is lost in silence, and lines keep to the width."""

from __future__ import annotations

from math import inf, nan
from types import SimpleNamespace

import pytest
from jinja2 import UndefinedError

from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.summary import WheelsInAir
from setupopt.report.shared.tables import keyed_table
from setupopt.report.shared.template import HELPERS, rendered, text_room

LIMIT = Broken("packaging.rake_mm", "", 12.34, "at most", 10.0, "mm")


def test_a_name_that_is_not_given_is_an_error() -> None:
    """A blank in its place would be a sentence that says something else."""
    with pytest.raises(UndefinedError):
        rendered("shared/limits", 80)


def test_words_that_several_screens_share() -> None:
    """How a case stands, with no more than it has; a change of margin, its sign as a verb."""
    standing, gain = (
        text_room().globals[name] for name in ("standing_words", "gain_words")
    )
    case = {"sideslip_deg": -3.92, "steer_deg": -2.49, "balance": 0.0351}
    turned = "sideslip -3.92 deg, steer -2.49 deg"
    assert standing(case) == f"{turned}, balance +0.035"
    assert standing(case | {"balance": None}) == turned
    assert standing(dict.fromkeys(case)) == ""
    assert (gain(0.0123), gain(-0.0123)) == ("gains 0.0123", "loses 0.0123")
    assert (gain(1e-5), gain(0.0)) == ("gains less than 0.0001", "gains 0.0000")


def test_wheels_in_the_air_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Attitude, wheels, angles, how many cases; nothing where all wheels carry load."""
    rows: tuple[WheelsInAir, ...] = ()
    monkeypatch.setitem(HELPERS, "wheels_in_air", lambda _: rows)
    room = text_room.__wrapped__().globals
    result = SimpleNamespace(count=70)
    assert room["in_air_words"](result) == ""
    rows = (
        WheelsInAir("crest", 3, ("fl", "rr"), 30.0, 45.004),
        WheelsInAir("bump", 1, ("fr",), 60.0, 60.0),
    )
    assert room["in_air_words"](result) == (
        "A WHEEL IS IN THE AIR (under 1 % of a quarter of the car's weight) in 4 of 70 cases: "
        "crest: FL, RR at 30 to 45 deg (3 cases); bump: FR at 60 deg (1 case)."
    )


def test_what_comes_out_empty_takes_no_line() -> None:
    """Without a broken limit there is no head of a table either."""
    assert rendered("shared/limits", 80, broken=()) == "\n"
    said = rendered("shared/limits", 80, broken=(LIMIT,))
    assert said.startswith("LIMITS BROKEN (1)\n")
    assert "packaging.rake_mm  -" not in said
    assert "at most 10 mm  at rest" in said


@pytest.mark.parametrize("width", [80, 160])
def test_no_line_is_wider_than_the_screen(width: int) -> None:
    """Cells that may be broken are; nothing of them is lost."""
    one = Broken("clearance.least_gap_mm", "a corner of the floor far behind", 1.0, "at least", 5.0, "mm", 7,
                 30.0, "turned across the surface with a bump under one wheel")  # fmt: skip
    said = rendered("shared/limits", width, broken=(one,))
    assert max(map(len, said.splitlines())) <= width
    for word in f"{one.where} {one.attitude}".split():
        assert word in said


def test_no_number_stands_for_one_that_is_missing_or_infinite() -> None:
    """Of None, minus infinity and what is no number only the word in their place is seen."""
    rows = [{"margin": value} for value in (0.1234, None, -inf, nan)]
    shown = "margin=margin: 3 missing=contact_lost"
    cells = keyed_table(rows, shown, 80).split("\n")
    assert [cell.strip() for cell in cells] == [
        "margin",
        "0.123",
        *["contact lost"] * 3,
    ]
