"""Springs, bars, third springs and stops: the force a wheel's suspension carries for its travel."""

from __future__ import annotations

from setupopt.physics.jit import kernel


@kernel
def stop_force(
    travel: float, bump_travel: float, droop_travel: float, rate: float
) -> tuple[float, float]:
    """Force of the bump stop (positive) or droop stop (negative), N, and its rate, N/m.

    >>> stop_force(0.03, 0.025, 0.02, 1e6)[1]
    1000000.0
    """
    if travel > bump_travel:
        return rate * (travel - bump_travel), rate
    if travel < -droop_travel:
        return rate * (travel + droop_travel), rate
    return 0.0, 0.0


@kernel
def spring_force(
    travel: float,
    other: float,
    wheel_rate: float,
    anti_roll: float,
    third: float,
) -> tuple[float, float, float]:
    """Change of a wheel's suspension force from the pad, N, with its own and the other wheel's rate.

    `other` is the travel of the wheel across the axle; rates in N/m at the wheel.
    """
    own = wheel_rate + anti_roll + 0.25 * third
    cross = 0.25 * third - anti_roll
    return own * travel + cross * other, own, cross
