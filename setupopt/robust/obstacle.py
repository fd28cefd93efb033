"""Single obstacles: a bump that rises and falls, and a seam or step that stays.

A bump is (H/2)(1 - cos(2 pi s / length)); a seam rises by H, or falls where H is negative, over a straight
ramp of `length`. The tread averages either over its patch. Left, right or both tracks cross it, the rear
wheels later by wheelbase over speed.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.robust.road.spectrum import Contacts

TRACKS = ("left", "right", "both")
_SHARES = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
_POINT = 1e-4  # m; a patch is at least so long
# Steps over an obstacle, and the shortest of them as a share of the longest.
_OVER, _SHORTEST = 8, 0.5


def track_words(track: int) -> str:
    """Which tracks an obstacle lies under; `track`: an index into TRACKS."""
    name = TRACKS[track]
    return "under both tracks" if name == "both" else f"under the {name} track"


class Obstacle(NamedTuple):
    """Height and length in m, index into TRACKS, and whether it is a seam."""

    height: float
    length: float
    track: int
    is_seam: bool = False

    def area(self, s: Floats) -> Floats:
        """Area under it up to `s` m past its start, m2."""
        inside = np.clip(s, 0.0, self.length)
        if self.is_seam:
            beyond = np.maximum(s - self.length, 0.0)
            return self.height * (inside**2 / (2.0 * self.length) + beyond)
        turn = 2.0 * np.pi / self.length
        return 0.5 * self.height * (inside - np.sin(turn * inside) / turn)

    def heights(self, s: Floats, patch: Floats | float) -> Floats:
        """Height `s` m past its start, averaged over a patch centred there, m.

        >>> float(Obstacle(0.02, 1.0, 2).heights(np.array(0.5), 0.0).round(6))
        0.02
        """
        long = np.maximum(patch, _POINT)
        return (self.area(s + 0.5 * long) - self.area(s - 0.5 * long)) / long

    def step(self, speed: float, longest: float) -> float:
        """Step in time to cross it, s: fine enough for its shape."""
        return float(
            np.clip(self.length / (speed * _OVER), _SHORTEST * longest, longest)
        )

    def road(self, contacts: Contacts, speed: float, step: float) -> Floats:
        """The road as a car meets it (samples, columns), half a `step` apart, until all of it has crossed."""
        long = np.maximum(contacts.patch, _POINT)
        ahead = float((0.5 * long - contacts.behind).max())
        end = float((0.5 * long + contacts.behind).max()) + self.length
        steps = int((ahead + end) / (speed * step)) + 1
        front = 0.5 * step * speed * np.arange(2 * steps + 1) - ahead
        share = np.where(contacts.side > 0.0, *_SHARES[self.track])
        return share * self.heights(
            front[:, None] - contacts.behind, contacts.patch
        )
