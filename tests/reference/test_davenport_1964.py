"""A. G. Davenport, Note on the distribution of the largest value of a random function with application to
gust loading, Proc. Inst. Civ. Eng. 28 (1964) 187-196. The formula is recalled; the figures are derived."""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.robust.level_crossings import mean_peak_factor

# crossings of the mean: mean of the largest value, standard deviations
PEAKS = {60: 3.06330, 600: 3.73823, 3600: 4.18953, 10_000: 4.42642}


@pytest.mark.parametrize("crossings", PEAKS)
def test_rate_and_duration_count_by_their_product(crossings: int) -> None:
    """Derived: to its 5 decimals."""
    assert mean_peak_factor(crossings / 7, 7.0) == pytest.approx(
        PEAKS[crossings], abs=6e-6
    )


def test_too_few_crossings() -> None:
    """Where there is no peak to speak of there is no number either."""
    with pytest.raises(ValueError, match="two crossings"):
        mean_peak_factor(0.1, 10.0)


def test_simulated_noise() -> None:
    """Largest of low-pass noise over 600 crossings, 400 runs: within four standard errors plus 1.5 % of bias.

    The formula is asymptotic; runs of 104 s of noise to 10 Hz, sampled at 160 Hz (peaks seen to 0.5 %).
    """
    duration, points = 600 * np.sqrt(3) / 10, 16_384
    waves = int(10 * duration)
    draw = np.random.default_rng(3)
    lines = draw.normal(size=(400, waves, 2)) @ [1, 1j]
    noise = (
        np.fft.irfft(np.pad(lines, ((0, 0), (1, 0))), points, axis=1)
        * points
        / (2 * np.sqrt(waves))
    )
    peaks = noise.max(axis=1)
    assert noise.var() == pytest.approx(1.0, rel=0.01)
    doubt = 4 * peaks.std() / np.sqrt(400) + 0.015 * PEAKS[600]
    assert peaks.mean() == pytest.approx(
        mean_peak_factor(10 / np.sqrt(3), float(duration)), abs=float(doubt)
    )
