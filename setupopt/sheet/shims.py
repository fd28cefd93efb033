"""Which shims make a change of thickness."""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce
from math import gcd

_MICRO = 1e6  # sizes count in whole micrometres


def shim_combination(change: float, sizes: Sequence[float], most: int = 60) -> tuple[tuple[float, int], ...]:
    """The (size, count) in metres, thickest first, whose sum is nearest to |`change`|.

    Of equally near sums the one with fewer shims, then the thinner one; nothing where nothing is nearest.
    `most` shims at most. Exact, by counting up the sums that can be made, in steps of the sizes' greatest
    common divisor (the coin-changing problem).

    >>> shim_combination(-0.00475, [0.00025, 0.0005, 0.001, 0.002, 0.003])
    ((0.003, 1), (0.001, 1), (0.0005, 1), (0.00025, 1))
    """
    whole = sorted({round(size * _MICRO) for size in sizes if size > 0.0}, reverse=True)
    if not whole:
        return ()
    wanted, unit = abs(change) * _MICRO, reduce(gcd, whole)
    steps = [size // unit for size in whole]
    fewest, last = _counted(steps, int(wanted // unit) + max(steps) + 1, most)
    sums = [total for total, count in enumerate(fewest) if count <= most]
    best = min(sums, key=lambda total: (round(abs(total * unit - wanted), 6), fewest[total], total))
    return _taken(best, last, unit)


def _counted(steps: list[int], largest: int, most: int) -> tuple[list[int], list[int]]:
    """For every sum up to `largest` the fewest shims that make it, and the thickest of them."""
    fewest, last = [0] + [most + 1] * largest, [0] * (largest + 1)
    for total in range(1, largest + 1):
        for step in steps:
            if step <= total and fewest[total - step] + 1 < fewest[total]:
                fewest[total], last[total] = fewest[total - step] + 1, step
    return fewest, last


def _taken(total: int, last: list[int], unit: int) -> tuple[tuple[float, int], ...]:
    """The shims of a sum, thickest first."""
    counts: dict[int, int] = {}
    while total:
        counts[last[total]] = counts.get(last[total], 0) + 1
        total -= last[total]
    return tuple((step * unit / _MICRO, counts[step]) for step in sorted(counts, reverse=True))


def thickness(shims: Sequence[tuple[float, int]]) -> float:
    """Of all of them together, m."""
    return sum(size * count for size, count in shims)
