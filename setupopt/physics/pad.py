"""The setup pad: flat, level, at rest, driver aboard, no air flow. Every displacement counts from there."""

from __future__ import annotations

from math import tan

import numpy as np

from setupopt.physics import tyre
from setupopt.physics.inputs import SETTING, VEHICLE, Floats, Records
from setupopt.physics.jit import shared_kernel


@shared_kernel([VEHICLE], [SETTING], ["f8"], first=True)
def _penetration(cars: Records, setups: Records, ends: Floats) -> None:
    """Fill in the crown penetration that carries each corner load, of tread and carcass together.

    `ends` (5) is scratch.
    """
    for s in range(setups.size):
        setup = setups[s]
        car = cars[int(setup.car)]
        for w in range(4):
            tread = tyre.depth_for_load(
                car.static_load[w], 0.01, tan(setup.camber[w]), 1.0 / car.radius[w], car.crown[w],
                car.half_width[w], setup.foundation[w], ends,
            )[0]  # fmt: skip
            carcass = setup.carcass[w]
            setup.penetration[w] = tread + (
                car.static_load[w] / carcass if carcass > 0.0 else 0.0
            )


def set_penetration(cars: Records, setups: Records) -> None:
    """Fill `setups.penetration`, m, from camber, foundation, carcass and the static corner loads."""
    _penetration(cars, setups, np.zeros(5))
