"""M. W. Sayers, T. D. Gillespie and W. D. O. Paterson, World Bank Technical Paper 46, 1986; M. W. Sayers,
On the calculation of international roughness index from longitudinal road profile, Transp. Res. Rec. 1501
(1995); M. W. Sayers and S. M. Karamihas, The little book of profiling, University of Michigan, 1998.

The papers were not open. Matrices as four public files print them, all alike; "derived, not printed" marks
what was worked out for this project from the same equations. The matrix over 0.25 m and the
printed peaks of the gain: tests/validation/road.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from linear_ride import golden_quarter_car
from random_ride import frequency_response, output
from scipy.optimize import minimize_scalar

from setupopt.robust.road.profile import (
    SPEED,
    quarter_step,
    roughness_index,
)
from setupopt.robust.road.spectrum import Tracks

# step m: state transition of (zs, zs', zu, zu'), row by row, and partial response
PUBLISHED = {
    0.25: (
        [
            [0.9966071, 0.01091514, -0.002083274, 0.0003190145],
            [-0.5563044, 0.9438768, -0.8324718, 0.05064701],
            [0.02153176, 0.002126763, 0.7508714, 0.008221888],
            [3.335013, 0.3376467, -39.12762, 0.4347564],
        ],
        [0.005476107, 1.388776, 0.2275968, 35.79262],
    ),
    0.10: (
        [
            [0.9994014, 0.004442351, 0.0002188854, 0.0000572179],
            [-0.2570548, 0.975036, 0.007966216, 0.02458427],
            [0.003960378, 0.0003814527, 0.9548048, 0.004055587],
            [1.687312, 0.1638951, -19.34264, 0.7948701],
        ],
        [0.0003793992, 0.2490886, 0.04123478, 17.65532],
    ),
}
# round-off of the first programs in the first entry of the partial response
FIRST_ENTRY = {0.25: 1e-4, 0.10: 1e-3}
ORDER = [0, 2, 1, 3]  # body and its rate, wheel and its rate


@pytest.mark.parametrize("length", [0.10])
def test_state_transition_matrix(length: float) -> None:
    """All 16 entries to 1e-6 of each, the 7 printed digits; needs 80 km/h as 22.2222 m/s, not 22.2."""
    assert quarter_step(length)[:, :4] == pytest.approx(
        np.array(PUBLISHED[length][0]), rel=1e-6
    )


@pytest.mark.parametrize("length", [0.10])
def test_partial_response(length: float) -> None:
    """To 1e-6, but the first entry: its printed digits carry round-off of 1.8e-5 and 7.3e-4."""
    found, expected = (
        quarter_step(length)[:, 4],
        PUBLISHED[length][1],
    )
    assert found[1:] == pytest.approx(expected[1:], rel=1e-6)
    assert found[0] == pytest.approx(expected[0], rel=FIRST_ENTRY[length])


def test_partial_response_to_more_digits() -> None:
    """Derived, not printed: the first entries without round-off."""
    assert quarter_step(0.25)[0, 4] == pytest.approx(5.476206e-3, abs=5e-10)
    assert quarter_step(0.10)[0, 4] == pytest.approx(3.796768e-4, abs=5e-11)


def gain(wavenumber: float) -> float:
    """Slope between body and wheel over the road's slope."""
    car = golden_quarter_car()
    rows = output(car, position=[1.0, -1.0])
    return float(
        np.abs(frequency_response(car, rows, np.array([SPEED * wavenumber])))[
            0, 0, 0
        ]
    )


# Derived, not printed. wavelength m: gain
GAIN = {
    50.0: 0.1366,
    30.0: 0.4548,
    20.0: 1.2340,
    15.4: 1.5351,
    15.0: 1.5273,
    10.0: 1.2597,
    7.5: 1.1649,
    5.0: 1.1697,
    4.0: 1.2436,
    3.0: 1.4532,
    2.4: 1.6640,
    2.0: 1.5335,
    1.5: 0.7832,
    1.25: 0.4786,
    1.0: 0.2731,
    0.5: 0.0586,
}


@pytest.mark.parametrize("wavelength", GAIN)
def test_gain_at_wavelengths(wavelength: float) -> None:
    """Derived, not printed: half a unit of the 4th decimal."""
    assert gain(1 / wavelength) == pytest.approx(GAIN[wavelength], abs=5.1e-5)


def extreme(low: float, high: float, sign: float) -> float:
    """Wavenumber of the gain's peak (-1) or trough (1) between two."""
    return float(
        minimize_scalar(
            lambda n: sign * gain(n), bounds=(low, high), method="bounded"
        ).x
    )


def test_peaks_to_more_digits() -> None:
    """Derived, not printed: to the digits worked out."""
    for low, high, sign, place, height in (
        (0.04, 0.1, -1, 0.0634, 1.538),
        (0.3, 0.6, -1, 0.4363, 1.677),
    ):
        found = extreme(low, high, sign)
        assert (found, gain(found)) == (
            pytest.approx(place, abs=1e-4),
            pytest.approx(height, abs=6e-4),
        )
    trough = extreme(0.1, 0.3, 1)
    assert (trough, gain(trough)) == (
        pytest.approx(0.1614, abs=1e-4),
        pytest.approx(1.149, abs=6e-4),
    )


# Derived, not printed: 4 a g(L) / L for a wave of 1 mm. wavelength m: mm/m
WAVES = {15.0: 0.40728, 10.0: 0.50387, 5.0: 0.93573, 2.4: 2.7733}


@pytest.mark.parametrize("wavelength", WAVES)
def test_index_of_a_wave(wavelength: float) -> None:
    """Derived: the index of a sine, less what slopes over 250 mm leave out, sin(u) / u with u = pi 0.25 / L.

    Points 10 mm apart, the second of two kilometres; 2e-4 for holding the slope and counting in steps.
    """
    distance = np.arange(200_001) * 0.01
    tracks = Tracks(
        0.01, 1e-3 * np.sin(2 * np.pi * distance / wavelength)[None]
    )
    expected = 1e-3 * WAVES[wavelength] * np.sinc(0.25 / wavelength)
    assert roughness_index(tracks, 900.0)[0, 1] == pytest.approx(
        expected, rel=2e-4
    )


# Own values, not printed: distance m: sum of |slope| x step in mm over the check pulse, steps of 0.25 m
PULSE = {
    5: 3.914652,
    11: 5.283116,
    15: 5.569561,
    20: 5.902852,
    25: 6.034795,
    30: 6.148640,
}


def test_check_pulse() -> None:
    """The pulse is published (up at 1 mm/m from 1 to 3 m, down to 5 m), its sums are an own value."""
    distance = np.arange(0, 31.25, 0.25)
    height = np.interp(distance, [1, 3, 5], [0, 2, 0])
    slope = np.append(np.diff(height) / 0.25, 0.0)
    step, state = quarter_step(0.25), np.zeros(4)
    run = [state]
    for one in slope[:-1]:
        state = step @ np.append(state, one)
        run.append(state)
    run = np.array(run)
    sums = np.cumsum(np.abs(run[1:, 0] - run[1:, 2])) * 0.25
    assert [sums[4 * end - 1] for end in PULSE] == pytest.approx(
        list(PULSE.values()), abs=5e-6
    )
    index = roughness_index(Tracks(0.25, 1e-3 * height[None]), 11.0)[0, 0]
    assert 1e3 * index == pytest.approx(
        0.480283, abs=5e-7
    )  # level ground for 11 m on average: starts at rest
