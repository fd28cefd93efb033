"""A comparison in words and plain tables, for people; the words stand in compare.txt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict

from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.result import Field
from setupopt.report.compare.fields import JudgedComparison, Line
from setupopt.report.shared.tables import cut, number
from setupopt.report.shared.template import rendered
from setupopt.report.shared.words import where_words

# Places that the rank, body and setup of a contender, and each attitude beside them, take.
_NAME_WIDTH = 30
_ATTITUDE_WIDTH = 9
_MOST_BROKEN = 3  # limits named of a contender


def text(judged: JudgedComparison, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict and the ranking; lines of at most `width`."""
    rows = [
        {
            "line": line,
            "setup": _setup(line),
            "breaks": _mark(line),
            "body_cut": cut(line.body, width // 5),
            "setup_cut": cut(_setup(line), width // 5),
            **_cells(line),
            **line.contender.result.fields(line.contender.worst),
        }
        for line in judged.lines
    ]
    numbers = [*_cells(judged.lines[0])]
    many = (width - _NAME_WIDTH) // _ATTITUDE_WIDTH
    return rendered(
        "compare/compare", width, short, judged=judged, rows=rows, state=_state, why=why,
        best_in=_best_in, name=_name, setup=_setup,
        attitudes=[numbers[i : i + many] for i in range(0, len(numbers), many)],
    )  # fmt: skip


def _name(line: Line) -> str:
    """Body and setup; the name of a best setup only repeats its body."""
    own = line.contender.is_own_best
    return (
        f"{line.body}, its own best setup"
        if own
        else f'{line.body}, setup "{line.contender.setup.name}"'
    )


def _state(judged: JudgedComparison) -> str:
    """Whether even the first fails, or how many of the others do."""
    best = judged.best
    ranked = judged.comparison.contenders
    if best.result.lost():
        return f"CONTACT LOST in {best.result.lost()} of {len(best.result.cases)} cases even by the best."
    if best.broken:
        return f"LIMITS BROKEN even by the best: {_broken_words(best.broken)}."
    lost = sum(one.result.lost() > 0 for one in ranked)
    broken = sum(
        len(one.broken) > 0 and not one.result.lost() for one in ranked
    )
    counts = {"lose contact": lost, "break a limit": broken}
    words = " and ".join(
        f"{count} of {len(ranked)} {what}"
        for what, count in counts.items()
        if count
    )
    return f"{words}: they come last, whatever their margin." if words else ""


def _setup(line: Line) -> str:
    return (
        "its best" if line.contender.is_own_best else line.contender.setup.name
    )


def _cell(margin: float | None) -> str:
    return "lost" if margin in (None, -math.inf) else number(margin, 3)


def _best_in(line: Line) -> str:
    return str(line.best_in) if line.best_in else "nowhere"


def _mark(line: Line) -> str:
    one = line.contender
    return "CONTACT" if one.result.lost() else "LIMIT" if one.broken else ""


def why(line: Line) -> str:
    """Why a contender loses, in words; empty for the first."""
    reason = line.reason
    if reason is None:
        return ""
    broken = line.contender.broken
    place = f"at {where_words(asdict(reason))}"
    limits = f"; breaks {_broken_words(broken)}" if broken else ""
    if reason.behind is None:
        return f"{_lost(line)} {place}{_without(reason.cause)}{limits}"
    return f"{_taken(reason.cause, reason.more)}{place}, {_behind(reason.behind)}{limits}"


def _lost(line: Line) -> str:
    result = line.contender.result
    return (
        f"loses contact in {result.lost()} of {len(result.cases)} cases, worst"
    )


def _without(cause: str | None) -> str:
    return f", where it would keep contact without {cause}" if cause else ""


def _taken(cause: str | None, more: float | None) -> str:
    if more is None:
        return "no single cause takes more, "
    return f"{number(more, 3)} more to the {cause} "


def _behind(behind: float) -> str:
    side = "behind" if behind >= 0.0 else "ahead"
    return f"{number(abs(behind), 3)} {side} in all"


def _broken_words(broken: Sequence[Broken]) -> str:
    """The first limits of a contender, and how many more there are."""
    words = [
        f"{limit.limit}{limit.where and ' ' + limit.where} ({number(limit.value)} {limit.unit}, "
        f"{limit.sense} {limit.required:g})"
        for limit in broken[:_MOST_BROKEN]
    ]
    if len(broken) > _MOST_BROKEN:
        words.append(f"{len(broken) - _MOST_BROKEN} more")
    return ", ".join(words)


def _cells(line: Line) -> Field:
    """Margin of each attitude by its number, the best with a star; a blank keeps the digits in line."""
    pairs = zip(line.attitudes, line.is_best, strict=True)
    return {
        f"({i})": f"{_cell(worst.margin)}{'*' if is_best else ' '}"
        for i, (worst, is_best) in enumerate(pairs, 1)
    }
