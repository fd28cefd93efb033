"""Which uncertain input matters here, in words and for scripts."""

from __future__ import annotations

from dataclasses import asdict

from setupopt.evaluation.result import Field
from setupopt.evaluation.sensitivity import Sensitivity
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    number,
    paragraph,
    table,
)

_NEGLIGIBLE = 0.005  # of margin: no measurement is worth less
_WORDS = "Usual spreads: common practice, no source. Only the cases nearest to the worst margin are solved again."


def sensitivity_text(rows: tuple[Sensitivity, ...], width: int) -> str:
    """A table, the input that matters most first, and what to measure."""
    columns = (
        Column("input", [row.input for row in rows], numeric=False, least=24),
        Column("usual spread", [row.spread for row in rows], numeric=False),
        Column("at the lower end", [_margin(row.low_margin) for row in rows]),
        Column("at the upper end", [_margin(row.high_margin) for row in rows]),
        Column(
            "changes by",
            ["-" if row.most is None else number(row.most, 3) for row in rows],
        ),
    )
    head = "Which uncertain input matters: the worst margin at both ends of its spread, others as they are"
    matter = [
        row.input for row in rows if row.most is None or row.most >= _NEGLIGIBLE
    ]
    is_lost = all(row.low_margin is row.high_margin is None for row in rows)
    none = (
        "Contact is lost with all of them" if is_lost else "None matters here"
    )
    first = f"Measure first: {matter[0]}. " if matter else f"{none}. "
    rest = f"Worth less than {_NEGLIGIBLE:g} of margin: {len(rows) - len(matter)} of {len(rows)} inputs. "
    return "\n".join(
        [
            paragraph(head, width),
            table(columns, width),
            paragraph(first + rest + _WORDS, width, INDENT),
        ]
    )


def _margin(margin: float | None) -> str:
    return "contact lost" if margin is None else number(margin, 3)


def sensitivity_fields(rows: tuple[Sensitivity, ...]) -> list[Field]:
    """Plain Python values; None where contact is lost."""
    return [asdict(row) for row in rows]
