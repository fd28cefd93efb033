"""The outline of a venue's section, seen from behind the car, and the places on it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.project.model import Venue

_POINTS = 361  # of a whole outline
_HALF_ROAD = 2.2  # m, drawn of a flat section to each side


class Outline(NamedTuple):
    """A section with a place on it: `points` (n, 2), m, to the left and up.

    `tangent`: how far the surface's left side points upwards at the place, rad. `radius`: of a circle, which
    ends where it begins; None for any other section.
    """

    points: Floats
    place: tuple[float, float]
    tangent: float
    radius: float | None


def outline(venue: Venue, at: float) -> Outline:
    """The section of `venue`, and where the car stands; `at` as `cases.sweep_at` counts."""
    y, z = places(venue, np.array([at]))[0].tolist()
    if venue.profile is not None:
        along = np.union1d(
            np.linspace(0.0, venue.profile.length, _POINTS), venue.profile.ends
        )
        tangent = float(venue.profile.angle(np.array([at]))[0])
        return Outline(places(venue, along), (y, z), tangent, None)
    if venue.section == "flat":
        across = np.array([[np.cos(at), np.sin(at)]]) * np.array(
            [[-_HALF_ROAD], [_HALF_ROAD]]
        )
        return Outline(across, (y, z), at, None)
    around = np.linspace(0.0, 2.0 * np.pi, _POINTS)
    return Outline(places(venue, around), (y, z), at, 1.0 / venue.curvature)


def places(venue: Venue, at: Floats) -> Floats:
    """Where places lie, (n, 2), m: from a circle's lowest point, from where parts begin; 0 on a flat one."""
    if venue.profile is not None:
        return venue.profile.point(at)
    if venue.section == "flat":
        return np.zeros((at.size, 2))
    return np.column_stack([np.sin(at), 1.0 - np.cos(at)]) / venue.curvature
