"""The picture of a proposal: worst margin over the two settings that matter most, and against speed."""

from __future__ import annotations

import textwrap
from itertools import groupby
from typing import Any

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.report.shared.picture import (
    INK,
    QUIET,
    SECOND,
    WARNING,
    at_venue,
    drawing,
    svg,
)
from setupopt.report.shared.tables import cut, number
from setupopt.report.shared.words import slot_words
from setupopt.search.proposal import Proposal, Required
from setupopt.search.tradeoff import (
    SHARE,
    MapAxis,
    MarginMap,
    SpeedCurve,
    TradeOff,
    trade_off,
)

# Told apart without colour: shapes of points, lines of curves, hatches of areas.
_PROPOSED: Any = {"marker": "o", "ms": 6, "color": INK, "ls": "none"}
_TODAY: Any = {
    "marker": "D",
    "ms": 9,
    "color": WARNING,
    "mfc": "white",
    "mew": 1.6,
    "ls": "none",
}
_STEADY: Any = {
    "marker": "s",
    "ms": 7,
    "color": SECOND,
    "mfc": "white",
    "ls": "none",
}
_LIMIT = "///"
_LOST = "xxx"
_FILL = ("#ffffff", "#a9d3cb")  # light: lines, hatches and points stand on it
_BOX = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}
_SMALL = 8.0  # letters, points
_TINY = 7.0  # letters, points
_LOWEST = -0.3  # the car slides; how fast is not shown
_LEAST_HIGH = 0.1  # the axis of margins goes up to this at least
_LETTERS = 84  # tiny ones side by side over one panel
_LEAST_AREA = 0.04  # of the map, worth a limit's name
_MOST_AREAS = 3  # of the map, worth a limit's name
_NAMED = slice(5, -6)  # speeds at which a curve's name has room on both sides


def tradeoff_svg(proposal: Proposal) -> str:
    """SVG: on the left the map of worst margin, on the right worst margin against speed."""
    found = trade_off(proposal)
    title = at_venue(proposal.project, "Worst grip margin", 60)
    required = proposal.required
    has_front = required is not None and len(required.front) > 1
    count = 3 if has_front else 2
    with drawing(5.5 * count, 5.8, title, ncols=count) as (
        figure,
        (left, right, *more),
    ):
        if found.map is None:
            _no_map(left)
        else:
            _draw_map(found.map, left)
        _draw_speeds(found, proposal.project.venue.sweep.speed, right)
        for axes in more:
            assert required is not None
            _draw_front(required, axes)
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
        ("today", required.today, _TODAY),
        ("steady", required.steady, _STEADY),
        ("proposed", required.proposed, _PROPOSED),
    ):
        if np.isfinite(setup.margin):
            signs += axes.plot(
                setup.times, setup.margin, label=name, clip_on=False, **sign
            )
    axes.axhline(0.0, color=INK, lw=1.0)
    axes.axvline(1.0, color=QUIET, lw=1.0, ls=":")
    axes.set(xlim=(0.0, None), ylabel="worst margin")
    axes.set(xlabel="stood at the worst place, times what [require] asks")
    axes.legend(
        handles=signs, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, frameon=False, fontsize=9.0,
        title="Worst margin against what is stood", title_fontsize=10.0, alignment="left",
        borderaxespad=0.2, borderpad=0.0,
    )  # fmt: skip


# ---- the map -----------------------------------------------------------------------------------------------


def _no_map(axes: Any) -> None:
    axes.set_axis_off()
    axes.text(
        0.5,
        0.5,
        "no map: fewer than two settings may change",
        ha="center",
        transform=axes.transAxes,
    )


def _draw_map(found: MarginMap, axes: Any) -> None:
    """Margins, limits, both points, and what all that is."""
    x, y = (
        axis.values / axis.variable.setting.factor
        for axis in (found.x, found.y)
    )
    signs = [
        *_points(found, axes),
        *_margins(found, x, y, axes),
        *_limits(found, x, y, axes),
    ]
    axes.set(
        xlim=(x[0], x[-1]),
        ylim=(y[0], y[-1]),
        xlabel=_axis_words(found.x),
        ylabel=_axis_words(found.y),
    )
    axes.legend(
        handles=signs, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, frameon=False, fontsize=9.0,
        title="Worst margin, all other settings as proposed", title_fontsize=10.0, alignment="left",
        borderaxespad=0.2, borderpad=0.0,
    )  # fmt: skip


