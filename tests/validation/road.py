"""Roads, the golden quarter car and the gust."""

from __future__ import annotations

from functools import cache, partial
from itertools import product

import numpy as np
import test_iso_8608_2016 as iso
import test_kropac_mucka_2005 as kropac
import test_ride_modes as quarter
import test_sayers_1986 as sayers
import test_sayers_1986_ride as ride
from scipy.optimize import brentq

from setupopt.robust.gust import LONGEST
from setupopt.robust.road.profile import golden_quarter_car, quarter_step
from setupopt.robust.road.spectrum import CLASSES, Road

from .check import Check, half_digit, plain
from .sources import GUST, ISO, KARAMIHAS, KROPAC, SAYERS, SROUBEK, WONG_RIDE

STATES = ("body slope", "body slope rate", "wheel slope", "wheel slope rate")
STEP = "10^-6 of it: seven printed digits"
ROUND_OFF = "round-off of the first programs, known"


def _printed(length: float, row: int, column: int) -> float:
    """Entry of the published matrix; column 4: of the partial response."""
    matrix, response = sayers.PUBLISHED[length]
    return response[row] if column == 4 else matrix[row][column]


def _entry(length: float, row: int, column: int) -> float:
    """The same of the package's golden quarter car."""
    return float(quarter_step(length)[row, column])


@cache
def _ridden() -> np.ndarray:
    """The same over 0.25 m by the car's own equations in time."""
    return ride.ridden(ride.golden_car(), 0.25)


def _golden(length: float, row: int, column: int) -> Check:
    printed = _printed(length, row, column)
    is_first = (row, column) == (0, 4)
    return Check(
        f"{STATES[row]} after {length} m, from {(*STATES, 'road slope')[column]}", "",
        plain(printed), partial(_entry, length, row, column),
        sayers.FIRST_ENTRY[length] * printed if is_first else 1e-6 * abs(printed),
        ROUND_OFF if is_first else STEP, SAYERS, "method",
    )  # fmt: skip


def _by_the_car(row: int, column: int) -> Check:
    printed = _printed(0.25, row, column)
    return Check(
        f"the same by the whole car's ride in time: {STATES[row]}, from {STATES[column]}", "", plain(printed),
        lambda: _ridden()[row, column], 1e-6 * abs(printed), STEP,
        SAYERS, "method",
    )  # fmt: skip


GOLDEN = [
    _golden(0.25, row, column) for row, column in product(range(4), range(5))
]
BY_THE_CAR = [_by_the_car(row, row) for row in range(4)]


def _root(index: int) -> complex:
    """The two eigenvalues with positive imaginary part, the body's first."""
    roots = np.linalg.eigvals(golden_quarter_car()[0])
    return complex(
        sorted(roots[roots.imag > 0], key=lambda root: -root.real)[index]
    )


EIGENVALUES = [
    Check(
        f"golden quarter car, {part} of the {name} eigenvalue", "1/s", printed,
        lambda index=index, part=part: getattr(_root(index), "real" if part == "decay" else "imag"),
        half_digit(printed), "half its last digit", SROUBEK, "method",
    )
    for index, part, name, printed in (
        (0, "decay", "body's", "-2.590074"),
        (0, "frequency", "body's", "7.323397"),
        (1, "decay", "wheel's", "-20.409926"),
        (1, "frequency", "wheel's", "64.422626"),
    )
]  # fmt: skip

RIDE = [
    Check(
        f"natural frequency of a passenger car's quarter, {name}", "Hz", printed,
        lambda mode=mode: float(quarter.modes(0.0).natural[mode]), within, why, WONG_RIDE,
        "method",
    )
    for name, mode, printed, within, why in (
        ("body", 0, "1.04", 0.009, "half its last digit, and 0.4 % as both move together"),
        ("wheel", 4, "10.5", 0.05, "half its last digit"),
    )
]  # fmt: skip


def _gain(name: str, printed: str, ours: object) -> Check:
    return Check(
        f"roughness index, {name}", "cycles/m", printed, ours,  # type: ignore[arg-type]
        0.07 * float(printed), "7 %: a rounded statement", KARAMIHAS, "method", 4,
    )  # fmt: skip


def _half(low: float, high: float) -> float:
    return float(brentq(lambda n: sayers.gain(n) - 0.5, low, high))


INDEX = [
    _gain("wavenumber of its larger gain for body motion", "0.065", lambda: sayers.extreme(0.04, 0.1, -1)),
    _gain("wavenumber of its larger gain for wheel motion", "0.42", lambda: sayers.extreme(0.3, 0.6, -1)),
    _gain("long waves at half gain", "0.033", lambda: _half(0.02, 0.05)),
    _gain("short waves at half gain", "0.8", lambda: _half(0.6, 1.2)),
    Check(
        "roughness index of a road of w = 2 with 10^-6 m3 at 1 rad/m", "mm/m", "2.21",
        lambda: kropac.index(Road(1e-6 / (2 * np.pi * 0.01))), 0.005, "half its last digit", KROPAC, "method",
    ),
]  # fmt: skip


def _class(letter: str, column: int) -> Check:
    printed = iso.TABLE[letter][0].split()[column]
    name = ("lower limit", "mean")[column]
    return Check(
        f"road class {letter}, {name} of the roughness", "10^-6 m3", printed,
        lambda: 1e6 * CLASSES[letter][column], 1e-3, "as printed", ISO, "constant",
    )  # fmt: skip


CLASS_LIMITS = [
    _class(letter, column)
    for letter, column in product("ABCDEFGH", (0, 1))
    if iso.TABLE[letter][0].split()[column] != "-"
]
LONGEST_GUST = Check(
    "longest gust, twice the longest gradient distance", "ft", "700", lambda: LONGEST / 0.3048, 0.01,
    "as printed (350 ft)", GUST, "constant",
)  # fmt: skip

CHECKS = [
    *GOLDEN,
    *BY_THE_CAR,
    *EIGENVALUES,
    *INDEX,
    *CLASS_LIMITS,
    LONGEST_GUST,
]
