"""The surface under the car, as height, slope and curvature over the tangent plane.

`s` is the coordinate round the section, zero below the centre of gravity: x sin(heading) + y cos(heading)
of a point of the car. `curvature` is 1/R of a circular section, 0 for a flat one.
"""

from __future__ import annotations

from math import atan, sqrt

from setupopt.physics.jit import kernel


@kernel
def height(curvature: float, s: float) -> float:
    """Height of a circular section over its tangent plane, m; `|s| < 1/curvature`.

    R - sqrt(R^2 - s^2), written so that it keeps its digits down to a flat surface.
    """
    bend = curvature * s
    return bend * s / (1.0 + sqrt(1.0 - bend * bend))


@kernel
def slope(curvature: float, s: float) -> float:
    """Slope of a circular section, d(height)/ds."""
    bend = curvature * s
    return bend / sqrt(1.0 - bend * bend)


@kernel
def tilt_across(curvature: float, s: float, cos_heading: float) -> float:
    """Angle of the surface along the car's y axis at `s`, rad."""
    return atan(slope(curvature, s) * cos_heading)