def _axis_words(axis: MapAxis) -> str:
    """Setting and unit, and what makes it one of the two."""
    setting = axis.variable.setting
    costs = (
        "can cost contact"
        if np.isinf(axis.cost)
        else f"costs up to {number(axis.cost, 4)}"
    )
    why = (
        ""
        if np.isnan(axis.cost)
        else f"\n{100 * SHARE:g} % of the range {costs}"
    )
    return f"{slot_words(axis.variable)} {setting.unit}{why}"


def _points(found: MarginMap, axes: Any) -> list[Any]:
    """Where both setups stand, and their signs; one beyond the map stands on its edge."""
    row, column = (
        int(np.abs(axis.values - axis.proposed).argmin())
        for axis in (found.y, found.x)
    )
    margin = found.margin[row, column]
    margin_words = number(margin, 3) if np.isfinite(margin) else "contact lost"
    today, beyond = zip(
        *(_on_map(axis) for axis in (found.x, found.y)), strict=True
    )
    proposed = [
        axis.proposed / axis.variable.setting.factor
        for axis in (found.x, found.y)
    ]
    words = (
        "today's values, beyond the map" if any(beyond) else "today's values"
    )
    (second,) = axes.plot(
        *today, label=words, clip_on=False, zorder=6, **_TODAY
    )
    (first,) = axes.plot(
        *proposed,
        label=f"proposed, {margin_words}",
        clip_on=False,
        zorder=7,
        **_PROPOSED,
    )
    return [first, second]


def _on_map(axis: MapAxis) -> tuple[float, bool]:
    """Today's value as the axis shows it, and whether it really lies beyond."""
    shown = float(np.clip(axis.today, axis.values[0], axis.values[-1]))
    return shown / axis.variable.setting.factor, abs(
        shown - axis.today
    ) > 1e-6 * axis.variable.width


def _margins(found: MarginMap, x: Floats, y: Floats, axes: Any) -> list[Any]:
    """Filled, with labelled lines; what is left open shows the hatch of lost contact behind. Its sign."""
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.patches import Patch

    if found.contact.any():
        levels = _levels(found.margin)
        fill = LinearSegmentedColormap.from_list("margin", _FILL)
        axes.contourf(
            x,
            y,
            found.margin,
            levels=levels,
            cmap=fill,
            extend="both",
            zorder=1,
        )
        _margin_lines(found, levels, x, y, axes)
    if found.contact.all():
        return []
    axes.patch.set(hatch=_LOST, edgecolor=QUIET)
    return [
        Patch(
            facecolor="white",
            edgecolor=QUIET,
            hatch=_LOST,
            label="contact lost",
        )
    ]


def _levels(margin: Floats) -> Floats:
    """Round margins over the range of the map."""
    from matplotlib.ticker import MaxNLocator

    high = float(np.nanmax(margin))
    low = min(max(float(np.nanmin(margin)), _LOWEST), high)
    return np.asarray(
        MaxNLocator(nbins=9, steps=[1, 2, 5, 10]).tick_values(low, high)
    )


def _margin_lines(
    found: MarginMap, levels: Floats, x: Floats, y: Floats, axes: Any
) -> None:
    """Lines of equal margin with their margins; that of 0 is a heavy one."""
    inner = levels[
        (levels > np.nanmin(found.margin)) & (levels < np.nanmax(found.margin))
    ]
    if inner.size == 0:
        return
    digits = max(0, -int(np.floor(np.log10(levels[1] - levels[0]) + 1e-9)))
    widths = np.where(np.abs(inner) < 1e-9, 2.2, 0.9)
    lines = axes.contour(
        x,
        y,
        found.margin,
        levels=inner,
        colors=INK,
        linewidths=widths,
        linestyles="-",
    )
    axes.clabel(lines, fontsize=_SMALL, fmt=lambda level: number(level, digits))


def _limits(found: MarginMap, x: Floats, y: Floats, axes: Any) -> list[Any]:
    """Where a limit is broken: a hatch, its border, and the names of the limits. Their sign."""
    from matplotlib.patches import Patch

    if found.is_kept.all():
        return []
    room = np.minimum(found.room, 1.0)
    hatched = axes.contourf(
        x,
        y,
        room,
        levels=[-1e9, 0.0],
        colors="none",
        hatches=[_LIMIT],
        zorder=2,
    )
    hatched.set(edgecolor=QUIET, linewidth=0.0)
    axes.contour(
        x,
        y,
        room,
        levels=[0.0],
        colors=WARNING,
        linewidths=1.6,
        linestyles="-.",
    )
    for name in found.broken[:_MOST_AREAS]:
        _name_area(
            ~found.is_kept & (found.nearest == found.limits.index(name)),
            name,
            axes,
        )
    return [
        Patch(
            facecolor="white",
            edgecolor=QUIET,
            hatch=_LIMIT,
            label="limit broken",
        )
    ]


