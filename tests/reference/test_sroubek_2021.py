"""A road of 544 m in steps of 0.25 m, published with F. Sroubek, M. Sorel and J. Zak, Precise international
roughness index calculation, Int. J. Pavement Res. Technol. (2021); see data/road_profile/SOURCE.txt.

No index is printed for it: all numbers here are own values, which catch changes and prove nothing.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from setupopt.robust.road.profile import (
    fitted_road,
    read_profile,
    roughness_index,
)
from setupopt.robust.road.spectrum import Tracks, class_letter

DATA = Path(__file__).parent / "data" / "road_profile" / "profile_1.txt"
SEGMENTS = {
    20.0: [3.67079, 3.94275, 4.37140, 2.62384, 1.88366],
    100.0: [3.29849, 2.44211, 3.55511, 4.08554, 2.70789],
    None: [3.33545],
}


@pytest.fixture(scope="module")
def tracks(tmp_path_factory: pytest.TempPathFactory) -> Tracks:
    """The profile, by way of this project's own file format."""
    path = tmp_path_factory.mktemp("road") / "profile.csv"
    rows = [
        f"{distance},{height * 1e3:.1f}"
        for distance, height in np.loadtxt(DATA)
    ]
    path.write_text("\n".join(["distance_m,height_mm", *rows]))
    return read_profile(path)


def test_read(tracks: Tracks) -> None:
    """2177 points from 478 m on, steps of 0.25 m, the first at 583.137 m."""
    assert tracks.heights.shape == (1, 2177)
    assert (tracks.start, tracks.spacing) == (478.0, 0.25)
    assert tracks.heights[0, 0] == pytest.approx(583.137, abs=1e-9)


@pytest.mark.parametrize("segment", SEGMENTS)
def test_roughness_index(tracks: Tracks, segment: float | None) -> None:
    """Own value, worked out apart from this code for the project: the first five segments, 5 decimals."""
    found = 1e3 * roughness_index(tracks, segment)[0, :5]
    assert found == pytest.approx(SEGMENTS[segment], abs=5.1e-6)


def test_fit(tracks: Tracks) -> None:
    """Own value: class B, w = 2.5 (a plain fit through all lines of the spectrum gives 2.78 and 83e-6 m3).

    The two ways of weighing long waves differ by that much because this road is no power law.
    """
    road = fitted_road(tracks, (0.03, 1.5))
    assert road.waviness == pytest.approx(2.51, abs=0.01)
    assert road.coefficient == pytest.approx(58.7e-6, rel=5e-3)
    assert class_letter(road.coefficient) == "B"
