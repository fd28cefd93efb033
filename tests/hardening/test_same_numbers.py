"""The same numbers on one core and on two, compiled or not. Old and new libraries: see .ci/run."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from setupopt.physics.jit import workers

from .same_numbers import differences, numbers, rounding

SCRIPT = Path(__file__).with_name("same_numbers.py")


def told(*args: str, **environment: str) -> dict[str, list[float]]:
    """What a process of its own counts."""
    command = [sys.executable, str(SCRIPT), *args]
    done = subprocess.run(
        command,
        env=os.environ | environment,
        capture_output=True,
        timeout=300,
        check=True,
    )
    found: dict[str, list[float]] = json.loads(done.stdout)
    return found


def test_threads_change_no_bit(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sweep, rides, a bump search and a fit, on one thread and on three: the very same numbers."""
    monkeypatch.setenv("SETUPOPT_THREADS", "1")
    one = numbers(few=False)
    monkeypatch.setenv("SETUPOPT_THREADS", "3")
    assert workers() == 3
    assert json.dumps(numbers(few=False)) == json.dumps(
        one
    )  # to the last bit; what there is none of is NaN
    assert len(one["assess margin"]) > 200
    assert np.ptp(one["assess margin"]) > 0.01


def test_uncompiled_kernels_count_alike() -> None:
    """NUMBA_DISABLE_JIT=1, in a few cases, twenty steps of a ride and on the rig: but for rounding."""
    apart = differences(numbers(few=True), told("--few", NUMBA_DISABLE_JIT="1"))
    assert {
        name: share for name, share in apart.items() if share > rounding(name)
    } == {}
    assert {name.partition(" ")[0] for name in apart} == {
        "assess",
        "ride",
        "rig",
    }


def test_differences_are_seen() -> None:
    """A digit too far down to print, one number less, one that is none: each is told."""
    ours = {"assess margin": [0.5, 0.25], "fit friction": [1.6]}
    assert set(differences(ours, ours).values()) == {0.0}
    assert (
        differences(ours, {**ours, "assess margin": [0.5, 0.25 + 1e-11]})[
            "assess margin"
        ]
        > 1e-12
    )
    assert (
        differences(ours, {**ours, "assess margin": [0.5]})["assess margin"]
        == np.inf
    )
    assert (
        differences(ours, {**ours, "fit friction": [np.nan]})["fit friction"]
        == np.inf
    )
