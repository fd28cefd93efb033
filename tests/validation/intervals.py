"""Intervals of a share."""

from __future__ import annotations

from setupopt.robust.level_crossings import clopper_pearson, wilson

from .check import Check
from .sources import NEWCOMBE

# hits, trials: ends of the 95 % interval by Wilson and by Clopper and Pearson
TABLE = {
    (81, 263): (("0.2553", "0.3662"), ("0.2527", "0.3676")),
    (15, 148): (("0.0624", "0.1605"), ("0.0578", "0.1617")),
    (0, 20): (("0.0000", "0.1611"), ("0.0000", "0.1684")),
    (1, 29): (("0.0061", "0.1718"), ("0.0009", "0.1776")),
}

METHODS = (("Wilson", wilson), ("Clopper and Pearson", clopper_pearson))
CHECKS = [
    Check(
        f"{hits} of {trials}: {('lower', 'upper')[end]} end at 95 % by {name}", "", printed,
        lambda method=method, seen=(hits, trials), end=end: method(*seen)[end], 5e-5, "half its last digit",
        NEWCOMBE, "method",
    )
    for (hits, trials), row in TABLE.items()
    for (name, method), ends in zip(METHODS, row, strict=True)
    for end, printed in enumerate(ends)
    if float(printed)
]  # fmt: skip
