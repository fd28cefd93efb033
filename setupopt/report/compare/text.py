"""A comparison in words and plain tables, for people; the words stand in compare.txt."""

from __future__ import annotations

import math

from setupopt.evaluation.result import Field
from setupopt.report.compare.fields import JudgedComparison, Line
from setupopt.report.shared.tables import number
from setupopt.report.shared.template import rendered

# Places that the rank, body and setup of a contender, and each attitude beside them, take.
_NAME_WIDTH = 30
_ATTITUDE_WIDTH = 9


def text(judged: JudgedComparison, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict and the ranking; lines of at most `width`."""
    rows = [
        {
            "line": line,
            **_cells(line),
            **line.contender.result.fields(line.contender.worst),
        }
        for line in judged.lines
    ]
    numbers = [*_cells(judged.lines[0])]
    many = (width - _NAME_WIDTH) // _ATTITUDE_WIDTH
    return rendered(
        "compare/compare", width, short, judged=judged, rows=rows, failing=_failing(judged),
        attitudes=[numbers[i : i + many] for i in range(0, len(numbers), many)],
    )  # fmt: skip


def _failing(judged: JudgedComparison) -> dict[str, int]:
    """How many lose contact, and how many of the others break a limit; what none does is left out."""
    ranked = judged.comparison.contenders
    lost = sum(one.result.lost() > 0 for one in ranked)
    broken = sum(not one.holds for one in ranked) - lost
    counts = {"lose contact": lost, "break a limit": broken}
    return {what: count for what, count in counts.items() if count}


def _cells(line: Line) -> Field:
    """Margin of each attitude by its number, the best with a star; a blank keeps the digits in line."""
    cells = {}
    for i, worst in enumerate(line.attitudes):
        lost = worst.margin in (None, -math.inf)
        margin = "lost" if lost else number(worst.margin, 3)
        cells[f"({i + 1})"] = margin + ("*" if line.is_best[i] else " ")
    return cells
