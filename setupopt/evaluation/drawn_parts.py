"""Parts of a drawn car: patches of the tyres, wheels, plates and gaps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.physics.inputs import (
    Floats,
)


@dataclass(frozen=True)
class Patch:
    """A loaded tread on its elastic foundation, SI (docs/model.md, tyres).

    `depth`: penetration of the crown; `slant`: tangent of the inclination; `along`, `across`: curvature of
    tyre against surface; `foundation`, N/m3; `side`: 1 on the left of the car, -1 on the right.
    """

    depth: float
    slant: float
    along: float
    across: float
    half_width: float
    foundation: float
    side: float

    def depth_at(self, u: Floats) -> Floats:
        """Penetration at `u`, m outboard of the tread's middle; negative where it hangs over the surface."""
        return np.asarray(self.depth + u * (self.slant - 0.5 * self.across * u))

    def pressure(self, u: Floats, x: Floats) -> Floats:
        """Pressure, Pa, `u` outboard on the tread and `x` along it: foundation times penetration there."""
        return self.foundation * np.maximum(
            0.0, self.depth_at(u) - 0.5 * self.along * x * x
        )

    @property
    def peak(self) -> float:
        """Highest pressure, Pa; 0 for a wheel in the air."""
        u = np.linspace(-1.0, 1.0, 2001) * self.half_width
        return float(self.pressure(u, np.zeros(1)).max())

    @property
    def half_length(self) -> float:
        """Half of its greatest length, m."""
        return float(np.sqrt(2.0 * self.peak / self.foundation / self.along))


@dataclass(frozen=True)
class Wheel:
    """A wheel. `outline` (n, 2); `contact_line` (n, 2): its patch on the surface, empty if it is lifted.

    `patch` and `load`, N, are None in a case without contact. `bump`: height of the bump under it, m.
    `plan` (4, 2): the wheel from above, m ahead of the centre of gravity and to the left; it is turned by
    steer and toe. `slip`: slip angle, rad, None in a case without contact.
    """

    name: str
    axle: int
    outline: Floats
    contact_line: Floats
    patch: Patch | None
    load: float | None
    bump: float
    plan: Floats
    slip: float | None


@dataclass(frozen=True)
class Plate:
    """An air element as a plate of the given size: four corners (4, 2). `axles`: those that it is near to.

    `plan` (4, 2): the corners from above, m ahead of the centre of gravity and to the left.
    """

    name: str
    axles: tuple[int, ...]
    corners: Floats
    plan: Floats


@dataclass(frozen=True)
class Gap:
    """A gap under the car: from the surface at `s` up to `under`. `least`: the required gap, or None."""

    name: str
    axle: int
    s: float
    under: float
    gap: float
    least: float | None
