"""The picture of a fitted tyre: measured against model, and what is left against load, by quantity."""

from __future__ import annotations

from typing import Any

import numpy as np

from setupopt.fit.tyre import UPRIGHT, TyreFit
from setupopt.fit.tyre_table import COLUMNS, QUANTITIES, SIGNED, SLIP
from setupopt.fit.uncertainty import OUTLYING
from setupopt.physics.inputs import Floats
from setupopt.report.shared.colours import INK, QUIET, SECOND, WARNING
from setupopt.report.shared.picture import drawing, svg
from setupopt.report.shared.tables import cut
from setupopt.units import DEG

# Told apart without colour: how the wheel stands
_STANDS = (
    ("top towards the car", "v"),
    ("upright", "o"),
    ("top outwards", "^"),
)
_POINT: Any = {
    "ms": 5,
    "mfc": "none",
    "mec": SECOND,
    "mew": 1.1,
    "ls": "none",
}
_ODD: Any = {**_POINT, "mec": WARNING, "mfc": WARNING}
_BOX: Any = {
    "facecolor": "white",
    "edgecolor": "none",
    "pad": 0.5,
}
# Times the noise that the lower panels show; beyond stands on the edge
_MOST = 8.0
_NAMED = 6  # outlying values of a quantity with their lines, the worst
_SMALL = 7.5  # letters, points


def picture(fit: TyreFit, name: str) -> str:
    """SVG: a column for every quantity that was measured."""
    shown = [key for key in QUANTITIES if fit.table.is_measured(key).any()]
    width = max(2.6 * len(shown) + 0.9, 4.8)  # the signs need that much
    title = f'Tyre "{cut(name, 40)}" fitted to {cut(fit.table.path.name, 40)}'
    with drawing(
        width,
        6.0,
        title,
        nrows=2,
        ncols=len(shown),
        squeeze=False,
    ) as (figure, axes):
        for column, key in enumerate(shown):
            _agreement(fit, key, axes[0, column])
            _left(fit, key, axes[1, column])
        axes[0, 0].set_ylabel("model")
        axes[1, 0].set_ylabel("measured minus model,\ntimes its noise")
        across = 4 if len(shown) > 2 else 2
        style = {
            "loc": "outside lower left",
            "ncols": across,
            "fontsize": 9.0,
        }
        figure.legend(handles=_signs(), **style)
        return svg(figure)


def _signs() -> list[Any]:
    """What the shapes mean, without a panel of their own."""
    from matplotlib.lines import Line2D

    stands = [
        Line2D([], [], marker=shape, label=words, **_POINT)
        for words, shape in _STANDS
    ]
    return [
        *stands,
        Line2D(
            [],
            [],
            marker="o",
            label="outlying, with its line in the table",
            **_ODD,
        ),
    ]


def _places(fit: TyreFit, key: str) -> np.ndarray:
    """Where the values of a quantity stand among the residuals."""
    return np.flatnonzero(np.array(fit.fitted.quantities) == key)


def _points(
    fit: TyreFit,
    places: np.ndarray,
    x: Floats,
    y: Floats,
    axes: Any,
) -> None:
    """Points by how the wheel stands, the outlying ones filled and on top."""
    lean = fit.table.values["inclination_deg"][fit.fitted.rows[places]]
    stands = np.where(np.abs(lean) <= UPRIGHT, 1, np.where(lean < 0.0, 0, 2))
    is_odd = fit.fitted.is_outlying[places]
    for group, (_, shape) in enumerate(_STANDS):
        for odd, style in ((False, _POINT), (True, _ODD)):
            own = (stands == group) & (is_odd == odd)
            if own.any():  # a line of nothing spoils the layout
                axes.plot(
                    x[own],
                    y[own],
                    marker=shape,
                    zorder=3 + odd,
                    clip_on=False,
                    **style,
                )
    # the line in the table beside the worst outlying points
    far = np.flatnonzero(is_odd)
    scores = np.abs(fit.fitted.scores[places][far])
    for place in far[np.argsort(-scores)][:_NAMED]:
        line = int(fit.table.lines[fit.fitted.rows[places[place]]])
        axes.annotate(
            str(line), (x[place], y[place]), (6, 0), textcoords="offset points", fontsize=_SMALL,
            color=WARNING, va="center", bbox=_BOX,
        )  # fmt: skip


def _agreement(fit: TyreFit, key: str, axes: Any) -> None:
    """Model over measured, with the line on which both are the same."""
    places = _places(fit, key)
    column = COLUMNS[key]
    rows = fit.fitted.rows[places]
    measured = fit.table.values[key][rows] / column.factor
    model = fit.answers[rows, QUANTITIES.index(key)] / column.factor
    ends = np.array(
        [
            min(measured.min(), model.min()),
            max(measured.max(), model.max()),
        ]
    )
    ends += np.array([-0.06, 0.06]) * max(
        np.ptp(ends), 1e-6 * np.abs(ends).max()
    )
    axes.plot(ends, ends, color=QUIET, lw=1.0, zorder=1)
    _points(fit, places, measured, model, axes)
    axes.set(xlim=ends, ylim=ends, xlabel="measured")
    axes.set_title(key, fontsize=9.5, loc="left")
    axes.locator_params(nbins=4)


def _left(fit: TyreFit, key: str, axes: Any) -> None:
    """What is left, over load, of a slip curve over slip angle, with the bounds of outlying values."""
    places = _places(fit, key)
    over, unit, label = (
        (SLIP, DEG, "slip angle deg")
        if key in SIGNED
        else ("load_N", 1.0, "load N")
    )
    x = fit.table.values[over][fit.fitted.rows[places]] / unit
    room = 0.06 * max(float(np.ptp(x)), 0.02 * float(np.abs(x).max()), 0.1)
    axes.axhline(0.0, color=INK, lw=1.0, zorder=1)
    for bound in (-OUTLYING, OUTLYING):
        axes.axhline(bound, color=WARNING, lw=0.9, ls="--", zorder=1)
    score = np.clip(fit.fitted.scores[places], -_MOST, _MOST)
    _points(fit, places, x, score, axes)
    axes.set(
        xlim=(x.min() - room, x.max() + room),
        ylim=(-_MOST - 0.4, _MOST + 0.4),
        xlabel=label,
    )
    axes.locator_params(axis="x", nbins=4)
