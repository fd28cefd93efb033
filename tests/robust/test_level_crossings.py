"""Crossings and counts, against drawn roads and drawn counts; and the examples of the room's docstrings."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

from setupopt.robust.level_crossings import (
    chance_of_crossing,
    clopper_pearson,
    crossing_rate,
)
from setupopt.robust.road.spectrum import Road, synthesise


@pytest.mark.parametrize(
    "name",
    ["level_crossings", "bisection", "road.spectrum"],
)
def test_examples_in_docstrings(name: str) -> None:
    """Every `>>>` runs and shows what it says; as many are found as the source holds."""
    module = importlib.import_module(f"setupopt.robust.{name}")
    result = doctest.testmod(module)
    assert result.failed == 0
    assert result.attempted == Path(module.__file__ or "").read_text(
        encoding="utf-8"
    ).count(">>> ")


@pytest.mark.parametrize("level", [0.0, 1.0, 2.0])
def test_crossings_of_drawn_roads(level: float) -> None:
    """Upward crossings a metre of level x sigma, counted on 40 km: within 4 standard errors over the seeds.

    Moments in closed form for w = 2: m2 = (2 pi)^2 G_d(n0) n0^2 (n2 - n1).
    """
    road = Road(64e-6, band=(0.5, 2.83))
    heights = synthesise(road, 1000.0, 0.02, 1.5, range(40)).heights[:, 0]
    m0 = float(road.variance())
    m2 = (2 * np.pi) ** 2 * 64e-6 * 0.01 * (2.83 - 0.5)
    above = heights > level * np.sqrt(m0)
    counts = (above & ~np.roll(above, 1, axis=1)).sum(axis=1) / 1000.0
    error = counts.std() / np.sqrt(40)
    assert error < 0.05 * counts.mean()
    assert crossing_rate(level * np.sqrt(m0), m0, m2) == pytest.approx(
        counts.mean(), abs=4 * error
    )


def test_chance_of_crossing() -> None:
    """1 - exp(-rate duration): small where the expected count is small, and to all digits there."""
    assert chance_of_crossing(0.0, 100.0) == 0.0
    assert chance_of_crossing(1e-12, 100.0) == pytest.approx(1e-10, rel=1e-9)
    assert chance_of_crossing(np.log(2) / 60, 60.0) == pytest.approx(
        0.5, rel=1e-12
    )
    assert chance_of_crossing(10.0, 60.0) == 1.0


def test_chance_of_a_rare_crossing_on_drawn_roads() -> None:
    """Runs of 100 m that exceed three sigma, of 1000, against the chance: inside the 99.9 % interval."""
    road = Road(64e-6, band=(0.5, 2.83))
    heights = synthesise(road, 100.0, 0.04, 1.5, range(1000)).heights[:, 0]
    m0, m2 = (
        float(road.variance()),
        (2 * np.pi) ** 2 * 64e-6 * 0.01 * (2.83 - 0.5),
    )
    hits = int((heights.max(axis=1) > 3 * np.sqrt(m0)).sum())
    low, high = clopper_pearson(hits, 1000, 0.999)
    assert (
        low
        < chance_of_crossing(crossing_rate(3 * np.sqrt(m0), m0, m2), 100.0)
        < high
    )


@pytest.mark.parametrize("share", [0.01, 0.1, 0.5])
def test_intervals_cover_what_they_promise(share: float) -> None:
    """Chances of all counts of 50 whose interval holds the share, summed: never below 95 %."""
    chances = binom.pmf(np.arange(51), 50, share)

    ends = [clopper_pearson(hits, 50) for hits in range(51)]
    holding = [low <= share <= high for low, high in ends]
    assert chances[holding].sum() >= 0.95
