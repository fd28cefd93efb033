"""Intervals of a share."""

from __future__ import annotations

from setupopt.robust.level_crossings import clopper_pearson

from .check import Check
from .sources import NEWCOMBE

# hits, trials: ends of the 95 % interval by Clopper and Pearson
TABLE = {
    (81, 263): ("0.2527", "0.3676"),
    (15, 148): ("0.0578", "0.1617"),
    (0, 20): ("0.0000", "0.1684"),
    (1, 29): ("0.0009", "0.1776"),
}

CHECKS = [
    Check(
        f"{hits} of {trials}: {('lower', 'upper')[end]} end at 95 % by Clopper and Pearson", "", printed,
        lambda seen=(hits, trials), end=end: clopper_pearson(*seen)[end], 5e-5, "half its last digit",
        NEWCOMBE, "method",
    )
    for (hits, trials), ends in TABLE.items()
    for end, printed in enumerate(ends)
    if float(printed)
]  # fmt: skip
