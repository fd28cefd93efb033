"""Results of any number of cases in constant memory: counts, and the cases that anything is said of.

Up to `counts.MOST_APART` cases all are kept. Of more, those are kept that may be the worst of their angle or
name, or the least or most of some number.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np

from setupopt.evaluation import counts as counting
from setupopt.evaluation.case_cautions import caution_counts, caution_rows
from setupopt.evaluation.cases import join
from setupopt.evaluation.counts import Counts, Named
from setupopt.evaluation.limits_check import broken
from setupopt.evaluation.result import Result
from setupopt.evaluation.ride_modes import RideModes, ride_modes
from setupopt.evaluation.summary import (
    LOWEST,
    places,
    worst_of_names,
    worst_rows,
)
from setupopt.project.model import Project, Setup


class Kept:
    """What is kept of results of the project's setup; `add` takes them in the order of their cases."""

    def __init__(self, project: Project) -> None:
        self.project = project
        self.counts = Counts(Named.of_none(), {})
        self.cautions: Counter[str] = Counter()
        self._grouped: Result | None = None
        self._few: Result | None = None
        self._is_complex = False

    def add(self, result: Result) -> None:
        """Take further cases."""
        by_name = self.counts.names is not None
        self.counts.add(result.counted(by_name=by_name))
        self.cautions += caution_counts(self.project.car, result)
        self._grouped = self._of_groups(joined(self._grouped, result))
        few = joined(self._few, result)
        self._few = few.pick(sorted(self._telling(few)))

    @property
    def result(self) -> Result:
        """The cases that are kept, with their numbers among all, and the counts of all."""
        assert self._grouped is not None
        both = joined(self._few, self._grouped)
        _, rows = np.unique(both.cases.numbers, return_index=True)
        return replace(both.pick(rows), counts=self.counts)

    def ride(self, result: Result) -> RideModes | None:
        """The modes in all cases, for the `result` above."""
        assert self._few is not None
        found = ride_modes(self.project, self._few, self._is_complex)
        if found is None:
            return None
        number = self._few.cases.numbers[found.at]
        row = int(np.searchsorted(result.cases.numbers, number))
        return replace(found, row=row)

    def _of_groups(self, result: Result) -> Result:
        """The worst case of every angle and of every name."""
        if self.counts.every.cases <= counting.MOST_APART:
            return result
        score = result.ranked[0]
        counted = replace(result, counts=self.counts)
        rows = worst_rows(places(counted), score)
        if rows.size > counting.MOST_APART:
            self.counts.many_angles = True
            rows = worst_rows(places(counted), score)
        kept = set(rows.tolist())
        if self.counts.names is not None:
            kept |= set(worst_of_names(result).values())
        return result.pick(sorted(kept))

    def _telling(self, result: Result) -> set[int]:
        """The lowest cases, those that break limits most, and the least and most of other numbers."""
        lowest = np.argsort(result.ranked[0], kind="stable")[:LOWEST]
        margin = np.where(result.contact[0], result.margin[0], np.inf)
        rows = {*lowest.tolist(), int(margin.argmin())}
        rows |= set(caution_rows(self.project.car, result))
        rows |= breaking(self.project, self.project.setup, result)
        ride = ride_modes(self.project, result, as_complex=True)
        if ride is None:
            return rows
        self._is_complex |= ride.is_complex
        return rows | ride.telling


def breaking(project: Project, setup: Setup, result: Result) -> set[int]:
    """Rows of the cases that break some limit most, and the first."""
    numbers = [one.case for one in broken(project, setup, result) if one.case]
    return {0, *np.searchsorted(result.cases.numbers, numbers).tolist()}


def joined(one: Result | None, two: Result) -> Result:
    """Cases of both, with their numbers."""
    if one is None:
        return two
    return Result(
        join(one.cases, two.cases),
        np.concatenate([one.answers, two.answers], axis=1),
        two.car,
    )
