"""What to change: the single step of one setting that helps the situation which breaks first."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.limits import PackagingLimits, is_judged
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.evaluation.setup_record import by_wheel
from setupopt.evaluation.variables import Variable, variables_of, with_value
from setupopt.physics.inputs import Floats
from setupopt.project.limits_model import Limits
from setupopt.project.model import Project, Setup

# A step of a setting that may have any value, as a share of its range.
_FREE_STEP = 0.01
# What is no step, as a share of the range, and no gain or loss of margin: noise of conversion and trims.
_SAME, _NOTICE = 1e-6, 1e-8
# A limit counts as kept down to here; over its scale, see `packaging`.
_KEPT = -1e-6


@dataclass(frozen=True)
class Change:
    """One step of one setting. `from_` and `to` in the file's unit; `setup` has it made.

    `gain` of the measure, infinite where that regains contact; `worst_before` and `worst_after`: worst
    margin over the venue's sweep, minus infinity where contact is lost.
    """

    axle: str
    key: str
    unit: str
    from_: float
    to: float
    gain: float
    worst_before: float
    worst_after: float
    setup: Setup


@dataclass(frozen=True)
class SingleSteps:
    """Every single step inside limits.toml from a setup: to the next settable value on either side, one
    hundredth of the range where any value will do.
    """

    project: Project
    setup: Setup

    @cached_property
    def steps(self) -> list[tuple[Variable, Setup]]:
        """Settings, and the setup with the next value of each; none without limits."""
        limits = self.project.limits
        return [] if limits is None else list(_steps(self.setup, limits))

    @cached_property
    def steady(self) -> tuple[Floats, np.ndarray]:
        """Worst margin over the sweep, and whether every limit is kept that the setup keeps: of the setup,
        then of all steps.
        """
        assert self.project.limits is not None
        setups = [self.setup, *(setup for _, setup in self.steps)]
        return _steady(self.project, self.project.limits, setups)

    def best(
        self, measure: Callable[[Setup], float], floor: float
    ) -> Change | None:
        """The step that raises `measure` most; None where none does.

        Not offered are steps that break a packaging limit which was kept before, and steps that take the worst
        margin over the sweep under `floor`, or further down where it was under it. `measure` may be minus
        infinity or not a number where contact is lost; it is asked once for the setup and for every step
        left.
        """
        if not self.steps:
            return None
        worst, kept = self.steady
        least = floor if worst[0] >= floor else worst[0] - _NOTICE
        offered = np.flatnonzero(kept[1:] & (worst[1:] >= least))
        before = _plain(measure(self.setup))
        after = np.full(len(self.steps), -np.inf)
        after[offered] = [_plain(measure(self.steps[i][1])) for i in offered]
        best = int(after.argmax())
        if not after[best] > before + _NOTICE:
            return None
        variable, mended = self.steps[best]
        setting = variable.setting
        from_, to = (
            variable.value(setup) or 0.0 for setup in (self.setup, mended)
        )
        return Change(
            variable.where,
            setting.key,
            setting.unit,
            from_,
            to,
            float(after[best] - before),
            float(worst[0]),
            float(worst[1 + best]),
            mended,
        )


def _plain(margin: float) -> float:
    """A measure that can be compared: minus infinity where there is none."""
    return -np.inf if np.isnan(margin) else float(margin)


# ---- the steps ---------------------------------------------------------------------------------------------


def _steps(setup: Setup, limits: Limits) -> Iterator[tuple[Variable, Setup]]:
    """Every single step from a setup, front axle first, down before up."""
    for variable in variables_of(limits):
        for value in _next_values(
            variable, float(variable.of(by_wheel(setup))[0])
        ):
            yield variable, with_value(setup, variable, value)


def _next_values(variable: Variable, value: float) -> list[float]:
    """The next settable values below and above, SI; from outside the range its nearer end."""
    values = _settable(variable, value)
    slack = _SAME * variable.width
    below, above = (
        values[values < value - slack],
        values[values > value + slack],
    )
    return [float(side) for side in (*below[-1:], *above[:1])]


def _settable(variable: Variable, value: float) -> Floats:
    """What may be set, SI, in order; around `value` where any value will do."""
    lower, width, grid = variable.range.lower, variable.width, variable.grid()
    if grid is not None:
        return lower + grid * width
    return np.clip(
        value + _FREE_STEP * width * np.array([-1.0, 1.0]), lower, lower + width
    )


# ---- what a step costs -------------------------------------------------------------------------------------


def _steady(
    project: Project, limits: Limits, setups: list[Setup]
) -> tuple[Floats, np.ndarray]:
    """Worst margin over the sweep, and whether every limit is kept that the first keeps; (setups) both."""
    model, cases = Model(project.car), sweep_cases(project.venue)
    settings = model.settings(setups)
    first = model.run(settings[:1], cases).answers[0]
    result = model.run(settings, cases, first)
    room = _rooms(
        PackagingLimits(project.car, limits.packaging), setups, result
    )
    return result.worst_margin, ((room >= _KEPT) | (room[0] < _KEPT)).all(
        axis=1
    )


def _rooms(
    packaging: PackagingLimits, setups: list[Setup], result: Result
) -> Floats:
    """Least room of each limit, (setups, limits), over their scales; of the cases where limits are judged."""
    found = packaging.rows(by_wheel(setups), result.cases, result.answers)
    held = np.concatenate(
        [is_judged(result.answers), np.ones((len(setups), 1), dtype=bool)],
        axis=1,
    )  # -1: at rest
    rows = np.where(held[:, found.case], found.rows, np.inf)
    rooms = np.full((len(setups), len(packaging.limits)), np.inf)
    for limit in range(len(packaging.limits)):
        rooms[:, limit] = rows[:, found.owner == limit].min(
            axis=1, initial=np.inf
        )
    return rooms
