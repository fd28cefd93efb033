"""The panel of worst margin over the two settings that matter most."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.report.propose.signs import (
    BOX,
    LEGEND,
    LOWEST,
    PROPOSED,
    SMALL,
    TODAY,
)
from setupopt.report.shared.colours import INK, QUIET, WARNING
from setupopt.report.shared.picture import hatch_sign
from setupopt.report.shared.tables import number
from setupopt.report.shared.words import slot_words
from setupopt.search.tradeoff import (
    SHARE,
    MapAxis,
    MarginMap,
)

_LIMIT = "///"


_LOST = "xxx"


_FILL = ("#ffffff", "#a9d3cb")  # light: lines, hatches and points stand on it


_LEAST_AREA = 0.04  # of the map, worth a limit's name


_MOST_AREAS = 3  # of the map, worth a limit's name


def no_map(axes: Any) -> None:
    axes.set_axis_off()
    axes.text(
        0.5,
        0.5,
        "no map: fewer than two settings may change",
        ha="center",
        transform=axes.transAxes,
    )


def draw_map(found: MarginMap, name: str, axes: Any) -> None:
    """Margins, limits, both points, and what all that is."""
    x, y = (
        axis.values / axis.variable.setting.factor
        for axis in (found.x, found.y)
    )
    signs = [
        *_points(found, name, axes),
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
        handles=signs,
        ncols=2,
        title=f"Worst margin, all other settings as {name}",
        **LEGEND,
    )


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


def _points(found: MarginMap, name: str, axes: Any) -> list[Any]:
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
    (second,) = axes.plot(*today, label=words, clip_on=False, zorder=6, **TODAY)
    (first,) = axes.plot(
        *proposed,
        label=f"{name}, {margin_words}",
        clip_on=False,
        zorder=7,
        **PROPOSED,
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
    return [hatch_sign(_LOST, "contact lost")]


def _levels(margin: Floats) -> Floats:
    """Round margins over the range of the map."""
    from matplotlib.ticker import MaxNLocator

    high = float(np.nanmax(margin))
    low = min(max(float(np.nanmin(margin)), LOWEST), high)
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
    axes.clabel(lines, fontsize=SMALL, fmt=lambda level: number(level, digits))


def _limits(found: MarginMap, x: Floats, y: Floats, axes: Any) -> list[Any]:
    """Where a limit is broken: a hatch, its border, and the names of the limits. Their sign."""
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
    return [hatch_sign(_LIMIT, "limit broken")]


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
        *np.clip(at, 0.04, 0.96), textwrap.fill(name, 40), ha="center", va="center", fontsize=SMALL,
        rotation=90.0 if np.ptp(rows) > np.ptp(columns) else 0.0, parse_math=False, bbox=BOX,
        transform=axes.transAxes, zorder=4,
    )  # fmt: skip
