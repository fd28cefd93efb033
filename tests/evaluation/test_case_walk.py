"""The continuation walks every field of a case: a field that it forgets would stay that of the start."""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.physics.inputs import CASE, JOINTS
from setupopt.physics.trim import scale_case

# Where a case stands along its section: a label of the case table, which no kernel reads.
LABELS = {"along"}
# Which road it is and how it is driven over: nothing on a flat, straight, calm road.
ROAD = {
    "roll_angle", "acceleration", "path_curvature", "turn_curvature", "yaw_acceleration", "headwind",
    "crosswind", "curvature", "floor_curvature", "bump", "beyond",
}  # fmt: skip


def walked(share: float) -> tuple[np.ndarray, np.ndarray]:
    """A random case with every joint it can know, and the case on its way."""
    rng = np.random.default_rng(8)
    case = np.zeros(1, CASE)
    part = np.zeros(1, CASE)
    for name in CASE.names:
        case[name] = rng.uniform(1.0, 2.0, case[name].shape)
        part[name] = np.nan
    case["joints"] = JOINTS
    case["floor_joints"] = JOINTS
    scale_case(case[0], share, part[0])
    return case, part


@pytest.mark.parametrize(
    "name", [name for name in CASE.names if name not in LABELS]
)
def test_every_field_of_a_case_is_walked(name: str) -> None:
    """At the end of the way the field is the case's own; at its start the flat road's, or its own."""
    case, part = walked(1.0)
    np.testing.assert_array_equal(part[name], case[name])
    case, part = walked(0.0)
    np.testing.assert_array_equal(
        part[name], np.zeros_like(case[name]) if name in ROAD else case[name]
    )
