"""Charts of the report page: margin by roll angle, wheel loads round the section."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any, NamedTuple

import numpy as np

from setupopt.evaluation.assessment import Assessment
from setupopt.evaluation.result import Field
from setupopt.evaluation.summary import by_angle
from setupopt.physics.inputs import Floats
from setupopt.project.model import WHEELS
from setupopt.report.shared.picture import (
    INK,
    SECOND,
    WARNING,
    crosses,
    drawing,
    svg,
)
from setupopt.report.shared.tables import cut

_LOWEST = (
    -1.0
)  # margins below it are drawn there: the page does not show how fast it slides
_MOST_NAMED = 4  # stretches of one attitude, the longest
_TEXT = "#4c545d"
_BAND = "#b9d8d2"


class Line(NamedTuple):
    """The line of a setup; setups differ by more than colour."""

    colour: str
    style: str
    marker: str


TODAY = Line(INK, "--", "o")
PROPOSED = Line(SECOND, "-", "s")


def margins_picture(
    shown: Sequence[tuple[str, Line, Assessment]], floor: float | None
) -> str:
    """SVG: the worst margin at every roll angle, one line for each setup; crosses where contact is lost."""
    with drawing(3.8, 3.2) as (figure, axes):
        for place, (label, line, assessment) in enumerate(shown):
            _margin_line(label, line, assessment, place, axes)
        _name_attitudes(shown[-1][2], axes)
        axes.axhline(0.0, color=WARNING, lw=1.0)
        axes.annotate(
            "slides below",
            (1.0, 0.0),
            (-2, -2),
            xycoords=axes.get_yaxis_transform(),
            fontsize=9,
            textcoords="offset points",
            ha="right",
            va="top",
            color=WARNING,
        )
        if floor is not None:
            axes.axhline(
                floor,
                color=INK,
                lw=1.0,
                ls=":",
                label=f"minimum margin {floor:g}",
            )
        axes.set(
            xlabel=_at_words(shown[0][2]), ylabel="grip margin, worst attitude"
        )
        _angle_ticks(axes)
        axes.set_ylim(
            top=max(axes.get_ylim()[1], 0.1),
            bottom=min(axes.get_ylim()[0], -0.12),
        )
        figure.legend(loc="outside upper center", ncols=2, fontsize=9)
        return svg(figure)


def _at(assessment: Assessment) -> Floats:
    """The sweep: roll angles in degrees, or on a section of parts m along it."""
    cases = assessment.result.cases
    at = cases.at[: cases.angles.size]
    return at if cases.is_along else np.degrees(at)


def _at_words(assessment: Assessment) -> str:
    return (
        "m along the section"
        if assessment.result.cases.is_along
        else "roll angle deg"
    )


def _angle_ticks(axes: Any, most: int = 7) -> None:
    """Few ticks, at angles that people think in."""
    from matplotlib.ticker import MaxNLocator

    axes.xaxis.set_major_locator(
        MaxNLocator(nbins=most, steps=[1, 2, 3, 5, 6, 9, 10])
    )


def _margin_line(
    label: str, line: Line, assessment: Assessment, place: int, axes: Any
) -> None:
    rows = by_angle(assessment.result)
    angles = _at(assessment)
    margin = np.array(
        [np.nan if row["margin"] is None else row["margin"] for row in rows]
    )
    axes.plot(
        angles,
        np.maximum(margin, _LOWEST),
        line.style,
        color=line.colour,
        lw=1.6,
        marker=line.marker,
        ms=3.0,
        markevery=max(1, len(rows) // 12),
        label=label,
    )
    lost = np.isnan(margin)
    label = f"contact lost ({label})"
    style = {"ms": 5, "color": line.colour, "mew": 1.4, "label": label}
    crosses(axes, angles, lost, 0.03 + 0.05 * place, **style)
    if not lost.all():
        worst = int(np.nanargmin(margin))
        axes.plot(
            angles[worst],
            max(margin[worst], _LOWEST),
            "o",
            ms=9,
            mfc="none",
            color=line.colour,
        )


def _name_attitudes(assessment: Assessment, axes: Any) -> None:
    """Which attitude is the worst along the line, where it is so for a while."""
    rows = by_angle(assessment.result)
    angles = _at(assessment)
    stretches = [
        list(group)
        for _, group in groupby(
            range(len(rows)), key=lambda k: rows[k]["attitude"]
        )
    ]
    named = sorted(sorted(stretches, key=len)[-_MOST_NAMED:])
    for stretch in named:
        middle = stretch[len(stretch) // 2]
        margin = rows[middle]["margin"]
        if margin is None:
            continue
        is_late = angles[middle] > angles[0] + 0.6 * (angles[-1] - angles[0])
        axes.annotate(
            cut(rows[middle]["attitude"], 26),
            (angles[middle], max(margin, _LOWEST)),
            (-6 if is_late else 6, 8),
            textcoords="offset points", ha="right" if is_late else "left", fontsize=9, color=_TEXT,
        )  # fmt: skip


_STANDING = (
    ("sideslip_deg", "sideslip deg"),
    ("steer_deg", "steer deg"),
    ("balance", "balance"),
)


def standing_picture(shown: Sequence[tuple[str, Line, Assessment]]) -> str:
    """SVG: sideslip, steer and balance of the worst attitude at every roll angle, one line for each setup."""
    with drawing(3.8, 3.3, nrows=len(_STANDING), sharex=True) as (figure, axes):
        for one, (key, head) in zip(axes, _STANDING, strict=True):
            one.axhline(0.0, color=_TEXT, lw=0.6)
            one.set_ylabel(head)
            for label, line, assessment in shown:
                values = [row[key] for row in by_angle(assessment.result)]
                numbers = np.array(
                    [np.nan if value is None else value for value in values]
                )
                one.plot(
                    _at(assessment),
                    numbers,
                    line.style,
                    color=line.colour,
                    lw=1.6,
                    label=label,
                )
        axes[-1].set_xlabel(_at_words(shown[0][2]))
        _angle_ticks(axes[-1])
        names = axes[0].get_legend_handles_labels()
        figure.legend(
            *names,
            loc="outside upper center",
            ncols=2,
            fontsize=9,
        )
        return svg(figure)


def top_load(shown: Sequence[Assessment]) -> float:
    """Top of a common scale of wheel loads, N."""
    loads = [a.result.answers["load"][0][a.result.contact[0]] for a in shown]
    return 1.08 * max(
        (float(load.max()) for load in loads if load.size), default=1.0
    )


def loads_picture(assessment: Assessment, top: float) -> str:
    """SVG: the load of every wheel round the section, of all attitudes and of the worst one."""
    with drawing(3.8, 3.3, nrows=2, ncols=2, sharex=True, sharey=True) as (
        figure,
        axes,
    ):
        for w, one in enumerate(axes.ravel()):
            _load_panel(assessment, w, top, one)
            one.set_ylim(0.0, top / 1e3)
            _angle_ticks(one, 3)
        figure.supylabel("wheel load kN", fontsize=10, color=INK)
        figure.supxlabel(_at_words(assessment), fontsize=10, color=INK)
        names: Field = {}
        for one in axes.ravel():
            names |= {
                label: drawn
                for drawn, label in zip(
                    *one.get_legend_handles_labels(), strict=True
                )
            }
        figure.legend(
            names.values(),
            names.keys(),
            loc="outside upper center",
            ncols=2,
            fontsize=9,
        )
        return svg(figure)


def _load_panel(assessment: Assessment, w: int, top: float, axes: Any) -> None:
    cases = assessment.result.cases
    shape = (len(cases.attitudes), cases.angles.size)
    angles = _at(assessment)
    # kN; not a number where contact is lost
    result = assessment.result
    load = np.where(
        result.contact[0], result.answers["load"][0][:, w] / 1e3, np.nan
    ).reshape(shape)
    held = np.isfinite(load)
    some = held.any(axis=0)
    least = np.where(some, np.where(held, load, np.inf).min(axis=0), np.nan)
    most = np.where(some, np.where(held, load, -np.inf).max(axis=0), np.nan)
    axes.fill_between(
        angles, least, most, color=_BAND, lw=0.0, label="all attitudes"
    )
    axes.plot(angles, least, color=SECOND, lw=0.7)
    axes.plot(angles, most, color=SECOND, lw=0.7)
    axes.plot(
        angles,
        load[assessment.worst // shape[1]],
        color=INK,
        lw=1.3,
        ls="--",
        label=cut(assessment.worst_fields["attitude"], 26),
    )
    axes.set_title(WHEELS[w].upper(), fontsize=10, loc="left", pad=3)
    limit = (assessment.project.car.front, assessment.project.car.rear)[
        w // 2
    ].tyre.load_limit
    if limit is not None and limit < top:
        axes.axhline(
            limit / 1e3, color=WARNING, lw=1.2, ls=":", label="load limit"
        )
    lost = ~assessment.result.contact[0].reshape(shape).all(axis=0)
    style = {"ms": 4, "color": WARNING, "label": "contact lost"}
    crosses(axes, angles, lost, 0.04, **style)
