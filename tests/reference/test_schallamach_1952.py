"""A. Schallamach, The load dependence of rubber friction, Proc. Phys. Soc. B 65 (1952) 657-661.

From memory, not seen: on rough tracks the coefficient of friction of rubber goes as p^(-1/3), so that the
force on a fixed apparent area goes as the load to the power of 2/3.
"""

from __future__ import annotations

from math import log

import pytest
from patch_grip import ENDS, grip_capacity

from setupopt.physics import tyre

N = 1 / 3


def load_and_force(k: float, curvature: float) -> tuple[float, float]:
    """Load and largest force of one patch on rubber of a stiffness, N."""
    load = tyre.contact(0.008, 0.01, 3.0, curvature, 0.12, k, ENDS)[0]
    return load, grip_capacity(
        0.008, 0.01, 3.0, curvature, 0.12, k, 1.2, 2e5, N
    )


def power(curvature: float = 1 / 1.2) -> float:
    """Power of the load that the force goes with. The same patch on rubber stiffer by 1 to 8."""
    (soft_load, soft), (hard_load, hard) = (
        load_and_force(k, curvature) for k in (1e7, 8e7)
    )
    assert hard_load / soft_load == pytest.approx(8.0, rel=1e-12)
    return log(hard / soft) / log(hard_load / soft_load)


def test_force_on_one_area_goes_as_load_to_two_thirds_on_a_flat_tread_too() -> (
    None
):
    """From memory. On a crowned tread: tests/validation."""
    assert power(0.0) == pytest.approx(2 / 3, rel=1e-9)
