"""Whether the errors that `learn` states are true: synthetic runs of cars with hidden errors.

Run: .venv/bin/pytest tests/benchmarks/test_learn.py --override-ini addopts= -s
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from learn.maker import Truth, drawn, log_frame, write

import setupopt
from setupopt.learn.estimate import estimate
from setupopt.learn.log import read_log
from setupopt.learn.model import Predictor, parameters, prior, stretches
from setupopt.learn.way import way

RUNS = int(os.environ.get("LEARN_RUNS", "200"))
FIRST = int(os.environ.get("LEARN_FIRST", "0"))
BORE = Path(__file__).parents[2] / "setups" / "bore"


def errors_in_sigma(seed: int, folder: Path) -> dict[str, float]:
    """How far the values of one run are from the hidden ones, in the errors that are stated."""
    project = setupopt.load(BORE)
    truth = Truth(drawn(project, 1000 + seed), seed=seed)
    path = write(
        log_frame(project, truth, seconds=3, rate=20), folder / "run.csv"
    )
    own = way(read_log(path, []), project.venue)
    those = parameters(project, [own])
    found = estimate(
        Predictor(project, those, stretches([own])), those, prior(those)
    ).those
    return {
        name: float((row["value"] - truth.values[name]) / row["error"])
        for name, row in found.iterrows()
    }


def test_stated_errors_hold_the_truth(tmp_path: Path) -> None:
    """95 % intervals hold 93 to 97 % of the hidden values."""
    table = [
        errors_in_sigma(seed, tmp_path) for seed in range(FIRST, FIRST + RUNS)
    ]
    print(
        f"\n{'value':32s} inside 95 %   mean    rms  (in stated errors, {RUNS} runs)"
    )
    for name in table[0]:
        z = np.array([row[name] for row in table])
        print(
            f"{name:32s} {100 * np.mean(np.abs(z) < 1.96):8.1f} % {z.mean():+8.2f} {z.std():6.2f}"
        )
    inside = np.mean([[abs(z) < 1.96 for z in row.values()] for row in table])
    print(f"{'all':32s} {100 * inside:8.1f} %")
    assert 0.93 <= inside <= 0.97
