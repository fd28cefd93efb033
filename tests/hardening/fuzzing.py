"""Spoils file after file and reads it: told in words, or taken and worked with, but never anything else."""

from __future__ import annotations

import time
import traceback
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from setupopt.errors import UserError

from .inputs import Input, is_named
from .mutations import spoilt

# Seconds of a processor's time; the clock on the wall would count what else runs here. The slowest honest
# answer of 1,200 is a read-back, 2.2 s: it solves every deviation, and sets of them, over the whole sweep.
LONGEST = 6.0


@dataclass
class Summary:
    """What became of the inputs. `failed`: file and trace of each that ended in neither words nor work."""

    tried: Counter[str] = field(default_factory=Counter)
    refused: int = 0
    accepted: int = 0
    unnamed: list[str] = field(default_factory=list)
    failed: list[tuple[str, bytes, str]] = field(default_factory=list)
    hung: list[tuple[str, bytes, float]] = field(default_factory=list)
    slowest: float = 0.0

    def __str__(self) -> str:
        return (
            f"inputs {self.tried.total()}: refused {self.refused}, accepted {self.accepted}, "
            f"tracebacks {len(self.failed)}, hangs {len(self.hung)}, refusals without a file "
            f"{len(self.unnamed)}, slowest {self.slowest:.2f} s"
        )


def fuzz(home: Path, inputs: Sequence[Input], count: int, seed: int) -> Summary:
    """So many spoilt inputs, one after another, each in the place of its good file."""
    random, summary = Random(seed), Summary()
    others = [one.raw for one in inputs]
    for turn in range(count):
        one = inputs[turn % len(inputs)]
        raw = spoilt(one.raw, others, random)
        (home / one.file).write_bytes(raw)
        try:
            take(home, one, raw, summary)
        finally:
            (home / one.file).write_bytes(one.raw)
    return summary


def take(home: Path, one: Input, raw: bytes, summary: Summary) -> None:
    """Read one spoilt file, work with it where it is taken, and note what came of it."""
    began = time.process_time()
    summary.tried[one.file] += 1
    try:
        one.use(one.read(home))
        summary.accepted += 1
    except UserError as refused:
        summary.refused += 1
        if not is_named(refused, one.file):
            summary.unnamed.append(f"{one.file}: {refused}")
    except Exception:
        summary.failed.append((one.file, raw, traceback.format_exc()))
    spent = time.process_time() - began
    summary.slowest = max(summary.slowest, spent)
    if spent > LONGEST:
        summary.hung.append((one.file, raw, spent))
