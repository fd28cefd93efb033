"""Why a setup must not be driven, in words for paper and screen: limits and cases by name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict

from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.result import Field, Result
from setupopt.project.model import Project, Setup


def do_not_run(
    project: Project, setup: Setup, result: Result, floor: float, is_safe: bool
) -> tuple[str, ...]:
    """Every reason against a run; empty where there is none.

    `result`: the steady cases of this setup. `is_safe`: whether the speed of the sweep is safe.
    """
    return tuple(_reasons(project, setup, result, floor, is_safe))


def _reasons(project: Project, setup: Setup, result: Result, floor: float, is_safe: bool) -> Iterator[str]:
    lost = result.lost()
    worst = result.fields(int(result.worst[0]))
    if lost:
        yield f"contact is lost in {lost} of {len(result.cases)} cases, worst in {_case_words(worst)}"
    elif worst["margin"] < floor:
        yield f"margin {worst['margin']:.3f}, at least {floor:g} is required, in {_case_words(worst)}"
    yield from (_limit_words(limit) for limit in broken(project, setup, result))
    if not is_safe:
        yield f"no safe speed: {project.venue.sweep.speed:g} m/s, the speed of the sweep, is not safe"


def _limit_words(limit: Broken) -> str:
    where = f", {limit.where}" if limit.where else ""
    found = f"{limit.value:.4g}, {limit.sense} {limit.required:g} {limit.unit} is required"
    case = "at rest" if limit.case is None else f"in {_case_words(asdict(limit))}"
    return f"{limit.limit}{where}: {found}, {case}"


def _case_words(row: Field) -> str:
    along = "" if row.get("along_mm") is None else f"{row['along_mm']:.0f} mm along, "
    return f"case {row['case']} ({row['roll_angle_deg']:.6g} deg, {along}{row['attitude']})"
