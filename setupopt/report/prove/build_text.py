"""Build error and uncertain inputs in the robustness report."""

from __future__ import annotations

import numpy as np

from setupopt.report.prove.fields import PERCENTILES, JudgedReport
from setupopt.report.prove.words import degrees
from setupopt.report.shared.tables import (
    INDENT,
    Key,
    keyed_table,
    margin_words,
    number,
    paragraph,
    words,
)
from setupopt.robust.builds.worst_build import SCALES, WorstBuild

_MOST_COSTS = 6


def build_section(judged: JudgedReport, width: int) -> str:
    build = judged.proof.build
    lines = ["Build error and uncertain inputs"]
    lines.append(
        _box_words(
            judged, "tolerance", build.build.stands, build.build.worst, width
        )
    )
    if build.inputs is None or build.both is None:
        missing = "No input has an uncertainty: [spread] of limits.toml is empty or missing."
        lines.append(paragraph(missing, width, INDENT))
    else:
        lines.append(
            _box_words(
                judged, "spread", build.inputs.stands, build.inputs.worst, width
            )
        )
        lines.append(
            _box_words(judged, "tolerance and spread", None, build.both, width)
        )
    return "\n".join(
        [
            *lines,
            _costs(build.both or build.build.worst, width),
            _cloud_words(judged, width),
        ]
    )


def _box_words(
    judged: JudgedReport,
    box: str,
    stands: float | None,
    worst: WorstBuild,
    width: int,
) -> str:
    place = judged.place(worst.case)
    times = (
        ""
        if stands is None
        else f"; the margin is kept up to {_times(stands)} the {box}"
    )
    where = f"at {degrees(place)} deg, {place['attitude']}"
    return paragraph(
        f"Worst within the {box}: margin {margin_words(worst.margin)} {where}{times}.",
        width,
        INDENT,
    )


def _times(stands: float) -> str:
    return (
        f"more than {stands:g} times"
        if stands >= SCALES[-1]
        else f"{stands:.2f} times"
    )


def _costs(worst: WorstBuild, width: int) -> str:
    """The errors that cost most margin."""
    shown = worst.costs[:_MOST_COSTS]
    if not shown:
        return paragraph(
            "Contact is lost without any error: the cost of an error cannot be computed.",
            width,
            INDENT,
        )
    keys = [
        words("error", "name"),
        Key("times its bound", "error", "{:+g}".format),
        Key(
            "costs margin",
            "loss",
            lambda loss: number(loss, 4) if np.isfinite(loss) else "contact",
        ),
    ]
    return f"{INDENT}The errors that cost most there, each alone\n{keyed_table(shown, keys, width)}"


def _cloud_words(judged: JudgedReport, width: int) -> str:
    cloud = judged.proof.build.cloud
    floor = judged.proof.plan.floor
    share, low, high = cloud.share_under(floor)
    marks = ", ".join(
        f"{100 * one:g} % {margin_words(cloud.percentile(one))}"
        for one in PERCENTILES
    )
    return paragraph(
        f"Of {cloud.count} builds spread evenly over the whole range, {100 * share:.3g} % are under the "
        f"minimum margin (95 %: {100 * low:.2g} to {100 * high:.2g} %). Margin at percentiles: {marks}.",
        width,
        INDENT,
    )
