"""Pictures of logs beside the model: channels over the way, residuals, values, the run on the section."""

from __future__ import annotations

from typing import Any

import numpy as np

from setupopt.learn.channels import CHANNELS, key_of
from setupopt.learn.study import Learned
from setupopt.learn.way import WINDOW
from setupopt.report.shared.colours import INK, QUIET, SECOND, WARNING
from setupopt.report.shared.picture import at_venue, drawing, svg
from setupopt.units import DEG

_COLUMNS = 2


def channels_picture(learned: Learned) -> str:
    """SVG: every channel over the way driven, runs one after another: log, prediction with its band."""
    names = list(learned.rows["log"])
    rows = -(-len(names) // _COLUMNS)
    layout: Any = {
        "nrows": rows,
        "ncols": _COLUMNS,
        "squeeze": False,
        "sharex": True,
    }
    title = at_venue(
        learned.project, "Log (grey), prediction +- 2 errors, corrected (green)"
    )
    with drawing(9.0, 1.0 + 1.7 * rows, title, **layout) as (figure, grid):
        for number, axes in enumerate(grid.ravel()):
            if number < len(names):
                _channel(learned, names[number], number, axes)
            else:
                axes.set_visible(False)
        for axes in grid[-1]:
            axes.set(xlabel="way driven, m, runs one after another")
        return svg(figure)


def _channel(learned: Learned, name: str, number: int, axes: Any) -> None:
    unit = CHANNELS["factor"][name]
    found = learned.found
    log = learned.rows["log"][name]
    starts = np.cumsum([0.0, *(way.driven[-1] for way in learned.ways)])
    for way, start in zip(learned.ways, starts, strict=False):
        if name in way.table["log"]:
            axes.plot(
                start + way.driven,
                way.table["log"][name] / unit,
                ".",
                ms=3,
                color=QUIET,
            )
        axes.axvline(start, color=QUIET, lw=0.5)
    at = [
        starts[run] + learned.ways[run].driven[second]
        for run, second in log.index
    ]
    predicted = (log - found.before[:, number]) / unit
    band = 2.0 * found.band[:, number] / unit
    axes.errorbar(at, predicted, band, fmt="none", ecolor=INK, elinewidth=1.0)
    axes.plot(
        at, (log - found.after[:, number]) / unit, "_", ms=5, color=SECOND
    )
    axes.set_ylabel(key_of(name), fontsize=8)
    axes.tick_params(labelsize=7)


def residuals_picture(learned: Learned) -> str:
    """SVG: residuals of every channel over what sensors and model err by, before and after."""
    names = list(learned.rows["log"])
    title = at_venue(
        learned.project, "Residuals: project's car (orange), corrected (green),"
    )
    with drawing(7.6, 1.4 + 0.36 * len(names), title) as (figure, axes):
        for row in range(len(names)):
            for part, colour, lift in (
                (learned.found.before, WARNING, 0.15),
                (learned.found.after, SECOND, -0.15),
            ):
                left = np.clip(
                    part[:, row] / learned.found.noise[row], -12.0, 12.0
                )
                axes.plot(
                    left,
                    np.full(left.size, row + lift),
                    ".",
                    ms=3,
                    color=colour,
                    alpha=0.6,
                )
        _rows(
            axes,
            names,
            "log minus model, standard errors of a second (cut at 12)",
        )
        return svg(figure)


def posterior_picture(learned: Learned) -> str:
    """SVG: every uncertain value before and after the logs, in its errors before."""
    found = learned.found
    names = list(found.those.index)
    title = at_venue(
        learned.project,
        "Known before (grey) and after the logs (green), +- 2 errors,",
    )
    with drawing(7.6, 1.4 + 0.27 * len(names), title) as (figure, axes):
        rows = np.arange(len(names))
        axes.barh(rows, 4.0, left=-2.0, height=0.7, color=QUIET, alpha=0.3)
        scaled = found.those[["value", "error"]].div(
            found.those["prior"], axis=0
        )
        axes.errorbar(
            scaled["value"],
            rows,
            xerr=2.0 * scaled["error"],
            fmt="o",
            ms=4,
            color=SECOND,
        )
        _rows(axes, names, "deviation from the project, standard errors before")
        return svg(figure)


def _rows(axes: Any, names: list[str], label: str) -> None:
    axes.set_yticks(range(len(names)), names, fontsize=8)
    axes.invert_yaxis()
    axes.axvline(0.0, color=INK, lw=0.8)
    axes.set(xlabel=label)


def run_picture(learned: Learned) -> str:
    """SVG: the runs on the unrolled section; quasi-steady seconds that are compared are ringed."""
    venue = learned.project.venue
    unit, label = (
        (1.0, "place along the section, m")
        if venue.profile
        else (DEG, "roll angle, deg")
    )
    with drawing(
        7.6, 4.2, at_venue(learned.project, "The run on the unrolled section")
    ) as (figure, axes):
        for number, way in enumerate(learned.ways):
            inputs = way.table["input"]
            x = (
                np.nancumsum(inputs["speed"] * np.cos(inputs["course"]))
                * WINDOW
            )
            y = (inputs["place"] / unit).to_numpy()
            axes.plot(x, y, color=QUIET, lw=0.8)
            dots = axes.scatter(
                x, y, c=inputs["speed"], s=10, cmap="viridis", zorder=2
            )
            seconds = [
                second for run, second in learned.rows.index if run == number
            ]
            axes.scatter(
                x[seconds],
                y[seconds],
                s=36,
                facecolors="none",
                edgecolors=INK,
                lw=0.7,
                zorder=3,
            )
        figure.colorbar(dots, ax=axes, label="speed, m/s", pad=0.01)
        axes.set(xlabel="along the axis, m", ylabel=label)
        return svg(figure)
