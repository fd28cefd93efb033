"""How often a random load crosses a level, and how sure a count is.

The moments of a one-sided spectrum G(f) per Hz are m_k = integral of (2 pi f)^k G(f) df; m_0 is the
variance, m_2 that of the rate of change.
"""

from __future__ import annotations

import math

from scipy.stats import beta


def crossing_rate(level: float, m0: float, m2: float) -> float:
    """Upward crossings a second of a level counted from the mean, for a Gaussian load.

    Rice's formula, nu = sqrt(m2 / m0) / (2 pi) exp(-level^2 / (2 m0)): S. O. Rice, Mathematical analysis
    of random noise, Bell Syst. Tech. J. 23 (1944) and 24 (1945). Downward crossings are as many. Where m2
    grows without end, as for a tyre's load on a road of unlimited band, there is no such rate.

    Noise of 1 unit of variance spread evenly over 0 to 10 Hz, m2 = (2 pi 10)^2 / 3: 10 / sqrt(3) a second
    through the mean, and once in a quarter of a minute through three standard deviations.

    >>> m2 = (2 * math.pi * 10) ** 2 / 3
    >>> round(crossing_rate(0.0, 1.0, m2), 6), round(crossing_rate(3.0, 1.0, m2), 6)
    (5.773503, 0.064138)
    """
    return math.sqrt(m2 / m0) / (2 * math.pi) * math.exp(-(level**2) / (2 * m0))


def chance_of_crossing(rate: float, duration: float) -> float:
    """Chance of at least one crossing in so many seconds, 1 - exp(-rate duration).

    Rice (1945): crossings that are rare come one by one, as if thrown at random (a Poisson process). Too high
    where they bunch: for levels below two standard deviations, or a lightly damped load. It does not count a
    load that is beyond the level from the start.

    0.01 crossings a second for a minute and a half:

    >>> round(chance_of_crossing(0.01, 90.0), 4)
    0.5934
    """
    return -math.expm1(-rate * duration)


def clopper_pearson(
    hits: int, trials: int, confidence: float = 0.95
) -> tuple[float, float]:
    """Interval of a share that holds in every case at the stated confidence at least.

    The exact binomial interval of C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413, by
    quantiles of the beta distribution. Half the doubt lies on each side: for a bound on one side at 95 %
    take the end of the 90 % interval.

    None of 100 drawn cars slides: less than 3 % do, at 95 % on one side.

    >>> round(clopper_pearson(0, 100, confidence=0.90)[1], 6)
    0.029513
    """
    tail = 0.5 - confidence / 2
    low = beta.ppf(tail, hits, trials - hits + 1) if hits else 0.0
    high = beta.ppf(1 - tail, hits + 1, trials - hits) if hits < trials else 1.0
    return float(low), float(high)
