"""The picture of a route: its path on the unrolled section, and margin, steer and loads along the way."""

from __future__ import annotations

from typing import Any

import numpy as np

from setupopt.evaluation.result import Field
from setupopt.project.model import WHEELS, Project
from setupopt.report.route.fields import columns
from setupopt.report.shared.colours import INK, QUIET, SECOND, WARNING
from setupopt.report.shared.picture import at_venue, drawing, svg
from setupopt.route.complete import Route

_LINES = ((INK, "-"), (SECOND, "-"), (WARNING, "--"), (QUIET, "--"))
_LOWEST = -0.2  # margins under it have the colour of this one


def route_picture(route: Route) -> str:
    """SVG of a route at all its points."""
    study = route.study
    return along_picture(study.project, columns(study), study.goal.least_margin)


def along_picture(project: Project, table: Field, least_margin: float) -> str:
    """SVG: the unrolled section above, then margin, steer angle and wheel loads along the way.

    `table`: columns of points, in file units.
    """
    layout: Any = {"nrows": 4, "height_ratios": [5, 3, 2, 3]}
    with drawing(
        7.6, 10.4, at_venue(project, "Route"), squeeze=False, **layout
    ) as (figure, axes):
        _unrolled(table, figure, axes[0, 0])
        margin, angles, loads = axes[1:, 0]
        margin.plot(table["way_m"], table["margin"], color=INK, lw=1.5)
        required = {"color": WARNING, "lw": 1.0, "ls": "--"}
        margin.axhline(least_margin, label="required", **required)
        margin.set(ylabel="grip margin")
        for name, color, width in (
            ("heading", QUIET, 1.2),
            ("steer", INK, 1.5),
        ):
            values = table[f"{name}_deg"]
            angles.plot(
                table["way_m"], values, color=color, lw=width, label=name
            )
        angles.set(ylabel="deg")
        _loads(table, loads)
        for panel in axes[1:, 0]:
            panel.set(xlim=(0.0, table["way_m"][-1]))
            many = 4 if panel is loads else 1
            panel.legend(fontsize=8.0, loc="upper right", ncols=many)
        return svg(figure)


def _unrolled(table: Field, figure: Any, axes: Any) -> None:
    """The path over way along the axis and roll angle; its colour is the margin."""
    from matplotlib.collections import LineCollection

    line = np.column_stack([table["axis_m"], table["roll_angle_deg"]])
    segments = np.stack([line[:-1], line[1:]], axis=1)
    margin = np.nan_to_num(
        np.asarray(table["margin"], dtype=float), nan=_LOWEST
    )
    band = LineCollection(list(segments), cmap="RdYlGn", linewidths=5.0)
    band.set_array(np.clip(0.5 * (margin[:-1] + margin[1:]), _LOWEST, 1.0))
    band.set_clim(_LOWEST, 0.8)
    axes.add_collection(band)
    axes.plot(line[:, 0], line[:, 1], color=INK, lw=0.6)
    axes.autoscale()
    axes.set(xlabel="along the axis, m", ylabel="roll angle, deg")
    figure.colorbar(band, ax=axes, label="grip margin", pad=0.01)


def _loads(table: Field, axes: Any) -> None:
    for wheel, (color, dashes) in zip(WHEELS, _LINES, strict=True):
        axes.plot(
            table["way_m"],
            table[f"load_{wheel}_N"],
            color=color,
            ls=dashes,
            lw=1.3,
            label=wheel.upper(),
        )
    axes.set(
        xlabel="way driven, m",
        ylabel="wheel load, N",
        ylim=(0.0, None),
    )
