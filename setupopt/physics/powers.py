"""Powers in plain steps: in a loop the processor takes several at a time, which a library's it does not."""

from __future__ import annotations

from math import sqrt

from setupopt.physics.jit import kernel


@kernel
def exp_of(x: float) -> float:
    """The exponential of -40 to 10, to 1e-12 of it: a series for a part, squared until it is the whole.

    >>> round(exp_of(1.0), 12)
    2.718281828459
    """
    part = x * (1.0 / 256.0)
    power = 1.0 + part * (1.0 / 8.0 + part * (1.0 / 72.0))
    power = 1.0 + part * (1.0 / 6.0 + part * (1.0 / 42.0) * power)
    power = 1.0 + part * (1.0 / 4.0 + part * (1.0 / 20.0) * power)
    power = 1.0 + part * (1.0 / 2.0 + part * (1.0 / 6.0) * power)
    power = 1.0 + part * power
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
    series = 1.0 / 15.0 + square * (1.0 / 17.0 + square * (1.0 / 19.0))
    series = 1.0 / 11.0 + square * (1.0 / 13.0 + square * series)
    series = 1.0 / 7.0 + square * (1.0 / 9.0 + square * series)
    series = 1.0 / 3.0 + square * (1.0 / 5.0 + square * series)
    return exp_of(-16.0 * exponent * part * (1.0 + square * series))
