"""The picture of an assessment: margin against where the car stands, and the section that was surveyed."""

from __future__ import annotations

from typing import Any

import numpy as np

from setupopt.evaluation.assessment import Assessment
from setupopt.project.section import Section
from setupopt.report.shared.colours import INK, QUIET, SECOND, WARNING
from setupopt.report.shared.picture import at_venue, drawing, svg
from setupopt.units import DEG, MM

_LOWEST = -1.0  # margins are shown down to this, as on the page
_SMALL = 8.0  # points


def assessment_svg(assessment: Assessment) -> str:
    """SVG: margin of every case, the worst of all on top; below, what a section of parts is like."""
    section = (
        assessment.project.venue.profile
        if assessment.result.cases.is_along
        else None
    )
    panels = 1 if section is None else 3 if section.readings else 2
    layout: Any = {
        "nrows": panels,
        "sharex": True,
        "height_ratios": [5, 2, 2][:panels],
    }
    title = at_venue(assessment.project, "Grip margin", 44)
    with drawing(7.6, 3.6 + 1.5 * panels, title, squeeze=False, **layout) as (
        figure,
        axes,
    ):
        _margins(assessment, axes[0, 0])
        if section is not None:
            _shape(section, axes[1, 0])
        if section is not None and section.readings:
            _readings(section, axes[2, 0])
        axes[-1, 0].set_xlabel(
            "roll angle deg" if section is None else "along the section mm"
        )
        return svg(figure)


# ---- margin ------------------------------------------------------------------------------------------------


def _margins(assessment: Assessment, axes: Any) -> None:
    """Each attitude, the worst of all, the minimum margin, and where contact is lost."""
    import pandas as pd  # a third of a second, only where there is a picture

    result = assessment.result
    floor = assessment.floor or 0.0
    at = result.cases.at / (MM if result.cases.is_along else DEG)
    margin = pd.Series(
        np.where(result.contact[0], result.margin[0], np.nan), at
    )
    label = "each attitude"
    for _, own in margin.groupby(np.array(result.cases.attitude), sort=False):
        _line(own, axes, color=QUIET, lw=0.8, label=label)
        label = ""
    # Where contact is lost in any attitude, there is no least margin.
    least = margin.fillna(-np.inf).groupby(level=0).min()
    worst = least.replace(-np.inf, np.nan)
    _line(worst, axes, color=INK, lw=2.0, label="worst of all")
    axes.axhline(
        floor, color=SECOND, lw=1.0, ls=":", label=f"minimum {floor:g}"
    )
    lost = margin.isna().to_numpy()
    if lost.any():
        axes.plot(
            at[lost],
            np.full(lost.sum(), _LOWEST),
            "x",
            color=WARNING,
            clip_on=False,
            label="contact lost",
        )
    lowest = float(np.nanmin(margin)) if not lost.all() else 0.0
    axes.set_ylim(max(_LOWEST, min(lowest, 0.0) - 0.05), None)
    axes.set_ylabel("margin")
    axes.legend(
        fontsize=_SMALL,
        ncols=4,
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
    )


def _line(margin: Any, axes: Any, **style: Any) -> None:
    """Margins by place."""
    marker = "." if margin.size < 2 else None
    axes.plot(margin.sort_index(kind="stable"), marker=marker, **style)


# ---- section -----------------------------------------------------------------------------------------------


def _shape(section: Section, axes: Any) -> None:
    """Roll angle, and the curvature by its radius, along the section."""
    bends = np.repeat(section.curvatures, 2)
    ends = np.repeat(section.ends, 2)[1:-1] / MM
    axes.plot(ends, bends, color=INK, lw=1.2)
    axes.set_ylim(1.15 * min(*bends, 0.0), 1.15 * max(*bends, 0.01))
    axes.set_ylabel("curvature 1/m")
    beside = axes.twinx()
    beside.plot(
        section.ends / MM,
        section.end_angles / DEG,
        color=SECOND,
        lw=1.2,
        ls="--",
    )
    beside.set_ylabel("roll angle deg (dashed)", color=SECOND)


def _readings(section: Section, axes: Any) -> None:
    """How far the points of the survey lie off the smoothed section."""
    along, off = np.array(section.readings).T / MM
    axes.axhline(0.0, color=QUIET, lw=0.8)
    axes.plot(along, off, ".", color=INK, ms=4.0)
    axes.set_ylabel("points off mm")
