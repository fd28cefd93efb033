"""Logs beside the model in words and plain tables; the words stand in learn.txt."""

from __future__ import annotations

from setupopt.learn.study import Learned
from setupopt.report.learn.fields import as_dict
from setupopt.report.shared.tables import angle
from setupopt.report.shared.template import rendered


def text(learned: Learned, width: int, short: bool = False) -> str:
    """The whole report, or with `short` without what the channels and values show."""
    return rendered(
        "learn/learn",
        width,
        short,
        **as_dict(learned),
        learned=learned,
        worst=learned.worst,
        reach=_reach,
        told=lambda told: "" if told else "the log cannot tell",
        driven=lambda driven: "driven" if driven else "",
    )


def _reach(degrees: float | None) -> str:
    return "no run" if degrees is None else f"{angle(degrees)} deg"
