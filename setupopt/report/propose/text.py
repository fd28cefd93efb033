"""A proposal in words and plain tables, for people; how far to trust it stands in `evidence`."""

from __future__ import annotations

from setupopt.project.bodies import body_words
from setupopt.report.propose.evidence import (
    build_errors,
    counted_words,
    trust,
)
from setupopt.report.propose.fields import JudgedProposal
from setupopt.report.propose.required import required_text
from setupopt.report.propose.settings_text import alternatives, settings
from setupopt.report.shared.in_air import in_air_words
from setupopt.report.shared.tables import (
    Key,
    angle,
    decimals,
    keyed_table,
    margin_words,
    number,
    paragraph,
    significant,
    words,
)
from setupopt.report.shared.words import (
    cautions_text,
    composed,
    floor_words,
    headed,
    limits_text,
    limits_words,
    lines,
    slides,
    sliding_words,
    standing_words,
    verdict,
    where_words,
)
from setupopt.report.shared.would_hold import would_hold_words

_MOST_GAINS = 5


def text(judged: JudgedProposal, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict and the setup; lines of at most `width`."""
    parts = (_head, _cautions, _verdict, _required, settings, _broken)
    more = (
        _attitudes,
        _binding,
        _prices,
        _gains,
        alternatives,
        build_errors,
        trust,
    )
    return composed(parts if short else (*parts, *more), judged, width)


def _head(judged: JudgedProposal, width: int) -> str:
    project = judged.project
    cases = judged.proposal.result.cases
    words = (
        f'{project.car.name} at {project.venue.name}: proposal from "{project.setup.name}", checked on '
        f"{len(cases)} cases, {cases.angles.size} {cases.stands} x {len(cases.attitudes)} attitudes, and "
        "where it is worst between them"
    )
    return paragraph(words, width)


def _cautions(judged: JudgedProposal, width: int) -> str:
    return cautions_text(judged.project.cautions, width)


# ---- verdict -----------------------------------------------------------------------------------------------


def _verdict(judged: JudgedProposal, width: int) -> str:
    own = any(line.floor is not None for line in judged.attitudes)
    whose = " of attitudes without one of their own" if own else ""
    sentences = [
        _margins(judged),
        _place(judged),
        _speed(judged),
        sliding_words(judged.proposal.result),
        in_air_words(judged.proposal.result),
        would_hold_words(judged.would_hold),
        _lower(judged),
        _counted(judged),
        _built(judged),
        floor_words(judged.floor, not judged.is_under_floor, whose),
        *_own_floors(judged),
        limits_words(judged.proposal.broken),
        _body(judged),
        _unfinished(judged),
    ]
    return lines(sentences, width)


def _margins(judged: JudgedProposal) -> str:
    p = judged.proposal
    return f"Worst margin: {_margin_words(p.start_margin)} today, {_margin_words(p.margin)} proposed"


def _margin_words(margin: float) -> str:
    return f"{margin_words(margin)}{slides(margin)}"


def _place(judged: JudgedProposal) -> str:
    worst = judged.proposal.worst
    place = where_words(worst)
    if judged.margin is not None:
        axle = f"the {worst['first_axle']} axle reaches its grip first"
        return f"Worst at {place}; {axle}; {standing_words(worst)}."
    count = len(judged.proposal.result.cases)
    before = judged.proposal.start_result.lost()
    where = "between the roll angles of the check,"
    if judged.contact_lost:
        where = f"in {judged.contact_lost} of {count} cases (today in {before}), worst"
    return f"CONTACT LOST {where} at {place}."


def _speed(judged: JudgedProposal) -> str:
    """The speed that was chosen, where limits.toml leaves a choice."""
    chosen = judged.proposal.project.venue.sweep.speed
    own = judged.project.venue.sweep.speed
    if chosen == own:
        return ""
    return (
        f"At {chosen:g} m/s, not {own:g}: all numbers are of that speed. To go on with it, set [sweep] "
        f"speed_m_s = {chosen:g} in venue.toml."
    )


def _lower(judged: JudgedProposal) -> str:
    if judged.proposal.margin >= judged.proposal.start_margin:
        return ""
    return (
        "That is LOWER than today's: today's setup breaks a limit, a minimum margin or a range, or weights "
        "or build errors make it necessary."
    )


def _counted(judged: JudgedProposal) -> str:
    p = judged.proposal
    if (
        (p.objective.weights == 1.0).all()
        or p.robustness is not None
        or not p.holds
    ):
        return ""
    today = margin_words(p.start_weighted_margin)
    return f"As the attitudes are weighted: {today} today, {margin_words(p.weighted_margin)} proposed"


def _built(judged: JudgedProposal) -> str:
    """What is left of the margin with build errors, where they are included."""
    r = judged.proposal.robustness
    if r is None:
        return ""
    return f"With build errors: {margin_words(min(r.built, r.cloud_least))} proposed, the worst that was found"


def _own_floors(judged: JudgedProposal) -> list[str]:
    return [
        floor_words(line.floor, bool(line.is_kept), f' of "{line.attitude}"')
        + f", worst margin {margin_words(line.margin)}"
        for line in judged.attitudes
        if line.floor is not None
    ]


def _body(judged: JudgedProposal) -> str:
    """Which body to put on, where there are several."""
    if not judged.project.bodies:
        return ""
    today = body_words(judged.project.setup.body)
    proposed = body_words(judged.proposal.setup.body)
    return (
        f"Wear the {proposed}, as today"
        if proposed == today
        else f"CHANGE the {today} to the {proposed}"
    )


def _unfinished(judged: JudgedProposal) -> str:
    parts = judged.proposal.evidence.parts
    if parts is None or parts.is_finished:
        return ""
    more = significant(parts.bound - parts.sets[0].bound, 2)
    return f"The choice of parts is NOT FINISHED: other parts may be better by up to {more}."


def _required(judged: JudgedProposal, width: int) -> str:
    return required_text(judged.proposal, judged.asked, width)


# ---- the setup ---------------------------------------------------------------------------------------------


def _broken(judged: JudgedProposal, width: int) -> str:
    shown = limits_text(judged.proposal.broken, width)
    return f"{shown}\nNo setup was found that keeps them all." if shown else ""


# ---- what holds the margin down ----------------------------------------------------------------------------


def _attitudes(judged: JudgedProposal, width: int) -> str:
    """What was asked of every attitude, where they do not all count alike."""
    if judged.proposal.objective.is_plain:
        return ""
    head = "What was asked of each attitude (weight 0: not raised)"
    return headed(head, keyed_table(judged.attitudes, _ATTITUDES, width), width)


_ATTITUDES = (
    words("attitude", "attitude", least=20),
    Key("worst margin", "margin", margin_words),
    Key("weight", "weight", "{:g}".format),
    Key("minimum margin", "floor", "{:g}".format),
    words("", "is_kept", verdict),
)


def _binding(judged: JudgedProposal, width: int) -> str:
    """Active cases: those that hold the margin down."""
    rows = judged.proposal.active_cases
    head = "Cases that hold the margin down, and each one's share in it"
    return (
        headed(head, keyed_table(rows, _BINDING, width), width) if rows else ""
    )


_BINDING = (
    Key("deg", "fields.roll_angle_deg", angle),
    Key(
        "along mm",
        "fields.along_mm",
        lambda value: number(value, 0),
        optional=True,
    ),
    words("attitude", "fields.attitude", least=14),
    decimals("margin", "fields.margin", 4, missing="contact lost"),
    decimals("sideslip", "fields.sideslip_deg", 2),
    decimals("steer", "fields.steer_deg", 2),
    words("first axle", "fields.first_axle"),
    Key("share %", "weight", lambda weight: number(100.0 * weight, 0)),
)


def _prices(judged: JudgedProposal, width: int) -> str:
    """What a little more of each limit is worth, and a note where two ways to find it disagree."""
    rows = judged.proposal.prices
    if not judged.proposal.holds:
        return (
            "Limits have no price: no setup was found that keeps all of them."
        )
    if not rows:
        return "No limit holds the margin down."
    head = f"Limits that hold the margin down, and the {counted_words(judged)} that one unit more brings"
    note = (
        "solving again with the limit a little looser gives a price that differs by more than 10 %: trust "
        "the smaller one, for small changes only."
    )
    notes = (
        []
        if all(row.agrees for row in rows)
        else [paragraph(note, width, "  ! ")]
    )
    return "\n".join(
        [headed(head, keyed_table(rows, _PRICES, width), width), *notes]
    )


_PRICES = (
    words("limit", "limit", least=20),
    Key("margin per unit", "margin_per_unit", significant),
    words("unit", "unit"),
    Key("solved again", "solved_again", significant),
    words("", "agrees", lambda agrees: "" if agrees else "!"),
    words("typed at", "key", rank=1),
)


def _gains(judged: JudgedProposal, width: int) -> str:
    rows = judged.proposal.gains[:_MOST_GAINS]
    head = "What else would raise the margin of the proposed setup, each alone"
    return headed(head, keyed_table(rows, _GAINS, width), width) if rows else ""


_GAINS = (
    words("change", "what"),
    Key("worst margin", "gain", lambda gain: number(gain, 4, sign=True)),
)


# ---- alternatives ------------------------------------------------------------------------------------------
