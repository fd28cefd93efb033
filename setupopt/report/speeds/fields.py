"""A study of speeds for scripts; its text stands in `speeds_text`, its picture in `speeds_picture`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.result import Field, degrees
from setupopt.project.csv_write import rows_text
from setupopt.report.shared.plain import picked, plain, setup_fields
from setupopt.robust.speeds.motion import RunUp
from setupopt.robust.speeds.study import SpeedStudy
from setupopt.robust.speeds.window import ENDS_TO, WindowEnd


def as_dict(study: SpeedStudy) -> Field:
    """Plain Python values, None for what has no answer."""
    worst = study.coasting.worst
    return {
        "holds": study.holds,
        "floor": study.floor,
        "setup": setup_fields(study.project, study.setup),
        "speed_m_s": study.driven,
        "cases": study.cases,
        "looked_at_m_s": [float(study.speeds[0]), float(study.speeds[-1])],
        "ends_to_m_s": ENDS_TO,
        "windows": [
            {"low": _end(window.low), "high": _end(window.high)}
            for window in study.windows
        ],
        "breaks": plain(study.at_driven),
        "breaks_at_rest": plain(study.at_rest),
        "curve": list(curve(study)),
        "by_attitude": list(by_attitude(study)),
        "by_limit": list(by_limit(study)),
        "missing": study.missing or None,
        "run_up": None if study.run_up is None else _run_up(study.run_up),
        "coasting": {
            "worst": None if worst is None else coast_fields(study, worst),
            "by_angle": [
                coast_fields(study, row)
                for row in study.coasting.least_by_angle()
            ],
        },
        "cautions": list(study.project.cautions),
    }


def _end(end: WindowEnd) -> Field:
    return picked(end, speed_m_s="speed", beyond="beyond")


def curve(study: SpeedStudy) -> Iterator[Field]:
    """For every speed the worst margin of all attitudes, where it is, and the keys of what breaks."""
    for row, speed in enumerate(study.speeds):
        worst = int(study.margin[row].argmin())
        yield {
            "speed_m_s": float(speed),
            **_margin(study, row, worst),
            "attitude": study.attitudes[worst],
            "breaks": [limit.limit for limit in study.broken[row]],
        }


def _margin(study: SpeedStudy, row: int, column: int) -> Field:
    """One speed and attitude; no margin where contact is lost."""
    angle = degrees(study.angle[row, column])
    return plain(
        {
            "margin": study.margin[row, column],
            "roll_angle_deg": angle,
        }
    )


def by_attitude(study: SpeedStudy) -> Iterator[Field]:
    """Each attitude at the sweep's speed, and the scanned speeds around it at which it keeps the floor."""
    at = int(np.abs(study.speeds - study.driven).argmin())
    for column, name in enumerate(study.attitudes):
        under = np.flatnonzero(study.margin[:, column] < study.floor)
        first = under[under < at].max(initial=-1) + 1
        last = under[under > at].min(initial=len(study.speeds))
        keeps = at not in under
        yield {
            "attitude": name,
            **_margin(study, at, column),
            "keeps_from_m_s": float(study.speeds[first]) if keeps else None,
            "keeps_to_m_s": float(study.speeds[last - 1]) if keeps else None,
        }


def by_limit(study: SpeedStudy) -> Iterator[Field]:
    """For all that breaks anywhere: the next speeds of the scan at which it does, down and up, and where."""
    names = dict.fromkeys(
        limit.limit for found in study.broken for limit in found
    )
    for name in names:
        told = [
            next((limit for limit in found if limit.limit == name), None)
            for found in study.broken
        ]
        under = [
            i
            for i, one in enumerate(told)
            if one and study.speeds[i] < study.driven
        ]
        over = [
            i
            for i, one in enumerate(told)
            if one and study.speeds[i] >= study.driven
        ]
        yield {
            "limit": name,
            "down": _where(study, told, under[-1] if under else None),
            "up": _where(study, told, over[0] if over else None),
        }


def _where(
    study: SpeedStudy, told: Sequence[Broken | None], row: int | None
) -> Field | None:
    limit = None if row is None else told[row]
    if row is None or limit is None:
        return None
    return {
        "speed_m_s": float(study.speeds[row]),
        "roll_angle_deg": limit.roll_angle_deg,
        "attitude": limit.attitude,
    }


def _run_up(found: RunUp) -> Field:
    names = ("speed_m_s", "metres", "seconds", "acceleration_m_s2")
    columns = (found.speed, found.metres, found.seconds, found.acceleration)
    rows = np.column_stack(columns).tolist()
    points = [dict(zip(names, row, strict=True)) for row in rows]
    return {
        **picked(
            found, target_m_s="target", reached="is_reached", top_m_s="top"
        ),
        "metres": float(found.metres[-1]),
        "seconds": float(found.seconds[-1]),
        **picked(found, "doubt_m", "doubt_s", grip_until_m_s="grip_until"),
        "curve": points,
    }


def coast_fields(study: SpeedStudy, row: int) -> Field:
    """One case that coasts; None where the floor is kept all the way."""
    c = study.coasting
    return plain(
        {
            "roll_angle_deg": degrees(c.cases.records["roll_angle"][row]),
            "attitude": c.cases.attitude[row],
            "from_m_s": float(c.cases.records["speed"][row]),
            "seconds": c.seconds[row],
            "metres": c.metres[row],
            "to_m_s": c.speed[row],
        }
    )


def csv_text(study: SpeedStudy) -> str:
    """One row for every speed and attitude: margin (empty: contact lost), its roll angle, whether safe."""
    rows = [
        {
            "speed_m_s": float(speed),
            "attitude": name,
            **_margin(study, i, j),
            "safe": not study.broken[i],
        }
        for i, speed in enumerate(study.speeds)
        for j, name in enumerate(study.attitudes)
    ]
    return rows_text(rows)
