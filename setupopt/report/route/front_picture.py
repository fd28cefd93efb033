"""The front of a route: least margin over the length of the way, a line for each entry speed."""

from __future__ import annotations

from setupopt.report.shared.colours import INK, WARNING
from setupopt.report.shared.picture import at_venue, drawing, svg
from setupopt.route.complete import Route


def front_picture(route: Route) -> str | None:
    """SVG; None where no front was asked for."""
    from matplotlib import colormaps

    found = route.front
    if found is None:
        return None
    title = at_venue(
        route.study.project, "Length, speed and margin of the best routes,"
    )
    colours = colormaps["viridis"]
    with drawing(7.6, 4.6, title) as (figure, axes):
        for number, speed in enumerate(found.speeds):
            points = [p for p in found.points if p.cell.speed == speed]
            ways = [point.cell.row for point in points]
            margins = [point.cell.margin for point in points]
            colour = colours(number / found.speeds.size)
            axes.plot(ways, margins, "o-", color=colour, label=f"{speed:g} m/s")
        front = [point.cell for point in found.points if point.on_front]
        axes.plot(
            [cell.row for cell in front],
            [cell.margin for cell in front],
            "o",
            ms=10,
            mfc="none",
            mec=INK,
            label="on the front",
        )
        axes.axhline(found.least_margin, color=WARNING, lw=1.0, ls="--")
        axes.set(xlabel="longest way on the section, m", ylabel="least margin")
        axes.legend(frameon=False, fontsize=8.0, ncols=2)
        return svg(figure)
