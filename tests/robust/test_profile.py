"""Measured profiles: reading, hills, spectrum, fit and roughness index."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from linear_ride import golden_quarter_car
from random_ride import output, response_to_road

from setupopt.errors import InputErrors
from setupopt.robust.road.linear_road_response import waves
from setupopt.robust.road.profile import (
    SPEED,
    fitted_road,
    published_index,
    read_profile,
    roughness_index,
    spectrum,
    without_hills,
)
from setupopt.robust.road.spectrum import (
    Contacts,
    Numbers,
    Road,
    Tracks,
    synthesise,
)

Write = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Writes a text and returns its path."""

    def text_file(text: str) -> Path:
        path = tmp_path / "profile.csv"
        path.write_text(text)
        return path

    return text_file


def table(
    rows: list[tuple[float, ...]], header: str = "distance_m,height_mm"
) -> str:
    """A CSV text."""
    return "\n".join(
        [header, *(",".join(f"{cell:.10g}" for cell in row) for row in rows)]
    )


GOOD = [(0.5 * k, float(k % 3)) for k in range(202)]


def test_two_tracks(write: Write) -> None:
    """Columns in any order, mm to m, left before right, start and spacing kept."""
    rows = [(k % 5, 100 + k * 0.25, -k % 7) for k in range(401)]
    tracks = read_profile(
        write(table(rows, "height_right_mm,distance_m,height_mm"))
    )
    assert (tracks.start, tracks.spacing, tracks.is_closed) == (
        100.0,
        0.25,
        False,
    )
    assert tracks.heights[0] == pytest.approx(
        [1e-3 * (-k % 7) for k in range(401)]
    )
    assert tracks.heights[1] == pytest.approx(
        [1e-3 * (k % 5) for k in range(401)]
    )


def test_uneven_steps(write: Write) -> None:
    """As many points as rows, evenly spaced, on the straight lines between the rows."""
    draw = np.random.default_rng(1)
    distance = np.cumsum(draw.uniform(0.05, 0.95, 301))
    height = 10 * np.sin(distance / 7)
    tracks = read_profile(
        write(table(list(zip(distance, height, strict=True))))
    )
    assert tracks.heights.shape == (1, 301)
    assert tracks.start + 300 * tracks.spacing == pytest.approx(distance[-1])
    place = tracks.start + tracks.spacing * np.arange(301)
    assert tracks.heights[0] == pytest.approx(
        1e-3 * np.interp(place, distance, height), abs=1e-10
    )


def changed(line: int, row: str) -> str:
    """The good table with another row on a line."""
    lines = table(GOOD).split("\n")
    lines[line - 1] = row
    return "\n".join(lines)


