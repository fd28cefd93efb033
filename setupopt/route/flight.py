"""What losing contact means at a point of a circular section: the car as a point mass in free flight.

It keeps its velocity, gravity alone acts, and it meets the circle again on which its CG went. No drag, no
downforce, no wheel that still touches: times come out short and speeds across the surface high.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from setupopt.units import GRAVITY

_LONGEST = 20.0  # s
_STEPS = 4000


@dataclass(frozen=True)
class Flight:
    """Seconds until the surface is met again, speed across it there, m/s, and metres along the axis.

    All zero where the wall turns towards the car faster than it falls: it cannot leave the surface.
    """

    seconds: float
    across: float
    along: float


def flight(radius: float, angle: float, course: float, speed: float) -> Flight:
    """From a roll angle on a circle of the CG's way, m. Worked example: from the top, straight along, the CG
    falls by the diameter.

    >>> found = flight(5.0, np.pi, 0.0, 40.0)
    >>> round(found.seconds, 4), round(found.across, 3)
    (1.4281, 14.005)
    """
    place = radius * np.array([np.sin(angle), -np.cos(angle)])
    velocity = speed * np.sin(course) * np.array([np.cos(angle), np.sin(angle)])
    pull = np.array([0.0, -GRAVITY])
    # how the squared distance from the axis grows at first; it leaves only where this falls
    opening = velocity @ velocity + place @ pull
    if opening >= 0.0:
        return Flight(0.0, 0.0, 0.0)

    def outside(seconds: float) -> float:
        at = place + velocity * seconds + 0.5 * pull * seconds**2
        return float(at @ at / radius**2 - 1.0)

    times = np.linspace(0.0, _LONGEST, _STEPS)[1:]
    first = next(i for i, one in enumerate(times) if outside(one) > 0.0)
    before = times[first - 1] if first else 1e-9
    seconds = (
        float(brentq(outside, before, times[first]))
        if outside(before) < 0.0
        else float(times[first])
    )
    at = place + velocity * seconds + 0.5 * pull * seconds**2
    moving = velocity + pull * seconds
    return Flight(
        seconds,
        float(moving @ at / radius),
        float(speed * np.cos(course) * seconds),
    )
