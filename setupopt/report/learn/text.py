"""Logs beside the model in words and plain tables; the words stand in learn.txt."""

from __future__ import annotations

from setupopt.learn.study import Learned
from setupopt.report.learn.fields import as_dict
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
    )
