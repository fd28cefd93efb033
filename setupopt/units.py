"""The only conversion factors, standard gravity, and how an angle is written.

A value in the named unit times its factor is in SI.

>>> 35.0 * MM
0.035
>>> round(1.4 * BAR)
140000
"""

from __future__ import annotations

import math

GRAVITY = 9.80665  # m/s2, standard gravity; exact by definition

DEG = math.pi / 180.0  # rad
PERCENT = 0.01

MM = 1e-3  # m
MM2 = 1e-6  # m2
MS = 1e-3  # s
KN = 1e3  # N
KW = 1e3  # W
BAR = 1e5  # Pa
KPA = 1e3  # Pa

N_PER_MM = 1e3  # N/m
NS_PER_MM = 1e3  # N s/m
N_PER_MM3 = 1e9  # N/m3
N_PER_MM3_PER_BAR = N_PER_MM3 / BAR  # N/m3 per Pa

DEG_PER_MM = DEG / MM  # rad/m
DEG_PER_KN = DEG / KN  # rad/N
N_PER_MM_PER_BAR = N_PER_MM / BAR  # N/m per Pa
MM_PER_DEG = MM / DEG  # m/rad
N_PER_DEG = 1.0 / DEG  # N/rad

ROUGHNESS = 1e-6  # m3, the files' unit of road roughness


def angle(degrees: float) -> str:
    """An angle in words, to a hundredth of a degree, without the noise of the conversion.

    >>> angle(30.000000000000004), angle(-0.0), angle(19.48504), angle(-0.004)
    ('30', '0', '19.49', '0')
    """
    return f"{round(degrees, 2) + 0.0:g}"
