"""All checks, by the tables of docs/validation.md."""

from __future__ import annotations

from . import air, derivations, fitting, handling, intervals, road, search, tyre
from .check import Check

OUTSIDE: dict[str, list[Check]] = {
    "Tyres and load": tyre.CHECKS,
    "Steer on flat ground": handling.CHECKS,
    "A wing over the ground": air.CHECKS,
    "The golden quarter car and the roughness index": [
        *road.GOLDEN, *road.BY_THE_CAR, *road.EIGENVALUES, *road.RIDE, *road.INDEX
    ],
    "Roads and gusts": [*road.CLASS_LIMITS, road.LONGEST_GUST],
    "Shares of rides and builds": intervals.CHECKS,
    "The search for the highest worst margin": search.CHECKS,
    "The fits to measured tables": fitting.CHECKS,
}  # fmt: skip
DERIVED: dict[str, list[Check]] = {
    "Whole car": derivations.WHOLE_CAR,
    "Contact patch": derivations.PATCH,
    "Rough road": derivations.ROAD,
    "Noise and its peaks": derivations.CHANCE,
}


def flat(tables: dict[str, list[Check]]) -> list[Check]:
    """The checks of all tables, one after the other."""
    return [check for checks in tables.values() for check in checks]


ALL = [*flat(OUTSIDE), *flat(DERIVED)]
