"""Grip margin: how much of the tyres' grip an axle uses, and what is left of the weaker one."""

from __future__ import annotations

from math import hypot, log, sqrt

from setupopt.physics.jit import kernel

# An axle in the air, or a driven wheel in the air with an open differential.
MOST_USE = 100.0
# Value lost per g of press that is missing.
_PRESS_PRICE = 10.0


@kernel
def capped(demand: float, capacity: float) -> float:
    """Demand over capacity, held below `MOST_USE`."""
    return MOST_USE if demand >= MOST_USE * capacity else demand / capacity


@kernel
def pair_use(lateral: float, along: float, left: float, right: float) -> float:
    """Use of grip of an axle whose wheels share the longitudinal force as they can.

    >>> round(pair_use(300.0, 400.0, 400.0, 600.0), 3)
    0.5
    """
    return capped(hypot(lateral, along), left + right)


@kernel
def open_use(lateral: float, along: float, left: float, right: float) -> float:
    """Use of grip of an axle driven through an open differential, each wheel carrying along/2.

    1/use is the largest factor f with sqrt(Cl^2 - (f X/2)^2) + sqrt(Cr^2 - (f X/2)^2) = f |T| and
    both roots real; where there is none inside, the weaker wheel's own limit 2 min(C)/X.
    Squared twice the condition is a quadratic in f^2.
    """
    half = 0.5 * along
    side = abs(lateral)
    weak = min(left, right)
    strong = max(left, right)
    limit = capped(half, weak)
    if (
        limit >= MOST_USE
        or sqrt(strong * strong - weak * weak) >= side * weak / half
    ):
        return limit
    k = half * half
    t2 = side * side
    total = weak * weak + strong * strong
    difference = (strong - weak) * (strong + weak)
    root = sqrt(
        max(0.0, total * total - difference * difference * (1.0 + 4.0 * k / t2))
    )
    return capped(sqrt(t2 + 4.0 * k), sqrt(total + root))


@kernel
def axle_use(
    lateral: float, along: float, left: float, right: float, is_open: float
) -> float:
    """Use of grip of one axle: `lateral` and `along` in newtons, then both wheels' capacity."""
    if is_open > 0.0 and along > 0.0:
        return open_use(lateral, along, left, right)
    return pair_use(lateral, along, left, right)


@kernel
def search_value(margin: float, press: float) -> float:
    """What a search raises: the margin, bent below -1, less what is missing to contact.

    `press`: what a lost case needs to be held at the most friction that is tried, g. Near the end of
    contact the friction factor runs away as one over the load; its logarithm still says which way contact
    lies, without drowning everything else.
    """
    bent = margin if margin >= -1.0 else -1.0 - log(-margin)
    return bent - _PRESS_PRICE * press
