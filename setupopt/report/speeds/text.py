"""The safe speeds in words and plain tables; the words stand in speeds.txt."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from setupopt.evaluation.result import Field
from setupopt.report.shared.tables import thinned
from setupopt.report.shared.template import rendered
from setupopt.report.speeds.fields import (
    by_attitude,
    by_limit,
    coast_fields,
    curve,
)
from setupopt.robust.speeds.at_speed import STEP
from setupopt.robust.speeds.motion import RunUp
from setupopt.robust.speeds.study import SpeedStudy
from setupopt.robust.speeds.window import ENDS_TO, PLAIN

_MOST_SPEEDS = 25
_MOST_ANGLES = 19
_RUN_UP_LINES = 10


def text(study: SpeedStudy, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the safe windows alone; lines of at most `width`."""
    speeds = thinned(
        list(curve(study)),
        _MOST_SPEEDS,
        lambda row: abs(row["speed_m_s"] - study.driven),
    )
    helpers = (by_attitude, by_limit, coast_fields, plain_limit)
    return rendered(
        "speeds/speeds", width, short, study=study, speeds=speeds, step=STEP, ends_to=ENDS_TO,
        run_up=_run_up, coasting=_coasting(study),
        **{one.__name__: one for one in helpers},
    )  # fmt: skip


def plain_limit(key: str) -> str:
    """The key of a limit, or the words of what no file limits."""
    return PLAIN.get(key, key)


def _run_up(found: RunUp) -> Iterator[Field]:
    """Some points of the run-up."""
    shown = np.linspace(0, found.speed.size - 1, _RUN_UP_LINES + 1)
    for i in shown.round().astype(int)[1:]:
        names = ("speed", "metres", "seconds", "acceleration")
        limit = "grip" if found.by_grip[i] else "power"
        yield {
            "limit": limit,
            **{name: getattr(found, name)[i] for name in names},
        }


def _coasting(study: SpeedStudy) -> list[Field]:
    """The least time of every roll angle; a case that keeps the margin stands for all of its angle."""
    rows = [coast_fields(study, row) for row in study.coasting.least_by_angle()]
    kept = {"attitude": "all", "metres": None, "to_m_s": None}
    return thinned(
        [row | kept if row["seconds"] is None else row for row in rows],
        _MOST_ANGLES,
        lambda row: np.inf if row["seconds"] is None else row["seconds"],
    )
