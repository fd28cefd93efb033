"""Build error: the worst corner against all corners, the cloud inside, sides on their own."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

import setupopt
from setupopt.cases import CaseSet, sweep_cases
from setupopt.evaluation import Model
from setupopt.project import Project
from setupopt.robust.tolerance import NAMES, BuildErrors, build_cloud, worst_build


@pytest.fixture(scope="module")
def cases(bore: Project) -> CaseSet:
    """Few angles, all attitudes."""
    return sweep_cases(bore.venue, np.radians([0.0, 90.0, 130.0, 150.0, 160.0, 180.0]))


@pytest.fixture(scope="module")
def build(bore: Project) -> BuildErrors:
    """Today's setup with its tolerances."""
    assert bore.limits is not None
    assert bore.limits.tolerance is not None
    return BuildErrors(Model(bore.car), bore.setup, bore.limits.tolerance)


def test_no_error_is_the_setup(bore: Project, build: BuildErrors, cases: CaseSet) -> None:
    """A build without error answers what the setup answers, to the last digit."""
    exact = setupopt.evaluate(bore, cases=cases)
    assert np.array_equal(build.result(np.zeros(14), cases).margin, exact.margin)


def test_worst_corner_is_not_beaten_by_any_corner(build: BuildErrors, cases: CaseSet) -> None:
    """All 2^14 corners, in the cases near the worst: none lower by 1e-4."""
    found = worst_build(build, cases)
    near = cases.pick(np.argsort(build.result(np.zeros(14), cases).margin[0])[:6])
    corners = np.array(list(product((-1.0, 1.0), repeat=len(NAMES))))
    assert found.margin <= build.result(corners, near).worst_margin.min() + 1e-4


def test_cloud_lies_above_the_worst_corner(build: BuildErrors, cases: CaseSet) -> None:
    """No build inside the box is worse than the corner, and the cloud is no single point."""
    cloud = build_cloud(build, cases, 500)
    assert cloud.margins.size == 500
    assert cloud.margins.min() >= worst_build(build, cases).margin - 1e-9
    assert cloud.percentile(0.05) < cloud.percentile(0.5) < cloud.percentile(0.95)


def test_same_seed_same_cloud(build: BuildErrors, cases: CaseSet) -> None:
    """A cloud can be drawn again."""
    first, second = (build_cloud(build, cases, 64, seed=3).margins for _ in range(2))
    assert np.array_equal(first, second)


def test_sides_err_on_their_own(build: BuildErrors) -> None:
    """An error of one wheel changes that wheel alone, and its static penetration with it."""
    errors = np.zeros((1, 14))
    errors[0, NAMES.index("camber rl")] = 1.0
    rows = build.settings(errors)[0]
    changed = rows["camber"] != build.exact["camber"][0]
    assert changed.tolist() == [False, False, True, False]
    assert rows["penetration"][2] != build.exact["penetration"][0][2]
    assert rows["penetration"][3] == build.exact["penetration"][0][3]
