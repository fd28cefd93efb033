"""Sentences and parts of a text that several commands print. Every part has lines of at most a width."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, TypeVar

from setupopt.evaluation.limits_check import Broken
from setupopt.project.settings import Setting
from setupopt.report.shared.tables import (
    Key,
    along_words,
    angle,
    decimals,
    keyed_table,
    margin_words,
    number,
    paragraph,
    words,
)

Subject = TypeVar("Subject")
ALONG = Key(
    "along mm",
    "along_mm",
    lambda value: number(value, 0),
    optional=True,
)  # on a section of parts
CLOSING = (
    "This is a model's result, no clearance to drive. It is as good as the numbers in the files and the "
    "assumptions in docs/model.md. Local rules, licensed engineers and an independent check of this "
    "result come before any run."
)


def composed(
    parts: Iterable[Callable[[Subject, int], str]],
    subject: Subject,
    width: int,
    closing: str = CLOSING,
) -> str:
    """A text of the parts that have something to say about the subject, with the closing words."""
    texts = [part(subject, width) for part in parts]
    texts.append(paragraph(closing, width))
    return "\n\n".join(text for text in texts if text) + "\n"


def lines(sentences: Iterable[str], width: int, lead: str = "") -> str:
    """The sentences, each on lines of its own after `lead`; empty ones are left out."""
    return "\n".join(paragraph(sentence, width, lead) for sentence in sentences if sentence)


def headed(head: str, body: str, width: int) -> str:
    """A part with a head; empty where the body is empty."""
    return f"{paragraph(head, width)}\n{body}" if body else ""


def counted(count: int, one: str, several: str = "") -> str:
    """A number with its noun.

    >>> counted(1, "case"), counted(2, "case"), counted(3, "body", "bodies")
    ('1 case', '2 cases', '3 bodies')
    """
    return f"{count} {one if count == 1 else several or f'{one}s'}"


def cautions_text(cautions: Sequence[str], width: int) -> str:
    """Cautions about the input, one a line; empty where there is none."""
    head = f"CAUTIONS ({len(cautions)}), to be read before the numbers"
    return headed(head, lines(cautions, width, "  ! "), width)


def verdict(passes: bool) -> str:
    """The judgement of something that was asked for."""
    return "pass" if passes else "FAIL"


def floor_words(floor: float | None, passes: bool, whose: str = "") -> str:
    """Whether the minimum margin that was asked for is reached; empty where none was."""
    return "" if floor is None else f"Minimum margin{whose} {floor:g}: {verdict(passes)}"


def where_words(case: Mapping[str, Any]) -> str:
    """Where and how the car stands in a case: angle, place along a section of parts, attitude."""
    return f"{angle(case['roll_angle_deg'])} deg, {along_words(case)}{case['attitude']}"


def slides(margin: float | None) -> str:
    """A note on a margin below zero."""
    return " (below zero: it slides)" if margin is not None and -float("inf") < margin < 0.0 else ""


# ---- limits ------------------------------------------------------------------------------------------------


def limits_text(broken: Sequence[Broken], width: int) -> str:
    """A table of the limits that are broken; empty where there are none."""
    if not broken:
        return ""
    return f"LIMITS BROKEN ({len(broken)})\n{keyed_table(broken, _LIMITS, width)}"


def limits_words(broken: Sequence[Broken]) -> str:
    """The verdict on the limits, where one is broken."""
    kinds = "limit is" if len(broken) == 1 else "limits are"
    return f"Limits: FAIL, {len(broken)} {kinds} broken, see below" if broken else ""


def _place_words(limit: Broken) -> str:
    return "-" if limit.roll_angle_deg is None else where_words(asdict(limit))


_LIMITS = (
    words("limit", "limit", least=20),
    words("where", "where", least=8),
    decimals("value", "value", 1),
    Key(
        "required",
        "",
        lambda limit: f"{limit.sense} {limit.required:g} {limit.unit}",
    ),
    Key("case", "case", missing="at rest"),
    words("at", "", _place_words, least=12),
)


# ---- measured values ---------------------------------------------------------------------------------------

_MOST_OUTLYING = 20


def outlying_table(columns: Sequence[Key], rows: Sequence[Any], width: int) -> str:
    """The first of the measured values that do not fit, and how many more there are."""
    if not rows:
        return ""
    left = len(rows) - _MOST_OUTLYING
    more = f"\n  and {left} more" if left > 0 else ""
    return keyed_table(rows[:_MOST_OUTLYING], columns, width) + more


# ---- setups ------------------------------------------------------------------------------------------------

_COMMON_NAMES = {
    "third": "third (heave spring)",
    "pressure": "pressure, hot",
}


def setting_words(setting: Setting) -> str:
    """A setting without its unit.

    >>> from setupopt.project.settings import SETTINGS
    >>> setting_words(SETTINGS[1]), setting_words(SETTINGS[4])
    ('ride height', 'third (heave spring)')
    """
    return _COMMON_NAMES.get(setting.field, setting.field.replace("_", " "))


def setup_comment(what: str, margin: float, warning: str = "") -> str:
    """The comment on top of a setup that a command writes: what it is, its worst margin, the caution."""
    first = f"{what}; worst margin {margin_words(margin)} by the model."
    return lines([first, warning, CLOSING], 90)


def gain_words(value: float, digits: int = 4) -> str:
    """A change of margin as a positive number and a verb.

    >>> gain_words(0.0123), gain_words(-0.0123), gain_words(0.00001)
    ('gains 0.0123', 'loses 0.0123', 'gains less than 0.0001')
    """
    least = 10.0**-digits
    size = f"less than {number(least, digits)}" if 0.0 < abs(value) < least else number(abs(value), digits)
    return f"{'loses' if value < 0.0 else 'gains'} {size}"
