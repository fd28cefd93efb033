"""What losing contact means at a point of a circular section: the car as a point mass in free flight.

It keeps its velocity, gravity alone acts, and it meets the circle again on which its CG went. No drag, no
downforce, no wheel that still touches: times come out short and speeds across the surface high.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.units import GRAVITY


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
    # the squared distance from the axis grows by this times time squared at first; it leaves only where that falls
    opening = velocity @ velocity + place @ pull
    if opening >= 0.0:
        return Flight(0.0, 0.0, 0.0)
    # all of it: time squared times pull^2/4 time^2 + velocity pull time + opening
    slope = velocity @ pull
    root = np.sqrt(slope**2 - GRAVITY**2 * opening)
    seconds = 2.0 * (root - slope) / GRAVITY**2
    at = place + velocity * seconds + 0.5 * pull * seconds**2
    moving = velocity + pull * seconds
    return Flight(
        float(seconds),
        float(moving @ at / radius),
        float(speed * np.cos(course) * seconds),
    )
