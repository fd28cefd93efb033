"""Signs that the panels of the picture of a proposal share: setups and letters."""

from __future__ import annotations

from typing import Any

from setupopt.report.shared.colours import INK, SECOND, WARNING

# Told apart without colour: shapes of points, lines of curves, hatches of areas.
PROPOSED: Any = {"marker": "o", "ms": 6, "color": INK, "ls": "none"}
TODAY: Any = {
    "marker": "D",
    "ms": 8,
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
# Points, on paper too: the picture is as wide as the text of a printed page.
SMALL = 8.2
PANEL = (3.7, 4.5)  # inches
LOWEST = -0.3  # the car slides; how fast is not shown
# Over a panel, its title and what the signs mean
LEGEND: Any = {
    "loc": "lower left", "bbox_to_anchor": (0.0, 1.0), "fontsize": SMALL, "title_fontsize": 9.0,
    "alignment": "left", "borderaxespad": 0.2, "borderpad": 0.0, "handletextpad": 0.4, "columnspacing": 1.0,
}  # fmt: skip
