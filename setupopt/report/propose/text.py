"""A proposal in words and plain tables, for people; how far to trust it stands in `proposal_trust`."""

from __future__ import annotations

from collections.abc import Sequence

from setupopt.project.bodies import body_words
from setupopt.project.model import AXLES, Setup
from setupopt.project.settings import SETTINGS, Setting, in_file_units
from setupopt.report.propose.evidence import build_errors, counted_words, trust
from setupopt.report.propose.fields import JudgedProposal
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    along_column,
    along_words,
    angle,
    margin_words,
    number,
    paragraph,
    significant,
    table,
)
from setupopt.report.shared.words import CLOSING, cautions_text

_MOST_GAINS = 5
# Places that the settings, and each alternative beside them, take.
_SETTING_WIDTH, _ALTERNATIVE_WIDTH = 36, 10


def text(judged: JudgedProposal, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict and the setup; lines of at most `width`."""
    parts = [_head(judged, width), cautions_text(judged.project.cautions, width)]
    parts += [_verdict(judged, width), _settings(judged, width), _broken(judged, width)]
    if not short:
        parts += [_attitudes(judged, width), _binding(judged, width), _prices(judged, width)]
        parts += [_gains(judged, width), _alternatives(judged, width)]
        parts += [build_errors(judged, width), trust(judged, width)]
    parts.append(paragraph(CLOSING, width))
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(judged: JudgedProposal, width: int) -> str:
    project, cases = judged.project, judged.proposal.result.cases
    return paragraph(
        f'{project.car.name} at {project.venue.name}: proposal from "{project.setup.name}", checked on '
        f"{len(cases)} cases, {cases.angles.size} {cases.stands} x {len(cases.attitudes)} attitudes, and "
        "where it is worst between them",
        width,
    )


# ---- verdict -----------------------------------------------------------------------------------------------


def _verdict(judged: JudgedProposal, width: int) -> str:
    lines = [_margins(judged), _place(judged), _lower(judged), _counted(judged), _built(judged)]
    lines += [_floor(judged), *_own_floors(judged), _limits(judged), _body(judged), _unfinished(judged)]
    return "\n".join(paragraph(line, width) for line in lines if line)


def _margins(judged: JudgedProposal) -> str:
    p = judged.proposal
    return f"Worst margin: {_margin_words(p.start_margin)} today, {_margin_words(p.margin)} proposed"


def _margin_words(margin: float) -> str:
    return f"{margin_words(margin)}{' (it slides)' if -float('inf') < margin < 0.0 else ''}"


def _place(judged: JudgedProposal) -> str:
    worst, count = judged.proposal.worst, len(judged.proposal.result.cases)
    place = f"{angle(worst['roll_angle_deg'])} deg, {along_words(worst)}{worst['attitude']}"
    if judged.margin is not None:
        return f"Worst at {place}; the {worst['first_axle']} axle goes first."
    lost, before = judged.contact_lost, judged.proposal.start_result.lost()
    cases = f"in {lost} of {count} cases (today in {before}), worst"
    where = cases if lost else "between the roll angles of the check,"
    return f"CONTACT LOST {where} at {place}."


def _lower(judged: JudgedProposal) -> str:
    if judged.proposal.margin >= judged.proposal.start_margin:
        return ""
    return (
        "That is LOWER than today's: today's setup breaks a limit, a floor or a range, or weights or build "
        "errors ask for it."
    )


def _counted(judged: JudgedProposal) -> str:
    p = judged.proposal
    if (p.objective.weights == 1.0).all() or p.robustness is not None or not p.holds:
        return ""
    return (
        f"As the attitudes are weighed: {margin_words(p.start_weighted_margin)} today, "
        f"{margin_words(p.weighted_margin)} proposed"
    )


def _built(judged: JudgedProposal) -> str:
    """That build errors were reckoned with, and what is left with them."""
    r = judged.proposal.robustness
    if r is None:
        return ""
    return (
        f"With build errors: {margin_words(min(r.built, r.cloud_least))} proposed, the worst that was found"
    )


def _floor(judged: JudgedProposal) -> str:
    if judged.floor is None:
        return ""
    own = any(line.floor is not None for line in judged.attitudes)
    whose = " of attitudes without one of their own" if own else ""
    return (
        f"Floor asked for{whose}: {judged.floor:g}, {'NOT REACHED' if judged.is_under_floor else 'reached'}"
    )


def _own_floors(judged: JudgedProposal) -> list[str]:
    return [
        f'Floor of "{line.attitude}": {line.floor:g}, {"reached" if line.is_kept else "NOT REACHED"}, '
        f"worst margin {margin_words(line.margin)}"
        for line in judged.attitudes
        if line.floor is not None
    ]


def _limits(judged: JudgedProposal) -> str:
    count = len(judged.proposal.broken)
    return f"{count} {'limit is' if count == 1 else 'limits are'} BROKEN, see below" if count else ""


def _body(judged: JudgedProposal) -> str:
    """Which body to put on, where there are several."""
    if not judged.project.bodies:
        return ""
    today, proposed = body_words(judged.project.setup.body), body_words(judged.proposal.setup.body)
    return f"Wear the {proposed}, as today" if proposed == today else f"CHANGE the {today} to the {proposed}"


def _unfinished(judged: JudgedProposal) -> str:
    parts = judged.proposal.evidence.parts
    if parts is None or parts.is_finished:
        return ""
    more = significant(parts.bound - parts.sets[0].bound, 2)
    return f"The choice of parts is NOT FINISHED: other parts may be better by up to {more}."


# ---- the setup ---------------------------------------------------------------------------------------------


def _settings(judged: JudgedProposal, width: int) -> str:
    today, proposed = judged.project.setup, judged.proposal.setup
    columns = [
        Column("setting", [_word(setting) for setting in SETTINGS], numeric=False),
        Column("unit", [setting.unit for setting in SETTINGS], numeric=False),
    ]
    for axle in AXLES:
        before, after = _values(today, axle), _values(proposed, axle)
        marks = ["" if old == new else "*" for old, new in zip(before, after, strict=True)]
        columns += [Column(f"{axle} today", before), Column("proposed", after), Column("", marks, False)]
    kept = f"Kept as asked: {', '.join(judged.asked.keep)}." if judged.asked.keep else ""
    lines = ["Setup, today and proposed (*: change it)", table(columns, width)]
    return "\n".join([*lines, paragraph(kept, width, INDENT)] if kept else lines)


def _word(setting: Setting) -> str:
    return setting.key.removesuffix("_" + setting.unit.replace("/", "_per_")).replace("_", " ")


def _values(setup: Setup, axle: str) -> list[str]:
    return [_value(setup, axle, setting) for setting in SETTINGS]


def _value(setup: Setup, axle: str, setting: Setting) -> str:
    return f"{in_file_units(getattr(setup, axle), setting):g}"


def _broken(judged: JudgedProposal, width: int) -> str:
    if not judged.proposal.broken:
        return ""
    rows = [
        f"{limit.limit} {limit.where}: {number(limit.value, 2)} {limit.unit}, "
        f"{limit.sense} {number(limit.required, 2)} asked for"
        for limit in judged.proposal.broken
    ]
    lines = [paragraph(row, width, "  ! ") for row in rows]
    return "\n".join(["LIMITS BROKEN: no setup was found that keeps them all", *lines])


# ---- what holds the margin down ----------------------------------------------------------------------------


def _attitudes(judged: JudgedProposal, width: int) -> str:
    """What was asked of every attitude, where they do not all count alike."""
    if judged.proposal.objective.is_plain:
        return ""
    rows = judged.attitudes
    columns = [
        Column("attitude", [row.attitude for row in rows], numeric=False, least=20),
        Column("worst margin", [margin_words(row.margin) for row in rows]),
        Column("weight", [f"{row.weight:g}" for row in rows]),
        Column("floor", ["-" if row.floor is None else f"{row.floor:g}" for row in rows]),
        Column("kept", [{None: "-", True: "yes", False: "NO"}[row.is_kept] for row in rows], numeric=False),
    ]
    head = "What was asked of each attitude (weight 0: not raised)"
    return f"{head}\n{table(columns, width)}"


def _binding(judged: JudgedProposal, width: int) -> str:
    rows = judged.proposal.active_cases
    if not rows:
        return ""
    columns = [
        Column("roll angle deg", [angle(row.fields["roll_angle_deg"]) for row in rows]),
        *along_column([row.fields for row in rows]),
        Column("attitude", [row.fields["attitude"] for row in rows], numeric=False, least=20),
        Column("margin", [_margin(row.fields["margin"]) for row in rows]),
        Column("first axle", [row.fields["first_axle"] or "-" for row in rows], numeric=False),
        Column("share %", [number(100.0 * row.weight, 0) for row in rows]),
    ]
    return f"Cases that hold the margin down, and each one's share in it\n{table(columns, width)}"


def _margin(margin: float | None) -> str:
    return "contact lost" if margin is None else number(margin, 4)


def _prices(judged: JudgedProposal, width: int) -> str:
    rows, worth = judged.proposal.prices, counted_words(judged)
    if not judged.proposal.holds:
        return "Limits have no price: something is broken that no setup was found to keep."
    if not rows:
        return "No limit holds the margin down."
    columns = [
        Column("limit", [row.limit for row in rows], numeric=False, least=20),
        Column("margin per unit", [significant(row.margin_per_unit) for row in rows]),
        Column("unit", [row.unit for row in rows], numeric=False),
        Column("solved again", [significant(row.solved_again) for row in rows]),
        Column("", ["" if row.agrees else "!" for row in rows], numeric=False),
        Column("typed at", [row.key for row in rows], numeric=False, rank=1),
    ]
    head = f"Limits that hold the margin down, and the {worth} that one unit more brings"
    lines = [paragraph(head, width), table(columns, width)]
    if not all(row.agrees for row in rows):
        note = "solving again with the limit a little looser finds another price, by more than 10 %: trust "
        lines.append(paragraph(f"{note}the smaller one, for small changes only.", width, "  ! "))
    return "\n".join(lines)


def _gains(judged: JudgedProposal, width: int) -> str:
    rows = judged.proposal.gains[:_MOST_GAINS]
    if not rows:
        return ""
    columns = [
        Column("change", [row.what for row in rows], numeric=False),
        Column("worst margin", [number(row.gain, 4, sign=True) for row in rows]),
    ]
    head = "What else would raise the margin of the proposed setup, each alone"
    return f"{head}\n{table(columns, width)}"


# ---- alternatives ------------------------------------------------------------------------------------------

# Head, setup and margin of a column.
_Shown = tuple[str, Setup, float]


def _alternatives(judged: JudgedProposal, width: int) -> str:
    """The proposal and its alternatives side by side, with the settings in which any of them differ."""
    p, loss = judged.proposal, judged.asked.loss
    if not p.holds or loss <= 0.0:
        return ""
    if not judged.alternatives:
        return paragraph(f"No clearly different setup was found that loses at most {loss:g}.", width)
    head = f"Clearly different setups that lose at most {loss:g} of the {counted_words(judged)}"
    others = [(str(n), one.setup, one.weighted_margin) for n, one in enumerate(judged.alternatives, 1)]
    tables = _side_by_side(("proposed", p.setup, p.weighted_margin), others, width)
    return "\n".join([paragraph(head, width), *tables, *_other_bodies(judged, width)])


def _side_by_side(first: _Shown, others: Sequence[_Shown], width: int) -> list[str]:
    """As many tables as the width needs, the first setup in each of them."""
    setups = [first[1], *(setup for _, setup, _ in others)]
    rows = [
        (axle, setting)
        for axle in AXLES
        for setting in SETTINGS
        if len({_value(setup, axle, setting) for setup in setups}) > 1
    ]
    columns = [
        Column("setting", ["margin", *(f"{axle} {_word(setting)}" for axle, setting in rows)], False),
        Column("unit", ["", *(setting.unit for _, setting in rows)], numeric=False),
        *(
            Column(head, [number(margin, 4), *(_value(setup, *row) for row in rows)])
            for head, setup, margin in (first, *others)
        ),
    ]
    fixed, many = columns[:3], (width - _SETTING_WIDTH) // _ALTERNATIVE_WIDTH
    return [table([*fixed, *columns[at : at + many]], width) for at in range(3, len(columns), many)]


def _other_bodies(judged: JudgedProposal, width: int) -> list[str]:
    return [
        paragraph(f"{number} wears the {body_words(one.setup.body)}.", width, INDENT)
        for number, one in enumerate(judged.alternatives, 1)
        if one.setup.body != judged.proposal.setup.body
    ]
