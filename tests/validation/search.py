"""The search on published problems: the worst of a few rows, and the worst over a continuous index."""

from __future__ import annotations

from math import floor, log10

from minimax_problems import MINIMAX
from search.test_exchange import _solved as exchanged
from search.test_maxmin import _climbed as climbed

from .check import Check, Source
from .sources import COOPE, LUKSAN, MADSEN, MITSOS

WHY = "10^-6 of it: as the search was asked"


def _decimals(optimum: float) -> int:
    """Five digits of the optimum: the others may come out otherwise with another linear solver."""
    return max(0, 4 - floor(log10(abs(optimum))))


def _minimax(name: str) -> Check:
    problem = MINIMAX[name]
    return Check(
        f"least worst value of {name}", "", f"{problem.optimum:.{round(-log10(problem.last_digit))}f}",
        lambda: -climbed(name, "start").merit, 1e-6 * abs(problem.optimum) + 1e-9, WHY,
        MADSEN if name == "Madsen" else LUKSAN, "solver", _decimals(problem.optimum),
    )  # fmt: skip


def _semi_infinite(name: str, printed: str, source: Source) -> Check:
    return Check(
        f"optimum of semi-infinite problem {name}", "", printed, lambda: -exchanged(name).merit,
        1e-6 * max(1.0, abs(float(printed))), WHY, source, "solver", 5,
    )  # fmt: skip


CHECKS = [
    *map(_minimax, MINIMAX),
    _semi_infinite("S1", "0.1944660113", MITSOS),
    _semi_infinite("S2", "97.1588524", MITSOS),
    _semi_infinite("S4, n=3", "0.649042", COOPE),
    _semi_infinite("S4, n=6", "0.616085", COOPE),
]
