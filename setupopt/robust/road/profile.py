"""A measured road profile: read, freed of hills, its spectrum, its class and its roughness index."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import (
    butter,
    cont2discrete,
    detrend,
    lfilter,
    sosfiltfilt,
    ss2tf,
    welch,
)

from setupopt.errors import InputErrors
from setupopt.project.csv_read import Column, CsvTable, read_csv
from setupopt.project.field_types import Bounds
from setupopt.robust.road.spectrum import BAND, N0, Road, Tracks

Numbers = NDArray[np.float64]

LONGEST_STEP = 1.0  # m between two points
SHORTEST = 100.0  # m; a little more than the longest wave of ISO 8608
_ENOUGH = 100  # mistakes after which checking stops

_COLUMNS = {
    "distance_m": Column(Bounds(-1e7, 1e7, "m"), required=True),
    "height_mm": Column(Bounds(-1e7, 1e7, "mm"), required=True),
    "height_right_mm": Column(Bounds(-1e7, 1e7, "mm")),
}


def read_profile(path: str | Path) -> Tracks:
    """One or two tracks from a CSV file: `distance_m`, `height_mm`, perhaps `height_right_mm`.

    Distances increase by any steps up to 1 m, over at least 100 m. Unevenly spaced points are laid on as
    many evenly spaced ones by straight lines, which dulls waves shorter than a few steps. Raises InputErrors.
    """
    table = read_csv(Path(path), _COLUMNS)
    _check(table)
    distance = table.values["distance_m"]
    even = np.linspace(distance[0], distance[-1], len(distance))
    heights = [
        table.values[key]
        for key in _COLUMNS
        if key.startswith("height") and key in table.values
    ]
    laid = np.array([np.interp(even, distance, height) for height in heights])
    return Tracks(
        (even[-1] - even[0]) / (len(even) - 1), laid, start=float(even[0])
    )


def _check(table: CsvTable) -> None:
    distance = table.values["distance_m"]
    steps = np.diff(distance)
    errors = [
        table.error(
            row + 1,
            "distance_m",
            f"{distance[row + 1]:.10g} after {distance[row]:.10g}",
            f"a distance above the one before, by at most {LONGEST_STEP:g} m",
        )
        for row in np.flatnonzero(
            (steps <= 0) | (steps > LONGEST_STEP * (1 + 1e-9))
        )[:_ENOUGH]
    ]
    length = distance[-1] - distance[0]
    if not errors and length < SHORTEST * (1 - 1e-9):
        found = f"a profile of {length:.6g} m"
        errors = [
            table.error(
                len(distance) - 1,
                "distance_m",
                found,
                f"at least {SHORTEST:g} m",
            )
        ]
    if errors:
        raise InputErrors(errors)


def without_hills(tracks: Tracks, longest: float = BAND[0]) -> Tracks:
    """The tracks without their mean slope and without waves longer than 1 / `longest` (cycles/m).

    A Butterworth high-pass of second order run forwards and backwards, so that no wave is shifted: it leaves
    1 / (1 + (longest / n)^4) of a wave, half at `longest` itself, 99 % at three times that. Within one such
    wave of either end the result is less sure.
    """
    points = tracks.heights.shape[-1]
    filter_ = butter(
        2, longest, "highpass", fs=1 / tracks.spacing, output="sos"
    )
    pad = min(points - 1, round(1 / (longest * tracks.spacing)))
    level = detrend(tracks.heights, axis=-1)
    return Tracks(
        tracks.spacing, sosfiltfilt(filter_, level, padlen=pad), tracks.start
    )


def spectrum(tracks: Tracks) -> tuple[Numbers, Numbers]:
    """Wavenumbers (n,), cycles/m, and displacement spectra (tracks, n), m2 per cycle/m.

    Welch's method: mean of half-overlapping stretches of two of ISO 8608's longest waves, 182 m, each freed
    of its slope and under a Hann window; a shorter profile is one stretch.
    """
    stretch = min(
        tracks.heights.shape[-1], round(2 / (BAND[0] * tracks.spacing))
    )
    found = welch(
        tracks.heights,
        1 / tracks.spacing,
        "hann",
        stretch,
        detrend=detrend,
        axis=-1,
    )
    return found[0], found[1]


def fitted_road(
    tracks: Tracks, band: tuple[float, float] | None = None
) -> Road:
    """The power law that fits the tracks' mean spectrum best, with its coefficient and waviness.

    A straight line by least squares through logarithms of means over thirds of an octave, so that the many
    short waves do not outvote the few long ones (ISO 8608 smooths before it fits, too); means are taken of
    n^2 G_d(n), which is nearly level. A band without waves is left out, and a flat profile has coefficient 0.
    `band` in cycles/m: by default that of ISO 8608 as far as the profile
    shows it, from three steps of the spectrum up to four fifths of its end. On 600 m of a power law's own
    road the coefficient comes out to 6 % and the waviness to 0.03, standard deviations.
    """
    wavenumber, density = spectrum(tracks)
    low, high = band or (
        max(BAND[0], 3 * wavenumber[1]),
        min(BAND[1], 0.8 * wavenumber[-1]),
    )
    inside = (wavenumber >= low) & (wavenumber <= high)
    n, level = (
        wavenumber[inside],
        (wavenumber**2 * density.mean(axis=0))[inside],
    )
    third = np.floor(3 * np.log2(n / low))
    bands = [third == number for number in np.unique(third)]
    positions = np.array([np.log(n[one] / N0).mean() for one in bands])
    means = np.array([level[one].mean() for one in bands])
    rough = means > 0.0
    if rough.sum() < 2:  # no line through one point
        return Road(float(means.max()) / N0**2)
    slope, at_n0 = np.polyfit(positions[rough], np.log(means[rough]), 1)
    return Road(float(np.exp(at_n0)) / N0**2, 2.0 - float(slope))


# ---- the International Roughness Index ---------------------------------------------------------------------

SPEED = 80 / 3.6  # m/s
BASE = 0.25  # m over which slopes are taken
RUN_IN = 11.0  # m whose mean slope the car starts on
_TRAVEL = np.array([[1.0, 0.0, -1.0, 0.0]])  # of the state


def golden_quarter_car() -> tuple[Numbers, Numbers]:
    """Rates of the quarter car of the index, body zs above wheel zu: of (zs, zs', zu, zu') by themselves, (4, 4),
    and by the height of the road, (4, 1).

    k_t / m_s = 653 /s2, k_s / m_s = 63.3 /s2, m_u / m_s = 0.15, c / m_s = 6.0 /s: M. W. Sayers, T. D.
    Gillespie and W. D. O. Paterson, World Bank Technical Paper 46, 1986; ASTM E1926.
    """
    tyre, spring, damper, wheel = 653.0, 63.3, 6.0, 0.15
    pull = np.array([-spring, -damper, spring, damper])
    below = -pull / wheel
    below[2] -= tyre / wheel
    law = np.array([[0.0, 1.0, 0.0, 0.0], pull, [0.0, 0.0, 0.0, 1.0], below])
    return law, np.array([[0.0], [0.0], [0.0], [tyre / wheel]])


def quarter_step(length: float) -> Numbers:
    """The state after a step in m at 80 km/h by that before it and, last, by the slope held over it: (4, 5)."""
    law, push = golden_quarter_car()
    step = cont2discrete((law, push, _TRAVEL, [[0.0]]), length / SPEED)
    return np.hstack(step[:2])


def roughness_index(tracks: Tracks, segment: float | None = None) -> Numbers:
    """International Roughness Index of whole segments of that many m, or of it all: (tracks, segments).

    Without unit: 1e-3 is 1 mm/m or 1 m/km. Mean size of the slope between body and wheel of the golden
    quarter car at 80 km/h, fed with the road's slope (Sayers, Transp. Res. Rec. 1501 (1995)). Slopes are
    taken over 250 mm, or one step where that is longer, and held for a step; the car starts on the mean
    slope of the first 11 m. Meant for steps up to 0.25 m; a coarser profile loses its short waves.
    """
    travel = np.abs(_travel_slope(tracks, quarter_step(tracks.spacing)))
    steps = travel.shape[-1]
    each = steps if segment is None else max(1, round(segment / tracks.spacing))
    whole = steps - steps % each
    return travel[:, :whole].reshape(len(travel), -1, each).mean(axis=-1)


# State transition of (zs, zs', zu, zu') over 0.25 m at 80 km/h, and the part of the slope in it: World Bank
# Technical Paper 46, as four public files print them, all alike.
_PUBLISHED = np.array([
    [0.9966071, 0.01091514, -0.002083274, 0.0003190145, 0.005476107],
    [-0.5563044, 0.9438768, -0.8324718, 0.05064701, 1.388776],
    [0.02153176, 0.002126763, 0.7508714, 0.008221888, 0.2275968],
    [3.335013, 0.3376467, -39.12762, 0.4347564, 35.79262],
])  # fmt: skip


def published_index(tracks: Tracks) -> Numbers:
    """The index of whole tracks (tracks,) by the published matrices, on the tracks at steps of 0.25 m."""
    whole = (tracks.heights.shape[-1] - 1) * tracks.spacing
    places = tracks.start + BASE * np.arange(int(whole / BASE + 1e-9) + 1)
    even = Tracks(BASE, tracks.at(places))
    return np.abs(_travel_slope(even, _PUBLISHED)).mean(axis=-1)


def _travel_slope(tracks: Tracks, step: Numbers) -> Numbers:
    """Slope between body and wheel after every step, (tracks, steps), by the state's transition.

    On a steady slope there is none: what counts are slopes off that which the car starts on.
    """
    base, run_in = (
        max(1, int(length / tracks.spacing + 0.5)) for length in (BASE, RUN_IN)
    )
    heights = tracks.heights
    slopes = (heights[:, base:] - heights[:, :-base]) / (base * tracks.spacing)
    rise = heights[:, run_in] - heights[:, 0]
    start = rise / (run_in * tracks.spacing)
    ahead, behind = ss2tf(step[:, :4], step[:, 4:], _TRAVEL, [[0.0]])
    return lfilter(ahead[0, 1:], behind, slopes - start[:, None])
