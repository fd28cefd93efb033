"""Charts of the report page: margin by roll angle, wheel loads round the section."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import cycle, groupby
from typing import Any

import numpy as np

from setupopt.evaluation.assessment import Assessment
from setupopt.evaluation.report_data import PROPOSED, TODAY
from setupopt.evaluation.result import Field
from setupopt.evaluation.summary import by_angle
from setupopt.physics.inputs import Floats
from setupopt.project.model import WHEELS
from setupopt.report.shared.colours import INK, SECOND, WARNING
from setupopt.report.shared.picture import common_legend, crosses, drawing, svg
from setupopt.report.shared.tables import cut

_LOWEST = (
    -1.0
)  # margins below it are drawn there: the page does not show how fast it slides
_MOST_NAMED = 4  # stretches of one attitude, the longest
_LIFTS = (
    8,
    -18,
)  # points, in turn: names of neighbouring stretches stand apart
_PAPER = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.5}
_TEXT = "#4c545d"
_BAND = "#b9d8d2"
_LEGEND: Any = {"loc": "outside upper center", "ncols": 2, "fontsize": 9}


# Setups differ by more than colour: colour, line and marker of each.
_LOOKS = {TODAY: (INK, "--", "o"), PROPOSED: (SECOND, "-", "s")}


@dataclass(frozen=True)
class Shown:
    """One setup in the charts, `role` as `report_data` calls it: its worst attitude at every roll angle."""

    role: str
    assessment: Assessment

    @cached_property
    def rows(self) -> list[Field]:
        """As `by_angle` gives them."""
        return by_angle(self.assessment.result)

    @property
    def at(self) -> Floats:
        """The sweep: roll angles in degrees, or on a section of parts m along it."""
        cases = self.assessment.result.cases
        at = cases.at[: cases.angles.size]
        return at if cases.is_along else np.degrees(at)

    @property
    def at_words(self) -> str:
        """What the sweep is called."""
        along = self.assessment.result.cases.is_along
        return "m along the section" if along else "roll angle deg"

    def column(self, key: str) -> Floats:
        """Values of all rows; not a number where there is none."""
        return np.array([row[key] for row in self.rows], dtype=float)


def margins_picture(shown: Sequence[Shown], floor: float | None) -> str:
    """SVG: the worst margin at every roll angle, one line for each setup; crosses where contact is lost."""
    with drawing(3.8, 3.2) as (figure, axes):
        for place, one in enumerate(shown):
            _margin_line(one, place, axes)
        _name_attitudes(shown[-1], axes)
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
        axes.set(xlabel=shown[0].at_words, ylabel="grip margin, worst attitude")
        _angle_ticks(axes)
        axes.set_ylim(
            top=max(axes.get_ylim()[1], 0.1),
            bottom=min(axes.get_ylim()[0], -0.12),
        )
        figure.legend(**_LEGEND)
        return svg(figure)


def _angle_ticks(axes: Any, most: int = 7) -> None:
    """Few ticks, at angles that people think in."""
    from matplotlib.ticker import MaxNLocator

    axes.xaxis.set_major_locator(
        MaxNLocator(nbins=most, steps=[1, 2, 3, 5, 6, 9, 10])
    )


def _margin_line(one: Shown, place: int, axes: Any) -> None:
    (colour, line, marker) = _LOOKS[one.role]
    angles = one.at
    margin = one.column("margin")
    axes.plot(
        angles,
        np.maximum(margin, _LOWEST),
        line,
        color=colour,
        lw=1.6,
        marker=marker,
        ms=3.0,
        markevery=max(1, margin.size // 12),
        label=one.role,
    )
    lost = np.isnan(margin)
    label = f"contact lost ({one.role})"
    style = {"ms": 5, "color": colour, "mew": 1.4, "label": label}
    crosses(axes, angles, lost, 0.03 + 0.05 * place, **style)
    if not lost.all():
        worst = int(np.nanargmin(margin))
        lowest = max(margin[worst], _LOWEST)
        axes.plot(angles[worst], lowest, "o", ms=9, mfc="none", color=colour)


def _name_attitudes(one: Shown, axes: Any) -> None:
    """Which attitude is the worst along the line, where it is so for a while."""
    rows = one.rows
    angles = one.at
    stretches = [
        list(group)
        for _, group in groupby(
            range(len(rows)), key=lambda k: rows[k]["attitude"]
        )
    ]
    named = sorted(sorted(stretches, key=len)[-_MOST_NAMED:])
    for stretch, lift in zip(named, cycle(_LIFTS), strict=False):
        middle = stretch[len(stretch) // 2]
        margin = rows[middle]["margin"]
        if margin is None:
            continue
        is_late = angles[middle] > angles[0] + 0.6 * (angles[-1] - angles[0])
        axes.annotate(
            cut(rows[middle]["attitude"], 26),
            (angles[middle], max(margin, _LOWEST)),
            (-6 if is_late else 6, lift),
            textcoords="offset points", ha="right" if is_late else "left", fontsize=9, color=_TEXT, bbox=_PAPER,
        )  # fmt: skip


_STANDING = (
    ("sideslip_deg", "sideslip deg"),
    ("steer_deg", "steer deg"),
    ("balance", "balance"),
)


def standing_picture(shown: Sequence[Shown]) -> str:
    """SVG: sideslip, steer and balance of the worst attitude at every roll angle, one line for each setup."""
    with drawing(3.8, 3.3, nrows=len(_STANDING), sharex=True) as (figure, axes):
        for panel, (key, head) in zip(axes, _STANDING, strict=True):
            panel.axhline(0.0, color=_TEXT, lw=0.6)
            panel.set_ylabel(head)
            for one in shown:
                (colour, line, _) = _LOOKS[one.role]
                style = {"color": colour, "lw": 1.6, "label": one.role}
                panel.plot(one.at, one.column(key), line, **style)
        axes[-1].set_xlabel(shown[0].at_words)
        _angle_ticks(axes[-1])
        common_legend(figure, axes, **_LEGEND)
        return svg(figure)


def top_load(shown: Sequence[Shown]) -> float:
    """Top of a common scale of wheel loads, N."""
    results = [one.assessment.result for one in shown]
    loads = [one.answers["load"][0][one.contact[0]] for one in results]
    return 1.08 * max(
        (float(load.max()) for load in loads if load.size), default=1.0
    )


def loads_picture(shown: Shown, top: float) -> str:
    """SVG: the load of every wheel round the section, of all attitudes and of the worst one."""
    with drawing(3.8, 3.3, nrows=2, ncols=2, sharex=True, sharey=True) as (
        figure,
        axes,
    ):
        for w, one in enumerate(axes.ravel()):
            _load_panel(shown, w, top, one)
            one.set_ylim(0.0, top / 1e3)
            _angle_ticks(one, 3)
        figure.supylabel("wheel load kN", fontsize=10, color=INK)
        figure.supxlabel(shown.at_words, fontsize=10, color=INK)
        common_legend(figure, axes.flat, **_LEGEND)
        return svg(figure)


def _load_panel(shown: Shown, w: int, top: float, axes: Any) -> None:
    assessment = shown.assessment
    cases = assessment.result.cases
    shape = (len(cases.attitudes), cases.angles.size)
    angles = shown.at
    # kN; not a number where contact is lost
    result = assessment.result
    load = np.where(
        result.contact[0], result.answers["load"][0][:, w] / 1e3, np.nan
    ).reshape(shape)
    least = np.fmin.reduce(load)
    most = np.fmax.reduce(load)
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
    car = assessment.project.car
    limit = (car.front, car.rear)[w // 2].tyres[w % 2].load_limit
    if limit is not None and limit < top:
        axes.axhline(
            limit / 1e3, color=WARNING, lw=1.2, ls=":", label="load limit"
        )
    lost = ~assessment.result.contact[0].reshape(shape).all(axis=0)
    style = {"ms": 4, "color": WARNING, "label": "contact lost"}
    crosses(axes, angles, lost, 0.04, **style)
