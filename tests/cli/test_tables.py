"""Tables for a terminal."""

from __future__ import annotations

import doctest

import pytest

from setupopt.report import tables
from setupopt.report.tables import Column, cut, number, screen_width, shown_width, table

NAMES = Column("name", ["a", "a rather long name"], numeric=False, least=8)
LOADS = Column("load N", ["12.0", "-4143.5"])
EXTRA = Column("an extra", ["x", "y"], numeric=False, rank=1)


def test_examples_in_the_text() -> None:
    """The doctests hold."""
    assert doctest.testmod(tables).failed == 0


def test_numbers_stand_to_the_right_and_text_to_the_left() -> None:
    """Aligned under their heads."""
    assert table([NAMES, LOADS], 80).splitlines() == [
        "  name                 load N",
        "  a                      12.0",
        "  a rather long name  -4143.5",
    ]


def test_text_is_cut_before_columns_are_dropped() -> None:
    """Down to its least width, with points to say so."""
    assert table([NAMES, LOADS, EXTRA], 33).splitlines()[2] == "  a rather l..  -4143.5  y"
    assert table([NAMES, LOADS, EXTRA], 25).splitlines() == [
        "  name             load N",
        "  a                  12.0",
        "  a rather lon..  -4143.5",
    ]


def test_the_columns_that_matter_stay() -> None:
    """Rank 0 is never dropped, even where nothing fits."""
    assert table([NAMES, LOADS, EXTRA], 5).splitlines()[0].split() == ["name", "load", "N"]


def test_table_without_rows_is_its_head() -> None:
    """Nothing to show is no error."""
    assert table([Column("a", []), Column("b", [])], 80) == "  a  b"


@pytest.mark.parametrize(("columns", "width"), [("0", 80), ("40", 80), ("100", 100), ("300", 160)])
def test_width_of_the_screen(monkeypatch: pytest.MonkeyPatch, columns: str, width: int) -> None:
    """Between 80 and 160 whatever the terminal says."""
    monkeypatch.setenv("COLUMNS", columns)
    assert screen_width() == width


def test_letters_of_other_scripts_keep_the_columns_straight() -> None:
    """Wide letters take two places, accents none."""
    lines = table([Column("n", ["車", "e\u0301", "ab"], numeric=False), Column("v", ["1", "2", "3"])], 80)
    assert {shown_width(line) for line in lines.splitlines()} == {7}
    assert cut("車車車", 4) == "車.."


def test_numbers_without_a_value() -> None:
    """A dash, for None and for what is not a number."""
    assert [number(value, 1) for value in (None, float("nan"), -0.04)] == ["-", "-", "0.0"]
