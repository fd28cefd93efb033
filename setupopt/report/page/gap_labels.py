"""The gaps of a near drawing: a letter and a label for each, none over another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from setupopt.evaluation.drawn_parts import Gap
from setupopt.report.page.shapes import (
    NARROW,
    Label,
    Letter,
    Shape,
    path,
)
from setupopt.units import MM

_ROW = 1.25  # letters from one row of labels to the next


_WIDE = 0.62  # letters that a letter is wide, at most


def gap_letters(gaps: Sequence[Gap], room: float) -> tuple[Letter, ...]:
    """From left to right as seen from behind; gaps nearer to each other than `room` stand side by side."""
    places: list[float] = []
    ordered = sorted(gaps, key=lambda gap: -gap.s)
    for gap in ordered:
        s = gap.s
        while any(abs(place - s) < 0.99 * room for place in places):
            s -= room
        places.append(s)
    names = [
        chr(ord("A") + i % 26) + "'" * (i // 26) for i in range(len(ordered))
    ]
    return tuple(
        Letter(*one) for one in zip(names, ordered, places, strict=True)
    )


def _gap_text(one: Letter) -> str:
    return f"{one.letter} {one.gap.gap / MM:.1f}"


@dataclass(frozen=True)
class GapLabels:
    """Lines and labels of the gaps under their letters, in rows under the ground.

    `lowest`: of the ground, mm below the plane; `letter`: the size of a letter, mm.
    """

    letters: tuple[Letter, ...]
    lowest: float
    letter: float

    @cached_property
    def rows(self) -> list[int]:
        """The row of each label: the first one where it overlaps no other."""
        ends: list[float] = []
        rows = []
        for one in self.letters:
            places = len(_gap_text(one)) + 1
            half = 0.5 * _WIDE * NARROW * self.letter * places
            x = -one.s / MM
            row = next(
                (i for i, end in enumerate(ends) if end <= x - half), len(ends)
            )
            ends[row : row + 1] = [x + half]
            rows.append(row)
        return rows

    @property
    def deepest(self) -> float:
        """Where the last row ends, mm below the plane."""
        rows = max(self.rows, default=-1) + 1
        return self.lowest + (0.7 + _ROW * rows) * NARROW * self.letter

    def _height(self, row: int) -> float:
        """Where a row stands, mm below the plane."""
        return self.lowest + (1.0 + _ROW * row) * NARROW * self.letter

    def shapes(self) -> Iterable[Shape]:
        """Each gap as a line between two ticks, and a thin one down to its label."""
        tick = 0.35 * self.letter * MM
        for one, row in zip(self.letters, self.rows, strict=True):
            s = one.s
            under = one.gap.under
            ground = under - one.gap.gap
            foot = -(self._height(row) - NARROW * self.letter) * MM
            yield Shape("leader", path([(s, ground), (s, min(foot, ground))]))
            yield Shape("gap", path([(s, ground), (s, under)]), one.letter)
            for z in (ground, under):
                yield Shape("gap", path([(s - tick, z), (s + tick, z)]))

    def labels(self) -> Iterable[Label]:
        """The letter and its gap in mm."""
        for one, row in zip(self.letters, self.rows, strict=True):
            yield Label("gap", -one.s / MM, self._height(row), _gap_text(one))
