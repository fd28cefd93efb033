"""Limits that an evaluated setup breaks, by the table of `limits`.

Cases that slide or lose contact count for none of them: their numbers are of no trim at full friction.
Such a case passes nothing: its margin is below zero, or there is none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

import numpy as np

from setupopt.evaluation import setup_record
from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.limit import Evaluated, Limit, Sense
from setupopt.evaluation.limits import PackagingLimits, is_judged
from setupopt.evaluation.result import Result, degrees
from setupopt.physics.inputs import Floats, Records
from setupopt.project.model import Project, Setup
from setupopt.units import angle

__all__ = ["Broken", "Sense", "broken"]

# Relative, and in SI: the conversion from file units leaves noise
_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Broken:
    """One broken limit, in the place and the case that break it most; numbers in the unit of the files.

    `limit` is the key in the files; `where` an axle, a wheel, a floor point or an air element, empty for
    the whole car. `case` is the number in the case table; it, the angle and the attitude are None for a limit
    of the car at rest, `along_mm` on any section but one of parts.
    """

    limit: str
    where: str
    value: float
    sense: Sense
    required: float
    unit: str
    case: int | None = None
    roll_angle_deg: float | None = None
    attitude: str | None = None
    along_mm: float | None = None

    @property
    def words(self) -> str:
        """Limit, value, what is required and the case, in one line."""
        name = f"{self.limit} {self.where}".strip()
        case = "at rest"
        if self.case is not None:
            along = (
                ""
                if self.along_mm is None
                else f"{self.along_mm:.0f} mm along, "
            )
            at = angle(self.roll_angle_deg or 0.0)
            case = f"in case {self.case}, {at} deg, {along}{self.attitude}"
        return f"{name}: {self.value:.4g} {self.unit}, {self.sense} {self.required:g} {self.unit}, {case}"


def broken(
    project: Project, setup: Setup | Records, result: Result, row: int = 0
) -> tuple[Broken, ...]:
    """Every limit that `setup` breaks, of a file or a SETUP record (1); `row` of `result` has its answers."""
    packaging = project.limits.packaging if project.limits else None
    table = PackagingLimits(project.car, packaging)
    setups = setup_record.by_wheel(setup)
    answers = result.answers[row : row + 1]
    evaluated = table.evaluated(setups, result.cases.records, answers)
    groups = (
        list(limits)
        for _, limits in groupby(table.limits, key=lambda limit: limit.group)
    )
    worst = (_worst(limits, evaluated, result) for limits in groups)
    return tuple(limit for limit in worst if limit is not None)


def _worst(
    limits: Sequence[Limit], evaluated: Evaluated, result: Result
) -> Broken | None:
    """The limit, case and place that are broken most; None where all are kept."""
    columns = [
        (limit, place) for limit in limits for place in range(len(limit.places))
    ]
    excess = np.concatenate(
        [_excess(limit, evaluated, result.cases) for limit in limits], axis=1
    )
    if not (excess > 0.0).any():
        return None
    case, column = divmod(int(excess.argmax()), len(columns))
    limit, place = columns[column]
    value = limit.values(evaluated)[0, case, place]
    required = np.broadcast_to(
        limit.required_of(evaluated), (1, 1, len(limit.places))
    )[0, 0, place]
    found = Broken(
        limit.key,
        limit.places[place],
        _plain(float(value) / limit.factor),
        limit.sense,
        _plain(float(required) / limit.factor),
        limit.unit,
    )
    if limit.is_at_rest:
        return found
    cases = result.cases
    angle = degrees(cases.records["roll_angle"][case])
    at: dict[str, Any] = {
        "case": int(cases.numbers[case]),
        "roll_angle_deg": angle,
        "attitude": cases.attitude[case],
    }
    at |= cases.along(case)
    return replace(found, **at)


def _excess(limit: Limit, evaluated: Evaluated, cases: CaseSet) -> Floats:
    """By how much a limit is broken and the noise of conversion, (cases, places); positive: broken."""
    over = -limit.room(evaluated)[0]
    noise = _SLACK * np.maximum(1.0, np.abs(limit.required_of(evaluated)))
    excess = over - np.reshape(noise, (1, -1))
    if limit.is_at_rest:
        return excess
    counts = np.zeros(len(cases), dtype=bool)
    counts[limit.cases_of(cases)] = True
    return np.where(
        (counts & is_judged(evaluated.answers)[0])[:, None], excess, -np.inf
    )


def _plain(value: float) -> float:
    """Without the noise of the conversion from SI (rounded to 1e-9)."""
    return round(value, 9) + 0.0
