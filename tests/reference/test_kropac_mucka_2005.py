"""O. Kropac and P. Mucka, Be careful when using the International Roughness Index as an indicator of road
unevenness, J. Sound Vib. 287 (2005) 989-1003.

From memory: IRI = 2.21 sqrt(C) mm/m on a road with w = 2, C = G_d(1 rad/m) in 1e-6 m3:
tests/validation/road.py.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from linear_ride import golden_quarter_car
from random_ride import (
    output,
    response_to_road,
    white_covariance,
    white_intensity,
)

import setupopt
from setupopt.robust.road.profile import BASE, SPEED
from setupopt.robust.road.spectrum import CLASSES, Contacts, Road

CAR = golden_quarter_car()
TRAVEL_RATE = output(CAR, velocity=[1.0, -1.0])


def index(road: Road) -> float:
    """Mean size of the slope between body and wheel on a Gaussian road of unlimited band, mm/m."""
    variance = white_covariance(CAR, TRAVEL_RATE, white_intensity(road, SPEED))[
        0, 0
    ]
    return 1e3 * float(np.sqrt(2 / np.pi * variance)) / SPEED


@pytest.mark.parametrize(
    ("letter", "expected"),
    [("A", 2.2189), ("B", 4.4378), ("C", 8.8756), ("D", 17.751)],
)
def test_index_of_the_classes(letter: str, expected: float) -> None:
    """Derived, not printed: 0.554724 sqrt(G_d(n0) / 1e-6 m3) mm/m, half of the last digit."""
    assert index(Road(CLASSES[letter].mean)) == pytest.approx(
        expected, abs=5.1e-5 if expected < 10 else 5e-4
    )


@pytest.mark.parametrize("example", ["bore", "bank", "oval", "hill"])
def test_examples_have_the_index_that_their_venue_says(example: str) -> None:
    """As written beside the roughness, to its last digit; 0.3 to 11 mm/m are the scale of paved roads."""
    folder = Path(setupopt.__file__).parents[1] / "setups" / example
    written = re.search(
        r"roughness.*index (\d+\.\d+)",
        (folder / "venue.toml").read_text(encoding="utf-8"),
    )
    assert written
    roughness = setupopt.load(folder).venue.roughness
    assert roughness
    found = index(Road(roughness))
    assert found == pytest.approx(float(written[1]), abs=0.0051)
    assert 0.3 < found < 11.0


def test_slopes_over_250_mm_lower_it() -> None:
    """Derived, not printed: 0.543146 instead of 0.554724, by the spectrum over a wide band (1e-4)."""
    wide = Road(1e-6, band=(1e-4, 1e3))
    contact = Contacts(np.zeros(1), np.zeros(1), np.array([BASE]))
    variance = response_to_road(
        CAR, TRAVEL_RATE, wide, contact, SPEED, 40_001
    ).moment(0)[0]
    assert 1e3 * np.sqrt(2 / np.pi * variance) / SPEED == pytest.approx(
        0.543146, rel=1e-4
    )
