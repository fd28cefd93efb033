"""The picture of a fitted tyre: the same bytes, every quantity, every outlying line."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
from fit.tyre_tables import PROGRAMME, Invented, answers, noisy, write

from setupopt.fit.tyre import TyreFit, fit_tyre
from setupopt.fit.tyre_table import QUANTITIES, Rig, read_tyre_table
from setupopt.report.fit_tyre.picture import picture

from .svgs import words

ROWS = PROGRAMME[::3]  # one pressure: quick


def fitted(path: Path, keep: tuple[str, ...] = QUANTITIES) -> TyreFit:
    """A tyre with one slipped gauge, on line 14 of its table: no axis has such a number."""
    values = noisy(answers(Invented(), ROWS), 1)
    values[12, 0] += 0.01
    rig = Rig(radius=0.28, tread_width=0.23)
    return fit_tyre(
        read_tyre_table(write(path / "t.csv", ROWS, values, keep), rig), rig
    )


@pytest.fixture(scope="module")
def fit(tmp_path_factory: pytest.TempPathFactory) -> TyreFit:
    """All quantities."""
    return fitted(tmp_path_factory.mktemp("fit"))


def test_same_bytes_every_time(fit: TyreFit) -> None:
    """No date, no random names."""
    assert picture(fit, "slick") == picture(fit, "slick")


def test_every_quantity_and_the_slipped_gauge(fit: TyreFit) -> None:
    """A column each with its name, and the line of the table on both panels of its quantity."""
    found = words(picture(fit, "slick"))
    assert [found.count(key) for key in QUANTITIES[:5]] == [1] * 5
    assert found.count("14") == 2
    assert 'Tyre "slick" fitted to t.csv' in [
        word.replace("&quot;", '"') for word in found
    ]


def test_only_what_was_measured(tmp_path: Path) -> None:
    """One column alone still has room for its signs; matplotlib would warn of a layout that fails."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = words(
            picture(fitted(tmp_path, QUANTITIES[:1]), "a $name_of$ no make")
        )
    assert [found.count(key) for key in QUANTITIES] == [
        1,
        *[0] * (len(QUANTITIES) - 1),
    ]
    assert "upright" in found
    assert any("$name_of$" in word for word in found)


def test_points_beyond_the_panel_stand_on_its_edge(fit: TyreFit) -> None:
    """A gauge that slipped by 10 mm is fifty times its noise off; the others must not shrink to a line."""
    assert np.abs(fit.fitted.scores).max() > 20.0
    labels = [word.replace("−", "-") for word in words(picture(fit, "slick"))]
    assert "7.5" in labels and "50" not in labels
