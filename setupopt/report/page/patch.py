"""The picture of the pressure in all four contact patches, on one scale (docs/model.md, tyres)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from setupopt.evaluation.drawn_parts import Patch
from setupopt.physics.inputs import Floats
from setupopt.project.model import WHEELS
from setupopt.report.shared.colours import INK, SECOND
from setupopt.report.shared.picture import drawing, svg
from setupopt.units import KPA, MM

_ACROSS = 121  # points of a picture
_ALONG = 121
_LEVELS = 8
_BOX = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
_LIGHT = "#eef5f3"


def highest(patches: Sequence[Patch]) -> float:
    """Top of a common scale, Pa: the highest pressure of all, rounded up to a plain number of kPa."""
    most = max((patch.peak for patch in patches), default=0.0) / KPA
    step = 10.0 ** np.floor(np.log10(most / 4.0)) if most > 0.0 else 1.0
    step *= next(
        (k for k in (1.0, 2.0, 2.5, 5.0) if k * step * _LEVELS >= most), 10.0
    )
    return float(_LEVELS * step * KPA)


def patches_picture(patches: Sequence[Patch], top: float, reach: float) -> str:
    """SVG of FL, FR, RL, RR as seen from above, forwards up; `top` of the scale in Pa, `reach` shown in m."""
    from matplotlib.colors import LinearSegmentedColormap

    shades = LinearSegmentedColormap.from_list(
        "pressure", [_LIGHT, SECOND, INK]
    )
    levels = np.linspace(0.0, top / KPA, _LEVELS + 1)
    with drawing(3.8, 3.6, nrows=2, ncols=2, sharex=True, sharey=True) as (
        figure,
        axes,
    ):
        for name, patch, one in zip(WHEELS, patches, axes.ravel(), strict=True):
            shown = _panel(patch, name.upper(), one, levels, shades)
            one.set(
                xlim=(-reach / MM, reach / MM),
                ylim=(-reach / MM, reach / MM),
                aspect="equal",
            )
        bar = figure.colorbar(
            shown, ax=axes, orientation="horizontal", shrink=0.9, aspect=28
        )
        bar.set_label("contact pressure kPa", size=10)
        bar.set_ticks(levels[::2].tolist())
        axes[1, 0].set_ylabel("mm along, forwards up", y=1.05)
        axes[1, 0].set_xlabel("mm across, left side of the car left", x=1.05)
        return svg(figure)


def _panel(
    patch: Patch, name: str, axes: Any, levels: Floats, shades: Any
) -> Any:
    """One wheel: filled steps of pressure with their lines, so that it reads without colour too."""
    u = np.linspace(-patch.half_width, patch.half_width, _ACROSS)
    x = np.linspace(-1.0, 1.0, _ALONG) * max(patch.half_length, 1e-3)
    pressure = patch.pressure(u[None, :], x[:, None]) / KPA
    across = -patch.side * u / MM
    along = x / MM
    inside = np.where(pressure > 0.0, pressure, np.nan)
    filled = axes.contourf(across, along, inside, levels=levels, cmap=shades)
    axes.set_title(_title(name, patch), fontsize=10)
    for name, outboard in (("outer", 1.0), ("inner", -1.0)):
        edge = -patch.side * outboard * patch.half_width / MM
        axes.axvline(edge, color=INK, lw=0.8, ls="--")
        over = axes.get_xaxis_transform()
        axes.text(
            edge,
            0.98,
            name,
            ha="center",
            va="top",
            fontsize=9,
            transform=over,
            bbox=_BOX,
        )
    if patch.peak > 0.0:
        axes.contour(
            across,
            along,
            pressure,
            levels=levels[1:],
            colors=INK,
            linewidths=0.5,
        )
        axes.contour(
            across, along, pressure, levels=[1e-6], colors=INK, linewidths=1.0
        )
    return filled


def _title(name: str, patch: Patch) -> str:
    return (
        f"{name}: peak {patch.peak / KPA:.0f} kPa"
        if patch.peak > 0.0
        else f"{name}: in the air"
    )
