"""The picture of slip curves: lateral force against slip angle by load, measured and by the fitted tyre."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from setupopt.fit.slip_curves import SlipCurve, slip_curves
from setupopt.fit.tyre import TyreFit
from setupopt.fit.tyre_table import CURVE, SLIP
from setupopt.report.shared.picture import INK, QUIET, SECOND, WARNING, drawing, svg
from setupopt.report.shared.tables import cut
from setupopt.units import BAR, DEG

# Loads are told apart without colour: shape of the points, dashes of the curve
_STYLES = (
    ("o", "-", INK),
    ("s", "--", SECOND),
    ("^", "-.", WARNING),
    ("D", ":", QUIET),
)
_MOST_PANELS = 6
_ACROSS = 3  # panels beside each other


def slip_picture(fit: TyreFit, name: str) -> str:
    """SVG: a panel for every pressure and inclination, at most six, with a curve for every load."""
    panels = [(key, list(group)) for key, group in groupby(slip_curves(fit), _conditions)][:_MOST_PANELS]
    across = min(len(panels), _ACROSS)
    down = -(-len(panels) // _ACROSS)
    title = f'Slip curves of tyre "{cut(name, 40)}" fitted to {cut(fit.table.path.name, 40)}'
    size = (3.2 * across + 0.8, 3.0 * down + 0.6)
    with drawing(*size, title, nrows=down, ncols=across, squeeze=False, sharex=True, sharey=True) as drawn:
        figure, axes = drawn
        for panel, ax in enumerate(axes.flat):
            if panel >= len(panels):
                ax.set_axis_off()
                continue
            _panel(fit, panels[panel][1], ax)
        for ax in axes[:, 0]:
            ax.set_ylabel("lateral force kN")
        for ax in axes[-1]:
            ax.set_xlabel("slip angle deg")
        return svg(figure)


def _conditions(curve: SlipCurve) -> tuple[float, int]:
    """What the curves of a panel share, as written above it."""
    return round(curve.pressure / BAR, 1), round(curve.inclination / DEG)


def _panel(fit: TyreFit, curves: list[SlipCurve], ax: Any) -> None:
    pressure, inclination = _conditions(curves[0])
    ax.axhline(0.0, color=QUIET, lw=0.7, zorder=1)
    ax.axvline(0.0, color=QUIET, lw=0.7, zorder=1)
    for place, curve in enumerate(curves):
        shape, dashes, colour = _STYLES[place % len(_STYLES)]
        slip = fit.table.values[SLIP][curve.rows] / DEG
        lateral = fit.table.values[CURVE][curve.rows] / 1e3
        label = f"{curve.load / 1e3:.2g} kN"
        ax.plot(curve.slip / DEG, curve.lateral / 1e3, ls=dashes, color=colour, lw=1.3, zorder=2)
        ax.plot(slip, lateral, shape, ms=4.5, mfc="white", mec=colour, mew=1.1, zorder=3)
        ax.plot([], [], shape, ls=dashes, ms=4.5, mfc="white", color=colour, label=label)
    stands = f"inclination {inclination:+d} deg" if inclination else "upright"
    ax.set_title(f"{stands}, {pressure:g} bar", fontsize=9.5, loc="left")
    ax.legend(title="load", title_fontsize=8, frameon=False, fontsize=8, loc="upper left")
    ax.locator_params(nbins=5)
