"""The map of radius and speed: margin in colour, the length of the whole place as lines, the front marked."""

from __future__ import annotations

from typing import Any

import numpy as np

from setupopt.report.shared.colours import INK, QUIET, WARNING
from setupopt.report.shared.picture import at_venue, drawing, svg
from setupopt.route.complete import Route
from setupopt.route.grid import Cell
from setupopt.route.radius_map import RouteMap

_LOWEST, _HIGHEST = 0.0, 0.8


def map_picture(route: Route) -> str | None:
    """SVG; None where no map was asked for."""
    if route.map is None:
        return None
    own = " and setup" if route.study.options.propose else ""
    title = at_venue(
        route.study.project,
        f"Least margin after its own best route{own}, still air,",
    )
    with drawing(7.6, 5.6, title) as (figure, axes):
        _cells(route.map, figure, axes)
        _lengths(route.map, axes)
        _front(route.map, axes)
        return svg(figure)


# Around the text of a cell
_FRAME = [(-1.0, -0.6), (1.0, -0.6), (1.0, 0.6), (-1.0, 0.6), (-1.0, -0.6)]


def _cells(found: RouteMap, figure: Any, axes: Any) -> None:
    """Every cell with its margin; empty where no route keeps contact."""
    margin = np.ma.masked_invalid(found.of("margin"))
    mesh = axes.pcolormesh(
        found.speeds,
        found.rows,
        margin,
        shading="nearest",
        cmap="RdYlGn",
        vmin=_LOWEST,
        vmax=_HIGHEST,
    )
    for cell in found.cells:
        axes.text(
            cell.speed,
            cell.row,
            _words(cell),
            ha="center",
            va="center",
            fontsize=7.0,
            color=INK if cell.keeps else WARNING,
        )
    axes.set(
        xlabel="entry speed, m/s (in each cell: least margin; fall height, load factor on the driver; "
        "!: breaks a limit)",
        ylabel="radius of the section, m",
    )
    figure.colorbar(mesh, ax=axes, label="least margin", pad=0.01)


def _words(cell: Cell) -> str:
    if not cell.route.size:
        return "-"
    mark = "" if cell.keeps else " !"
    costs = f"{cell.fall:.0f} m, {cell.load_factor:.1f} g"
    return f"{cell.margin:.2f}{mark}\n{costs}"


def _lengths(found: RouteMap, axes: Any) -> None:
    total = np.ma.masked_invalid(found.of("total"))
    if min(total.shape) > 1 and total.count() > 3:
        lines = axes.contour(
            found.speeds,
            found.rows,
            total,
            colors=QUIET,
            linewidths=1.0,
            levels=6,
        )
        axes.clabel(lines, fmt="%.0f m", fontsize=8.0)


def _front(found: RouteMap, axes: Any) -> None:
    """Cells that no other beats in margin and in whole length."""
    speeds = [cell.speed for cell in found.front]
    radii = [cell.row for cell in found.front]
    axes.plot(
        speeds,
        radii,
        marker=_FRAME,
        ls="none",
        ms=54,
        mfc="none",
        mec=INK,
        mew=1.5,
        label="front of margin and length of the place",
    )
    if speeds:
        axes.legend(
            fontsize=8.0,
            loc="lower left",
            bbox_to_anchor=(0.0, 1.0),
            markerscale=0.25,
        )
