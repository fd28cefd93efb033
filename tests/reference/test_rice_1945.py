"""S. O. Rice, Mathematical analysis of random noise, Bell Syst. Tech. J. 23 (1944) and 24 (1945).

No printed numerical example was open; the figures are derived from the formulas for simple spectra.
"""

from __future__ import annotations

import numpy as np
import pytest
from random_ride import ResponseSpectra

from setupopt.robust.level_crossings import crossing_rate

# Ideal low-pass noise to 10 Hz, unit variance. level: upward crossings a second
LOW_PASS = {0.0: 5.773503, 1.0: 3.501806, 2.0: 0.781359, 3.0: 0.064138}


def level_band(low: float, high: float) -> list[float]:
    """Moments 0, 2, 4 of a level spectrum of unit variance between two frequencies."""
    frequency = np.linspace(low, high, 4001)
    spectra = ResponseSpectra(frequency, np.full((4001, 1), 1 / (high - low)))
    return [float(spectra.moment(order)[0]) for order in (0, 2, 4)]


@pytest.mark.parametrize("level", LOW_PASS)
def test_both_sides_are_crossed_alike(level: float) -> None:
    """Noise of mean zero; the rates themselves: tests/validation."""
    m0, m2, _ = level_band(0.0, 10.0)
    assert crossing_rate(-level, m0, m2) == crossing_rate(level, m0, m2)


def test_a_band() -> None:
    """Derived: crossings of a band from 4 to 10 Hz 7.211103."""
    m0, m2, _ = level_band(4.0, 10.0)
    assert crossing_rate(0.0, m0, m2) == pytest.approx(7.211103, abs=5.1e-7)


@pytest.mark.parametrize(
    ("ratio", "share"), [(2.0, 0.135335), (3.0, 0.0111090), (4.0, 3.35463e-4)]
)
def test_crossings_of_a_level_per_crossing_of_the_mean(
    ratio: float, share: float
) -> None:
    """Derived: exp(-r^2 / 2), to its digits, at any scale."""
    m0, m2 = 250.0**2, 9e7
    found = crossing_rate(ratio * 250.0, m0, m2) / crossing_rate(0.0, m0, m2)
    assert found == pytest.approx(share, rel=5e-6)


@pytest.mark.parametrize("damping", [0.05, 0.3, 0.9])
def test_oscillator_under_white_noise_crosses_at_its_natural_frequency(
    damping: float,
) -> None:
    """Derived: fn for any damping; variance W / (4 zeta wn^3). 5e-4: m2's tail beyond 5 kHz."""
    fn = 3.0
    wn, frequency = 2 * np.pi * fn, np.geomspace(1e-3, 5e3, 40_001)
    w = 2 * np.pi * frequency
    density = 2 / ((wn**2 - w**2) ** 2 + (2 * damping * wn * w) ** 2)
    spectra = ResponseSpectra(frequency, density[:, None])
    m0, m2 = (float(spectra.moment(order)[0]) for order in (0, 2))
    assert m0 == pytest.approx(1 / (4 * damping * wn**3), rel=1e-3)
    assert crossing_rate(0.0, m0, m2) == pytest.approx(fn, rel=1e-3)
