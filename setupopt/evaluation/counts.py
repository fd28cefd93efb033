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
        for name, more in other.names.items():
            if name in self.names:
                self.names[name].add(more)
            else:
                self.names[name] = more
        if len(self.names) > MOST_APART:
            self.names = None


def _both(
    one: tuple[float, float], two: tuple[float, float]
) -> tuple[float, float]:
    return min(one[0], two[0]), max(one[1], two[1])


def counted(
    cases: CaseSet,
    contact: np.ndarray,
    slides: np.ndarray,
    in_air: np.ndarray,
    by_name: bool = True,
) -> Counts:
    """Counts of one setup's cases: `contact`, `slides` (cases), `in_air` (cases, wheels)."""
    lifted = np.flatnonzero(in_air.any(axis=1))
    records = cases.pick(lifted).records
    wheels = in_air[lifted] @ BITS

    def named(which: np.ndarray, count: int) -> list[Named]:
        own = which[lifted]
        bits = np.zeros(count, dtype=int)
        np.bitwise_or.at(bits, own, wheels)
        first = np.full(count, np.iinfo(int).max)
        np.minimum.at(first, own, cases.numbers[lifted])
        columns = (
            np.bincount(which),
            np.bincount(which, weights=~contact).astype(int),
            np.bincount(which, weights=contact & slides).astype(int),
            np.bincount(own, minlength=count),
            bits,
            first,
        )
        angles = _ends(own, records["roll_angle"], count)
        along = _ends(own, records["along"], count)
        rows = zip(*(c.tolist() for c in columns), angles, along, strict=True)
        return [Named(*row) for row in rows]

    (every,) = named(np.zeros(len(cases), dtype=int), 1)
    if not by_name:
        return Counts(every, None)
    names, first, which = np.unique(
        np.array(cases.attitude, dtype=object),
        return_index=True,
        return_inverse=True,
    )
    rows = named(which, names.size)
    return Counts(every, {str(names[i]): rows[i] for i in np.argsort(first)})


def _ends(
    which: np.ndarray, values: Floats, count: int
) -> list[tuple[float, float]]:
    """Least and largest value of each kind."""
    low = np.full(count, np.inf)
    high = np.full(count, -np.inf)
    np.minimum.at(low, which, values)
    np.maximum.at(high, which, values)
    return list(zip(low.tolist(), high.tolist(), strict=True))
