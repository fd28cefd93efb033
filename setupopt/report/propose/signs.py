"""Signs that the panels of the picture of a proposal share: setups and letters."""

from __future__ import annotations

from typing import Any

from setupopt.report.shared.picture import (
    INK,
    SECOND,
    WARNING,
)

# Told apart without colour: shapes of points, lines of curves, hatches of areas.
PROPOSED: Any = {"marker": "o", "ms": 6, "color": INK, "ls": "none"}


TODAY: Any = {
    "marker": "D",
    "ms": 9,
    "color": WARNING,
    "mfc": "white",
    "mew": 1.6,
    "ls": "none",
}


STEADY: Any = {
    "marker": "s",
    "ms": 7,
    "color": SECOND,
    "mfc": "white",
    "ls": "none",
}


BOX = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}


SMALL = 8.0  # letters, points


TINY = 7.0  # letters, points


LOWEST = -0.3  # the car slides; how fast is not shown
