"""A comparison in words and plain tables, for people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from itertools import islice

from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.summary import AttitudeWorst
from setupopt.report.compare.fields import JudgedComparison, Line
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    along_column,
    along_words,
    angle,
    cut,
    number,
    paragraph,
    table,
)
from setupopt.report.shared.words import CLOSING, cautions_text

# Places that the rank, body and setup of a contender, and each attitude beside them, take.
_NAME_WIDTH, _ATTITUDE_WIDTH = 30, 9
_MOST_BROKEN = 3  # limits told of a contender


def text(judged: JudgedComparison, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict and the ranking; lines of at most `width`."""
    parts = [_head(judged, width), cautions_text(judged.project.cautions, width)]
    parts += [_verdict(judged, width), _ranking(judged, width)]
    if not short:
        parts += [_reasons(judged, width), _attitudes(judged, width)]
    parts.append(paragraph(CLOSING, width))
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(judged: JudgedComparison, width: int) -> str:
    project, cases = judged.project, judged.best.result.cases
    setups = "every body with every setup as it is" if judged.as_is else "every body with its own best setup"
    counts = f"{cases.angles.size} {cases.stands} x {len(cases.attitudes)} attitudes"
    given = any(not line.contender.is_own_best for line in judged.lines)
    others = ", other setups as they are" if given and not judged.as_is else ""
    return paragraph(
        f"{project.car.name} at {project.venue.name}: {setups}{others}, ranked by worst margin over "
        f"{len(cases)} cases, {counts}",
        width,
    )


# ---- verdict and ranking -----------------------------------------------------------------------------------


def _verdict(judged: JudgedComparison, width: int) -> str:
    lines = [_best(judged), _state(judged), _floor(judged), _spared(judged)]
    return "\n".join(paragraph(line, width) for line in lines if line)


def _best(judged: JudgedComparison) -> str:
    first, second = judged.lines[:2]
    margin = first.contender.margin
    if first.contender.result.lost():
        return f"Best: {_name(first)}, which loses contact as all others do"
    ahead = f", {number(margin - second.contender.margin, 3)} ahead" if second.contender.holds else ""
    slides = " (below zero: it slides)" if margin < 0.0 else ""
    return f"Best: {_name(first)}: worst margin {number(margin, 3)}{slides}{ahead}"


def _name(line: Line) -> str:
    """Body and setup; the name of a best setup only says its body again."""
    own = line.contender.is_own_best
    return f"{line.body}, its own best setup" if own else f'{line.body}, setup "{line.contender.setup.name}"'


def _state(judged: JudgedComparison) -> str:
    """That even the first does not hold, or how many of the others do not."""
    best, ranked = judged.best, judged.comparison.contenders
    if best.result.lost():
        return f"CONTACT LOST in {best.result.lost()} of {len(best.result.cases)} cases even by the best."
    if best.broken:
        return f"LIMITS BROKEN even by the best: {_broken_words(best.broken)}."
    lost = sum(one.result.lost() > 0 for one in ranked)
    broken = sum(len(one.broken) > 0 and not one.result.lost() for one in ranked)
    told = [f"{lost} of {len(ranked)} lose contact"] * (lost > 0)
    told += [f"{broken} of {len(ranked)} break a limit"] * (broken > 0)
    return f"{' and '.join(told)}: they come last, whatever their margin." if told else ""


def _floor(judged: JudgedComparison) -> str:
    if judged.floor is None:
        return ""
    return f"Floor asked for: {judged.floor:g}, {'NOT REACHED' if judged.is_under_floor else 'reached'}"


def _spared(judged: JudgedComparison) -> str:
    """Who need not be kept for any attitude."""
    nowhere = sum(line.best_in == 0 for line in judged.lines)
    told = f"{nowhere} of {len(judged.lines)} nowhere best: in every attitude another one has more margin."
    return told if nowhere else ""


def _ranking(judged: JudgedComparison, width: int) -> str:
    lines = judged.lines
    worst = [line.contender.result.fields(line.contender.worst) for line in lines]
    columns = [
        Column("", [str(line.rank) for line in lines]),
        Column("body", [line.body for line in lines], numeric=False, least=12),
        Column("setup", [_setup(line) for line in lines], numeric=False, least=10),
        Column("margin", [_cell(line.contender.margin) for line in lines]),
        Column("at deg", [angle(row["roll_angle_deg"]) for row in worst]),
        *along_column(worst),
        Column("attitude", [row["attitude"] for row in worst], numeric=False, least=13),
        Column("axle", [row["first_axle"] or "-" for row in worst], numeric=False, rank=1),
        Column("best in", [_best_in(line) for line in lines], numeric=False),
    ]
    if not all(line.contender.holds for line in lines):
        columns.append(Column("breaks", [_mark(line) for line in lines], numeric=False))
    count = len(lines[0].attitudes)
    head = f"Ranked by worst margin; where it is worst; in how many of {count} attitudes each is best"
    return f"{paragraph(head, width)}\n{table(columns, width)}"


