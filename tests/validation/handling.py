"""The whole model on flat ground, as the single-track cars of two books."""

from __future__ import annotations

import test_single_track as single

from .check import Check
from .sources import PACEJKA_CAR, WONG

WHY = "the brush's curve; less the pneumatic trails, which the books leave out"

CHECKS = [
    Check("understeer coefficient of a saloon car, 60 kN/rad on each axle", "rad", "0.0174",
          lambda: single.understeer(single.PACEJKA)[1], 1.5e-4, WHY, PACEJKA_CAR, "method", 4),
    Check("understeer coefficient of a heavier saloon car", "rad", "0.0160",
          lambda: single.understeer(single.WONG)[1], 1.5e-4, WHY, WONG, "method", 4),
]  # fmt: skip
