"""The picture of a study of speeds: margin against speed with the safe windows, and the run-up."""

from __future__ import annotations

from typing import Any

import numpy as np

from setupopt.evaluation.limits_check import Broken
from setupopt.physics.inputs import Floats
from setupopt.report.shared.colours import INK, QUIET, SECOND, WARNING
from setupopt.report.shared.picture import at_venue, crosses, drawing, svg
from setupopt.report.shared.tables import cut, number
from setupopt.report.speeds.text import plain_limit
from setupopt.robust.speeds.motion import RunUp
from setupopt.robust.speeds.study import SpeedStudy
from setupopt.robust.speeds.window import WindowEnd
from setupopt.units import angle

_LOWEST = -0.3  # margins shown at least up to, at most down to: how fast it slides is not told
_SLIDING = -1.0  # but of the sweep's own speed down to this
_HIGHEST = 0.1
_SMALL = 8.0  # points
_LETTERS = 44  # of what breaks beyond an end
_ROOM = 0.3  # of the axis: with less outside, an end is told inside its window
_SAFE = "#d3e7e3"
_BOX = {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.0}


def speeds_picture(study: SpeedStudy) -> str:
    """SVG: margin against speed above, run-up below, where there is one."""
    has_run = study.run_up is not None and study.run_up.top != 0.0
    size = (7.6, 7.4) if has_run else (7.6, 4.9)
    layout: Any = {"nrows": 2, "height_ratios": [5, 3]} if has_run else {}
    title = at_venue(study.project, "Safe speeds", 44)
    with drawing(*size, title, squeeze=False, **layout) as (figure, axes):
        _margins(study, axes[0, 0])
        if has_run and study.run_up is not None:
            _run_up(study.run_up, axes[1, 0])
        return svg(figure)


# ---- margin against speed ----------------------------------------------------------------------------------


def _margins(study: SpeedStudy, axes: Any) -> None:
    """Worst of all, each attitude, floor, windows."""
    worst = study.margin.min(axis=1)
    every = study.margin[np.isfinite(study.margin)]
    high = max(float(every.max(initial=_HIGHEST)), study.floor + _HIGHEST)
    driven = float(worst[np.abs(study.speeds - study.driven).argmin()])
    lowest = min(_LOWEST, max(driven, _SLIDING))
    low = float(
        np.clip(worst[np.isfinite(worst)].min(initial=0.0), lowest, 0.0)
    )
    axes.set(
        xlim=(study.speeds[0], study.speeds[-1]), ylim=(low - 0.08, high + 0.05)
    )
    axes.set(xlabel="speed of the sweep m/s", ylabel="grip margin")
    for column in range(len(study.attitudes)):
        label = "each attitude" if column == 0 else None
        axes.plot(
            study.speeds,
            _shown(study.margin[:, column]),
            color=QUIET,
            lw=0.8,
            label=label,
        )
    axes.plot(
        study.speeds, _shown(worst), color=INK, lw=2.0, label="worst of all"
    )
    axes.axhline(
        study.floor,
        color=INK,
        lw=1.0,
        ls=":",
        label=f"minimum margin {study.floor:g}",
    )
    axes.axvline(
        study.driven,
        color=WARNING,
        lw=1.4,
        ls="--",
        label=f"the sweep's {study.driven:g} m/s",
    )
    style = {"ms": 4, "color": WARNING, "label": "contact lost"}
    crosses(axes, study.speeds, ~np.isfinite(worst), 0.03, **style)
    _windows(study, axes)
    axes.legend(
        fontsize=_SMALL,
        ncols=6,
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        columnspacing=1.2,
        handlelength=1.6,
        borderpad=0.0,
    )


def _shown(margin: Floats) -> Floats:
    """A gap in the line where contact is lost."""
    return np.where(np.isfinite(margin), margin, np.nan)


def _windows(study: SpeedStudy, axes: Any) -> None:
    """Each safe window shaded, with its ends and what breaks beyond them."""
    for place, window in enumerate(study.windows):
        axes.axvspan(
            window.low.speed,
            window.high.speed,
            facecolor=_SAFE,
            edgecolor=QUIET,
            hatch="..",
            lw=0.0,
            zorder=0,
            label=None if place else "safe",
        )
        for end, side in ((window.low, -1), (window.high, 1)):
            if end.beyond:
                axes.axvline(end.speed, color=SECOND, lw=1.4)
                _end_words(study, end, side, axes)


def _end_words(study: SpeedStudy, end: WindowEnd, side: int, axes: Any) -> None:
    """Beside the end's line: outside the window if there is room, and where the worst curve is not."""
    first = study.speeds[0]
    last = study.speeds[-1]
    room = (end.speed - first if side < 0 else last - end.speed) / (
        last - first
    )
    outwards = side if room > _ROOM else -side
    height = (0.84 if side < 0 else 0.97) - (
        0.7 if _is_high(study, end.speed + 4.0 * outwards) else 0.0
    )
    axes.annotate(
        f"{number(end.speed, 2)} m/s\n{_why(end.beyond[0])}",
        (end.speed, height),
        (6 * outwards, 0),
        xycoords=axes.get_xaxis_transform(),
        textcoords="offset points",
        fontsize=_SMALL,
        va="top",
        ha="left" if outwards > 0 else "right",
        bbox=_BOX,
        zorder=6,
    )


def _is_high(study: SpeedStudy, speed: float) -> bool:
    """Whether the worst margin at a speed stands in the upper half of the picture."""
    worst = np.interp(
        speed, study.speeds, np.maximum(study.margin.min(axis=1), _LOWEST)
    )
    return bool(worst > 0.5 * study.margin.max() + 0.5 * _LOWEST)


def _why(limit: Broken) -> str:
    """What breaks beyond an end, and where."""
    place = f"{angle(limit.roll_angle_deg or 0.0)} deg, {cut(limit.attitude or '', _LETTERS - 10)}"
    return f"{cut(plain_limit(limit.limit), _LETTERS)}\n{place}"


# ---- run-up ------------------------------------------------------------------------------------------------


def _run_up(found: RunUp, axes: Any) -> None:
    """Speed over distance; where grip limits and where the power does is told by the line."""
    power = None if found.by_grip.all() else "the power limits"
    axes.plot(found.metres, found.speed, color=INK, lw=1.6, label=power)
    by_grip = np.where(found.by_grip, found.speed, np.nan)
    if found.by_grip.any():
        axes.plot(
            found.metres, by_grip, color=SECOND, lw=4.5, label="grip limits"
        )
    end = f"{number(found.metres[-1])} m, {number(found.seconds[-1], 2)} s"
    axes.plot([found.metres[-1]], [found.speed[-1]], "o", ms=6, color=INK)
    axes.annotate(
        end,
        (found.metres[-1], found.speed[-1]),
        (4, -22),
        textcoords="offset points",
        ha="right",
        va="top",
        fontsize=9.0,
    )
    if not found.is_reached:
        axes.axhline(
            found.target,
            color=WARNING,
            lw=1.2,
            ls="--",
            label=f"{found.target:g} m/s, not reached",
        )
    axes.set(
        xlabel="metres from standstill, flat floor of the section",
        ylabel="speed m/s",
    )
    axes.set(xlim=(0.0, None), ylim=(0.0, None))
    axes.legend(fontsize=_SMALL, loc="lower right")
