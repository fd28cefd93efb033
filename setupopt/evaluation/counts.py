"""How many cases there are, and in how many the car slides, loses contact or has a wheel in the air, by name."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.physics.inputs import Floats

# Names of attitudes that are told apart, and roll angles of a list of cases.
MOST_APART = 20_000


@dataclass(frozen=True, eq=False)
class Named:
    """Cases of one name: numbers of them, and the least of their numbers where a wheel is in the air.

    `sums`: all cases, those that lose contact, that slide, that have a wheel in the air, then those in
    which each wheel is. `least`: number of the case, roll angle in rad and minus it, place along a section
    in m and minus it.
    """

    sums: np.ndarray
    least: Floats

    @classmethod
    def of_none(cls) -> Named:
        """No cases yet."""
        return cls(np.zeros(8, dtype=int), np.full(5, np.inf))

    def add(self, other: Named) -> None:
        """Count further cases."""
        np.add(self.sums, other.sums, out=self.sums)
        np.minimum(self.least, other.least, out=self.least)

    @property
    def cases(self) -> int:
        """How many there are."""
        return int(self.sums[0])

    @property
    def lost(self) -> int:
        """How many lose contact."""
        return int(self.sums[1])

    @property
    def sliding(self) -> int:
        """How many slide."""
        return int(self.sums[2])

    @property
    def in_air(self) -> int:
        """How many have a wheel in the air."""
        return int(self.sums[3])


@dataclass
class Counts:
    """All cases together, and by name in the order of their first cases; None where there are too many names.

    `many_angles`: whether there are too many roll angles to tell each apart.
    """

    every: Named
    names: dict[str, Named] | None
    many_angles: bool = False

    def add(self, other: Counts) -> None:
        """Count further cases, which come later."""
        self.every.add(other.every)
        if self.names is None or other.names is None:
            self.names = None
            return
        for name, more in other.names.items():
            if name not in self.names:
                self.names[name] = Named.of_none()
            self.names[name].add(more)
        if len(self.names) > MOST_APART:
            self.names = None


def counted(
    cases: CaseSet,
    contact: np.ndarray,
    slides: np.ndarray,
    in_air: np.ndarray,
    by_name: bool = True,
) -> Counts:
    """Counts of one setup's cases: `contact`, `slides` (cases), `in_air` (cases, wheels)."""
    lifted = in_air.any(axis=1)
    every = np.ones(len(cases), dtype=bool)
    ones = np.column_stack([every, ~contact, contact & slides, lifted, in_air])
    rows = np.flatnonzero(lifted)
    records = cases.pick(rows).records
    angle = records["roll_angle"]
    along = records["along"]
    where = np.stack(
        [cases.numbers[rows], angle, -angle, along, -along], axis=1
    )

    def named(which: np.ndarray, count: int) -> list[Named]:
        sums = np.zeros((count, ones.shape[1]), dtype=int)
        np.add.at(sums, which, ones)
        least = np.full((count, where.shape[1]), np.inf)
        np.minimum.at(least, which[rows], where)
        return [Named(*row) for row in zip(sums, least, strict=True)]

    (together,) = named(np.zeros(len(cases), dtype=int), 1)
    if not by_name:
        return Counts(together, None)
    names, first, which = np.unique(
        np.array(cases.attitude, dtype=object),
        return_index=True,
        return_inverse=True,
    )
    found = named(which, names.size)
    order = np.argsort(first)
    return Counts(together, {str(names[i]): found[i] for i in order})
