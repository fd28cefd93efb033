"""What a proposal had to stand: its words, its table and its fields."""

from __future__ import annotations

from typing import Any

from setupopt.evaluation.result import Field, finite
from setupopt.project import setup_as_dict
from setupopt.report.shared.plain import picked
from setupopt.report.shared.tables import (
    INDENT,
    Key,
    decimals,
    keyed_table,
    margin_words,
    paragraph,
    significant,
    words,
)
from setupopt.report.shared.words import headed, where_words
from setupopt.robust.last_word import RUNS, SECONDS
from setupopt.search.proposal import (
    DISTURBANCE,
    Proposal,
    ProposalOptions,
    Required,
)
from setupopt.search.required_front import FrontPoint
from setupopt.search.stood_setup import UNITS, StoodSetup

_NOTE = (
    "First by linear equations of motion about every trim, with slip that lags and a driver who answers "
    "late; then by rides at the worst places, up to twice what is asked, "
    f"{RUNS} runs of {SECONDS:g} s on the road. Worst margins are those of the sweep. Steady: the best "
    "without [require], parts of any value."
)


def required_text(
    proposal: Proposal, asked: ProposalOptions, width: int
) -> str:
    """Today's, the steady and the proposed setup beside what must be stood; empty where nothing must."""
    required = proposal.required
    if required is None:
        return ""
    times = required.times
    head = "What the car must withstand at every place"
    if asked.raised == DISTURBANCE:
        least = asked.least_margin
        head += f", raised: {significant(times)} times [require], with a margin of at least {least:g}"
    parts = [
        keyed_table(_rows(required), _COLUMNS, width),
        paragraph(_NOTE, width, INDENT),
    ]
    if required.front:
        parts += [
            "",
            "Best margin by how much the car must withstand, parts of any value",
            _front(required, width),
        ]
    return headed(head, "\n".join(parts), width)


def _rows(required: Required) -> list[Field]:
    """Margin, then every disturbance, then the chance on the road, of the three setups."""
    shown = ("today", "steady", "proposed")
    setups: list[StoodSetup] = [getattr(required, name) for name in shown]
    margins = [margin_words(one.margin) for one in setups]
    rows = [_row("worst margin", "", "", margins, "")]
    for each in zip(*(one.stood for one in setups), strict=True):
        key, unit, factor = UNITS[each[0].kind]
        asked = significant(required.times * each[0].asked / factor)
        stood = [significant(one.stood / factor) for one in each]
        rows.append(_row(key, unit, asked, stood, where_words(each[-1].fields)))
        if each[0].kind == "road":
            failed = [significant(100.0 * one.ridden, 2) for one in each]
            rows.append(_row("runs on it that fail", "%", "", failed, ""))
        else:
            rides = [significant(one.ridden / factor) for one in each]
            rows.append(_row("in rides", unit, "", rides, ""))
    if setups[0].built is not None:
        built = [
            margin_words(one.built) for one in setups if one.built is not None
        ]
        rows.append(_row("worst margin, builds or inputs", "", "", built, ""))
    return rows


def _row(
    what: str, unit: str, asked: str, values: list[str], where: str
) -> Field:
    return dict(zip(("what", "unit", "asked", "today", "steady", "proposed", "where"),
                    (what, unit, asked, *values, where), strict=True))  # fmt: skip


_COLUMNS = (
    words("", "what", least=16), words("unit", "unit", least=6), Key("asked", "asked"), Key("today", "today"),
    Key("steady", "steady"), Key("proposed", "proposed"),
    words("proposed is worst at", "where", least=16, rank=1),
)  # fmt: skip


def _front(required: Required, width: int) -> str:
    return keyed_table(required.front, _FRONT, width)


_FRONT = (
    Key("times [require]", "times", lambda value: significant(value)),
    decimals("worst margin", "margin", 4),
    words("", "is_stood", lambda stood: "" if stood else "not reached"),
)


def required_fields(required: Required | None) -> Any:
    """For JSON, in the units of the files; None where nothing must be stood."""
    if required is None:
        return None
    return {
        "times": required.times,
        **{
            name: _setup(getattr(required, name))
            for name in ("today", "steady", "proposed")
        },
        "front": [_point(one) for one in required.front],
    }


def _setup(one: StoodSetup) -> Field:
    stood = {}
    for disturbance in one.stood:
        key, _, factor = UNITS[disturbance.kind]
        where = {
            name: disturbance.fields.get(name)
            for name in ("roll_angle_deg", "attitude")
        }
        stood[key] = {
            "asked": disturbance.asked / factor,
            "stood": disturbance.stood / factor,
            **where,
        }
        rides = disturbance.ridden / (
            1.0 if disturbance.kind == "road" else factor
        )
        stood[key][
            "runs_failed" if disturbance.kind == "road" else "ridden"
        ] = rides
    built = None if one.built is None else finite(one.built)
    return {
        "margin": finite(one.margin),
        "stood": stood,
        "built": built,
        "setup": setup_as_dict(one.setup),
    }


def _point(one: FrontPoint) -> Field:
    return {
        **picked(one, "times", "margin", "is_stood"),
        "setup": setup_as_dict(one.setup),
    }
