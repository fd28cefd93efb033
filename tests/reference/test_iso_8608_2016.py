"""ISO 8608:2016, Mechanical vibration, road surface profiles: table C.2, classes in wavenumber form.

The standard was not open here. Means, the band 0.011 to 2.83 cycles/m and the borders A/B and G/H are second
hand; lower limits as quoted with G. Agostinacchio, D. Ciampa and S. Olita, Eur. Transp. Res. Rev. 6 (2014)
267-275; upper limits and the velocity column follow from those (a border is shared, (2 pi n0)^2 G_d).
"""

from __future__ import annotations

import numpy as np
import pytest
from random_ride import slope_psd, white_intensity
from scipy.integrate import quad

from setupopt.robust.road.spectrum import BAND, CLASSES, N0, Road, class_letter

# class: G_d(n0) lower, mean, upper, 1e-6 m3; the same of the velocity form, 1e-6 m. "-": none
TABLE = {
    "A": ("- 16 32", "- 6.317 12.633"),
    "B": ("32 64 128", "12.633 25.266 50.532"),
    "C": ("128 256 512", "50.532 101.065 202.129"),
    "D": ("512 1024 2048", "202.129 404.259 808.518"),
    "E": ("2048 4096 8192", "808.518 1617.036 3234.07"),
    "F": ("8192 16384 32768", "3234.07 6468.14 12936.3"),
    "G": ("32768 65536 131072", "12936.3 25872.6 51745.2"),
    "H": ("131072 262144 -", "51745.2 103490 -"),
}


def half_digit(text: str) -> float:
    """Half a unit of the last digit of a number as printed."""
    return 0.5 * 10.0 ** -len(text.partition(".")[2])


@pytest.mark.parametrize("letter", TABLE)
def test_limits_join(letter: str) -> None:
    """A class ends where the next begins, but for the open ends; keeps out tables wrong by 4 or by 16/10."""
    upper, following = CLASSES[letter].upper, chr(ord(letter) + 1)
    assert upper == (
        CLASSES[following].lower if following in CLASSES else np.inf
    )
    assert CLASSES["A"].lower == 0.0


@pytest.mark.parametrize("letter", TABLE)
@pytest.mark.parametrize("wavenumber", [0.02, 1.0])
def test_velocity_form(letter: str, wavenumber: float) -> None:
    """Velocity column to its printed digits, at any wavenumber: it is level for w = 2."""
    for text, value in zip(
        TABLE[letter][1].split(), CLASSES[letter], strict=True
    ):
        if text != "-":
            found = float(slope_psd(Road(value), wavenumber)) * 1e6
            assert found == pytest.approx(
                float(text), abs=half_digit(text) if "." in text else 5.0
            )


def test_letter_of_a_coefficient() -> None:
    """Means have their own letter, borders belong to the rougher class, beyond H there is nothing."""
    for letter, limits in CLASSES.items():
        assert class_letter(limits.mean) == letter
        assert class_letter(limits.lower) == letter
        assert class_letter(min(limits.upper, 1.0) * (1 - 1e-12)) == letter


def test_angular_twin_is_rounded() -> None:
    """From memory: class A has 1e-6 m3 at 1 rad/m. 16e-6 at 0.1 cycles/m makes 1.00531e-6 (derived)."""
    angular = float(Road(16e-6).psd(1 / (2 * np.pi))) / (2 * np.pi)
    assert angular == pytest.approx(1.00531e-6, abs=5e-12)
    assert angular == pytest.approx(1e-6, rel=6e-3)


# Derived, not printed: integral of the power law, class C mean. waviness, band: variance m2
VARIANCES = [
    (2.0, BAND, 2.318227e-4),
    (2.0, (0.01, 10.0), 2.55744e-4),
    (2.0, (0.05, 5.0), 5.0688e-5),
    (2.0, (0.125 / 2**0.5, 0.125 * 2**0.5), 1.448155e-5),
    (1.5, BAND, 1.447493e-4),
    (2.5, BAND, 4.676861e-4),
    (3.0, BAND, 1.057835e-3),
]


@pytest.mark.parametrize(("waviness", "band", "expected"), VARIANCES)
def test_variance_between_two_wavenumbers(
    waviness: float, band: tuple[float, float], expected: float
) -> None:
    """Closed form against the derived figures (their digits) and against quadrature of psd() (1e-10)."""
    road = Road(CLASSES["C"].mean, waviness, band)
    low, high = band
    by_logarithm = quad(
        lambda u: float(road.psd(np.exp(u))) * np.exp(u),
        np.log(low),
        np.log(high),
    )[0]
    assert float(road.variance()) == pytest.approx(expected, rel=2e-6)
    assert float(road.variance()) == pytest.approx(by_logarithm, rel=1e-10)
    assert float(road.variance(low, high)) == float(road.variance())


def test_coefficient_stands_at_n0() -> None:
    """Whatever the waviness, psd(0.1) is the coefficient, and a decade on it falls by 10^w."""
    for waviness in (1.5, 2.0, 3.0):
        road = Road(16e-6, waviness)
        assert road.psd([N0, 10 * N0]) == pytest.approx(
            [16e-6, 16e-6 * 10**-waviness], rel=1e-12
        )


def test_white_velocity() -> None:
    """Derived: W = 2 pi^2 G_d n0^2 V, class A at 50 m/s; one-sided 5.0532375e-3 (m/s)^2/Hz for class C."""
    assert white_intensity(Road(CLASSES["A"].mean), 50.0) == pytest.approx(
        1.5791367e-4, abs=5e-12
    )
    assert 2 * white_intensity(Road(CLASSES["C"].mean), 50.0) == pytest.approx(
        5.0532375e-3, abs=5e-11
    )
