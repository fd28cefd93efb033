"""The picture of a fitted body: downforce of both axles against ride height, and what is left over."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from setupopt.fit.air.fit import AirFit
from setupopt.fit.air.loads import Balance
from setupopt.fit.air.rows import DOWNFORCE, FORCES, AirRows
from setupopt.physics.inputs import Floats
from setupopt.report.shared.colours import INK, QUIET, SECOND, WARNING
from setupopt.report.shared.picture import common_legend, drawing, svg
from setupopt.report.shared.tables import cut
from setupopt.units import MM, PERCENT

_AXLES = ("front", "rear")
_POINTS = 80
# Told apart without colour: shapes, filled or hollow. In the order of FORCES.
_SHAPES = ("o", "s", "^", "D")
_COLOURS = (INK, SECOND, WARNING, QUIET)
_MANY = 150  # rows: with more of them the points are small
_OTHER = "measured in yaw, in roll or over a curve"
_MOST_NAMED = 12  # outlying values with their line


def picture(fit: AirFit) -> str:
    """SVG: measured and fitted loads per dynamic pressure; below them the residuals row by row."""
    with drawing(10.0, 7.2, _title(fit), nrows=2, height_ratios=[3, 2]) as (
        figure,
        (upper, lower),
    ):
        upper.set_axis_off()
        halves = [
            upper.inset_axes([0.0, 0.0, 0.46, 1.0]),
            upper.inset_axes([0.54, 0.0, 0.46, 1.0]),
        ]
        for axes, force in zip(halves, DOWNFORCE, strict=True):
            _draw_downforce(fit, force, axes)
        place = "outside lower center"
        common_legend(figure, halves, ncols=4, fontsize=8.5, loc=place)
        _draw_residuals(fit, lower)
        return svg(figure)


def _title(fit: AirFit) -> str:
    numbers = (
        f"rung {fit.rung + 1} of {len(fit.steps)}, {len(fit.held)} numbers held"
    )
    return f'Body "{fit.name}" fitted to {len(fit.rows)} measured rows\n{cut(fit.like.name, 60)}; {numbers}'


# ---- downforce ---------------------------------------------------------------------------------------------


def _draw_downforce(fit: AirFit, force: int, axes: Any) -> None:
    """One axle: the plain curve at the usual rake, measured rows, and what the fit makes of each."""
    rows = fit.rows
    ride = rows.ride / MM
    measured = rows.areas[:, force]
    fitted = fit.loads[:, force] / rows.pressure
    known = ~np.isnan(measured)
    axes.set_title(
        f"Downforce on the {_AXLES[force]} axle",
        fontsize=10,
        loc="left",
    )
    axes.set(xlabel="ride height mm, mean of front and rear")
    axes.set(ylabel="force per dynamic pressure m2")
    along, curve = _plain_curve(fit, force)
    axes.plot(
        along / MM,
        curve,
        "-",
        color=SECOND,
        lw=1.6,
        label=f"fitted, straight and flat, rake {_rake(fit) / MM:.0f} mm",
    )
    if not known.any():
        axes.text(
            0.5,
            0.9,
            "not measured",
            ha="center",
            transform=axes.transAxes,
        )
        return
    axes.vlines(
        ride[known],
        measured[known],
        fitted[known],
        color=QUIET,
        lw=0.8,
    )
    # measured rows, filled where they are like the curve
    for kind, fill, words in (
        (rows.is_plain, INK, "measured"),
        (~rows.is_plain, "white", _OTHER),
    ):
        shown = known & kind
        if shown.any():
            style = {"ms": _size(rows), "color": INK, "mfc": fill}
            axes.plot(ride[shown], measured[shown], "o", label=words, **style)
    axes.plot(
        ride[known],
        fitted[known],
        "x",
        ms=_size(rows),
        color=WARNING,
        label="fitted",
    )


def _size(rows: AirRows) -> float:
    return 5.0 if len(rows) <= _MANY else 2.5


def _plain_curve(fit: AirFit, force: int) -> tuple[Floats, Floats]:
    """Ride heights, m, and loads per dynamic pressure: upright, flow from ahead, flat, at the median rake."""
    rake = _rake(fit)
    ride = np.linspace(fit.rows.ride.min(), fit.rows.ride.max(), _POINTS)
    one = fit.rows.pick(np.zeros(_POINTS, dtype=int))
    still = {
        name: np.zeros(_POINTS) for name in ("body_roll", "yaw", "curvature")
    }
    rows = replace(
        one,
        front_ride=ride - 0.5 * rake,
        rear_ride=ride + 0.5 * rake,
        **still,
    )
    loads = Balance(fit.like, fit.measured.terms, rows).loads(fit.step.values)
    return ride, loads[:, force] / rows.pressure


def _rake(fit: AirFit) -> float:
    return float(np.median(fit.rows.rear_ride - fit.rows.front_ride))


# ---- residuals ---------------------------------------------------------------------------------------------


def _draw_residuals(fit: AirFit, axes: Any) -> None:
    """Measured less fitted by the line of the table; outlying values carry their line."""
    rows = fit.rows
    shares = (
        (rows.forces - fit.loads)
        / (rows.pressure[:, None] * rows.sizes)
        / PERCENT
    )
    for place, (key, shape, colour) in enumerate(
        zip(FORCES, _SHAPES, _COLOURS, strict=True)
    ):
        counts = rows.counts[:, place]
        if counts.any():
            style = {
                "marker": shape,
                "color": colour,
                "mfc": "white" if place % 2 else colour,
                "ls": "none",
            }
            axes.plot(
                rows.lines[counts],
                shares[counts, place],
                ms=_size(rows),
                label=key,
                **style,
            )
    axes.axhline(0.0, color=INK, lw=0.8)
    axes.set_title("Left over: measured less fitted", fontsize=10, loc="left")
    axes.set(xlabel="line of the table", ylabel="% of the force's size")
    axes.margins(y=0.15)
    axes.xaxis.get_major_locator().set_params(integer=True)
    axes.legend(
        fontsize=8,
        ncols=4,
        loc="lower right",
        bbox_to_anchor=(1.0, 1.0),
        borderpad=0,
    )
    _name_outlying(fit, shares, axes)


def _name_outlying(fit: AirFit, shares: Floats, axes: Any) -> None:
    for line, key, _ in sorted(fit.outlying, key=lambda one: -abs(one[2]))[
        :_MOST_NAMED
    ]:
        row = int(np.flatnonzero(fit.rows.lines == line)[0])
        at = line, shares[row, FORCES.index(key)]
        axes.annotate(
            f"line {line}",
            at,
            (5, 3),
            textcoords="offset points",
            fontsize=8,
        )
