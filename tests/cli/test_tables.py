"""Tables for a terminal."""

from __future__ import annotations

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from setupopt.report.shared import tables
from setupopt.report.shared.tables import (
    Column,
    cut,
    number,
    screen_width,
    shown_width,
    table,
    wrapped,
)

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


def test_text_goes_on_below_before_columns_are_dropped() -> None:
    """Down to its least width; nothing of it is left out."""
    assert table([NAMES, LOADS, EXTRA], 33).splitlines()[2:] == [
        "  a rather      -4143.5  y",
        "  long name",
    ]
    assert table([NAMES, LOADS, EXTRA], 25).splitlines() == [
        "  name             load N",
        "  a                  12.0",
        "  a rather long   -4143.5",
        "  name",
    ]


@given(
    st.text(
        st.characters(codec="utf-8", exclude_categories=("C",)), max_size=60
    ),
    st.integers(2, 20),
)
def test_broken_text_is_whole_and_fits(text: str, width: int) -> None:
    """Every letter but the blanks comes back in its order, and no line is wider than asked."""
    lines = wrapped(text, width)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert max(map(shown_width, lines)) <= width


@pytest.mark.parametrize("width", [80, 160])
@given(
    st.lists(
        st.tuples(
            st.text("abc _.車", max_size=70), st.text("xyz ", max_size=70)
        ),
        min_size=1,
        max_size=4,
    )
)
def test_no_line_is_wider_than_the_terminal(
    width: int, cells: list[tuple[str, str]]
) -> None:
    """Whatever stands in the texts, where they may go on below; and the numbers stay under their head."""
    first, second = zip(*cells, strict=True)
    numbers = Column("load N", ["12.5"] * len(cells))
    shown = table(
        [
            Column("a", first, False, least=20),
            numbers,
            Column("b", second, False, least=20),
        ],
        width,
    )
    lines = shown.splitlines()
    assert max(map(shown_width, lines)) <= width
    ends = {
        shown_width(line[: line.index("12.5") + 4])
        for line in lines
        if "12.5" in line
    }
    assert ends == {shown_width(lines[0][: lines[0].index("load N") + 6])}


def test_the_columns_that_matter_stay() -> None:
    """Rank 0 is never dropped, even where nothing fits."""
    assert table([NAMES, LOADS, EXTRA], 5).splitlines()[0].split() == [
        "name",
        "load",
        "N",
    ]


def test_table_without_rows_is_its_head() -> None:
    """Nothing to show is no error."""
    assert table([Column("a", []), Column("b", [])], 80) == "  a  b"


@pytest.mark.parametrize(
    ("columns", "width"), [("0", 80), ("40", 80), ("100", 100), ("300", 160)]
)
def test_width_of_the_screen(
    monkeypatch: pytest.MonkeyPatch, columns: str, width: int
) -> None:
    """Between 80 and 160 whatever the terminal says."""
    monkeypatch.setenv("COLUMNS", columns)
    assert screen_width() == width


def test_letters_of_other_scripts_keep_the_columns_straight() -> None:
    """Wide letters take two places, accents none."""
    lines = table(
        [
            Column("n", ["車", "e\u0301", "ab"], numeric=False),
            Column("v", ["1", "2", "3"]),
        ],
        80,
    )
    assert {shown_width(line) for line in lines.splitlines()} == {7}
    assert cut("車車車", 4) == "車.."


def test_numbers_without_a_value() -> None:
    """A dash, for None and for what is not a number."""
    assert [number(value, 1) for value in (None, float("nan"), -0.04)] == [
        "-",
        "-",
        "0.0",
    ]
