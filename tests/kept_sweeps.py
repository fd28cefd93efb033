"""Sweeps that tests solved are kept for the tests after them, on disk for the other workers too.

Many tests ask another thing of the same cars in the same cases: each command is run a dozen times on one project.
A sweep is a function of its input alone, which tests/physics/test_sweep.py shows to the last bit; so the answers
of one session may be used again in it. Where the sweep itself is tested it is always solved.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from setupopt.physics import sweep
from setupopt.physics.inputs import ANSWER, Records

_SOLVED = sweep.run
_FEW = 4  # cases that are solved sooner than looked up


class KeptSweeps:
    """Its `run` stands in for `sweep.run`; it solves everything anew unless it `is_on`."""

    folder: Path
    is_on = False

    def run(
        self,
        car: tuple[Records, Records, Records],
        setups: Records,
        cases: Records,
        starts: Records | None = None,
        progress: Callable[[int], object] | None = None,
        pool: Any = None,
        by_slope: bool = False,
        quick: bool = False,
    ) -> Records:
        """As `sweep.run`."""
        count = setups.size * cases.size

        def solved() -> Records:
            return _SOLVED(
                car, setups, cases, starts, progress, pool, by_slope, quick
            )

        if not self.is_on or count <= _FEW:
            return solved()
        parts = [*car, setups, cases] + ([] if starts is None else [starts])
        key = hashlib.sha256(
            repr((by_slope, quick, [part.shape for part in parts])).encode()
        )
        for part in parts:
            key.update(np.ascontiguousarray(part).tobytes())
        path = self.folder / f"{key.hexdigest()}.bin"
        if path.exists():
            kept = bytearray(path.read_bytes())
            if progress is not None:
                progress(count)
            return np.frombuffer(kept, ANSWER)
        answers = solved()
        beside = path.with_suffix(f".{os.getpid()}")
        beside.write_bytes(answers.tobytes())
        beside.replace(path)
        return answers
