"""A section made of arcs and straights that run into each other without a kink, and places along it.

Along the section counts from its first part on, in the direction in which the roll angle grows on a surface
that curves up: on the floor towards the left. The roll angle at a place is that of its tangent.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any, ClassVar, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
_SAME = 1e-9  # m or rad; ends that differ by less are one
_CHORD = 0.8  # how far an arc reaches to the side at least, as a share of its length, up to a slope of 64 deg
_UPRIGHT = 1.4  # rad; what lies beyond so much of a turn cannot be told by how far it lies to the side


class Surroundings(NamedTuple):
    """The section as it is seen from places on it, over each one's own tangent plane.

    Curvature at the place, 1/m; how many joints count, (places, 2), to the left, then to the right; how far
    they lie to the left, (places, 2, most) m, the nearest first; and the curvature beyond each, 1/m.
    """

    curvature: Floats
    joints: Floats
    joint: Floats
    beyond: Floats


@dataclass(frozen=True)
class Section:
    """Parts of constant curvature, first to last: lengths in m, curvatures in 1/m, 0 for a straight.

    `start`: roll angle where the first part begins, rad. A negative curvature bulges towards the car.
    `readings`: of a surveyed section, where each point's foot lies and how far it is off to the inside, m.
    """

    start: float
    lengths: tuple[float, ...]
    curvatures: tuple[float, ...]
    readings: tuple[tuple[float, float], ...] = ()

    # Joints to each side that a car on the section is told of
    seen: ClassVar[int] = 12

    @cached_property
    def ends(self) -> Floats:
        """Where the parts begin and the last one ends, (parts + 1), m."""
        return np.concatenate([[0.0], np.cumsum(self.lengths)])

    @cached_property
    def end_angles(self) -> Floats:
        """Roll angles there, (parts + 1), rad."""
        return self.start + np.concatenate(
            [[0.0], np.cumsum(np.multiply(self.lengths, self.curvatures))]
        )

    @cached_property
    def end_points(self) -> Floats:
        """Coordinates there, (parts + 1, 2), m: to the left and up from where the section begins."""
        steps = _along(
            self.end_angles[:-1],
            np.array(self.curvatures),
            np.array(self.lengths),
        )
        return np.concatenate([np.zeros((1, 2)), np.cumsum(steps, axis=0)])

    @property
    def length(self) -> float:
        """Of the whole section, m."""
        return float(self.ends[-1])

    @property
    def tightest(self) -> float:
        """The largest curvature, either way, 1/m."""
        return float(np.abs(self.curvatures).max())

    @property
    def sight(self) -> float:
        """How far to each side the section is known from every place, m: as far as `seen` joints reach."""
        inner = np.array(self.lengths[1:-1])
        if inner.size < self.seen:
            return np.inf
        return _CHORD * float(
            np.convolve(inner, np.ones(self.seen - 1), "valid").min()
        )

    def part(self, along: Floats) -> np.ndarray:
        """Which part a place lies on; at a joint the one that begins there."""
        found = (
            np.searchsorted(
                self.ends, np.asarray(along, dtype=float) + _SAME, side="right"
            )
            - 1
        )
        return np.clip(found, 0, len(self.lengths) - 1)

    def angle(self, along: Floats) -> Floats:
        """Roll angle at places, rad."""
        part = self.part(along)
        return self.end_angles[part] + np.array(self.curvatures)[part] * (
            along - self.ends[part]
        )

    def point(self, along: Floats) -> Floats:
        """Coordinates of places, (places, 2), m."""
        part = self.part(along)
        step = _along(
            self.end_angles[part],
            np.array(self.curvatures)[part],
            along - self.ends[part],
        )
        return self.end_points[part] + step

    def where(self, angle: float) -> tuple[float, float] | None:
        """The stretch that has this roll angle, m; None where there is none, or several apart."""
        low, high = self._spans(angle, angle)
        if low.size == 0 or (low[1:] > high[:-1] + _SAME).any():
            return None
        return float(low[0]), float(high[-1])

    def stretch(
        self, lowest: float, highest: float
    ) -> tuple[float, float] | None:
        """From the first to the last place whose roll angle lies between two, m; None where there is none."""
        low, high = self._spans(lowest, highest)
        return (float(low.min()), float(high.max())) if low.size else None

    def _spans(self, lowest: float, highest: float) -> tuple[Floats, Floats]:
        """On every part that has such angles: the first and the last place with them."""
        first = self.end_angles[:-1]
        last = self.end_angles[1:]
        below = np.minimum(first, last)
        above = np.maximum(first, last)
        has = (above >= lowest - _SAME) & (below <= highest + _SAME)
        bent = np.abs(last - first) > 0.0
        turn = np.where(bent, last - first, 1.0)
        shares = [
            np.where(bent, np.clip((end - first) / turn, 0.0, 1.0), fallback)
            for end, fallback in ((lowest, 0.0), (highest, 1.0))
        ]
        one, other = (
            self.ends[:-1] + share * np.array(self.lengths) for share in shares
        )
        return np.minimum(one, other)[has], np.maximum(one, other)[has]

    def spread(self, first: float, last: float, spacing: float) -> Floats:
        """Places from one to another, m: every joint between them, and each part evenly cut, no coarser."""
        inner = self.ends[
            (self.ends > first + _SAME) & (self.ends < last - _SAME)
        ]
        stops = np.concatenate([[first], inner, [last]])
        cuts = [
            evenly(low, high, spacing)[:-1] for low, high in pairwise(stops)
        ]
        return np.append(np.concatenate(cuts), last)

    def surroundings(self, along: Floats, most: int = seen) -> Surroundings:
        """The section as seen from places on it, with so many joints on each side."""
        part = self.part(along)
        left = self._seen(along, part[:, None] + np.arange(most), 1)
        right = self._seen(along, part[:, None] - 1 - np.arange(most), 0)
        both = (
            np.stack(pair, axis=1) for pair in zip(left, right, strict=True)
        )
        return Surroundings(np.array(self.curvatures)[part], *both)

    def _seen(
        self, along: Floats, joint: np.ndarray, beyond: int
    ) -> tuple[Floats, Floats, Floats]:
        """Of joints (places, most), numbered from 0: how many count, where they lie, the curvature beyond."""
        end = np.clip(joint, 0, max(len(self.lengths) - 2, 0)) + 1
        angle = self.angle(along)[:, None]
        over = self.end_points[end] - self.point(along)[:, None, :]
        there = (joint >= 0) & (joint < len(self.lengths) - 1)
        there &= np.abs(self.end_angles[end] - angle) < _UPRIGHT
        there = np.logical_and.accumulate(there, axis=1)
        away = over[..., 0] * np.cos(angle) + over[..., 1] * np.sin(angle)
        bend = np.append(self.curvatures, 0.0)[end - 1 + beyond]
        return (
            there.sum(axis=1).astype(float),
            np.where(there, away, 0.0),
            np.where(there, bend, 0.0),
        )


def _along(angle: Floats, curvature: Floats, length: Floats) -> Floats:
    """Steps along arcs that begin at an angle, (arcs, 2): the chord, in its direction.

    The chord of an arc that turns by t is sin(t/2)/(t/2) times as long as the arc, and turned by t/2.
    """
    half = 0.5 * curvature * length
    chord = length * np.sinc(half / np.pi)
    return np.stack(
        [chord * np.cos(angle + half), chord * np.sin(angle + half)], axis=-1
    )


def evenly(first: float, last: float, spacing: float) -> Floats:
    """Places from one to another, both among them, as far apart as `spacing` allows."""
    return np.linspace(
        first, last, max(1, int(np.ceil((last - first) / spacing - 1e-6))) + 1
    )
