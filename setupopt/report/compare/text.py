"""A comparison in words and plain tables, for people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.summary import AttitudeWorst
from setupopt.report.compare.fields import JudgedComparison, Line
from setupopt.report.shared.in_air import in_air_words
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    Key,
    angle,
    cut,
    keyed_table,
    number,
    paragraph,
    table,
    words,
)
from setupopt.report.shared.words import (
    ALONG,
    cautions_text,
    composed,
    floor_words,
    headed,
    lines,
    slides,
    sliding_words,
    standing_words,
    where_words,
)

# Places that the rank, body and setup of a contender, and each attitude beside them, take.
_NAME_WIDTH = 30
_ATTITUDE_WIDTH = 9
_MOST_BROKEN = 3  # limits named of a contender


def text(judged: JudgedComparison, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict and the ranking; lines of at most `width`."""
    more = () if short else (_reasons, _attitudes)
    return composed(
        (_head, _cautions, _verdict, _ranking, *more), judged, width
    )


def _cautions(judged: JudgedComparison, width: int) -> str:
    return cautions_text(judged.project.cautions, width)


def _head(judged: JudgedComparison, width: int) -> str:
    project = judged.project
    cases = judged.best.result.cases
    setups = (
        "every body with every setup as it is"
        if judged.as_is
        else "every body with its own best setup"
    )
    counts = (
        f"{cases.angles.size} {cases.stands} x {len(cases.attitudes)} attitudes"
    )
    given = any(not line.contender.is_own_best for line in judged.lines)
    others = ", other setups as they are" if given and not judged.as_is else ""
    return paragraph(
        f"{project.car.name} at {project.venue.name}: {setups}{others}, ranked by worst margin over "
        f"{len(cases)} cases, {counts}",
        width,
    )


# ---- verdict and ranking -----------------------------------------------------------------------------------


def _verdict(judged: JudgedComparison, width: int) -> str:
    sentences = [
        _best(judged),
        _standing(judged),
        sliding_words(judged.best.result),
        in_air_words(judged.best.result),
        _state(judged),
        floor_words(judged.floor, not judged.is_under_floor),
        _spared(judged),
    ]
    return lines(sentences, width)


def _best(judged: JudgedComparison) -> str:
    first, second = judged.lines[:2]
    margin = first.contender.margin
    if first.contender.result.lost():
        return f"Best: {_name(first)}, which loses contact as all others do"
    ahead = (
        f", {number(margin - second.contender.margin, 3)} ahead"
        if second.contender.holds
        else ""
    )
    return f"Best: {_name(first)}: worst margin {number(margin, 3)}{slides(margin)}{ahead}"


def _standing(judged: JudgedComparison) -> str:
    """How the car stands where the best is worst."""
    worst = judged.best.result.fields(judged.best.worst)
    words = standing_words(worst)
    return f"It is worst at {where_words(worst)}; {words}." if words else ""


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


def _spared(judged: JudgedComparison) -> str:
    """How many contenders are the best in no attitude."""
    nowhere = sum(line.best_in == 0 for line in judged.lines)
    words = f"{nowhere} of {len(judged.lines)} nowhere best: in every attitude another one has more margin."
    return words if nowhere else ""


def _ranking(judged: JudgedComparison, width: int) -> str:
    rows = [
        {
            "line": line,
            "setup": _setup(line),
            "breaks": _mark(line),
            **line.contender.result.fields(line.contender.worst),
        }
        for line in judged.lines
    ]
    columns = list(_RANKING)
    if any(row["breaks"] for row in rows):
        columns.append(words("breaks", "breaks"))
    count = len(judged.lines[0].attitudes)
    head = f"Ranked by worst margin; where it is worst; in how many of {count} attitudes each is best"
    return headed(head, keyed_table(rows, columns, width), width)


def _setup(line: Line) -> str:
    return (
        "its best" if line.contender.is_own_best else line.contender.setup.name
    )


def _cell(margin: float) -> str:
    return number(margin, 3) if margin > -float("inf") else "lost"


def _best_in(line: Line) -> str:
    return str(line.best_in) if line.best_in else "nowhere"


def _mark(line: Line) -> str:
    one = line.contender
    return "CONTACT" if one.result.lost() else "LIMIT" if one.broken else ""


_RANKING = (
    Key("", "line.rank", str),
    words("body", "line.body", least=12),
    words("setup", "setup", least=10),
    Key("margin", "line.contender.margin", _cell),
    Key("at deg", "roll_angle_deg", angle),
    ALONG,
    words("attitude", "attitude", least=13),
    words("axle", "first_axle", rank=1),
    words("best in", "line", _best_in),
)


# ---- why ---------------------------------------------------------------------------------------------------


def _reasons(judged: JudgedComparison, width: int) -> str:
    """One paragraph for each but the first."""
    wide = len(str(len(judged.lines)))
    reasons = [
        paragraph(
            f"{line.body}, {_setup(line)}: {why(line)}",
            width,
            f"{INDENT}{line.rank:>{wide}}  ",
        )
        for line in judged.lines[1:]
    ]
    head = "Why each loses to the first, by the loss budgets of both in its own worst case"
    return headed(head, "\n".join(reasons), width)


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


# ---- every attitude ----------------------------------------------------------------------------------------


def _attitudes(judged: JudgedComparison, width: int) -> str:
    """Contenders against attitudes, as many tables as the width needs; attitudes go by numbers."""
    names = judged.best.result.cases.attitudes
    legend = ", ".join(
        f"({place}) {name}" for place, name in enumerate(names, 1)
    )
    head = "Worst margin of every attitude (*: the best there)"
    many = (width - _NAME_WIDTH) // _ATTITUDE_WIDTH
    tables = [
        _matrix(judged.lines, first, many, width)
        for first in range(0, len(names), many)
    ]
    return "\n".join([head, *tables, paragraph(legend, width, INDENT)])


def _matrix(lines: Sequence[Line], first: int, many: int, width: int) -> str:
    """Some of the attitudes, from the one with the number `first`."""
    names = [
        Column("", [str(line.rank) for line in lines]),
        Column(
            "body",
            [cut(line.body, width // 5) for line in lines],
            numeric=False,
            least=8,
        ),
        Column(
            "setup",
            [cut(_setup(line), width // 5) for line in lines],
            numeric=False,
            least=8,
        ),
    ]
    shown = range(len(lines[0].attitudes))[first : first + many]
    cells = [
        Column(
            f"({i + 1}) ",
            [_marked(line.attitudes[i], line.is_best[i]) for line in lines],
        )
        for i in shown
    ]
    return table([*names, *cells], width)


def _marked(worst: AttitudeWorst, is_best: bool) -> str:
    """Margin of a cell; a blank keeps the digits in line."""
    words = "lost" if worst.margin is None else number(worst.margin, 3)
    return f"{words}{'*' if is_best else ' '}"
