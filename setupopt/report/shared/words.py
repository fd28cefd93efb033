"""Sentences and parts of a text that several commands print. Every part has lines of at most a width."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from setupopt.evaluation.result import Result
from setupopt.evaluation.variables import Slot
from setupopt.project.settings import Setting
from setupopt.report.shared.tables import (
    along_words,
    margin_words,
    paragraph,
    significant,
)
from setupopt.units import PERCENT, angle

CLOSING = (
    "This is a model's result, no clearance to drive. It is as good as the numbers in the files and the "
    "assumptions in docs/model.md. Local rules, licensed engineers and an independent check of this "
    "result come before any run."
)
NO_PRICES = (
    "the car slides or loses contact, or limits.toml is missing or leaves no "
    "setting free"
)


def lines(sentences: Iterable[str], width: int, lead: str = "") -> str:
    """The sentences, each on lines of its own after `lead`; empty ones are left out."""
    return "\n".join(
        paragraph(sentence, width, lead) for sentence in sentences if sentence
    )


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


def assumed_text(assumed: Sequence[str], width: int) -> str:
    """What is taken for entries that car.toml leaves out, one a line; empty where there is none."""
    head = f"ASSUMED ({len(assumed)}), as car.toml does not say"
    return headed(head, lines(assumed, width, "  - "), width)


def verdict(passes: bool | None) -> str:
    """The judgement of something that was asked for; None: nothing is required.

    >>> verdict(True), verdict(False), verdict(None)
    ('pass', 'FAIL', 'for information')
    """
    if passes is None:
        return "for information"
    return "pass" if passes else "FAIL"


def where_words(case: Mapping[str, Any]) -> str:
    """Where and how the car stands in a case: angle, place along a section of parts, attitude."""
    return f"{angle(case['roll_angle_deg'])} deg, {along_words(case)}{case['attitude']}"


def slides(margin: float | None) -> str:
    """A note on a margin below zero.

    >>> slides(-0.583), slides(0.1), slides(None)
    (' (slides: 58 % more friction needed)', '', '')
    """
    if margin is None or not -float("inf") < margin < 0.0:
        return ""
    return f" (slides: {more_friction(margin)} needed)"


def more_friction(margin: float) -> str:
    """The friction that a case lacks, by its margin below zero: one minus the least friction factor."""
    return f"{significant(-margin / PERCENT, 2)} % more friction"


def sliding_words(result: Result, setup: int = 0) -> str:
    """In how many cases the car slides, and what the worst of them needs; empty where none slides."""
    sliding = result.sliding(setup)
    if not sliding:
        return ""
    least = more_friction(float(np.nanmin(result.margin[setup])))
    return (
        f"THE CAR SLIDES in {sliding} of {result.count} cases: the friction there is not enough for any "
        f"trim, and limits are not judged. The worst case needs {least}."
    )


# ---- setups ------------------------------------------------------------------------------------------------

_COMMON_NAMES = {
    "third": "third (heave spring)",
    "pressure": "pressure, hot",
    "brake_front": "brakes, share in front",
    "drive_front": "drive, share in front",
    "cross_share": "cross weight",
    "wing": "angle",
}


def setting_words(setting: Setting) -> str:
    """A setting without its unit.

    >>> from setupopt.project.settings import SETTINGS
    >>> setting_words(SETTINGS[1]), setting_words(SETTINGS[4])
    ('ride height', 'third (heave spring)')
    """
    return _COMMON_NAMES.get(setting.field, setting.field.replace("_", " "))


def slot_words(slot: Slot) -> str:
    """A setting of an axle, a wheel or the car without its unit.

    >>> from setupopt.project.settings import SETTINGS
    >>> slot_words(Slot("front.left", SETTINGS[1], (0,)))
    'front left ride height'
    """
    return f"{slot.where.replace('.', ' ')} {setting_words(slot.setting)}"


def setup_comment(what: str, margin: float, warning: str = "") -> str:
    """The comment on top of a setup that a command writes: what it is, its worst margin, the caution."""
    first = f"{what}; worst margin {margin_words(margin)} by the model."
    return lines([first, warning, CLOSING], 90)
