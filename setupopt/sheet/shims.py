"""Which shims make a change of thickness: exact, by the sums that so many shims can make."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

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
    thick = sorted(by_micron, reverse=True)
    wanted = round(abs(change) / _MICRON)
    fewest = _fewest(thick, min(wanted, most * thick[0]) + thick[0], most)
    sums = np.flatnonzero(fewest <= most)
    total = int(sums[np.lexsort((fewest[sums], np.abs(sums - wanted)))[0]])
    chosen: list[int] = []
    while total > 0:
        chosen.append(
            next(
                part
                for part in thick
                if part <= total and fewest[total - part] + 1 == fewest[total]
            )
        )
        total -= chosen[-1]
    return tuple((by_micron[p], chosen.count(p)) for p in thick if p in chosen)


def _fewest(thick: list[int], top: int, most: int) -> np.ndarray:
    """How many shims every sum up to `top` takes at least; more than `most` where so many do not make it."""
    fewest = np.full(top + 1, most + 1, np.uint8)
    fewest[0] = 0
    for _ in range(most):
        for part in thick:
            fewest[part:] = np.minimum(fewest[part:], fewest[:-part] + 1)
    return fewest
