"""Every outside check holds, and docs/validation.md shows what came out."""

from __future__ import annotations

import doctest
from functools import cache

import pytest

from . import check as checks
from .check import Check
from .page import PAGE, head, page
from .registry import ALL, OUTSIDE, flat
from .sources import OWN, SOURCES

STALE = "write docs/validation.md again: .venv/bin/python tests/validation"


@cache
def told() -> str:
    """The page as it stands."""
    return PAGE.read_text(encoding="utf-8")


@pytest.mark.parametrize("check", ALL, ids=lambda check: check.quantity)
def test_within_what_is_said(check: Check) -> None:
    """Ours is as close to the number from outside as the table says, and the table shows ours."""
    assert check.found == pytest.approx(
        check.published, rel=0, abs=check.within
    )
    assert f"\n{check.row()}\n" in told(), STALE


def test_the_page_is_the_registry() -> None:
    """Nothing typed in, nothing left out: with its own rows put in, the text is the page to the letter."""
    rows = {check: _row_in_page(check) for check in ALL}
    assert page(rows.__getitem__) == told(), STALE


def _row_in_page(check: Check) -> str:
    (row,) = (
        line for line in told().splitlines() if line.startswith(head(check))
    )
    return row


def test_enough_and_from_several_places() -> None:
    """At least forty checks against numbers that others printed, without those of one single matrix."""
    outside = flat(OUTSIDE)
    assert (
        len(
            [
                check
                for check in outside
                if " after 0.25 m" not in check.quantity
            ]
        )
        >= 40
    )
    assert not [
        check.quantity
        for check in outside
        if check.shows == "derivation" or check.source is OWN
    ]
    assert {check.source for check in ALL} == set(SOURCES)


def test_a_tolerance_is_no_blank_cheque() -> None:
    """Methods are met to 1 % of the number, unless the source rounds; measurements may be further off."""
    exact = [check for check in ALL if check.shows != "measurement"]
    loose = {
        check.why
        for check in exact
        if check.within > 0.01 * abs(check.published)
    }
    assert loose <= {"half its last digit", "7 %: a rounded statement"}


def test_a_row_that_is_off_says_so() -> None:
    """The difference has a sign and the digits of the tolerance; what those cannot show is a bound."""
    off = Check("a", "m", "1.0", lambda: 1.26, 0.5, "why", OWN, "method")
    near = Check("a", "m", "1.00", lambda: 1.0004, 0.01, "why", OWN, "method")
    assert off.row() == "| a | m | 1.0 | 1.3 | +0.3 | why | derived | method |"
    assert "| 1.00 | 1.00 | under 0.01 |" in near.row()
    assert off.found != pytest.approx(off.published, rel=0, abs=0.2)


def test_examples_in_the_text() -> None:
    """The doctests hold."""
    assert doctest.testmod(checks).failed == 0
