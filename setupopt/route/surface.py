"""The section unrolled: one coordinate round it, in m, with the roll angle and the height there."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from setupopt.errors import UserError
from setupopt.physics.inputs import Floats
from setupopt.project.model import Venue
from setupopt.project.section import Section


class Unrolled(Protocol):
    """A section by the coordinate S round it, m; all arrays of any shape."""

    round_trip: (
        float | None
    )  # m once round; None on a section that does not close

    def at(self, place: Floats) -> Floats:
        """Positions in the measure of `evaluation.cases.sweep_at`."""

    def angle(self, place: Floats) -> Floats:
        """Roll angles, rad."""

    def height(self, place: Floats) -> Floats:
        """Heights, m."""

    def place(self, angle: float) -> float:
        """Where the section has a roll angle, m. Raises UserError where it has none."""


class Circle:
    """A circle of a radius, m. S is 0 on the floor; it is not cut at 180 deg."""

    def __init__(self, radius: float) -> None:
        self.radius = radius
        self.round_trip: float | None = 2.0 * np.pi * radius

    def at(self, place: Floats) -> Floats:
        """The roll angle: a circle is swept by it."""
        return self.angle(place)

    def angle(self, place: Floats) -> Floats:
        """S over the radius."""
        return np.asarray(place / self.radius)

    def height(self, place: Floats) -> Floats:
        """Over the floor."""
        return self.radius * (1.0 - np.cos(self.angle(place)))

    def place(self, angle: float) -> float:
        """The radius times the angle."""
        return self.radius * angle


class Parts:
    """A section of arcs and straights; S is the place along it."""

    round_trip: float | None = None

    def __init__(self, section: Section) -> None:
        self.section = section

    def at(self, place: Floats) -> Floats:
        """S itself, kept on the section."""
        return np.clip(place, 0.0, self.section.length)

    def angle(self, place: Floats) -> Floats:
        """Of the tangent there."""
        return self.section.angle(self.at(place))

    def height(self, place: Floats) -> Floats:
        """Over the beginning of the section."""
        flat = np.ravel(self.at(place))
        return self.section.point(flat)[:, 1].reshape(np.shape(place))

    def place(self, angle: float) -> float:
        """The middle of the stretch that has the angle; the section must have it once."""
        ends = self.section.where(angle)
        if ends is None:
            raise UserError(
                f"limits.toml [route] from_deg or to_deg: found {np.degrees(angle):g} deg, expected a roll angle "
                "that the section has at one place only; of a flat floor, give its edge: from_deg = 2"
            )
        return 0.5 * (ends[0] + ends[1])


def unrolled(venue: Venue) -> Unrolled:
    """The venue's section. Raises UserError for a flat one, which leads nowhere."""
    if venue.profile is not None:
        return Parts(venue.profile)
    if venue.section != "circle":
        raise UserError(
            'venue.toml venue.section: a route needs a section that curves up, "circle", "parts" or '
            '"survey"; a flat one has one roll angle everywhere'
        )
    return Circle(1.0 / venue.curvature)
