"""How many cases there are, and in how many the car slides, loses contact or has a wheel in the air, by name."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.physics.inputs import Floats

# Names of attitudes that are told apart, and roll angles of a list of cases.
MOST_APART = 20_000
# One for each wheel.
BITS = np.array([1, 2, 4, 8])


@dataclass
class Named:
    """Cases of one name. `lost` and `sliding`: how many of them lose contact, and slide.

    Of those with a wheel in the air: how many, which wheels (a bit each), the number of the first, and the
    least and largest roll angle, rad, and place along a section, m.
    """

    cases: int = 0
    lost: int = 0
    sliding: int = 0
    in_air: int = 0
    wheels: int = 0
    first: int = 0
    angles: tuple[float, float] = (np.inf, -np.inf)
    along: tuple[float, float] = (np.inf, -np.inf)

    def add(self, other: Named) -> None:
        """Count further cases, which come later."""
        self.cases += other.cases
        self.lost += other.lost
        self.sliding += other.sliding
        self.wheels |= other.wheels
        self.first = self.first if self.in_air else other.first
        self.in_air += other.in_air
        self.angles = _both(self.angles, other.angles)
        self.along = _both(self.along, other.along)


@dataclass
class Counts:
    """All cases together, and by name in the order of their first cases; None where there are too many names.

    `many_angles`: whether there are too many roll angles to tell each apart.
    """

    every: Named = field(default_factory=Named)
    names: dict[str, Named] | None = field(default_factory=dict)
    many_angles: bool = False

    def add(self, other: Counts) -> None:
        """Count further cases, which come later."""
        self.every.add(other.every)
        if self.names is None or other.names is None:
            self.names = None
            return
        for name, counted in other.names.items():
            self.names.setdefault(name, Named()).add(counted)
        if len(self.names) > MOST_APART:
            self.names = None


def _both(
    one: tuple[float, float], two: tuple[float, float]
) -> tuple[float, float]:
    return min(one[0], two[0]), max(one[1], two[1])


def counted(
    cases: CaseSet, contact: np.ndarray, slides: np.ndarray, in_air: np.ndarray
) -> Counts:
    """Counts of one setup's cases: `contact`, `slides` (cases), `in_air` (cases, wheels)."""
    names, first, which = np.unique(
        np.array(cases.attitude, dtype=object),
        return_index=True,
        return_inverse=True,
    )
    lifted = np.flatnonzero(in_air.any(axis=1))
    own = which[lifted]
    wheels = np.zeros(names.size, dtype=int)
    np.bitwise_or.at(wheels, own, in_air[lifted] @ BITS)
    earliest = np.full(names.size, np.iinfo(int).max)
    np.minimum.at(earliest, own, cases.numbers[lifted])
    records = cases.pick(lifted).records
    columns = [
        np.bincount(which),
        np.bincount(which, weights=~contact).astype(int),
        np.bincount(which, weights=contact & slides).astype(int),
        np.bincount(own, minlength=names.size),
        wheels,
        earliest,
    ]
    ends = [
        _ends(own, records[name], names.size)
        for name in ("roll_angle", "along")
    ]
    rows = list(
        zip(*(column.tolist() for column in columns), *ends, strict=True)
    )
    by_name = {str(names[i]): Named(*rows[i]) for i in np.argsort(first)}
    found = Counts(names=by_name)
    for own_counts in by_name.values():
        found.every.add(own_counts)
    if lifted.size:
        found.every.first = int(cases.numbers[lifted[0]])
    return found


def _ends(
    which: np.ndarray, values: Floats, count: int
) -> list[tuple[float, float]]:
    """Least and largest value of each kind."""
    low = np.full(count, np.inf)
    high = np.full(count, -np.inf)
    np.minimum.at(low, which, values)
    np.maximum.at(high, which, values)
    return list(zip(low.tolist(), high.tolist(), strict=True))
