"""Roads as random surfaces, and heights along their tracks."""

from __future__ import annotations

import numpy as np
import pytest
from random_ride import slope_psd, wheel_spectra
from scipy.integrate import quad

from setupopt.project import to_si as convert
from setupopt.robust.road.spectrum import (
    CLASSES,
    Contacts,
    Road,
    Tracks,
    patch_gain,
    synthesise,
)

ROAD = Road(64e-6)


def test_project_and_road_know_the_same_classes() -> None:
    """A venue's class letter becomes the mean of that class here."""
    means = [convert._CLASS_A * 4.0**place for place in range(8)]
    assert [limits.mean for limits in CLASSES.values()] == pytest.approx(
        means, rel=1e-12
    )


# ---- heights -----------------------------------------------------------------------------------------------


def test_heights_between_points_and_beyond_the_ends() -> None:
    """Straight lines between points; open ends run on level, closed ones go round."""
    heights = np.array([[0.0, 1.0, 4.0, 9.0]])
    places = [9.0, 10.0, 10.25, 11.5, 13.0, 13.5, 14.0]
    assert Tracks(1.0, heights, 10.0).at(places)[0] == pytest.approx(
        [0, 0, 0.25, 2.5, 9, 9, 9]
    )
    closed = Tracks(1.0, heights, 10.0, is_closed=True)
    assert closed.at(places)[0] == pytest.approx([9, 0, 0.25, 2.5, 9, 4.5, 0])
    assert closed.at([2.25, 18.25])[0] == pytest.approx([0.25, 0.25])


def test_rear_wheels_meet_the_road_later() -> None:
    """The rear pair sees what the front saw, a wing ahead what comes; one track serves both sides."""
    tracks = synthesise(ROAD, 200.0, 0.1, 1.5, [1, 2])
    place = np.linspace(20, 60, 81)
    behind, side = (
        np.array([0.0, 0.0, 3.03, 3.03, -0.5]),
        np.array([0.7, -0.7, 0.7, -0.7, 0.7]),
    )
    contacts = Contacts(behind, side, np.array([0.0, 0.0, 0.0, 0.0, 0.4]))
    under = tracks.under(place, contacts)
    assert under.shape == (2, 5, 81)
    assert under[:, :2] == pytest.approx(tracks.at(place))
    assert under[:, 2:4] == pytest.approx(tracks.at(place - 3.03))
    assert under[:, 4] == pytest.approx(
        tracks.averaged(0.4).at(place + 0.5)[:, 0]
    )
    single = Tracks(0.1, tracks.heights[0, :1]).under(place, contacts)
    assert single[1] == pytest.approx(single[0])


@pytest.mark.parametrize("patch", [0.013, 0.1, 0.15, 0.237, 1.0])
def test_patch_takes_the_mean_of_the_lines(patch: float) -> None:
    """Against quadrature of the drawn lines, closed and open; a patch of no length changes nothing."""
    heights = np.random.default_rng(2).normal(size=(2, 60))
    for closed in (True, False):
        tracks = Tracks(0.05, heights, is_closed=closed)
        averaged = tracks.averaged(patch).at([0.0, 1.0, 2.95])
        for column, place in enumerate([0.0, 1.0, 2.95]):
            fine = np.linspace(place - patch / 2, place + patch / 2, 20_001)
            mean = np.trapezoid(tracks.at(fine), fine, axis=-1) / patch
            assert averaged[:, column] == pytest.approx(mean, abs=1e-4)
    assert tracks.averaged(0.0) is tracks


@pytest.mark.parametrize("wavelength", [0.3, 0.5, 2.0])
def test_patch_gain(wavelength: float) -> None:
    """sin(pi n a) / (pi n a): on a wave of 200 points and more, to the 1e-4 that straight lines cost."""
    points = 1000 * round(wavelength / 0.1)
    wave = Tracks(
        5 * wavelength / points,
        np.cos(np.arange(points) * 10 * np.pi / points)[None],
        0.0,
        True,
    )
    found = wave.averaged(0.12).heights[0, 0]
    assert found == pytest.approx(
        float(patch_gain(1 / wavelength, 0.12)), abs=1e-4
    )


