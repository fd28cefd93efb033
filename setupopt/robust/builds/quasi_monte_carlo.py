"""A cloud of builds spread evenly over the box of errors: chunk by chunk, and what is kept of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy.stats import qmc

from setupopt.evaluation.cases import CaseSet
from setupopt.jobs.chunk_ranges import ChunkRange
from setupopt.physics.inputs import Floats
from setupopt.robust.builds.build_variation import BuildErrors
from setupopt.robust.builds.worst_build import WorstMargin
from setupopt.robust.level_crossings import clopper_pearson
from setupopt.robust.screening import LOST

# Builds solved at a time: all their answers are held at once.
_AT_ONCE = 64
# Margins are counted in bins so many to one, from _LEAST up; the last is for 1 alone, the most there can be.
_PER_ONE, _LEAST = 10_000, -2
_BINS = (1 - _LEAST) * _PER_ONE + 1


# ---- the samples -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class BuildCloud:
    """A cloud of builds: `cloud(job)` gives the worst margins of a chunk of it, (count,).

    The samples are those of one scrambled Sobol sequence (I. M. Sobol, USSR Comput. Math. Math. Phys. 7
    (1967) 86-112) over the whole box, uniform in every error: the same cloud however it is cut into chunks.
    Minus infinity where contact is lost. At most 2^30 samples.
    """

    build: BuildErrors
    cases: CaseSet
    seed: int = 0

    @cached_property
    def _worst(self) -> WorstMargin:
        """Made ready at the first use. Two threads may both do so: alike."""
        return WorstMargin.of(self.build, self.cases)

    def errors(self, job: ChunkRange | tuple[int, int]) -> Floats:
        """Errors of the builds of a chunk, (count, names), -1 to 1."""
        first, count = job
        sequence = qmc.Sobol(len(self.build.names), seed=self.seed)
        if first > 0:
            sequence.fast_forward(first)
        whole = sequence.random(
            1 << (count - 1).bit_length()
        )  # it warns of all but powers of two
        return 2.0 * whole[:count] - 1.0

    def __call__(self, job: ChunkRange | tuple[int, int]) -> Floats:
        errors = self.errors(job)
        pieces = [
            errors[at : at + _AT_ONCE] for at in range(0, len(errors), _AT_ONCE)
        ]
        every = self._worst
        worst = np.concatenate(
            [every.pick(every.likely(piece))(piece) for piece in pieces]
        )
        return np.where(worst > -0.5 * LOST, worst, -np.inf)


# ---- what is kept of them ----------------------------------------------------------------------------------


class Share(NamedTuple):
    """A share of the samples, and the interval that the share of all builds lies in at 95 %."""

    share: float
    low: float
    high: float


class MarginDistribution:
    """Worst margins of any number of samples in little memory: counts in bins of 1e-4 from -2 to 1.

    `count` samples, `lost` of them out of contact, `least` their exact minimum: minus infinity where
    contact is lost, infinite before the first sample.
    """

    def __init__(self) -> None:
        self._least_held = np.inf
        # First those out of contact, then those under -2
        self._bins = np.zeros(2 + _BINS, dtype=np.int64)

    @property
    def count(self) -> int:
        """Of all samples."""
        return int(self._bins.sum())

    @property
    def lost(self) -> int:
        """Samples out of contact."""
        return int(self._bins[0])

    @property
    def least(self) -> float:
        """Of all margins."""
        return -np.inf if self.lost else self._least_held

    def add(self, margins: Floats | Sequence[float]) -> None:
        """Count some more; what is no finite number is lost."""
        given = np.asarray(margins, dtype=float)
        held = given[np.isfinite(given)]
        place = np.floor(held * _PER_ONE) - _LEAST * _PER_ONE
        bins = 2 + np.clip(place, -1, _BINS - 1).astype(np.int64)
        self._bins += np.bincount(bins, minlength=self._bins.size)
        self._bins[0] += given.size - held.size
        self._least_held = held.min(initial=self._least_held)

    def percentile(self, share: float) -> float:
        """Margin that at least 1 - `share` (0 to 1) of the samples reach: the lower edge of its bin.

        Below -2 it is the least margin, minus infinity in the lost share; not a number without samples.
        """
        if self.count == 0:
            return np.nan
        rank = int(np.floor(share * (self.count - 1) + 1e-9))
        bin_ = int(np.searchsorted(np.cumsum(self._bins), rank, side="right"))
        if bin_ < 2:
            return (-np.inf, float(self._least_held))[bin_]
        return (bin_ - 2 + _LEAST * _PER_ONE) / _PER_ONE

    def share_under(self, floor: float) -> Share:
        """Share of the samples under `floor`, from -2 to 1; a bin that the floor cuts counts whole.

        The interval is Clopper and Pearson's, for samples drawn apart from each other. These are spread
        more evenly, so as a rule it is on the wide side. From 0 to 1 without samples.
        """
        edges = int(np.ceil((floor - _LEAST) * _PER_ONE - 1e-6))
        under = int(self._bins[: 2 + max(0, edges)].sum())
        if self.count == 0:
            return Share(np.nan, 0.0, 1.0)
        return Share(under / self.count, *clopper_pearson(under, self.count))
