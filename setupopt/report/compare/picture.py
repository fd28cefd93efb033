"""The picture of a comparison: worst margin of every contender in every attitude."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np

from setupopt.evaluation.result import Field
from setupopt.physics.inputs import Floats
from setupopt.report.compare.fields import JudgedComparison, Line
from setupopt.report.shared.colours import INK, QUIET
from setupopt.report.shared.picture import at_venue, drawing, hatch_sign, svg
from setupopt.report.shared.tables import cut, number

# One hue from white to a tone on which dark numbers still read: the same order in grey and to every eye.
_FILL = ("#ffffff", "#6db5a6")
_LOST = "////"
_BOX = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
_LOWEST = -0.3  # the car slides; how fast is not shown
_ROW = 0.24  # of a cell, inches
_COLUMN = 0.95  # of a cell, inches
_AROUND = 4.6, 2.1  # inches that names, heads and legend take
_NAME = 34  # letters
_HEAD = 12  # letters
_SMALL = 8.0  # letters, points
_TINY = 7.5  # letters, points


def comparison_svg(judged: JudgedComparison) -> str:
    """SVG: rows are contenders, the best on top; columns the worst of all attitudes, then each of them."""
    # (contenders, 1 + attitudes), the worst of all attitudes first; not a number where contact is
    # lost
    held = np.array([line.contender.by_attitude for line in judged.lines])
    held = np.column_stack([held.min(axis=1), held])
    margins = np.where(np.isfinite(held), held, np.nan)
    rows, columns = margins.shape
    title = at_venue(judged.project, "Worst grip margin")
    with drawing(
        _AROUND[0] + _COLUMN * columns, _AROUND[1] + _ROW * rows, title
    ) as (figure, axes):
        _fill(margins, axes)
        _print(margins, axes)
        _frame_best(judged.lines, axes)
        _name_rows(judged.lines, axes)
        _name_columns(judged, axes)
        _explain(margins, axes)
        return svg(figure)


# ---- cells -------------------------------------------------------------------------------------------------


def _fill(margins: Floats, axes: Any) -> None:
    """The darker the more margin; a hatch behind all cells shows where one is left out."""
    from matplotlib.colors import LinearSegmentedColormap

    rows, columns = margins.shape
    edges = np.arange(columns + 1) - 0.5, np.arange(rows + 1) - 0.5
    fill = LinearSegmentedColormap.from_list("margin", _FILL)
    high = max(float(np.nanmax(margins, initial=_LOWEST)), _LOWEST + 0.1)
    low = min(
        max(float(np.nanmin(margins, initial=high)), _LOWEST),
        high - 0.1,
    )
    axes.pcolormesh(
        *edges,
        np.ma.masked_invalid(margins),
        cmap=fill,
        vmin=low,
        vmax=high,
        zorder=1,
    )
    axes.hlines(edges[1], -0.5, columns - 0.5, color="white", lw=1.5, zorder=2)
    axes.vlines(
        edges[0],
        -0.5,
        rows - 0.5,
        color="white",
        lw=[1.5, 6.0, *[1.5] * (columns - 1)],
        zorder=2,
    )
    if np.isnan(margins).any():
        axes.patch.set(hatch=_LOST, edgecolor=QUIET)
    axes.set(xlim=(-0.5, columns - 0.5), ylim=(rows - 0.5, -0.5))
    axes.spines[:].set_visible(False)


def _print(margins: Floats, axes: Any) -> None:
    """The margin in each cell; the worst of a row in bold."""
    for (row, column), margin in np.ndenumerate(margins):
        style: Field = {"weight": "bold"} if column == 0 else {}
        words = number(float(margin), 3)
        if np.isnan(margin):
            words = "lost"
            style["bbox"] = _BOX
        axes.text(
            column,
            row,
            words,
            ha="center",
            va="center",
            fontsize=_SMALL,
            zorder=4,
            **style,
        )


def _frame_best(lines: tuple[Line, ...], axes: Any) -> None:
    """A frame round the best of every attitude."""
    from matplotlib.patches import Rectangle

    for row, column in np.argwhere([line.is_best for line in lines]).tolist():
        corner = column + 1 - 0.47, row - 0.44
        axes.add_patch(
            Rectangle(
                corner,
                0.94,
                0.88,
                fill=False,
                edgecolor=INK,
                lw=1.8,
                zorder=5,
            )
        )


# ---- words -------------------------------------------------------------------------------------------------


def _name_rows(lines: tuple[Line, ...], axes: Any) -> None:
    """Body and setup on the left; on the right in how many attitudes it is best, and what it breaks."""
    names = [_row_name(line) for line in lines]
    axes.set_yticks(range(len(lines)), names, fontsize=_SMALL)
    axes.tick_params(length=0)
    right = len(lines[0].attitudes) + 0.6
    for row, line in enumerate(lines):
        nowhere = line.best_in == 0
        style: Field = (
            {"style": "italic", "color": "#5b6067"} if nowhere else {}
        )
        best = f"best in {line.best_in}" if line.best_in else "nowhere best"
        axes.text(
            right,
            row,
            f"{best}, limit broken" if line.contender.broken else best,
            va="center",
            fontsize=_SMALL,
            **style,
        )
        axes.get_yticklabels()[row].set(**style)


def _row_name(line: Line) -> str:
    setup = (
        "its best" if line.contender.is_own_best else line.contender.setup.name
    )
    return f"{line.rank}  {cut(f'{line.body}, {setup}', _NAME)}"


def _name_columns(judged: JudgedComparison, axes: Any) -> None:
    names = ["worst of all", *judged.best.result.cases.attitudes]
    heads = [textwrap.fill(cut(name, 4 * _HEAD), _HEAD) for name in names]
    axes.xaxis.tick_top()
    axes.set_xticks(range(len(heads)), heads, fontsize=_TINY)
    axes.tick_params(length=0)


def _explain(margins: Floats, axes: Any) -> None:
    """What frames, tones and hatches mean, under the map."""
    from matplotlib.patches import Patch

    signs = [
        Patch(
            facecolor="white",
            edgecolor=INK,
            lw=1.8,
            label="best in this attitude",
        ),
        Patch(
            facecolor=_FILL[1],
            label="the darker the more margin; negative: the car slides",
        ),
    ]
    if np.isnan(margins).any():
        signs.append(hatch_sign(_LOST, "contact lost"))
    axes.legend(
        handles=signs, loc="upper left", bbox_to_anchor=(0.0, 0.0), ncols=len(signs),
        fontsize=_SMALL, borderpad=0.3,
    )  # fmt: skip
