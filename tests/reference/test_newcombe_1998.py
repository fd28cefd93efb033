"""R. G. Newcombe, Two-sided confidence intervals for the single proportion, Stat. Med. 17 (1998) 857-872, I.

Clopper-Pearson's from memory, confirmed by an independent computation to every digit.
The table itself: tests/validation/intervals.py.
"""

from __future__ import annotations

import pytest

from setupopt.robust.level_crossings import clopper_pearson


def test_hits_and_misses_mirror_each_other() -> None:
    """The interval of the misses is that of the hits seen from the other end; 0 and all included."""
    for hits, trials in ((0, 20), (7, 31), (20, 20)):
        low, high = clopper_pearson(hits, trials)
        assert clopper_pearson(trials - hits, trials) == pytest.approx(
            (1 - high, 1 - low), abs=1e-12
        )
    assert clopper_pearson(20, 20)[1] == 1.0
    assert clopper_pearson(0, 20)[0] == 0.0


def test_none_of_a_hundred() -> None:
    """Derived: 0.029513 on one side at 95 % (the rule of three says 0.03), 0.036217 on both."""
    assert clopper_pearson(0, 100, 0.90)[1] == pytest.approx(0.029513, abs=5e-7)
    assert clopper_pearson(0, 100)[1] == pytest.approx(0.036217, abs=5e-7)
    assert clopper_pearson(0, 100, 0.90)[1] == pytest.approx(
        1 - 0.05 ** (1 / 100), rel=1e-10
    )
