"""The gaps of a near drawing: a letter and a label for each, none over another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from setupopt.evaluation.drawn_parts import Gap
from setupopt.evaluation.drawn_state import DrawnState
from setupopt.report.page.shapes import (
    NARROW,
    Label,
    Letter,
    Shape,
    path,
)
from setupopt.units import MM

ROW = 1.25  # letters from one row of labels to the next


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


def label_rows(letters: Sequence[Letter], letter: float) -> list[int]:
    """The row of each label: the first one where it overlaps no other."""
    ends: list[float] = []
    rows = []
    for one in letters:
        half = 0.5 * _WIDE * letter * (len(_gap_text(one)) + 1)
        x = -one.s / MM
        row = next(
            (i for i, end in enumerate(ends) if end <= x - half), len(ends)
        )
        ends[row : row + 1] = [x + half]
        rows.append(row)
    return rows


def _label_height(row: int, lowest: float, letter: float) -> float:
    """Where a row of labels stands, mm below the plane."""
    return lowest + (1.0 + ROW * row) * NARROW * letter


def gap_shapes(
    state: DrawnState,
    letters: Sequence[Letter],
    rows: Sequence[int],
    lowest: float,
    letter: float,
) -> Iterable[Shape]:
    """Each gap as a line between two ticks, and a thin one down to its label."""
    for one, row in zip(letters, rows, strict=True):
        s = one.s
        under = one.gap.under
        tick = 0.35 * letter * MM
        ground = under - one.gap.gap
        foot = -(_label_height(row, lowest, letter) - NARROW * letter) * MM
        yield Shape("leader", path([(s, ground), (s, min(foot, ground))]))
        yield Shape("gap", path([(s, ground), (s, under)]), one.letter)
        for z in (ground, under):
            yield Shape("gap", path([(s - tick, z), (s + tick, z)]))


def gap_labels(
    letters: Sequence[Letter], rows: Sequence[int], lowest: float, letter: float
) -> Iterable[Label]:
    for one, row in zip(letters, rows, strict=True):
        yield Label(
            "gap",
            -one.s / MM,
            _label_height(row, lowest, letter),
            _gap_text(one),
        )
