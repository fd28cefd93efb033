"""The surface under the car, as height, slope and curvature over the tangent plane.

`s` is the coordinate round the section, zero below the centre of gravity: x sin(heading) + y cos(heading)
of a point of the car. A section is made of parts of constant curvature, 1/R on a circular one, 0 on a flat
one. Over the tangent plane the sine of its slope changes by the curvature times the way, on every part.
"""

from __future__ import annotations

from math import sqrt

from setupopt.physics.inputs import Record
from setupopt.physics.jit import kernel


@kernel
def onwards(
    height: float, sine: float, bend: float, step: float
) -> tuple[float, float]:
    """Height and sine of the slope `step` further on a part of one curvature.

    The height grows by (cos before - cos after) / bend, written so that it keeps its digits down to a
    straight: on a circle from its lowest point it is R - sqrt(R^2 - s^2).
    """
    end = sine + bend * step
    return height + step * (sine + end) / (
        sqrt(1.0 - sine * sine) + sqrt(1.0 - end * end)
    ), end


@kernel
def stand(
    case: Record, curvature: float, left: float, right: float, s: float
) -> tuple[float, float]:
    """Height over the tangent plane, m, and sine of the slope, with so many of the case's joints in sight."""
    side = 0 if s >= 0.0 else 1
    joints = int(left) if s >= 0.0 else int(right)
    height = 0.0
    sine = 0.0
    at = 0.0
    bend = curvature
    for j in range(joints):
        joint = case.joint[side, j]
        if abs(s) <= abs(joint):
            break
        height, sine = onwards(height, sine, bend, joint - at)
        at = joint
        bend = case.beyond[side, j]
    return onwards(height, sine, bend, s - at)


@kernel
def under_wheel(case: Record, s: float) -> tuple[float, float]:
    """Height over the tangent plane, m, and slope under the middle of a wheel."""
    height, sine = stand(
        case, case.curvature, case.joints[0], case.joints[1], s
    )
    return height, sine / sqrt(1.0 - sine * sine)


@kernel
def under_floor(case: Record, s: float) -> tuple[float, float]:
    """Height over the tangent plane, m, and slope under a point of the floor."""
    height, sine = stand(
        case,
        case.floor_curvature,
        case.floor_joints[0],
        case.floor_joints[1],
        s,
    )
    return height, sine / sqrt(1.0 - sine * sine)


@kernel
def mean_curvature(case: Record, s: float, half: float) -> float:
    """Curvature round the section, its mean over `half` to both sides: a tread may stand across a joint."""
    if case.joints[0] == 0.0 and case.joints[1] == 0.0:
        return case.curvature
    low = stand(case, case.curvature, case.joints[0], case.joints[1], s - half)[
        1
    ]
    high = stand(
        case, case.curvature, case.joints[0], case.joints[1], s + half
    )[1]
    return 0.5 * (high - low) / half