# ---- drawn roads -------------------------------------------------------------------------------------------

SEEDS = range(200)


@pytest.fixture(scope="module")
def drawn() -> Tracks:
    """200 roads of class B, 1 km each."""
    return synthesise(ROAD, 1000.0, 0.1, 1.5, SEEDS)


def lines(tracks: Tracks) -> tuple[np.ndarray, np.ndarray]:
    """Wavenumbers of the drawn waves and complex amplitudes, (seeds, 2, waves)."""
    points = tracks.heights.shape[-1]
    return np.fft.rfftfreq(points, tracks.spacing), np.fft.rfft(
        tracks.heights
    ) / points


def test_variance(drawn: Tracks) -> None:
    """Mean square of left and right together is the closed form's in every seed (1e-12), that of one track
    on average: within 4 standard errors over 200 seeds, themselves below 2 %."""
    single = (drawn.heights**2).mean(axis=-1)
    assert single.mean(axis=1) == pytest.approx(
        np.full(200, float(ROAD.variance())), rel=1e-10
    )
    error = single[:, 0].std() / np.sqrt(200)
    assert error < 0.02 * ROAD.variance()
    assert single[:, 0].mean() == pytest.approx(
        float(ROAD.variance()), abs=float(4 * error)
    )
    assert single[:, 0].std() > 0.01 * ROAD.variance()
    assert drawn.heights.mean(axis=-1) == pytest.approx(
        np.zeros((200, 2)), abs=1e-12
    )


@pytest.mark.parametrize("waviness", [1.6, 2.0, 2.6])
def test_spectrum(waviness: float) -> None:
    """Power by octaves against the integral, 4 standard errors over 60 seeds; none off the band."""
    road = Road(64e-6, waviness)
    n, waves = lines(synthesise(road, 1000.0, 0.1, 1.5, range(60)))
    power = 2 * np.abs(waves[:, 1]) ** 2
    for low in (0.02, 0.08, 0.32, 1.28):
        inside = (n > low) & (n <= 2 * low)
        octave = power[:, inside].sum(axis=1)
        expected = float(
            road.variance(n[inside][0] - 0.0005, n[inside][-1] + 0.0005)
        )
        error = octave.std() / np.sqrt(60)
        assert error < 0.05 * expected
        assert octave.mean() == pytest.approx(expected, abs=float(4 * error))
    assert power[:, (n < 0.0105) | (n > 2.8305)].max() < 1e-25


def test_coherence(drawn: Tracks) -> None:
    """Cross spectrum over spectrum, wave by wave: its real part is drawn exactly (1e-9), its imaginary part
    is nothing on average (4.5 standard errors, 2800 waves)."""
    n, waves = lines(drawn)
    inside = (n > 0.012) & (n < 2.82)
    cross = 2 * waves[:, 0, inside] * waves[:, 1, inside].conj()
    density = ROAD.variance(n[inside] - 0.0005, n[inside] + 0.0005)
    expected = ROAD.coherence(n[inside], 1.5)
    assert np.abs(cross.real / density - expected).max() < 1e-9
    error = np.sqrt((1 - expected**2) / 2 / 200)
    assert (np.abs(cross.imag.mean(axis=0) / density) < 4.5 * error).all()
    estimate = np.abs(cross.mean(axis=0)) / density
    assert estimate[n[inside] < 0.05].min() > 0.8


def test_left_and_right_are_equals(drawn: Tracks) -> None:
    """Neither track is rougher: difference of their variances within 4 standard errors of nothing."""
    difference = np.subtract(*drawn.heights.var(axis=-1).T)
    assert abs(difference.mean()) < 4 * difference.std() / np.sqrt(200)


