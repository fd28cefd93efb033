"""How often a fitted tyre is what it was made of: printed, and held to 95 %."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from fit.test_tyre import TWO_PERCENT, scores
from fit.tyre_tables import PROGRAMME, Invented, answers, noisy, write

from setupopt.fit.tyre import PARAMETERS, fit_tyre
from setupopt.fit.tyre_table import Rig, read_tyre_table

_TRIALS = 200


def test_invented_tyre_within_three_standard_errors(tmp_path: Path) -> None:
    """2 % noise on every reading of 48 rows: all parameters within three errors in 95 % of the trials."""
    exact, rig, off = answers(Invented(), PROGRAMME), Rig(noise=TWO_PERCENT), []
    start = time.perf_counter()
    for seed in range(_TRIALS):
        path = write(tmp_path / "t.csv", PROGRAMME, noisy(exact, 1000 + seed))
        found = scores(fit_tyre(read_tyre_table(path, rig), rig), Invented())
        off.append([abs(found.get(parameter.key, np.inf)) for parameter in PARAMETERS])
    inside = np.array(off) < 3.0
    print(f"\n{_TRIALS} tables in {time.perf_counter() - start:.0f} s")
    for parameter, share in zip(PARAMETERS, inside.mean(axis=0), strict=True):
        print(f"{parameter.key:36} {100 * share:.1f} %")
    print(f"{'all of them at once':36} {100 * inside.all(axis=1).mean():.1f} %")
    assert inside.all(axis=1).mean() >= 0.95
