"""The safe speeds in words and plain tables; the words stand in speeds.txt."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict

import numpy as np

from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.result import Field
from setupopt.report.shared.tables import along_words, angle, number, thinned
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
from setupopt.robust.speeds.window import (
    ENDS_TO,
    PLAIN,
    WindowEnd,
)

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
    helpers = (by_attitude, by_limit, coast_fields, limits_at, plain_limit)
    return rendered(
        "speeds/speeds", width, short, study=study, speeds=speeds, step=STEP, ends_to=ENDS_TO, end=_end,
        fails=_fails, doubt=_doubt, run_up=_run_up, coasting=_coasting(study),
        **{one.__name__: one for one in helpers},
    )  # fmt: skip


def plain_limit(key: str) -> str:
    """The key of a limit, or the words of what no file limits."""
    return PLAIN.get(key, key)


def limits_at(limits: Sequence[Broken]) -> str:
    """Limits and cases in words."""
    return "; ".join(map(_limit_at, limits))


def _limit_at(limit: Broken) -> str:
    place = f", {limit.where}" if limit.where else ""
    if limit.roll_angle_deg is not None:
        place += f" at {angle(limit.roll_angle_deg)} deg, {along_words(asdict(limit))}{limit.attitude}"
    return plain_limit(limit.limit) + place


def _end(end: WindowEnd, side: str) -> str:
    """An end in words, and what fails beyond it."""
    speed = f"{number(end.speed, 2)} m/s; "
    if not end.beyond:
        return f"{speed}nothing {side} was computed"
    limits = "; ".join(
        f"{_limit_at(limit)} ({number(limit.value, 3)}, {limit.sense} {limit.required:g}"
        f"{limit.unit and ' '}{limit.unit} is needed)"
        for limit in end.beyond
    )
    return f"{speed}{side} fails {limits}"


def _fails(names: Sequence[str]) -> str:
    """The first, and how many more."""
    every = list(dict.fromkeys(names))
    more = f" +{len(every) - 1}" if len(every) > 1 else ""
    return plain_limit(every[0]) + more if every else "-"


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


def _doubt(value: float, least: float) -> str:
    return f"under {least:g}" if value < least else number(value, 2)


def _coasting(study: SpeedStudy) -> list[Field]:
    """The least time of every roll angle; a case that keeps the margin stands for all of its angle."""
    rows = [coast_fields(study, row) for row in study.coasting.least_by_angle()]
    kept = {"attitude": "all", "metres": None, "to_m_s": None}
    return thinned(
        [row | kept if row["seconds"] is None else row for row in rows],
        _MOST_ANGLES,
        lambda row: np.inf if row["seconds"] is None else row["seconds"],
    )
