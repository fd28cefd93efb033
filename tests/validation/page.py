"""docs/validation.md: the text of page.md with tables made from the registry."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from pathlib import Path

from .check import Check
from .registry import DERIVED, OUTSIDE, flat
from .sources import OWN, SOURCES

TEXT = Path(__file__).with_name("page.md")
PAGE = Path(__file__).parents[2] / "docs" / "validation.md"
HEAD = (
    "quantity",
    "unit",
    "published",
    "ours",
    "difference",
    "within, because",
    "source",
    "shows",
)
Row = Callable[[Check], str]


def head(check: Check) -> str:
    """How the row of a check begins; no other begins so."""
    return f"| {check.quantity} | {check.unit} |"


def page(row: Row = Check.row) -> str:
    """The whole page; `row` makes the line of a check."""
    derived = _tables(DERIVED, row, HEAD).replace(
        "| published |", "| derived |"
    )
    return TEXT.read_text(encoding="utf-8").format(
        count=len(flat(OUTSIDE)), shown=_shown(), outside=_tables(OUTSIDE, row, HEAD), derived=derived,
        sources=_sources(),
    )  # fmt: skip


def _tables(
    tables: dict[str, list[Check]], row: Row, names: tuple[str, ...]
) -> str:
    """Every table under its title."""
    top = f"| {' | '.join(names)} |\n|{'---|' * len(names)}"
    parts = [
        f"### {title}\n\n{top}\n" + "\n".join(map(row, checks))
        for title, checks in tables.items()
    ]
    return "\n\n".join(parts)


def _shown() -> dict[str, int]:
    """How many of the outside checks show what."""
    return dict(Counter(check.shows for check in flat(OUTSIDE)))


def _sources() -> str:
    """Every source that a table names, and how far it was seen."""
    named = [source for source in SOURCES if source is not OWN]
    return "\n".join(
        f"| {source.name} | {source.citation} | {source.seen} |"
        for source in named
    )
