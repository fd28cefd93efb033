"""Roads as random surfaces: their spectrum, how alike two tracks are, and heights along tracks.

Heights and distances in m, wavenumbers n in cycles/m, spectra one-sided: the variance of the height
is the integral of its spectrum over n > 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import next_fast_len
from scipy.ndimage import convolve1d
from scipy.special import gamma, kv

from setupopt.units import ROUGHNESS

Numbers = NDArray[np.float64]

N0 = 0.1  # cycles/m, where a road's coefficient is read
BAND = (0.011, 2.83)  # cycles/m, the waves that ISO 8608 speaks of
_SAME_TRACK = 1e-12  # of 2 pi n t, for the Bessel function has no value at 0
_POINTS_A_WAVE = 2.5  # of the shortest wave, when heights are drawn


class RoadClass(NamedTuple):
    """Limits and geometric mean of G_d(0.1 cycles/m), m3. ISO 8608:2016, table C.2."""

    lower: float
    mean: float
    upper: float


def _road_class(place: int) -> RoadClass:
    mean = 16 * 4**place
    lower = mean / 2 if place else 0
    upper = mean * 2 if place < 7 else np.inf
    return RoadClass(lower * ROUGHNESS, mean * ROUGHNESS, upper * ROUGHNESS)


CLASSES = {
    letter: _road_class(place) for place, letter in enumerate("ABCDEFGH")
}


def class_letter(coefficient: float) -> str:
    """Class of a road by G_d(0.1 cycles/m), m3.

    >>> class_letter(100e-6)
    'B'
    """
    return next(
        letter
        for letter, limits in CLASSES.items()
        if coefficient < limits.upper
    )


@dataclass(frozen=True)
class Road:
    """A road whose spectrum is a power law, ISO 8608: G_d(n) = G_d(n0) (n / n0)^-w, n0 = 0.1 cycles/m.

    Class C between 0.011 and 2.83 cycles/m has a standard deviation of 15 mm, most of it in long waves:

    >>> road = Road(CLASSES["C"].mean)
    >>> print(f"{road.variance() ** 0.5:.6f} m, {road.variance(0.5, 2.83) ** 0.5:.6f} m")
    0.015226 m, 0.002053 m
    """

    coefficient: float  # G_d(n0), m3
    waviness: float = 2.0  # w > 1
    # Cycles/m; what variance() and the drawing of heights use
    band: tuple[float, float] = BAND

    def psd(self, wavenumber: ArrayLike) -> Numbers:
        """Displacement spectrum at n, m2 per cycle/m; the same shape as n. Not cut off at the band."""
        return (
            self.coefficient * (np.asarray(wavenumber) / N0) ** -self.waviness
        )

    def variance(
        self, low: ArrayLike | None = None, high: ArrayLike | None = None
    ) -> Numbers:
        """Variance of the height between two wavenumbers, by default the band's, m2.

        The integral of the power law: G_d(n0) n0^w (low^(1-w) - high^(1-w)) / (w - 1).
        """
        ends = (
            self.band[0] if low is None else low,
            self.band[1] if high is None else high,
        )
        power = 1.0 - self.waviness
        low_part, high_part = (
            np.asarray(end, dtype=float) ** power for end in ends
        )
        return (
            self.coefficient
            * N0**self.waviness
            * (high_part - low_part)
            / power
        )

    def coherence(self, wavenumber: ArrayLike, track: ArrayLike) -> Numbers:
        """Cross spectrum of two parallel tracks over the spectrum of either, from 1 to 0.

        `track`: m between them; wavenumber and track broadcast. With x = 2 pi n t and K the modified
        Bessel function of the second kind,

            g(n, t) = 2 (x / 2)^(w/2) K_(w/2)(x) / Gamma(w/2);        x K_1(x) for w = 2.

        The square of it is what signal analysis calls coherence. The surface is taken to be isotropic
        (C. J. Dodds and J. D. Robson, J. Sound Vib. 31 (1973) 175-183), its heights as alike across as
        along. Then its spectrum in the plane depends on k = hypot(k1, k2) alone, and a cut at offset t has
        S(k1, t) = integral over k2 of S2(k) cos(k2 t). A track of k1^-w takes S2 ~ k^-(w+1), and Basset's
        integral (NIST DLMF 10.32.11) gives S(k1, t) ~ (t / k1)^(w/2) K_(w/2)(k1 t). K_v(x) tends to
        Gamma(v) / 2 (2 / x)^v at 0, which makes g(n, 0) = 1. As w falls to 0, g tends to 0 for any distance:
        a measured road of w <= 0, such as cobbles over a short length, counts as two independent tracks.

        >>> Road(64e-6).coherence([0.05, 0.2, 1.0], 1.5).round(4).tolist()
        [0.8415, 0.3071, 0.0003]
        """
        x = np.maximum(
            2 * np.pi * np.asarray(wavenumber) * np.asarray(track), _SAME_TRACK
        )
        if self.waviness <= 0.0:
            return np.where(x > _SAME_TRACK, 0.0, 1.0)
        order = self.waviness / 2
        return np.minimum(
            2 * (x / 2) ** order * kv(order, x) / gamma(order), 1.0
        )  # rounding goes beyond 1


class Contacts(NamedTuple):
    """Where a car feels the road, m, each (contacts,): its wheels, perhaps its floor."""

    behind: Numbers  # the foremost axle; negative ahead of it
    side: Numbers  # to the left
    patch: Numbers  # length over which it takes the mean, such as the contact patch's; 0 for a point


def patch_gain(wavenumber: ArrayLike, patch: ArrayLike) -> Numbers:
    """What averaging over the patch's length leaves of a wave: sin(pi n a) / (pi n a).

    >>> patch_gain([0.0, 2.5, 5.0], 0.2).round(4).tolist()
    [1.0, 0.6366, 0.0]
    """
    return np.sinc(np.multiply(wavenumber, patch))


@dataclass(frozen=True, eq=False)
class Tracks:
    """Heights along parallel tracks, left to right, straight lines between evenly spaced points."""

    spacing: float
    heights: Numbers  # (..., tracks, points)
    start: float = 0.0  # distance of the first point
    # The end runs into the start again; else both ends run on level
    is_closed: bool = False

    def at(self, position: ArrayLike) -> Numbers:
        """Heights at any positions (m,) along the road: (..., tracks, m)."""
        places = (np.asarray(position) - self.start) / self.spacing
        before = np.floor(places)
        mode: Literal["wrap", "clip"] = "wrap" if self.is_closed else "clip"
        index = before.astype(np.int64)
        low, high = (
            np.take(self.heights, i, axis=-1, mode=mode)
            for i in (index, index + 1)
        )
        return low + (places - before) * (high - low)

    def under(self, position: ArrayLike, contacts: Contacts) -> Numbers:
        """Heights under contacts when the foremost axle is at the positions (m,): (..., contacts, m).

        Each takes the mean over its patch in its own side's track: left is the first, right the last.
        """
        position = np.asarray(position)
        means = {
            patch: self.averaged(patch)
            for patch in set(contacts.patch.tolist())
        }
        tracks = [0 if side > 0 else -1 for side in contacts.side]
        found = [
            means[patch].at(position - behind)[..., track, :]
            for behind, patch, track in zip(
                contacts.behind, contacts.patch.tolist(), tracks, strict=True
            )
        ]
        return np.stack(found, axis=-2)

    def averaged(self, patch: float) -> Tracks:
        """What a patch of that length feels: the mean height under it, exact at the points."""
        return (
            self
            if patch <= 0
            else replace(
                self, heights=self._convolved(_weights(patch / self.spacing))
            )
        )

    def _convolved(self, weights: Numbers) -> Numbers:
        mode: Literal["wrap", "nearest"] = (
            "wrap" if self.is_closed else "nearest"
        )
        return convolve1d(self.heights, weights, axis=-1, mode=mode)


def _weights(width: float) -> Numbers:
    """Shares of the points in the mean of straight lines between them over `width` spacings."""
    reach = int(np.ceil(width / 2))
    points = np.arange(-reach, reach + 1)
    left, right = (
        np.clip(points + end, -1, 1) for end in (-width / 2, width / 2)
    )
    return (
        np.diff([u - u * np.abs(u) / 2 for u in (left, right)], axis=0)[0]
        / width
    )


def synthesise(
    road: Road,
    length: float,
    spacing: float,
    track: float,
    seeds: Sequence[int],
) -> Tracks:
    """Heights along two tracks of random roads, one road a seed: (seeds, 2, points), closed.

    Waves of random phase, one a step of 1 / length; each carries the variance that `road` has between half
    a step below and half a step above. The mean of the tracks and half their difference are drawn apart,
    with (1 + g) / 2 and (1 - g) / 2 of the variance (g: coherence), so that left and right are equals. The
    variance of a single track varies from seed to seed, that of both sides together does not. A road depends
    on its own seed, not on the others. The length is rounded up to a number of points that transforms fast.
    Seeds x points x 16 bytes are held, and about three times that on the way.

    >>> road = synthesise(Road(CLASSES["B"].mean), 1000.0, 0.1, 1.5, seeds=[1, 2, 3])
    >>> print(road.heights.shape, f"{road.heights.std():.5f} m")
    (3, 2, 10000) 0.00761 m
    """
    low, high = road.band
    if length < 1 / low or spacing > 1 / (_POINTS_A_WAVE * high):
        raise ValueError(
            f"at least {1 / low:.3g} m, points at most {1 / (_POINTS_A_WAVE * high):.3g} m apart"
        )
    points = next_fast_len(int(np.ceil(length / spacing - 1e-9)), real=True)
    step = 1 / (points * spacing)
    middle = np.arange(1, (points + 1) // 2) * step
    variance = road.variance(
        *(np.clip(middle + end, low, high) for end in (-step / 2, step / 2))
    )
    alike = road.coherence(middle, track)
    parts = np.sqrt(
        variance / 2 * np.array([1 + alike, 1 - alike]) / 2
    )  # (mean and difference, waves)
    heights = [_drawn(parts, seed, points) for seed in seeds]
    return Tracks(spacing, np.array(heights), is_closed=True)


def _drawn(parts: Numbers, seed: int, points: int) -> Numbers:
    """Left and right heights of one road, (2, points), from the size of its waves."""
    phases = np.random.default_rng(seed).uniform(0.0, 2 * np.pi, parts.shape)
    mean, difference = points * parts * np.exp(1j * phases)
    waves = np.pad([mean + difference, mean - difference], ((0, 0), (1, 0)))
    return np.fft.irfft(waves, points)
