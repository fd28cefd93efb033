"""Which shims make a change of thickness: exact, by the sums that so many shims can make."""

from __future__ import annotations

from collections.abc import Sequence
from math import gcd

_MICRON = 1e-6  # m; nobody measures a shim closer
# More in one stack are not tried.
MOST = 60


def shim_combination(
    change: float, sizes: Sequence[float], most: int = MOST
) -> tuple[tuple[float, int], ...]:
    """The shims whose thicknesses add up nearest to |`change`|: (size in m, count), thickest first.

    Add them for a positive change, take them out for a negative one. At most `most` shims, as many of each
    size as it takes. Among sums equally near the one with fewest shims, then the thinner one; among the
    combinations that make it, the one with most of the thickest shim, then of the next. Nothing where no
    shim is nearer. Thicknesses count in whole micrometres. Raises ValueError for a size under one.

    >>> shim_combination(-1.4e-3, [0.2e-3, 0.5e-3, 1e-3])
    ((0.001, 1), (0.0002, 2))
    """
    by_micron = {round(size / _MICRON): size for size in sizes}
    if any(micron < 1 for micron in by_micron):
        raise ValueError("a shim has a thickness of at least a micrometre")
    if not by_micron:
        return ()
    unit = gcd(*by_micron)
    thick = sorted((micron // unit for micron in by_micron), reverse=True)
    wanted = round(abs(change) / _MICRON)
    levels = _sums(thick, wanted // unit + max(thick, default=0) + 1, most)
    total, count = _nearest(levels, wanted, unit)
    chosen = _taken_apart(levels, thick, total, count)
    return tuple(
        (by_micron[part * unit], chosen.count(part))
        for part in thick
        if part in chosen
    )


def _sums(thick: list[int], top: int, most: int) -> list[int]:
    """The sums up to `top` that exactly 0, 1, 2 ... shims make, an integer each: bit s is set for sum s."""
    kept = (1 << (top + 1)) - 1
    levels = [1]
    while levels[-1] and len(levels) <= most:
        following = 0
        for part in thick:
            following |= levels[-1] << part
        levels.append(following & kept)
    return levels


def _nearest(levels: list[int], wanted: int, unit: int) -> tuple[int, int]:
    """The sum, in units, next to `wanted` micrometres, and the least number of shims that make it."""
    best = (wanted, 0, 0)
    for count, sums in enumerate(levels):
        split = wanted // unit
        under = sums & ((1 << (split + 1)) - 1)
        over = sums >> (split + 1)
        if under:
            total = under.bit_length() - 1
            best = min(best, (wanted - total * unit, count, total))
        if over:
            total = split + (over & -over).bit_length()
            best = min(best, (total * unit - wanted, count, total))
    return best[2], best[1]


def _taken_apart(
    levels: list[int], thick: list[int], total: int, count: int
) -> list[int]:
    """The shims, in units, of a sum that `count` of them make; the thickest first where there is a choice."""
    chosen: list[int] = []
    while count > 0:
        count -= 1
        part = next(
            p for p in thick if p <= total and levels[count] >> (total - p) & 1
        )
        chosen.append(part)
        total -= part
    return chosen
