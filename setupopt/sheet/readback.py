"""What was set against what was wanted: the margin as built, what each deviation costs, what to correct."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.project.bodies import with_body
from setupopt.project.car_as_set import car_as_set
from setupopt.project.measured_file import Measured
from setupopt.project.model import WHEELS, Project, Setup
from setupopt.project.settings import SETTING_OF
from setupopt.robust.builds.build_variation import build_errors
from setupopt.robust.builds.worst_build import worst_build
from setupopt.sheet.adjusters import axle_tools
from setupopt.sheet.as_built import (
    built,
    built_result,
    cautions,
    with_clicks,
    with_own,
)
from setupopt.sheet.build import as_written
from setupopt.sheet.deviations import Deviation, DeviationStudy
from setupopt.sheet.pad_state import Pad
from setupopt.sheet.wedge import wedge_words

_ROOM = 0.005  # of margin, where no tolerance is given


class Correction(NamedTuple):
    """A deviation to put right, and how. `for_floor`: the minimum margin needs it, not just the tolerance."""

    deviation: Deviation
    how: str
    for_floor: bool


@dataclass(frozen=True)
class ReadBack:
    """A car as built. Margins are worst steady margins over the sweep, minus infinity where contact is lost.

    `corrections`: the smallest set that reaches the floor, or the best set where none does, and then all
    else that is out of tolerance; `after`: margin with the set for the floor. `is_smallest`: whether every
    smaller set was tried.
    """

    project: Project
    target: Setup
    floor: float
    result: Result
    margin: float
    target_margin: float
    deviations: tuple[Deviation, ...]
    corrections: tuple[Correction, ...]
    after: float
    is_smallest: bool
    broken: tuple[Broken, ...]
    cautions: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Whether the car as built never slides or loses contact, and keeps minimum margin and limits."""
        return self.margin >= max(self.floor, 0.0) and not self.broken


def read_back(
    project: Project,
    target: Setup,
    measured: Measured,
    floor: float | None = None,
) -> ReadBack:
    """Judge what was measured, in the target's body. Raises InputError where it cannot belong together.

    `floor`: None for the target's own margin less what the tolerance itself may cost, so that what the
    mechanics can hold needs no correction.
    """
    project = with_body(project, target.body)
    cases = sweep_cases(project.venue)
    model = Model(project.car)
    stood = as_written(target)
    load = Pad(project, target).reading(stood).load
    left = float((load[0] + load[2]) / load.sum())
    found = built(target, with_clicks(measured, project), project.car, left)
    study = DeviationStudy(
        model, cases, with_own(stood, found, project.car), found
    )
    result = built_result(model, [study.found], cases)
    wanted = float(study.worst([study.target])[0])
    least = _floor(project, target, cases, wanted) if floor is None else floor
    deviations = study.deviations(replace(project, setup=target))
    chosen, after, is_smallest = study.smallest(deviations, least)
    outside = [
        deviation
        for deviation in deviations
        if deviation.is_outside and deviation not in chosen
    ]
    return ReadBack(
        project, target, least, result, float(result.worst_margin[0]), wanted, deviations,
        tuple(Correction(d, _how(project, target, d), d in chosen) for d in (*chosen, *outside)), after,
        is_smallest, broken(project, np.reshape(study.found, 1), result),
        (*project.cautions, *cautions(measured, car_as_set(project.car, target))),
    )  # fmt: skip


def _floor(
    project: Project, target: Setup, cases: CaseSet, margin: float
) -> float:
    """The worst margin within the tolerance, or a little under the target's own; 0 where contact is lost."""
    if not np.isfinite(margin):
        return 0.0
    errors = build_errors(project, target)
    if errors is None or errors.tolerance is None:
        return margin - _ROOM
    worst = worst_build(errors.build_alone(), cases).margin
    return worst if np.isfinite(worst) else margin - _ROOM


def _how(project: Project, target: Setup, deviation: Deviation) -> str:
    """What to turn."""
    if deviation.field == "cross_share":
        return wedge_words(project, target, deviation.found / 100.0)
    setting = SETTING_OF[deviation.field]
    if setting.per == "car":
        return f"to {deviation.target:g} {deviation.unit}"
    move = (deviation.target - deviation.found) * setting.factor
    place = deviation.places[0]
    axle = place if setting.per == "axle" else place // 2
    tools = axle_tools(project, axle)
    where = (
        "each side"
        if len(deviation.places) == 2
        else f"at {WHEELS[place].upper()} only"
    )
    if tools.clicks(deviation.field):
        return f"to {tools.click(deviation.field, deviation.target * setting.factor)} clicks"
    if deviation.field == "camber":
        shims = tools.shims_for(move)
        return (
            tools.shim_words(shims, move, where)
            if shims or tools.per_shim is None
            else "less than half a shim"
        )
    if deviation.field == "ride_height":
        amount = tools.perch_amount(move)
        way = "raise" if move > 0.0 else "lower"
        return (
            f"{way} by {tools.perch_words(amount)} {where}"
            if amount
            else "less than half a flat"
        )
    if deviation.field == "anti_roll":
        rate, position = tools.position(deviation.target * setting.factor)
        return f"bar{position}, {rate / setting.factor:g} N/mm"
    return f"to {deviation.target:g} {deviation.unit}"
