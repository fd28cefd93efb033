"""The picture of a proposal: worst margin over the two settings that matter most, and against speed."""

from __future__ import annotations

from typing import Any

import numpy as np

from setupopt.report.propose.map_panel import draw_map, no_map
from setupopt.report.propose.signs import (
    LEGEND,
    PANEL,
    PROPOSED,
    STEADY,
    TODAY,
)
from setupopt.report.propose.speed_panel import draw_speeds
from setupopt.report.shared.colours import INK, QUIET, SECOND
from setupopt.report.shared.picture import at_venue, drawing, svg
from setupopt.search.proposal import ComparedSetup
from setupopt.search.required_front import Required
from setupopt.search.tradeoff import (
    trade_off,
)


def tradeoff_svg(
    shown: ComparedSetup,
    required: Required | None = None,
    name: str = "proposed",
) -> str:
    """SVG: on the left the map of worst margin, on the right worst margin against speed.

    `name`: what the setup beside today's is called; `required`: a third panel, of what is withstood.
    """
    found = trade_off(shown)
    title = at_venue(shown.project, "Worst grip margin", 60)
    has_front = required is not None and len(required.front) > 1
    rows = 2 if has_front else 1
    width, height = PANEL
    with drawing(
        2.0 * width, rows * height, title, nrows=rows, ncols=2, squeeze=False
    ) as (figure, panels):
        left, right, *more = panels.ravel()
        if found.map is None:
            no_map(left)
        else:
            draw_map(found.map, name, left)
        draw_speeds(found, shown.project.venue.sweep.speed, name, right)
        if required is not None and has_front:
            _draw_front(required, more[0])
            more[1].set_axis_off()
        return svg(figure)


# ---- against what is stood ---------------------------------------------------------------------------------


def _draw_front(required: Required, axes: Any) -> None:
    """The best margin by how much is stood, and where three setups stand."""
    stood = [point for point in required.front if point.is_stood]
    label = "best margin, parts of any value"
    signs = axes.plot(
        [p.times for p in stood],
        [p.margin for p in stood],
        ".-",
        color=SECOND,
        label=label,
    )
    for name, setup, sign in (
        ("today", required.today, TODAY),
        ("steady", required.steady, STEADY),
        ("proposed", required.proposed, PROPOSED),
    ):
        if np.isfinite(setup.margin):
            signs += axes.plot(
                setup.times, setup.margin, label=name, clip_on=False, **sign
            )
    axes.axhline(0.0, color=INK, lw=1.0)
    axes.axvline(1.0, color=QUIET, lw=1.0, ls=":")
    axes.set(xlim=(0.0, None), ylabel="worst margin")
    axes.set(xlabel="withstood at the worst place, times what [require] asks")
    axes.legend(
        handles=signs,
        ncols=2,
        title="Worst margin against what the car withstands",
        **LEGEND,
    )
