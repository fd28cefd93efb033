"""Sweeps that tests solved are kept for the tests after them, on disk for the other workers too.

Many tests ask another thing of the same cars in the same cases: each command is run a dozen times on one project.
A sweep is a function of its input alone, which tests/physics/test_sweep.py shows to the last bit; so the answers
of one session may be used again in it. Where the sweep itself is tested it is always solved.
"""

from __future__ import annotations

import hashlib
import os
from inspect import signature
from pathlib import Path
from typing import Any

import numpy as np

from setupopt.physics import sweep
from setupopt.physics.inputs import ANSWER, Records

_SOLVED = sweep.run
_ARGUMENTS = signature(_SOLVED)
_FEW = 4  # cases that are solved sooner than looked up


class KeptSweeps:
    """Its `run` stands in for `sweep.run`; it solves everything anew unless it `is_on`."""

    folder: Path
    is_on = False

    def run(self, *given: Any, **named: Any) -> Records:
        """As `sweep.run`."""
        bound = _ARGUMENTS.bind(*given, **named)
        bound.apply_defaults()
        car, setups, cases, starts, progress, _, *ways = bound.args
        count = setups.size * cases.size
        if not self.is_on or count <= _FEW:
            return _SOLVED(*given, **named)
        parts = [*car, setups, cases] + ([] if starts is None else [starts])
        key = hashlib.sha256(
            repr((ways, [part.shape for part in parts])).encode()
        )
        for part in parts:
            key.update(np.ascontiguousarray(part).tobytes())
        path = self.folder / f"{key.hexdigest()}.bin"
        if path.exists():
            kept = bytearray(path.read_bytes())
            if progress is not None:
                progress(count)
            return np.frombuffer(kept, ANSWER)
        answers = _SOLVED(*given, **named)
        beside = path.with_suffix(f".{os.getpid()}")
        beside.write_bytes(answers.tobytes())
        beside.replace(path)
        return answers
