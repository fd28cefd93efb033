"""One check against a number from outside, and the row of docs/validation.md that it makes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from math import ceil, log10
from typing import Literal

Shows = Literal["constant", "method", "solver", "measurement", "derivation"]


@dataclass(frozen=True)
class Source:
    """A publication by the `name` it goes by in the table, and how its numbers were seen."""

    name: str
    citation: str
    seen: str


@dataclass(frozen=True, eq=False)
class Check:
    """`quantity` in `unit`, as `printed` outside, `ours` within so much of it (`within`), and `why`.

    `shows` what it is worth: a `constant` taken over as printed, a `method` put into code as published, a
    `solver` on a problem with a known answer, a law held against a `measurement`, or a `derivation` of our
    own, which nobody printed. `decimals` of ours, where the tolerance's are not the same on every machine.
    """

    quantity: str
    unit: str
    printed: str
    ours: Callable[[], float]
    within: float
    why: str
    source: Source
    shows: Shows
    decimals: int | None = None

    @property
    def published(self) -> float:
        """The printed number."""
        return float(self.printed)

    @cached_property
    def found(self) -> float:
        """Our number, worked out once."""
        return float(self.ours())

    def row(self) -> str:
        """Its line of the table, rounded to the decade of the tolerance, the same on every machine."""
        places = (
            max(0, ceil(-log10(self.within)))
            if self.decimals is None
            else self.decimals
        )
        off = f"{self.found - self.published:+.{places}f}"
        shown = off if float(off) else f"under {10.0**-places:g}"
        cells = (
            self.quantity,
            self.unit,
            self.printed,
            f"{self.found:.{places}f}",
            shown,
        )
        return f"| {' | '.join(cells)} | {self.why} | {self.source.name} | {self.shows} |"


def half_digit(printed: str) -> float:
    """Half a unit of the last digit of a number as printed.

    >>> half_digit("1.10")
    0.005
    """
    return 0.5 * 10.0 ** int(Decimal(printed).as_tuple().exponent)


def plain(number: float) -> str:
    """A number with all its digits and without an exponent.

    >>> plain(5.72179e-05)
    '0.0000572179'
    """
    return format(Decimal(repr(number)), "f")