def _setup(line: Line) -> str:
    return "its best" if line.contender.is_own_best else line.contender.setup.name


def _cell(margin: float) -> str:
    return number(margin, 3) if margin > -float("inf") else "lost"


def _best_in(line: Line) -> str:
    return str(line.best_in) if line.best_in else "nowhere"


def _mark(line: Line) -> str:
    one = line.contender
    return "CONTACT" if one.result.lost() else "LIMIT" if one.broken else ""


# ---- why ---------------------------------------------------------------------------------------------------


def _reasons(judged: JudgedComparison, width: int) -> str:
    """One paragraph for each but the first."""
    wide = len(str(len(judged.lines)))
    lines = [
        paragraph(f"{line.body}, {_setup(line)}: {why(line)}", width, f"{INDENT}{line.rank:>{wide}}  ")
        for line in judged.lines
    ]
    head = "Why each loses to the first, by the loss budgets of both where it stands worst"
    return "\n".join([paragraph(head, width), *lines[1:]])


def why(line: Line) -> str:
    """Why a contender loses, in words; empty for the first."""
    reason = line.reason
    if reason is None:
        return ""
    along, broken = along_words(asdict(reason)), line.contender.broken
    place = f"at {angle(reason.roll_angle_deg)} deg, {along}{reason.attitude}"
    limits = f"; breaks {_broken_words(broken)}" if broken else ""
    if reason.behind is None:
        return f"{_lost(line)} {place}{_without(reason.cause)}{limits}"
    return f"{_taken(reason.cause, reason.more)}{place}, {_behind(reason.behind)}{limits}"


def _lost(line: Line) -> str:
    result = line.contender.result
    return f"loses contact in {result.lost()} of {len(result.cases)} cases, worst"


def _without(cause: str | None) -> str:
    return f", where it would hold without {cause}" if cause else ""


def _taken(cause: str | None, more: float | None) -> str:
    if more is None:
        return "no single cause takes more, "
    return f"{number(more, 3)} more to the {cause} "


def _behind(behind: float) -> str:
    side = "behind" if behind >= 0.0 else "ahead"
    return f"{number(abs(behind), 3)} {side} in all"


def _broken_words(broken: Sequence[Broken]) -> str:
    """The first limits of a contender, and how many more there are."""
    told = [
        f"{limit.limit}{limit.where and ' ' + limit.where} ({number(limit.value)} {limit.unit}, "
        f"{limit.sense} {limit.required:g})"
        for limit in broken[:_MOST_BROKEN]
    ]
    more = [f"{len(broken) - _MOST_BROKEN} more"] * (len(broken) > _MOST_BROKEN)
    return ", ".join([*told, *more])


# ---- every attitude ----------------------------------------------------------------------------------------


def _attitudes(judged: JudgedComparison, width: int) -> str:
    """Contenders against attitudes, as many tables as the width needs; attitudes go by numbers."""
    names = judged.best.result.cases.attitudes
    legend = ", ".join(f"({place}) {name}" for place, name in enumerate(names, 1))
    head = "Worst margin of every attitude (*: the best there)"
    many = (width - _NAME_WIDTH) // _ATTITUDE_WIDTH
    tables = [_matrix(judged.lines, first, many, width) for first in range(0, len(names), many)]
    return "\n".join([head, *tables, paragraph(legend, width, INDENT)])


def _matrix(lines: Sequence[Line], first: int, many: int, width: int) -> str:
    """Some of the attitudes, from the one with the number `first`."""
    names = [
        Column("", [str(line.rank) for line in lines]),
        Column("body", [cut(line.body, width // 5) for line in lines], numeric=False, least=8),
        Column("setup", [cut(_setup(line), width // 5) for line in lines], numeric=False, least=8),
    ]
    places = islice(range(len(lines[0].attitudes)), first, first + many)
    cells = [
        Column(f"({place + 1}) ", [_marked(line.attitudes[place], line.is_best[place]) for line in lines])
        for place in places
    ]
    return table([*names, *cells], width)


def _marked(worst: AttitudeWorst, is_best: bool) -> str:
    """Margin of a cell; a blank keeps the digits in line."""
    told = "lost" if worst.margin is None else number(worst.margin, 3)
    return f"{told}{'*' if is_best else ' '}"
