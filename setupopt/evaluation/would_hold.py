"""What would hold a car that slides or loses contact: the nearest speed, course, setting, by the model.

Candidates are tried on the worst case of each attitude first; what holds there is checked on the whole sweep.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from operator import itemgetter

import numpy as np

from setupopt.evaluation.case_file import CaseFile
from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.kept import breaking, joined
from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.evaluation.summary import worst_of_names
from setupopt.evaluation.variables import Variable, variables_of, with_value
from setupopt.physics import sweep
from setupopt.physics.inputs import Records
from setupopt.project.model import Project, Setup
from setupopt.project.settings import rounded
from setupopt.units import DEG

SLOWER = (
    0.98,
    0.95,
    0.9,
    0.85,
    0.8,
    0.7,
    0.6,
)  # times the speed, the nearest first
FASTER = (1.02, 1.05, 1.1, 1.15, 1.2, 1.3, 1.4, 1.6, 1.8, 2.0)
COURSES = np.arange(-20.0, 20.1, 1.0)  # deg from the course of the worst case
_VALUES = 9  # of each setting over its range
_CHECKS = 3  # whole sweeps for each kind
_FEW = 128  # cases tried together, the worst first


@dataclass(frozen=True)
class WouldHold:
    """The nearest changes, each alone, that hold the car; None where none that was tried does.

    `slower_m_s`, `faster_m_s`: speed of the sweep at which all cases hold; attitudes with a speed of their
    own change in proportion. `course_deg`: of the worst case, at which this case holds. `setting` and
    `value`, in the unit of the files: a setting inside limits.toml with which all cases hold and no further
    limit is broken.
    """

    slower_m_s: float | None
    faster_m_s: float | None
    course_deg: float | None
    setting: str | None
    value: float | None
    unit: str | None


def would_hold(
    project: Project, result: Result, cases: CaseSet | CaseFile | None = None
) -> WouldHold | None:
    """What would hold the project's setup, whose answers `result` has; None where every case holds.

    `cases`: all of them, where `result` has only those that anything is said of. Takes the work of some five
    sweeps.
    """
    if result.worst_margin[0] >= 0.0:
        return None
    asked = _Asked(project, result, result.cases if cases is None else cases)
    return WouldHold(
        asked.speed(SLOWER),
        asked.speed(FASTER),
        asked.course(),
        *asked.setting(),
    )


class _Asked:
    def __init__(
        self, project: Project, result: Result, cases: CaseSet | CaseFile
    ) -> None:
        self.project = project
        self.result = result
        self.cases = cases
        self.model = Model(project.car)
        self.settings = self.model.settings(project.setup)
        worst = list(worst_of_names(result).values())
        score = result.ranked[0]
        # The worst first: most changes fail there at once
        self.few = result.cases.pick(sorted(worst, key=lambda row: score[row]))

    def _hold(self, settings: Records, cases: Iterable[CaseSet]) -> bool:
        """Whether all cases hold in one setup; none is solved after one that does not."""
        return all(
            self.model.run(settings, piece).worst_margin[0] >= 0.0
            for piece in cases
        )

    def speed(self, factors: Sequence[float]) -> float | None:
        """The first factor on every speed with which all cases hold, as a speed of the sweep."""

        def holds(factor: float, cases: Iterable[CaseSet]) -> bool:
            faster = (_faster(piece, factor) for piece in cases)
            return self._hold(self.settings, faster)

        good = (
            factor for factor in factors if holds(factor, self.few.pieces(_FEW))
        )
        for factor in islice(good, _CHECKS):
            if holds(factor, self._whole()):
                return round(factor * self.project.venue.sweep.speed, 2)
        return None

    def _whole(self) -> Iterable[CaseSet]:
        """All cases: a file in pieces, others at once, so that a sweep stays one."""
        if isinstance(self.cases, CaseFile):
            return self.cases.pieces(sweep.at_a_time())
        return [self.cases]

    def course(self) -> float | None:
        """The course of the worst case, nearest to its own, at which it holds."""
        row = int(self.result.worst[0])
        cases = self.result.cases.pick([row] * COURSES.size)
        for name in ("heading", "surface_heading"):
            cases.records[name] += COURSES * DEG
        margin = self.model.run(self.settings, cases).safe_margin[0]
        good = np.flatnonzero(margin >= 0.0)
        if not good.size:
            return None
        nearest = good[np.abs(COURSES[good]).argmin()]
        return round(float(cases.records["heading"][nearest] / DEG), 6)

    def setting(self) -> tuple[str | None, float | None, str | None]:
        """The setting that moves least over its range: its name, value and unit."""
        limits = self.project.limits
        steps = (
            []
            if limits is None
            else sorted(
                _steps(self.project, variables_of(limits)), key=itemgetter(0)
            )
        )
        if not steps:
            return None, None, None
        setups = [
            with_value(self.project.setup, one, value)
            for _, one, value in steps
        ]
        worst = self.result.cases.pick([int(self.result.worst[0])])
        every = self.model.settings(setups)
        first = np.flatnonzero(self.model.run(every, worst).worst_margin >= 0.0)
        good = (
            number
            for number in first
            if self._hold(every[number : number + 1], self.few.pieces(_FEW))
        )
        before = _names(broken(self.project, self.project.setup, self.result))
        for number in islice(good, _CHECKS):
            others = self._broken_where_held(setups[number])
            if others is not None and others <= before:
                _, one, value = steps[number]
                return one.name, rounded(value, one.setting), one.setting.unit
        return None, None, None

    def _broken_where_held(self, setup: Setup) -> set[tuple[str, str]] | None:
        """The limits that a setup breaks; None where a case does not hold."""
        settings = self.model.settings(setup)
        worst = None
        for piece in self._whole():
            found = self.model.run(settings, piece)
            if found.worst_margin[0] < 0.0:
                return None
            worst = joined(worst, found)
            worst = worst.pick(sorted(breaking(self.project, setup, worst)))
        assert worst is not None
        return _names(broken(self.project, setup, worst))


def _names(limits: Iterable[Broken]) -> set[tuple[str, str]]:
    return {(one.limit, one.where) for one in limits}


def _faster(cases: CaseSet, factor: float) -> CaseSet:
    records = cases.records.copy()
    records["speed"] *= factor
    return replace(cases, source=records)


_Step = tuple[float, Variable, float]


def _steps(project: Project, variables: Sequence[Variable]) -> Iterable[_Step]:
    """Values of every setting, SI, with how far over its range each is away."""
    for variable in variables:
        own = variable.value(project.setup)
        grid = variable.grid()
        shares = (
            np.linspace(0.0, 1.0, _VALUES)
            if grid is None
            else grid[:: -(-grid.size // _VALUES)]
        )
        for value in variable.range.lower + shares * variable.width:
            far = (
                1.0
                if own is None
                else abs(value - own * variable.setting.factor) / variable.width
            )
            yield far, variable, float(value)
