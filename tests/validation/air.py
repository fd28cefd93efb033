"""The air model's curve against a measured wing over the ground, its three numbers fitted to them."""

from __future__ import annotations

from functools import cache

import numpy as np
from fit.air_tables import one_part
from fit.test_air_published import CHORD, HEIGHTS, LIFT, front_only

from setupopt.project.model import AirElement

from .check import Check
from .sources import ZERIHAN

# height over chord: lift coefficient read off, of those away from the peak and the far field
CURVE = {0.055: "1.60", 0.11: "1.71", 0.134: "1.61", 0.179: "1.41", 0.224: "1.26", 0.313: "1.08",
         0.448: "0.93", 0.671: "0.84", 1.0: "0.77"}  # fmt: skip
FORM = "the curve's form: it fades sooner than the wing"


@cache
def wing() -> AirElement:
    """As fitted, from a wing that is none of them."""
    return front_only(
        one_part(0.7, 1.0, 0.1 * CHORD, CHORD), CHORD * HEIGHTS, LIFT
    ).air.elements[0]


def lift(height: float) -> float:
    """Of the fitted wing, at a height over its chord."""
    near = height * CHORD / wing().peak_gap
    return float(
        wing().free_area + wing().ground_area * near * np.exp(1.0 - near)
    )


def _point(height: float, printed: str) -> Check:
    return Check(
        f"lift coefficient of a wing at {height} chords over the ground", "", printed, lambda: lift(height),
        0.12, FORM, ZERIHAN, "measurement", 2,
    )  # fmt: skip


CHECKS = [
    Check(
        "largest lift coefficient of a wing in ground effect", "", "1.72",
        lambda: wing().free_area + wing().ground_area, 0.025, "read off to 0.02, and half its last digit",
        ZERIHAN, "measurement", 2,
    ),
    Check(
        "height of that, over the chord", "", "0.082", lambda: wing().peak_gap / CHORD, 0.028,
        "the heights measured on both sides, 0.067 and 0.11", ZERIHAN, "measurement", 3,
    ),
    Check(
        "that lift over the free one", "", "2.49", lambda: 1.0 + wing().ground_area / wing().free_area, 0.39,
        "2.1 to 2.6, as far as both were read off", ZERIHAN, "measurement", 2,
    ),
    *(_point(height, printed) for height, printed in CURVE.items()),
]  # fmt: skip
