"""Sentences that several commands print."""

from __future__ import annotations

from collections.abc import Sequence

from setupopt.report.shared.tables import margin_words, paragraph

CLOSING = (
    "This is a model's result, no clearance to drive. It is as good as the numbers in the files and the "
    "assumptions in docs/model.md. Local rules, licensed engineers and an independent check of this "
    "result come before any run."
)


def cautions_text(cautions: Sequence[str], width: int) -> str:
    """Cautions about the input, one a line; empty where there is none."""
    if not cautions:
        return ""
    head = f"CAUTIONS ({len(cautions)}), to be read before the numbers"
    return "\n".join([head, *(paragraph(caution, width, "  ! ") for caution in cautions)])


def setup_comment(what: str, margin: float, warning: str = "") -> str:
    """The comment on top of a setup that a command writes: what it is, its worst margin, the caution."""
    first = paragraph(f"{what}; worst margin {margin_words(margin)} by the model.", 90)
    return "\n".join(part for part in (first, warning, paragraph(CLOSING, 90)) if part)
