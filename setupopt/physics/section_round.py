"""The section as a car sees it that has moved round it."""

from __future__ import annotations

from setupopt.physics.inputs import (
    JOINTS,
    Record,
)
from setupopt.physics.jit import kernel


@kernel
def move_round(case: Record, way: float, part: Record) -> None:
    """The section as a car sees it that stands `way` m further to the left round it, into `part`.

    Places of joints are taken along the tangent plane, as in the case.
    """
    side = 0 if way >= 0.0 else 1
    other = 1 - side
    passed = 0
    turned = 0.0
    at = 0.0
    bend = case.curvature
    while passed < int(case.joints[side]) and abs(
        case.joint[side, passed]
    ) <= abs(way):
        turned += bend * (case.joint[side, passed] - at)
        at = case.joint[side, passed]
        bend = case.beyond[side, passed]
        passed += 1
    part.roll_angle = case.roll_angle + turned + bend * (way - at)
    part.along = case.along + way
    part.curvature = bend
    part.floor_curvature = bend
    ahead = int(case.joints[side]) - passed
    behind = min(int(case.joints[other]), JOINTS - passed)
    for j in range(ahead):
        part.joint[side, j] = case.joint[side, passed + j] - way
        part.beyond[side, j] = case.beyond[side, passed + j]
    for j in range(passed):
        crossed = passed - 1 - j
        part.joint[other, j] = case.joint[side, crossed] - way
        part.beyond[other, j] = (
            case.beyond[side, crossed - 1] if crossed > 0 else case.curvature
        )
    for j in range(behind):
        part.joint[other, passed + j] = case.joint[other, j] - way
        part.beyond[other, passed + j] = case.beyond[other, j]
    part.joints[side] = ahead
    part.joints[other] = passed + behind
    for i in range(2):
        part.floor_joints[i] = part.joints[i]