REFUSED = {
    "backwards": (changed(10, "3.4,0"), 10, "distance_m", "3.4 after 3.5"),
    "twice": (changed(10, "3.5,0"), 10, "distance_m", "3.5 after 3.5"),
    "gap": (
        table([*GOOD, (101.6, 0.0)]),
        204,
        "distance_m",
        "101.6 after 100.5",
    ),
    "word": (changed(7, "2.5,high"), 7, "height_mm", '"high"'),
    "empty": (changed(7, "2.5,"), 7, "height_mm", "an empty cell"),
    "not a number": (changed(7, "2.5,nan"), 7, "height_mm", '"nan"'),
    "metres for mm": (changed(7, "2.5,1e8"), 7, "height_mm", '"1e8"'),
    "no height": ("distance_m\n1\n2", 1, "height_mm", "no such column"),
    "other column": (
        table(GOOD, "distance_m,height_m"),
        1,
        "height_m",
        "an unknown column",
    ),
    "short": (table(GOOD[:150]), 151, "distance_m", "a profile of 74.5 m"),
    "one row": (table(GOOD[:1]), 2, "distance_m", "a profile of 0 m"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refusals(write: Write, name: str) -> None:
    """Each mistake is named with its line, its column and what was found."""
    text, line, key, found = REFUSED[name]
    with pytest.raises(InputErrors) as refused:
        read_profile(write(text))
    first = refused.value.errors[0]
    assert (first.line, first.key) == (line, key)
    assert found in first.found


def test_every_step_back_is_named(write: Write) -> None:
    """Two mistakes, two lines, in one reading; no word on the length meanwhile."""
    lines = changed(10, "3.5,0").split("\n")
    lines[19] = "8.5,0"
    with pytest.raises(InputErrors) as refused:
        read_profile(write("\n".join(lines)))
    assert [error.line for error in refused.value.errors] == [10, 20]


# ---- hills and spectrum ------------------------------------------------------------------------------------


def wave(
    wavenumber: float, length: float = 2000.0, spacing: float = 0.25
) -> Tracks:
    """A sine of 1 m along a hill of 3 %."""
    distance = np.arange(0, length, spacing)
    return Tracks(
        spacing,
        (np.sin(2 * np.pi * wavenumber * distance) + 100 + 0.03 * distance)[
            None
        ],
    )


@pytest.mark.parametrize("wavenumber", [0.0055, 0.011, 0.022, 0.033, 0.2])
def test_long_waves_are_removed(wavenumber: float) -> None:
    """1 / (1 + (n1 / n)^4) of a wave stays, unshifted, in the middle of the road; 0.3 % of the ends' echo."""
    tracks = wave(wavenumber)
    expected = np.sin(2 * np.pi * wavenumber * 0.25 * np.arange(8000)) / (
        1 + (0.011 / wavenumber) ** 4
    )
    middle = slice(3000, 5000)
    assert without_hills(tracks).heights[0, middle] == pytest.approx(
        expected[middle], abs=3e-3
    )


def test_spectrum_of_a_wave() -> None:
    """Its integral is the wave's variance, a half, and it lies at the wave; slope and height add nothing."""
    n, density = spectrum(wave(0.2))
    step = n[1]
    assert density.shape == (1, len(n))
    assert density[0].sum() * step == pytest.approx(0.5, rel=1e-3)
    assert n[density[0].argmax()] == pytest.approx(0.2, abs=step / 2)
    assert density[0, np.abs(n - 0.2) > 3 * step].sum() * step < 1e-3


@pytest.mark.parametrize("waviness", [1.6, 2.0, 2.6])
def test_fit_finds_the_road_that_was_drawn(waviness: float) -> None:
    """Mean over 30 drawn roads of 600 m: within 4 standard errors plus 1 %, spread as the docstring says."""
    heights = synthesise(
        Road(64e-6, waviness), 600.0, 0.1, 1.5, range(30)
    ).heights
    found = [fitted_road(Tracks(0.1, pair)) for pair in heights]
    for values, expected in (
        ([road.coefficient / 64e-6 for road in found], 1.0),
        ([road.waviness for road in found], waviness),
    ):
        assert np.std(values) < 0.08
        assert np.mean(values) == pytest.approx(
            expected, abs=4 * np.std(values) / np.sqrt(30) + 0.01
        )


def test_fit_is_not_disturbed_by_hills() -> None:
    """A slope of 5 % and a datum of 500 m change neither figure; removing long waves does by 5 % at most."""
    tracks = Tracks(
        0.1, synthesise(Road(64e-6), 600.0, 0.1, 1.5, [4]).heights[0]
    )
    hill = Tracks(
        0.1,
        tracks.heights + 500 + 0.05 * 0.1 * np.arange(tracks.heights.shape[-1]),
    )
    plain, steep = fitted_road(tracks), fitted_road(hill)
    assert (steep.coefficient, steep.waviness) == pytest.approx(
        (plain.coefficient, plain.waviness), rel=1e-6
    )
    level = fitted_road(without_hills(hill), (0.03, 2.0))
    assert level.coefficient == pytest.approx(
        fitted_road(hill, (0.03, 2.0)).coefficient, rel=0.05
    )


# ---- roughness index ---------------------------------------------------------------------------------------


def test_index_of_a_steady_slope_is_nothing() -> None:
    """The car starts on the mean slope of the first 11 m: a hill without bumps is smooth."""
    hill = Tracks(0.25, 0.04 * 0.25 * np.arange(2000)[None] + 300.0)
    assert roughness_index(hill)[0, 0] < 1e-12


def test_index_is_linear_and_by_track() -> None:
    """Twice the height, twice the index; the mean of equal segments is that of the whole."""
    one = synthesise(Road(64e-6), 420.0, 0.125, 1.5, [1]).heights[0]
    tracks = Tracks(0.125, np.vstack([one, 2 * one[:1]])[:, : 3200 + 2])
    whole, parts = roughness_index(tracks), roughness_index(tracks, 100.0)
    assert (whole.shape, parts.shape) == ((3, 1), (3, 4))
    assert whole[2] == pytest.approx(2 * whole[0], rel=1e-12)
    assert parts.mean(axis=1) == pytest.approx(whole[:, 0], rel=1e-12)
    assert whole[0, 0] != pytest.approx(whole[1, 0], rel=1e-3)


def test_index_of_drawn_roads() -> None:
    """80 tracks of 1 km against the spectrum and Gauss's sqrt(2 / pi): 4 standard errors, each below 1 %."""
    road, car = Road(64e-6), golden_quarter_car()
    contact = Contacts(np.zeros(1), np.zeros(1), np.array([0.25]))
    rows = output(car, velocity=[1.0, -1.0])
    sigma = (
        np.sqrt(response_to_road(car, rows, road, contact, SPEED).moment(0)[0])
        / SPEED
    )
    heights = synthesise(road, 1000.0, 0.05, 1.5, range(40)).heights
    found = roughness_index(Tracks(0.05, heights.reshape(80, -1)))[:, 0]
    error = found.std() / np.sqrt(
        40
    )  # the two tracks of a road are not independent
    assert error < 0.01 * found.mean()
    assert found.mean() == pytest.approx(
        np.sqrt(2 / np.pi) * sigma, abs=4 * error
    )


# ---- any finite profile ------------------------------------------------------------------------------------


def _cobbles(rng: np.random.Generator) -> Numbers:
    """Two tracks that move against each other, correlation -0.6, rms 15 to 30 mm, from point to point."""
    left, other = rng.normal(size=(2, 1201)) * rng.uniform(0.015, 0.030)
    return np.array([left, -0.6 * left + 0.8 * other])


def _any_profile(rng: np.random.Generator) -> Numbers:
    """One or two tracks: flat, sloped, sines, spikes, steps or noise, from 1 pm to 1 km."""
    points = int(rng.integers(121, 1201))
    x = np.linspace(0.0, 1.0, points)
    spike = np.zeros(points)
    spike[rng.integers(points)] = 1.0
    kinds = (
        0.0 * x, x, x**2, np.sin(2.0 * np.pi * rng.uniform(0.1, points) * x), spike,
        1.0 * (x > rng.uniform()),
        rng.normal(size=points), np.cumsum(rng.normal(size=points)), rng.integers(0, 2, points) - 0.5,
        rng.standard_cauchy(points),
    )  # fmt: skip
    tracks = [
        kinds[i] for i in rng.integers(len(kinds), size=rng.integers(1, 3))
    ]
    return 10.0 ** rng.uniform(-12.0, 3.0) * np.array(tracks)


@pytest.mark.parametrize("kind", [_cobbles, _any_profile])
def test_any_finite_profile_has_a_road_and_waves(
    kind: Callable[[np.random.Generator], Numbers],
) -> None:
    """150 profiles of 120 m each: a finite power law, and waves whose squares add up to its spectrum.

    Cobbles once had a negative waviness, for which the coherence of the tracks had no meaning and the size of
    the waves no root.
    """
    for seed in range(150):
        heights = kind(np.random.default_rng(seed))
        tracks = Tracks(120.0 / (heights.shape[-1] - 1), heights)
        road = fitted_road(without_hills(tracks))
        assert np.isfinite([road.coefficient, road.waviness]).all(), seed
        assert road.coefficient >= 0.0
        found = waves(road, 1.5, 101)
        assert np.square(found.size).sum(axis=2) == pytest.approx(
            np.tile(road.psd(found.wavenumber)[:, None], 2), rel=1e-9
        ), seed
        assert np.isfinite(published_index(tracks)).all()
        assert np.isfinite(roughness_index(tracks)).all()


def test_coherence_falls_to_none_with_the_waviness() -> None:
    """w <= 0 is the limit of small w: independent tracks, and a track is alike to itself."""
    n = np.array([0.05, 0.5])
    assert Road(1e-4, 1e-6).coherence(n, 1.5) == pytest.approx(0.0, abs=1e-5)
    assert Road(1e-4, -0.3).coherence(n, 1.5).tolist() == [0.0, 0.0]
    assert Road(1e-4, -0.3).coherence(n, 0.0).tolist() == [1.0, 1.0]
