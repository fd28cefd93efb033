"""Cases summed up: the worst attitude at every roll angle, the worst roll angle of every attitude."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.evaluation import counts as counting
from setupopt.evaluation.counts import Named
from setupopt.evaluation.result import Field, Result, degrees
from setupopt.physics.inputs import Floats
from setupopt.project.model import WHEELS
from setupopt.units import DEG, MM

# Cases that a long list is judged by in detail.
LOWEST = 40


@dataclass(frozen=True, slots=True)
class AttitudeWorst:
    """One attitude over all its cases; `margin` at its worst angle, None where contact is lost there.

    `lost`, `sliding`: how many of its cases lose contact, and how many slide.
    """

    attitude: str
    cases: int
    lost: int
    sliding: int
    roll_angle_deg: float
    margin: float | None
    along_mm: float | None = None  # on a section of parts


def by_angle(result: Result) -> list[Field]:
    """As `Result.by_angle`; a list of cases is grouped by the roll angles it gives, in their order.

    By whole degrees, or tenths of a metre along a section, where there are too many of them.
    """
    if result.cases.attitudes:
        return result.by_angle()
    return result.rows(worst_rows(places(result), result.ranked[0]))


def places(result: Result) -> Floats:
    """What `by_angle` groups the cases of a list by, (cases)."""
    at = result.cases.at
    if result.counts is None or not result.counts.many_angles:
        return at
    return np.round(at / (0.1 if result.cases.is_along else DEG))


def worst_rows(groups: np.ndarray, score: Floats) -> np.ndarray:
    """The first of the lowest scores (cases) of each group, in the order of the groups."""
    order = np.lexsort((score, groups))
    sorted_groups = groups[order]
    return order[np.r_[True, sorted_groups[1:] != sorted_groups[:-1]]]


def worst_of_names(result: Result) -> dict[str, int]:
    """The worst case of every name of a list of cases, or attitude of a sweep."""
    names, which = np.unique(
        np.array(result.cases.attitude, dtype=object), return_inverse=True
    )
    rows = worst_rows(which, result.ranked[0])
    return {str(name): int(row) for name, row in zip(names, rows, strict=True)}


def by_attitude(result: Result) -> list[AttitudeWorst]:
    """Every attitude (or name in a list of cases), in the order of their first cases.

    Each of the worst cases by itself where there are too many names.
    """
    counts = result.counted().names
    if counts is None:
        lowest = np.argsort(result.ranked[0], kind="stable")[:LOWEST]
        rows = sorted(lowest.tolist())
        return [_worst_of(result, row, result.alone(row)) for row in rows]
    worst = worst_of_names(result)
    return [_worst_of(result, worst[name], own) for name, own in counts.items()]


def _worst_of(result: Result, row: int, counts: Named) -> AttitudeWorst:
    return AttitudeWorst(
        result.cases.attitude[row],
        counts.cases,
        counts.lost,
        counts.sliding,
        _angle(result, row),
        _margin(result, row),
        **result.cases.along(row),
    )


@dataclass(frozen=True, slots=True)
class WheelsInAir:
    """The cases of one attitude in which a wheel stands in the air (`Result.in_air`) and contact is kept.

    `wheels`: names, each in the air in one of these cases at least. `from_deg`, `to_deg`: least and largest
    roll angle of these cases; `from_mm`, `to_mm`: the same along a section of parts.
    """

    attitude: str
    cases: int
    wheels: tuple[str, ...]
    from_deg: float
    to_deg: float
    from_mm: float | None = None
    to_mm: float | None = None


def wheels_in_air(result: Result, setup: int = 0) -> tuple[WheelsInAir, ...]:
    """Every attitude (or name in a list of cases) with a wheel in the air, in the order of first cases.

    The sum of `cases` is the number of such cases; empty where all wheels carry load. One row for all where
    there are too many names.
    """
    counts = result.counted(setup)
    names = counts.names
    if names is None:
        names = {f"over {counting.MOST_APART} names": counts.every}
    lifted = [(name, own) for name, own in names.items() if own.in_air]
    is_along = result.cases.is_along
    return tuple(
        _lifted(name, own, is_along)
        for name, own in sorted(lifted, key=lambda pair: pair[1].least[0])
    )


def _lifted(name: str, own: Named, is_along: bool) -> WheelsInAir:
    wheels = [w for w, count in zip(WHEELS, own.sums[4:], strict=True) if count]
    low, high, first, last = own.least[1:] * (1.0, -1.0, 1.0, -1.0)
    along = [round(float(end) / MM, 6) for end in (first, last) if is_along]
    ends = (degrees(low), degrees(high), *along)
    return WheelsInAir(name, own.in_air, tuple(wheels), *ends)


def _angle(result: Result, case: int) -> float:
    return degrees(result.cases.records["roll_angle"][case])


def _margin(result: Result, case: int) -> float | None:
    return float(result.margin[0, case]) if result.contact[0, case] else None
