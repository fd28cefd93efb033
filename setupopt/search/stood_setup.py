"""What a setup stands of what [require] asks: by the linear answer, and in rides at the worst places."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.limit import AT_LEAST, AT_MOST
from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.result import Field
from setupopt.evaluation.setup_record import by_wheel
from setupopt.project.model import Project, Setup
from setupopt.project.needs import need
from setupopt.robust.builds.worst_build import worst_build
from setupopt.robust.bump import BumpRides
from setupopt.robust.last_word import ridden
from setupopt.robust.linear_stood import KINDS, LinearStood
from setupopt.search.requirement import BROKEN, Asked, Requirement
from setupopt.search.setup_problem import SetupProblem
from setupopt.units import MM

# Places that are ridden, how closely a ride's height is found, and the share of runs on a road that may fail.
_RIDDEN = 3
_RIDE_STEP = 0.07
CHANCE = 0.05
# The units of the files.
UNITS = {"bump": ("bump_mm", "mm", MM), "seam": ("seam_mm", "mm", MM), "gust": ("gust_m_s", "m/s", 1.0),
         "road": ("road", "times", 1.0)}  # fmt: skip
# What says where a disturbance is stood least.
_WHERE = ("case", "roll_angle_deg", "attitude", "along_mm")


@dataclass(frozen=True)
class Stood:
    """How much of one disturbance is stood at the worst place, by the linear answer; SI. `asked`: the same.

    `fields`: the case. `ridden`: what rides stand at the worst places; of the road, the share of runs that
    fail (`robust.last_word`).
    """

    kind: str
    asked: float
    stood: float
    fields: Field
    ridden: float


@dataclass(frozen=True)
class StoodSetup:
    """A setup and what it stands: its worst margin on the sweep, and each disturbance that is asked."""

    setup: Setup
    margin: float
    stood: tuple[Stood, ...]
    # Worst margin of the builds and inputs that must be stood
    built: float | None = None

    @property
    def times(self) -> float:
        """How many times what is asked is stood, of the disturbance that is stood least."""
        return min((one.stood / one.asked for one in self.stood), default=0.0)


def requirement_of(project: Project) -> Requirement | None:
    """What limits.toml says must be stood in motion; None where it says nothing of it.

    Raises InputError where an entry is missing that it takes.
    """
    limits = project.limits
    asked = None if limits is None else limits.require
    if asked is None or not any(getattr(asked, kind) for kind in KINDS):
        return None
    if asked.road:
        purpose = "require.road of limits.toml needs it"
        need(
            project.venue.roughness,
            project.folder / "venue.toml",
            "venue.roughness",
            purpose,
        )
    return Requirement(LinearStood(project, asked))


def stood_by(
    problem: SetupProblem, setup: Setup, times: float = 1.0
) -> StoodSetup:
    """What a setup on the problem's body stands at every place of the sweep.

    `times`: of what `[require]` says, for rides to look so far.
    """
    project = problem.project
    cases = sweep_cases(project.venue)
    model = problem.model
    setups = by_wheel(setup)
    settings = model.settings(setups)
    result = model.run(settings, cases)
    worst = float(result.worst_margin[0])
    requirement = requirement_of(project)
    built = _worst_built(problem, setup)
    if requirement is None:
        return StoodSetup(setup, worst, (), built)
    stood = requirement.stood
    rows = range(len(cases))
    model_rides = BumpRides(project, setup, cases, result.answers[0])
    found = []
    which: list[Asked] = [
        (KINDS.index(kind), None, row) for kind in stood.kinds for row in rows
    ]
    _, _, shares = requirement.room(model, setups, cases, result.answers, which)
    for kind, each in zip(
        stood.kinds, shares.reshape(-1, len(cases)), strict=True
    ):
        row = int(each.argmin())
        level = float(getattr(stood.asked, kind))
        rides = ridden(
            model_rides.pick(np.argsort(each)[:_RIDDEN]),
            kind,
            max(times, 1.0) * level,
        )
        found.append(
            Stood(
                kind, level, level * float(each[row]), result.fields(row), rides
            )
        )
    return StoodSetup(setup, worst, tuple(found), built)


def _worst_built(problem: SetupProblem, setup: Setup) -> float | None:
    """Worst margin of the builds and inputs that must be stood; None where none must."""
    asked = problem.limits.require
    if asked is None or not (asked.builds or asked.spread):
        return None
    both = replace(problem, has_builds=asked.builds, has_spread=asked.spread)
    return worst_build(
        both.errors(setup), sweep_cases(problem.project.venue)
    ).margin


def not_stood(
    stood: StoodSetup, times: float, least: float
) -> tuple[Broken, ...]:
    """What a setup does not stand of what must be, as broken limits."""
    found = [broken for one in stood.stood for broken in _broken(one, times)]
    if stood.built is not None and stood.built < least - BROKEN:
        found.append(
            Broken(
                "require.builds",
                "worst margin",
                stood.built,
                AT_LEAST,
                least,
                "of grip",
            )
        )
    return tuple(found)


def _broken(one: Stood, times: float) -> Iterator[Broken]:
    """A disturbance that is not stood: by the linear answer, or else in rides."""
    key, unit, factor = UNITS[one.kind]
    asked = times * one.asked
    bound: tuple[Any, ...] = ()
    if one.stood < (1.0 - 2.0 * BROKEN) * asked:
        bound = ("", one.stood / factor, AT_LEAST, asked / factor, unit)
    elif one.kind == "road":
        if one.ridden > CHANCE:
            failed = 100.0 * one.ridden
            most = 100.0 * CHANCE
            bound = ("in rides", failed, AT_MOST, most, "% of runs")
    elif one.ridden < (1.0 - _RIDE_STEP) * asked:
        ridden_height = one.ridden / factor
        bound = ("in rides", ridden_height, AT_LEAST, asked / factor, unit)
    if bound:
        where: dict[str, Any] = {name: one.fields.get(name) for name in _WHERE}
        yield Broken(f"require.{key}", *bound, **where)