def test_heights_are_nearly_gaussian(drawn: Tracks) -> None:
    """Fourth moment over the squared second: 3 within 4 standard errors over seeds, of scaled short waves."""
    short = synthesise(
        Road(64e-6, band=(0.2, 2.83)), 1000.0, 0.1, 1.5, range(40)
    ).heights[:, 0]
    kurtosis = (short**4).mean(axis=1) / (short**2).mean(axis=1) ** 2
    assert kurtosis.mean() == pytest.approx(
        3.0, abs=float(4 * kurtosis.std() / np.sqrt(40))
    )
    assert kurtosis.std() < 0.2


def test_seeds() -> None:
    """The same seed gives the same road alone or in company, another seed another one."""
    three = synthesise(ROAD, 300.0, 0.1, 1.5, [7, 8, 9]).heights
    assert (synthesise(ROAD, 300.0, 0.1, 1.5, [9]).heights[0] == three[2]).all()
    shared = np.corrcoef(three[:, 0])[np.triu_indices(3, 1)]
    assert np.abs(shared).max() < 0.9


def test_difference_of_two_tracks() -> None:
    """Mean square of left minus right, 1 mm to 1 km apart, is the integral of 2 G_d (1 - g) in every seed.

    1 %: the step of the waves.
    """
    for track in (1e-3, 0.3, 1.5, 1e3):
        left, right = np.moveaxis(
            synthesise(ROAD, 1000.0, 0.1, track, [1, 2]).heights, 1, 0
        )
        n = np.geomspace(*ROAD.band, 4001)
        expected = np.trapezoid(
            2 * ROAD.psd(n) * (1 - ROAD.coherence(n, track)), n
        )
        assert ((left - right) ** 2).mean(axis=1) == pytest.approx(
            np.full(2, expected), rel=0.01
        )


@pytest.mark.parametrize(("length", "spacing"), [(80.0, 0.1), (1000.0, 0.2)])
def test_too_short_or_too_coarse(length: float, spacing: float) -> None:
    """A road that cannot hold its own longest or shortest wave is refused, not cut off in silence."""
    with pytest.raises(
        ValueError, match=r"at least 90\.9 m, points at most 0\.141 m"
    ):
        synthesise(ROAD, length, spacing, 1.5, [1])


def test_length_is_rounded_up() -> None:
    """Points transform fast and the road is never shorter than asked for."""
    tracks = synthesise(ROAD, 100.3, 0.1, 1.5, [1])
    assert 1003 <= tracks.heights.shape[-1] <= 1030
    assert synthesise(ROAD, 100.0, 0.1, 1.5, [1]).heights.shape[-1] == 1000


def test_wheel_spectra() -> None:
    """Hermitian, never negative, real and halved where it should be: delay, patch and coherence by hand."""
    n = np.array([0.05, 0.4, 2.0])
    contacts = Contacts(
        np.array([0.0, 0.0, 3.0]),
        np.array([0.7, -0.7, 0.7]),
        np.array([0.0, 0.1, 0.2]),
    )
    found = wheel_spectra(ROAD, n, contacts)
    assert found == pytest.approx(np.conj(np.swapaxes(found, 1, 2)))
    assert np.linalg.eigvalsh(found).min() >= -1e-15 * np.abs(found).max()
    assert found[:, 0, 0] == pytest.approx(ROAD.psd(n) + 0j)
    assert found[:, 0, 1] == pytest.approx(
        ROAD.psd(n) * ROAD.coherence(n, 1.4) * np.sinc(0.1 * n) + 0j
    )
    late = np.exp(
        2j * np.pi * n * 3.0
    )  # wheel 0 times the conjugate of one 3 m behind
    assert found[:, 0, 2] == pytest.approx(
        ROAD.psd(n) * np.sinc(0.2 * n) * late
    )


def test_slope_of_a_drawn_road() -> None:
    """Mean square slope against quadrature of slope_psd; straight lines of 2 cm lose 0.5 % at most."""
    tracks = synthesise(ROAD, 1000.0, 0.02, 1.5, range(4))
    slope = np.diff(tracks.heights, axis=-1) / 0.02
    expected = quad(lambda n: float(slope_psd(ROAD, n)), *ROAD.band)[0]
    assert (slope**2).mean() == pytest.approx(expected, rel=0.01)
