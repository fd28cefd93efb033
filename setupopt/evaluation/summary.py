"""Cases summed up: the worst attitude at every roll angle, the worst roll angle of every attitude."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.result import Field, Result
from setupopt.project.model import WHEELS
from setupopt.units import DEG


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
    """As `Result.by_angle`; a list of cases is grouped by the roll angles it gives, in their order."""
    if result.cases.attitudes:
        return result.by_angle()
    score = result.ranked[0]
    order = np.lexsort((score, result.cases.at))
    angles = result.cases.at[order]
    first = np.flatnonzero(np.r_[True, angles[1:] != angles[:-1]])
    return result.rows(order[first])


def by_attitude(result: Result) -> list[AttitudeWorst]:
    """Every attitude (or name in a list of cases), in the order of their first cases."""
    score = result.ranked[0]
    contact = result.contact[0]
    names, which = np.unique(
        np.array(result.cases.attitude, dtype=object), return_inverse=True
    )
    order = np.lexsort((score, which))
    first = np.searchsorted(which[order], np.arange(names.size))
    counts = np.bincount(which)
    lost = np.bincount(which, weights=~contact)
    sliding = np.bincount(which, weights=contact & result.answers["slides"][0])
    earliest = np.full(names.size, which.size)
    np.minimum.at(earliest, which, np.arange(which.size))
    return [
        AttitudeWorst(
            str(names[i]),
            int(counts[i]),
            int(lost[i]),
            int(sliding[i]),
            _angle(result, worst),
            _margin(result, worst),
            **result.cases.along(worst),
        )
        for i in np.argsort(earliest)
        for worst in [int(order[first[i]])]
    ]


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

    The sum of `cases` is the number of such cases; empty where all wheels carry load.
    """
    in_air = result.in_air[setup]
    names = np.array(result.cases.attitude, dtype=object)
    lifted = in_air.any(axis=1)
    return tuple(
        _lifted(result, in_air, lifted & (names == name))
        for name in dict.fromkeys(names[lifted])
    )


def _lifted(
    result: Result, in_air: np.ndarray, chosen: np.ndarray
) -> WheelsInAir:
    """The chosen cases (cases) of one attitude."""
    cases = np.flatnonzero(chosen).tolist()
    ever = np.flatnonzero(np.any(in_air[cases], axis=0))
    wheels = tuple(WHEELS[w] for w in ever)
    angles = [_angle(result, case) for case in cases]
    along = [
        place for case in cases for place in result.cases.along(case).values()
    ]
    ends = {"from_mm": min(along), "to_mm": max(along)} if along else {}
    attitude = result.cases.attitude[cases[0]]
    return WheelsInAir(
        attitude, len(cases), wheels, min(angles), max(angles), **ends
    )


def _angle(result: Result, case: int) -> float:
    return round(float(result.cases.records["roll_angle"][case]) / DEG, 9) + 0.0


def _margin(result: Result, case: int) -> float | None:
    return float(result.margin[0, case]) if result.contact[0, case] else None
