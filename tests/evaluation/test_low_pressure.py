"""Friction used at contact pressures that were not measured is said."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.assessment import Assessment, assess
from setupopt.evaluation.cases import sweep_cases
from setupopt.project import Project

EXAMPLE = Path(__file__).resolve().parents[2] / "setups" / "bore"


def with_tyres(project: Project, **changes: float) -> Project:
    car = project.car
    axles = [
        replace(axle, tyre=replace(axle.tyre, **changes))
        for axle in (car.front, car.rear)
    ]
    return replace(project, car=replace(car, front=axles[0], rear=axles[1]))


def pressures(found: Assessment) -> list[str]:
    """Cautions about contact pressures."""
    return [
        caution for caution in found.cautions if "contact pressure" in caution
    ]


def test_cases_under_the_reference_pressure_are_counted() -> None:
    """Load over patch of the wheels that carry, against friction_pressure; no least pressure is given."""
    bore = setupopt.load(EXAMPLE)
    cases = sweep_cases(bore.venue, np.radians([0.0, 45.0]))
    assert pressures(assess(bore, cases)) == [], (
        "the example gives its least pressure"
    )
    bare = assess(
        with_tyres(bore, friction_least_pressure=0.0, friction_pressure=400e3),
        cases,
    )
    answers = bare.result.answers[0]
    held = answers["contact"] & ~answers["slides"]
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = answers["load"] / answers["patch"]
    front = held & (mean[:, :2] < 400e3).any(axis=1)
    assert front.any()
    said = pressures(bare)
    assert f"in {front.sum()} of {len(cases)} cases" in said[0]
    assert "front wheel" in said[0]
    least = np.nanmin(
        np.where(
            held[:, None] & (answers["patch"][:, :2] > 0.0), mean[:, :2], np.nan
        )
    )
    assert f"({least / 1e3:.0f} kPa at the least" in said[0]
    assert bare.as_dict()["cautions"] == list(bare.cautions)


@pytest.mark.parametrize(
    "changes", [{"friction_pressure": 1e3}, {"friction_exponent": 0.0}]
)
def test_no_caution_where_friction_does_not_grow(
    changes: dict[str, float],
) -> None:
    """Every pressure above the reference, or friction that does not depend on it."""
    bore = with_tyres(
        setupopt.load(EXAMPLE), friction_least_pressure=0.0, **changes
    )
    judged = assess(bore, sweep_cases(bore.venue, np.radians([45.0])))
    assert pressures(judged) == []
