"""H. B. Pacejka, Tyre and Vehicle Dynamics, appendix 3: parameters of a 205/60R15 tyre.

From memory and not confirmed: largest lateral friction 1.0625, 0.990 and 0.9175 at 2000, 4000 and 6000 N.
Only this trend with load is used; the camber term of the set is not.
"""

from __future__ import annotations

from itertools import pairwise

from patch_grip import grip_at_load

LOADS = {2000.0: 1.0625, 4000.0: 0.990, 6000.0: 0.9175}
EXPONENT = 0.3


def friction(load: float) -> float:
    """Grip over load with 0.990 at 4000 N, patch inside the tread."""

    def grip(at: float) -> float:
        return grip_at_load(at, EXPONENT, 3.0, 2.0, 0.3, 4e7) / at

    return 0.990 * grip(load) / grip(4000.0)


def test_friction_falls_over_the_loads() -> None:
    """From memory: 7.3 % less per half more load. How far n = 0.3 is off: tests/validation/tyre.py."""
    assert all(
        light > heavy
        for light, heavy in pairwise(friction(load) for load in LOADS)
    )
