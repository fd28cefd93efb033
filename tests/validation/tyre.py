"""The tyre's law against measured load sensitivity. Its exponent is taken from the ends or the slope printed.

A power law of the load is all that a patch inside the tread can give; what the measured curves do beside that
is what the differences show. Nothing here tells of camber, pressure or curved ground.
"""

from __future__ import annotations

from math import log

import test_pacejka as pacejka
import test_perantoni_limebeer_2014 as perantoni
import test_schallamach_1952 as schallamach
from test_milliken_milliken_1995 import LBF, friction

from .check import Check, Source
from .sources import MILLIKEN, PACEJKA, PERANTONI, SCHALLAMACH

# figure 2.9, lbf: largest lateral force over the load; at 900 lbf 1.10, which ours starts from
FIGURE = {1350: "1.08", 1800: "0.97"}
EXPONENT = -2.0 * log(0.97 / 1.10) / log(2.0)
FORM = "the law's form: a power of the load"


def _of_figure(load: int) -> float:
    """By the whole model of a car at rest, n from both ends, 1.10 at the light end."""
    return 1.10 * friction(load * LBF, EXPONENT) / friction(900 * LBF, EXPONENT)


def _measured(
    name: str, printed: str, ours: object, within: float, source: Source
) -> Check:
    return Check(
        f"largest lateral force over load, {name}", "", printed, ours,  # type: ignore[arg-type]
        within, FORM, source, "measurement", 3,
    )  # fmt: skip


CHECKS = [
    *(
        _measured(f"at {load} lbf (n = 0.363 by both ends)", printed, lambda load=load: _of_figure(load),
                  within, MILLIKEN)
        for (load, printed), within in zip(FIGURE.items(), (0.06, 0.005), strict=True)
    ),
    *(
        _measured(f"at {load:.0f} N (n = 0.3, held at 4000 N)", printed,
                  lambda load=load: pacejka.friction(load), 0.05, PACEJKA)
        for load, printed in ((2000.0, "1.0625"), (6000.0, "0.9175"))
    ),
    *(
        _measured(f"at {load:.0f} N (n by the slope at 3000 N)", printed,
                  lambda load=load: perantoni.force(load, perantoni.EXPONENT) / load, 0.1, PERANTONI)
        for load, printed in ((2000.0, "1.80"), (6000.0, "1.45"))
    ),
    Check(
        "rubber on a rough track: power of the load that friction goes with, one area", "", "0.6667",
        schallamach.power, 5e-5, "half its last digit (2/3)", SCHALLAMACH, "method",
    ),
]  # fmt: skip
