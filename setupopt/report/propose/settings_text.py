"""The settings of a proposal in words, with what each is worth; alternatives side by side."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

from setupopt.evaluation.variables import Slot, slots
from setupopt.project.bodies import body_words
from setupopt.project.model import Setup
from setupopt.project.settings import rounded
from setupopt.report.propose.evidence import (
    counted_words,
)
from setupopt.report.propose.fields import JudgedProposal
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    number,
    paragraph,
    significant,
    table,
)
from setupopt.report.shared.words import (
    gain_words,
    slot_words,
)
from setupopt.search.proposal import Change, Plateau
from setupopt.search.worth import PLATEAU_LOSS

# Places that the settings, and each alternative beside them, take.
_SETTING_WIDTH = 36


_ALTERNATIVE_WIDTH = 10


def settings(judged: JudgedProposal, width: int) -> str:
    setups = (judged.project.setup, judged.proposal.setup)
    found = slots(setups)
    changes = {change.slot.name: change for change in judged.proposal.changes}
    plateaus = {
        plateau.slot.name: plateau for plateau in judged.proposal.plateaus
    }
    today, proposed = (
        [_shown_value(slot, setup) for slot in found] for setup in setups
    )
    costs = [_cost_words(changes.get(slot.name)) for slot in found]
    ends = [_ends(slot, plateaus.get(slot.name)) for slot in found]
    columns = [
        Column(
            "setting",
            [slot_words(slot) for slot in found],
            numeric=False,
            least=18,
        ),
        Column("unit", [slot.setting.unit for slot in found], numeric=False),
        Column("today", today),
        *_steady(judged, found),
        Column("proposed", proposed),
        Column(
            "",
            [
                "" if old == new else "*"
                for old, new in zip(today, proposed, strict=True)
            ],
            False,
        ),
        Column("left alone", costs, rank=1),
        Column("from", [low for low, _ in ends], rank=2),
        Column("to", [high for _, high in ends], rank=2),
    ]
    kept = ", ".join(judged.asked.keep)
    key = (
        f"Left alone: the {counted_words(judged)} that leaving this one setting as today costs (X: it breaks "
        f"a limit). From, to: where it alone may go for a loss of at most {PLATEAU_LOSS:g}."
    )
    parts = [
        "Setup, today and proposed (*: change it)",
        table(columns, width),
        paragraph(key, width, INDENT) if changes or plateaus else "",
        paragraph(f"Kept as requested: {kept}.", width, INDENT) if kept else "",
        _left_out(judged, width),
        _sides(judged, width),
    ]
    return "\n".join(part for part in parts if part)


def _steady(judged: JudgedProposal, found: Sequence[Slot]) -> list[Column]:
    """Where something must be stood, the best setup without that."""
    required = judged.proposal.required
    if required is None:
        return []
    values = [slot.value(required.steady.setup) for slot in found]
    return [Column("steady", [significant(value) for value in values], rank=1)]


def _cost_words(change: Change | None) -> str:
    if change is None:
        return ""
    cost = number(change.loss, 4) if isfinite(change.loss) else "contact lost"
    return f"X {cost}" if change.broken else cost


def _ends(slot: Slot, plateau: Plateau | None) -> tuple[str, str]:
    if plateau is None:
        return "", ""
    low, high = (
        rounded(value, slot.setting) for value in (plateau.lower, plateau.upper)
    )
    return f"{low:g}", f"{high:g}"


def _left_out(judged: JudgedProposal, width: int) -> str:
    """The changes that were not worth it, and what they cost together."""
    p = judged.proposal
    if judged.asked.min_gain <= 0.0:
        return ""
    if not p.dropped:
        return paragraph(
            f"No change is worth less than {judged.asked.min_gain:g}.",
            width,
            INDENT,
        )
    names = ", ".join(slot_words(one.slot) for one in p.dropped)
    words = (
        f"Left as today, each worth less than {judged.asked.min_gain:g}: {names}. Together this "
        f"{gain_words(-p.dropped_loss)} of {counted_words(judged)}."
    )
    return paragraph(words, width, INDENT)


def _sides(judged: JudgedProposal, width: int) -> str:
    """What sides of their own bring, and which wheel they move."""
    sides = judged.proposal.sides
    if sides is None:
        return ""
    what = (
        "Setting the sides apart"
        if sides.are_free
        else "Ranges of each side in limits.toml would free the sides: that"
    )
    words = f"{what} {gain_words(sides.gain)}, from {number(sides.alike, 4)} to {number(sides.apart, 4)}"
    moved = ", ".join(_move_words(*one) for one in sides.moved)
    most = f"; moved most: {moved}" if moved else ""
    return paragraph(
        f"{words}{most}. Parts and steps of any value, one local search.",
        width,
        INDENT,
    )


def _move_words(slot: Slot, even: float, own: float) -> str:
    before, after = (
        f"{rounded(value, slot.setting):.3g}" for value in (even, own)
    )
    return f"{slot_words(slot)} {before} -> {after} {slot.setting.unit}"


def _shown_value(slot: Slot | None, setup: Setup) -> str:
    value = None if slot is None else slot.value(setup)
    return "-" if value is None else f"{value:g}"


# Head, setup and margin of a column.
_Shown = tuple[str, Setup, float]


def alternatives(judged: JudgedProposal, width: int) -> str:
    """The proposal and its alternatives side by side, with the settings in which any of them differ."""
    p = judged.proposal
    loss = judged.asked.loss
    if not p.holds or loss <= 0.0:
        return ""
    if not judged.alternatives:
        return paragraph(
            f"No clearly different setup was found that loses at most {loss:g}.",
            width,
        )
    head = f"Clearly different setups that lose at most {loss:g} of the {counted_words(judged)}"
    others = [
        (str(n), one.setup, one.weighted_margin)
        for n, one in enumerate(judged.alternatives, 1)
    ]
    tables = _side_by_side(
        ("proposed", p.setup, p.weighted_margin), others, width
    )
    return "\n".join(
        [paragraph(head, width), *tables, *_other_bodies(judged, width)]
    )


def _side_by_side(
    first: _Shown, others: Sequence[_Shown], width: int
) -> list[str]:
    """As many tables as the width needs, the first setup in each of them."""
    setups = [first[1], *(setup for _, setup, _ in others)]
    rows = [
        slot
        for slot in slots(setups)
        if len({_shown_value(slot, setup) for setup in setups}) > 1
    ]
    names = [slot_words(slot) for slot in rows]
    units = [slot.setting.unit for slot in rows]
    columns = [
        Column("setting", ["margin", *names], False),
        Column("unit", ["", *units], False),
    ]
    for head, setup, margin in (first, *others):
        values = [_shown_value(slot, setup) for slot in rows]
        columns.append(Column(head, [number(margin, 4), *values]))
    fixed = columns[:3]
    many = (width - _SETTING_WIDTH) // _ALTERNATIVE_WIDTH
    return [
        table([*fixed, *columns[at : at + many]], width)
        for at in range(3, len(columns), many)
    ]


def _other_bodies(judged: JudgedProposal, width: int) -> list[str]:
    return [
        paragraph(
            f"{number} wears the {body_words(one.setup.body)}.",
            width,
            INDENT,
        )
        for number, one in enumerate(judged.alternatives, 1)
        if one.setup.body != judged.proposal.setup.body
    ]
