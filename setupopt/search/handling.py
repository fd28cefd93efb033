"""Handling limits: which axle lets go first, and how fast the car may leave its trim by itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.limit import AT_LEAST, AT_MOST, Sense
from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import Floats, Records
from setupopt.search.objective import Objective
from setupopt.units import DEG

# The reserve counts in the cases whose margin is at most so much above the worst one.
BAND = 0.1
# Beyond the band, each unit of margin takes so much off the reserve that the search asks for: a case that
# enters the band does so without a jump.
_EASING = 10.0
# Spare reserve beyond this is no more spare: the use of an axle in the air has no upper end.
_MOST_RESERVE = 1.0
# Room of a case that has no trim at full friction, and so no growth rate; its margin is what counts.
_NO_RATE = 1.0
# Limits are satisfied to about this.
_TOLERANCE = 1e-6


@dataclass(frozen=True)
class HandlingLimit:
    """A limit of the handling. `field`: its number in Objective and ProposalOptions; `scale`: counts as one.

    `column`: the field of ANSWER, and `sign` what it is multiplied by. `is_in_band`: whether it counts only
    in the cases within `BAND` of the worst margin.
    """

    name: str
    option: str
    field: str
    sense: Sense
    unit: str
    scale: float
    column: str
    sign: float
    is_in_band: bool

    def is_asked(self, objective: Objective) -> bool:
        """Whether there is such a limit."""
        return getattr(objective, self.field) is not None

    def required(self, objective: Objective) -> float:
        """What is required, where it is asked."""
        return float(getattr(objective, self.field))

    def values(self, answers: Records) -> Floats:
        """Its value in every answer."""
        return np.asarray(self.sign * answers[self.column])

    def room(self, objective: Objective, answers: Records) -> Floats:
        """Room left, shaped as the answers; negative where the limit is broken, whatever the margin."""
        values = self.values(answers)
        required = self.required(objective)
        room = (
            values - required if self.sense == AT_LEAST else required - values
        )
        return np.asarray(np.where(np.isfinite(room), room, _NO_RATE))


HANDLING = (
    HandlingLimit(
        "rear reserve",
        "--rear-reserve",
        "rear_reserve",
        AT_LEAST,
        "of grip",
        0.1,
        "balance",
        -1.0,
        True,
    ),
    HandlingLimit(
        "growth rate",
        "--most-growth",
        "most_growth",
        AT_MOST,
        "1/s",
        1.0,
        "growth",
        1.0,
        False,
    ),
)


def handling_rows(
    limit: HandlingLimit, objective: Objective, answers: Records
) -> Floats:
    """Rows of a search over the limit's scale, (setups, cases), from answers of the cases that count.

    In the band the row is the room itself. Beyond the band it grows with the margin, continuously.
    """
    room = limit.room(objective, answers)
    if limit.is_in_band:
        room = np.clip(room, -_MOST_RESERVE, _MOST_RESERVE)
        margins = answers["search_margin"]
        room = room + _EASING * np.maximum(
            0.0, margins - margins.min(axis=1, keepdims=True) - BAND
        )
    return np.asarray(room / limit.scale)


def handling_broken(
    objective: Objective, results: Sequence[Result]
) -> tuple[Broken, ...]:
    """Handling limits that the first setup of results breaks, each in the case that breaks it most.

    The worst margin is that of all results together. Lost cases count for none.
    """
    counts = [
        objective.counts[objective.numbers(one.cases.attitude)]
        for one in results
    ]
    margins = [
        np.where(own, one.safe_margin[0], np.inf)
        for one, own in zip(results, counts, strict=True)
    ]
    level = min(float(one.min(initial=np.inf)) for one in margins) + BAND
    found = []
    for _, limit in asked(objective):
        highest = level if limit.is_in_band else np.inf
        worst = [
            _worst(limit, objective, one, m, highest)
            for one, m in zip(results, margins, strict=True)
        ]
        rooms = [room for room, _ in worst]
        room, row = worst[int(np.argmin(rooms))]
        if room < -_TOLERANCE:
            found.append(
                _as_broken(
                    limit, objective, results[int(np.argmin(rooms))], row
                )
            )
    return tuple(found)


def _worst(
    limit: HandlingLimit,
    objective: Objective,
    result: Result,
    margins: Floats,
    highest: float,
) -> tuple[float, int]:
    """The least room of the cases that count, and which case that is."""
    counts = np.isfinite(margins) & (margins <= highest)
    room = np.where(counts, limit.room(objective, result.answers[0]), np.inf)
    row = int(room.argmin()) if room.size else -1
    return (float(room[row]), row) if room.size else (np.inf, row)


def _as_broken(
    limit: HandlingLimit, objective: Objective, result: Result, row: int
) -> Broken:
    cases = result.cases
    return Broken(
        limit.option,
        "",
        float(limit.values(result.answers[0])[row]),
        limit.sense,
        limit.required(objective),
        limit.unit,
        case=row + 1,
        roll_angle_deg=round(float(cases.records["roll_angle"][row]) / DEG, 9),
        attitude=cases.attitude[row],
        **cases.along(row),
    )


def asked(objective: Objective) -> Iterator[tuple[int, HandlingLimit]]:
    """The handling limits that there are, with their numbers."""
    return (
        (n, limit)
        for n, limit in enumerate(HANDLING)
        if limit.is_asked(objective)
    )