def _name_area(area: np.ndarray, name: str, axes: Any) -> None:
    """The name of a limit in the middle of the area where it is broken, along it, if that is large enough."""
    if area.mean() < _LEAST_AREA:
        return
    rows, columns = np.nonzero(area)
    middle = np.argmin(
        (rows - rows.mean()) ** 2 + (columns - columns.mean()) ** 2
    )
    at = np.array([columns[middle], rows[middle]]) / (
        np.array(area.shape[::-1]) - 1
    )
    axes.text(
        *np.clip(at, 0.04, 0.96), textwrap.fill(name, 40), ha="center", va="center", fontsize=_SMALL,
        rotation=90.0 if np.ptp(rows) > np.ptp(columns) else 0.0, parse_math=False, bbox=_BOX,
        transform=axes.transAxes, zorder=4,
    )  # fmt: skip


# ---- against speed -----------------------------------------------------------------------------------------


def _draw_speeds(found: TradeOff, speed: float, axes: Any) -> None:
    """Both curves, what is worst, and where contact is lost."""
    _frame(found, speed, axes)
    strip = axes.inset_axes([0.0, 1.01, 1.0, 0.11])
    drawn = (
        ("today", found.today, WARNING, "--", _TODAY),
        ("proposed", found.proposed, SECOND, "-", _PROPOSED),
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
    _names(found, axes)
    _frame_strip(found.speeds, [name for name, *_ in drawn], strip)


def _frame(found: TradeOff, speed: float, axes: Any) -> None:
    """Ranges and lines that both curves share."""
    margins = np.concatenate(
        [found.today.margin, found.proposed.margin, [0.0, _LEAST_HIGH]]
    )
    high = float(np.nanmax(margins))
    low = max(float(np.nanmin(margins)), _LOWEST)
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
    axes.set(
        xlabel="speed of the sweep m/s\nattitudes with a speed of their own in proportion"
    )
    axes.set(ylabel="worst margin")


def _tell_zero(found: TradeOff, axes: Any) -> None:
    """What the line at 0 means, at the end where the curves are high above it."""
    ends = np.nan_to_num(found.proposed.margin[[0, -1]], nan=_LOWEST)
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
    style = {"fontsize": _SMALL, "textcoords": "offset points", **more}
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
    axes.plot(
        speeds[lost],
        np.full(lost.sum(), height),
        "x",
        ms=4,
        color=colour,
        transform=along,
    )
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
        bbox=_BOX,
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
                fontsize=_TINY,
                ha="center",
                va="center",
                parse_math=False,
            )
        first = last + 1


def _frame_strip(speeds: Floats, names: list[str], strip: Any) -> None:
    """Two rows over the panel, one for each curve."""
    strip.set(xlim=(speeds[0], speeds[-1]), ylim=(0, len(names)), xticks=[])
    strip.set_yticks(np.arange(len(names)) + 0.5, names, fontsize=_TINY)
    strip.tick_params(length=0)
    strip.axhline(1.0, color=QUIET, lw=0.6)
    strip.set_title(
        "Against speed, and the attitude that is worst", fontsize=10, loc="left"
    )


def _names(found: TradeOff, axes: Any) -> None:
    """The curves' names where they stand furthest apart: the upper one's above, the other's below."""
    margins = np.array([found.today.margin, found.proposed.margin])
    apart = np.where(
        (margins > _LOWEST).all(axis=0), np.abs(margins[1] - margins[0]), -1.0
    )[_NAMED]
    if apart.max() < 0.0:
        return
    at = int(apart.argmax()) + _NAMED.start
    falls = margins[1, at] < margins[1, at - 1]
    upper = int(margins[1, at] >= margins[0, at])
    for curve, (name, colour) in enumerate(
        (("today", WARNING), ("proposed", SECOND))
    ):
        right = (curve == upper) == falls
        side = 1.0 if curve == upper else -1.0
        _beside(
            axes, (found.speeds[at], margins[curve, at]), name, (4.0 if right else -4.0, 4.0 * side),
            color=colour, fontsize=9.0, ha="left" if right else "right", va="bottom" if side > 0.0 else "top",
        )  # fmt: skip
