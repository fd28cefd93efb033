"""Which uncertain input matters here; the words stand in sensitivity.txt."""

from __future__ import annotations

from setupopt.evaluation.sensitivity import Sensitivity
from setupopt.report.shared.template import rendered

_NEGLIGIBLE = 0.005  # of margin: no measurement is worth less


def sensitivity_text(rows: tuple[Sensitivity, ...], width: int) -> str:
    """A table, the input that matters most first, and what to measure."""
    return rendered(
        "assess/sensitivity",
        width,
        rows=rows,
        matter=[
            row for row in rows if row.most is None or row.most >= _NEGLIGIBLE
        ],
        is_lost=all(row.low_margin is row.high_margin is None for row in rows),
        negligible=_NEGLIGIBLE,
    )
