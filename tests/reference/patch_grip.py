"""Largest force of one patch by the package's kernel, without a least pressure of friction."""

from __future__ import annotations

from math import gamma, pi, sqrt

import numpy as np

from setupopt.physics import brush, tyre

ENDS = np.zeros(5)


def grip_capacity(
    d: float, t: float, c_x: float, c: float, w: float, k: float, friction: float, pressure: float,
    exponent: float,
) -> float:  # fmt: skip
    """Newton: friction (p / pressure)^-exponent over a patch; arguments as in setupopt/physics/tyre.py."""
    beta = sqrt(pi) * gamma(2.0 - exponent) / gamma(2.5 - exponent)
    patch = np.zeros(1, brush.BRUSH)[0]
    given = {
        "depth": d, "slant": t, "along": c_x, "across": c, "half_width": w, "foundation": k,
        "friction": 0.75 * beta * friction * pressure**exponent, "exponent": exponent,
    }  # fmt: skip
    for name, value in given.items():
        patch[name] = value
    return brush.capacity(patch)


def grip_at_load(
    load: float, exponent: float, c_x: float, c: float, w: float, k: float
) -> float:
    """Newton, of an almost upright patch that carries `load`; friction 1 at 2 bar."""
    depth = tyre.depth_for_load(load, 0.01, 0.0, c_x, c, w, k, ENDS)[0]
    return grip_capacity(depth, 0.0, c_x, c, w, k, 1.0, 2e5, exponent)
