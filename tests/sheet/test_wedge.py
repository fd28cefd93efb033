"""Turning a wedge out of the car."""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.project import Project
from setupopt.sheet.build import as_written, changed
from setupopt.sheet.pad_state import Pad
from setupopt.sheet.wedge import perch_moves, wedge_words


@pytest.mark.parametrize("share", [0.49, 0.505])
def test_moves_take_the_wedge_out(bore: Project, share: float) -> None:
    """A car wedged by the opposite moves shows that very cross share; to a twentieth of the wedge, for tyres
    are no straight springs."""
    pad, stance = (
        Pad(bore, bore.setup),
        changed(as_written(bore.setup), anti_roll=np.zeros(2)),
    )
    moves = perch_moves(bore, bore.setup, share)
    wedged = pad.reading(changed(stance, perch=-moves)).cross_share
    assert wedged - 0.5 == pytest.approx(share - 0.5, rel=0.05)
    assert moves.sum() == pytest.approx(0.0, abs=1e-12)


def test_words_name_the_corners_to_raise(bore: Project) -> None:
    """Too little on front right and rear left: these two go up."""
    assert "raise FR and RL, lower FL and RR" in wedge_words(
        bore, bore.setup, 0.49
    )
    assert "raise FL and RR, lower FR and RL" in wedge_words(
        bore, bore.setup, 0.51
    )
    assert "flat" in wedge_words(bore, bore.setup, 0.49)
    assert (
        wedge_words(bore, bore.setup, 0.5)
        == "less than half a flat on each perch"
    )
