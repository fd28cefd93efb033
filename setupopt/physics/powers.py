"""Powers in plain steps: in a loop the processor takes several at a time, which a library's it does not."""

from __future__ import annotations

from math import sqrt

import numpy as np

from setupopt.physics.jit import kernel

# One over the numbers of the terms of both series, the last first.
_PER = 1.0 / np.arange(9.0, 0.0, -1.0)
_PER_ODD = 1.0 / np.arange(19.0, 0.0, -2.0)


@kernel
def exp_of(x: float) -> float:
    """The exponential of -40 to 10, to 1e-12 of it: a series for a part, squared until it is the whole.

    >>> round(exp_of(1.0), 12)
    2.718281828459
    """
    part = x * (1.0 / 256.0)
    power = 1.0
    for k in range(_PER.size):
        power = 1.0 + part * _PER[k] * power
    for _ in range(8):
        power *= power
    return power


@kernel
def power_of(ratio: float, exponent: float) -> float:
    """`ratio` to the power of minus `exponent`: to 1e-12 for ratios from 0.02 to 2, to 1e-6 from 2e-4.

    The logarithm is the series of its inverse hyperbolic tangent, of the eighth root.

    >>> round(power_of(0.25, 0.5), 12)
    2.0
    """
    root = sqrt(sqrt(sqrt(ratio)))
    part = (root - 1.0) / (root + 1.0)
    square = part * part
    series = 0.0
    for k in range(_PER_ODD.size):
        series = _PER_ODD[k] + square * series
    return exp_of(-16.0 * exponent * part * series)
