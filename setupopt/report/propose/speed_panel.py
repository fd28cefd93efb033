"""The panel of worst margin against speed."""

from __future__ import annotations

from itertools import groupby
from typing import Any

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.report.propose.signs import (
    BOX,
    LOWEST,
    PROPOSED,
    SMALL,
    TODAY,
)
from setupopt.report.shared.colours import INK, QUIET, SECOND, WARNING
from setupopt.report.shared.picture import crosses
from setupopt.report.shared.tables import cut
from setupopt.search.tradeoff import (
    SpeedCurve,
    TradeOff,
)

_LEAST_HIGH = 0.1  # the axis of margins goes up to this at least


_LETTERS = 46  # small ones side by side over one panel


_NAMED = slice(5, -6)  # speeds at which a curve's name has room on both sides


def draw_speeds(
    found: TradeOff, speed: float, proposed: str, axes: Any
) -> None:
    """Both curves, what is worst, and where contact is lost."""
    _frame(found, speed, axes)
    strip = axes.inset_axes([0.0, 1.01, 1.0, 0.11])
    drawn = (
        ("today", found.today, WARNING, "--", TODAY),
        (proposed, found.proposed, SECOND, "-", PROPOSED),
    )
    for row, (name, curve, colour, line, sign) in enumerate(drawn):
        axes.plot(found.speeds, curve.margin, line, color=colour, lw=1.8)
        axes.plot(
            [speed],
            [np.interp(speed, found.speeds, curve.margin)],
            zorder=5,
            **sign,
        )
        _lost(found.speeds, curve, 0.03 + 0.045 * row, name, colour, axes)
        _attitudes(found.speeds, curve, row, colour, axes, strip)
    _names(found, proposed, axes)
    _frame_strip(found.speeds, [name for name, *_ in drawn], strip)


def _frame(found: TradeOff, speed: float, axes: Any) -> None:
    """Ranges and lines that both curves share."""
    margins = np.concatenate(
        [found.today.margin, found.proposed.margin, [0.0, _LEAST_HIGH]]
    )
    high = float(np.nanmax(margins))
    low = max(float(np.nanmin(margins)), LOWEST)
    room = 0.05 * (high - low) + 0.02
    axes.set(
        xlim=(found.speeds[0], found.speeds[-1]),
        ylim=(low - 2.0 * room, high + 1.5 * room),
    )
    axes.axhline(0.0, color=INK, lw=1.0)
    axes.axvline(speed, color=QUIET, lw=1.0, ls=":")
    _beside(
        axes,
        (speed, high + 1.5 * room),
        f"sweep, {speed:g} m/s",
        (4, -2),
        va="top",
    )
    _tell_zero(found, axes)
    words = "speed of the sweep m/s\nattitudes with a speed of their own in proportion"
    axes.set_xlabel(words, fontsize=SMALL)
    axes.set(ylabel="worst margin")


def _tell_zero(found: TradeOff, axes: Any) -> None:
    """What the line at 0 means, at the end where the curves are high above it."""
    ends = np.nan_to_num(found.proposed.margin[[0, -1]], nan=LOWEST)
    slow = bool(ends[0] > ends[1])
    at, offset = (found.speeds[0], 4.0) if slow else (found.speeds[-1], -4.0)
    side = "left" if slow else "right"
    _beside(
        axes,
        (at, 0.0),
        "below 0 the car slides",
        (offset, 2.0),
        ha=side,
        va="bottom",
    )


def _beside(
    axes: Any, at: Any, words: str, offset: tuple[float, float], **more: Any
) -> None:
    """Small words so many points beside a place."""
    style = {"fontsize": SMALL, "textcoords": "offset points", **more}
    axes.annotate(words, at, offset, **style)


def _lost(
    speeds: Floats,
    curve: SpeedCurve,
    height: float,
    name: str,
    colour: str,
    axes: Any,
) -> None:
    """Crosses along the bottom at every speed at which contact is lost."""
    lost = np.isnan(curve.margin)
    if not lost.any():
        return
    along = axes.get_xaxis_transform()
    crosses(axes, speeds, lost, height, ms=4, color=colour)
    at, offset, side = (
        (speeds[lost][-1], 6.0, "left")
        if lost[0]
        else (speeds[lost][0], -6.0, "right")
    )
    if lost.all():
        at = speeds[0]
    words = f"contact lost, {name}"
    _beside(
        axes,
        (at, height),
        words,
        (offset, 0.0),
        ha=side,
        va="center",
        xycoords=along,
        bbox=BOX,
    )


def _attitudes(
    speeds: Floats,
    curve: SpeedCurve,
    row: int,
    colour: str,
    axes: Any,
    strip: Any,
) -> None:
    """A tick where the worst attitude changes; the names in a row above the panel, as far as they fit."""
    half = 0.5 * (speeds[1] - speeds[0])
    first = 0
    for name, same in groupby(curve.attitude):
        last = first + len(list(same)) - 1
        start = max(speeds[0], speeds[first] - half)
        end = min(speeds[-1], speeds[last] + half)
        if first > 0:
            axes.plot(
                [start],
                [np.interp(start, speeds, curve.margin)],
                "|",
                ms=9,
                color=colour,
            )
            strip.plot([start, start], [row, row + 1], color=INK, lw=0.8)
        letters = int(_LETTERS * (end - start) / (speeds[-1] - speeds[0]))
        if letters >= 5:
            at = 0.5 * (start + end), row + 0.5
            strip.text(
                *at,
                cut(name, letters),
                fontsize=SMALL,
                ha="center",
                va="center",
                parse_math=False,
            )
        first = last + 1


def _frame_strip(speeds: Floats, names: list[str], strip: Any) -> None:
    """Two rows over the panel, one for each curve."""
    strip.set(xlim=(speeds[0], speeds[-1]), ylim=(0, len(names)), xticks=[])
    strip.set_yticks(np.arange(len(names)) + 0.5, names, fontsize=SMALL)
    strip.tick_params(length=0)
    strip.axhline(1.0, color=QUIET, lw=0.6)
    strip.set_title(
        "Against speed, and the attitude that is worst", fontsize=9, loc="left"
    )


def _names(found: TradeOff, proposed: str, axes: Any) -> None:
    """The curves' names where they stand furthest apart: the upper one's above, the other's below."""
    margins = np.array([found.today.margin, found.proposed.margin])
    apart = np.where(
        (margins > LOWEST).all(axis=0), np.abs(margins[1] - margins[0]), -1.0
    )[_NAMED]
    if apart.max() < 0.0:
        return
    at = int(apart.argmax()) + _NAMED.start
    falls = margins[1, at] < margins[1, at - 1]
    upper = int(margins[1, at] >= margins[0, at])
    for curve, (name, colour) in enumerate(
        (("today", WARNING), (proposed, SECOND))
    ):
        right = (curve == upper) == falls
        side = 1.0 if curve == upper else -1.0
        _beside(
            axes, (found.speeds[at], margins[curve, at]), name, (4.0 if right else -4.0, 4.0 * side),
            color=colour, fontsize=SMALL, ha="left" if right else "right", va="bottom" if side > 0.0 else "top",
        )  # fmt: skip
