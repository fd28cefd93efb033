"""A case in which the car can stand in two positions has the lower margin, and is named."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.assessment import assess
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.model import Model, evaluate
from setupopt.evaluation.two_positions import keep_lower
from setupopt.physics import sweep
from setupopt.physics.inputs import ANSWER, CASE, Records
from setupopt.project import Project, load

BORE = Path(__file__).parents[2] / "setups" / "bore"
BUMP = "bump under one wheel"


@pytest.fixture(scope="module")
def bore() -> Project:
    """The example."""
    return load(BORE)


def one_attitude(project: Project, name: str, first: int = 0) -> CaseSet:
    """The sweep's upper half in one attitude, as a sweep."""
    cases = sweep_cases(
        project.venue, np.radians(np.arange(float(first), 181.0, 5.0))
    )
    row = cases.attitudes.index(name) * cases.angles.size
    rows = np.arange(row, row + cases.angles.size)
    return CaseSet(
        cases.records[rows], (name,) * rows.size, cases.angles, (name,)
    )


def test_the_lower_margin_counts_and_is_said(bore: Project) -> None:
    """The bore over a bump under one wheel at 175 deg: from nothing, and from the trim at 180 deg.

    Both are trims; the caution names the case with both margins. To 1e-6, what the fold is found to.
    """
    cases = one_attitude(bore, BUMP, 150)
    model = Model(bore.car)
    settings = model.settings(bore.setup)
    row = list(np.round(np.degrees(cases.angles))).index(175)
    alone = cases.pick([row])
    cold = model.run(settings, alone).answers[0]
    top = model.run(settings, cases.pick([row + 1])).answers[0]
    warm = model.run(settings, alone, starts=top).answers[0]
    assert (
        cold["contact"][0]
        and warm["contact"][0]
        and not (cold["slides"] | warm["slides"])[0]
    )
    low, high = sorted([float(cold["margin"][0]), float(warm["margin"][0])])
    assert high - low > 0.01
    found = assess(bore, cases)
    assert found.result.margin[0, row] == pytest.approx(low, abs=1e-6)
    (caution,) = [text for text in found.cautions if "two positions" in text]
    assert (
        f"175 deg, {BUMP}, it is {low:.4f} in one and {high:.4f} in the other"
        in caution
    )
    assert caution.startswith("in 1 of ")


@pytest.mark.parametrize("piece", [1, 3, 100])
def test_what_is_shown_is_what_is_solved(
    bore: Project, piece: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every number in pieces of a few cases is that of the whole sweep, to the last bit; two positions too."""
    cases = one_attitude(bore, BUMP, 150)
    whole = evaluate(bore, cases=cases)
    monkeypatch.setattr(sweep, "at_a_time", lambda: piece)
    shown = setupopt.evaluate(bore, cases=cases)
    assert np.isfinite(whole.higher).any()
    assert np.array_equal(whole.higher, shown.higher, equal_nan=True)
    assert set(whole.answers.dtype.names) - set(shown.answers.dtype.names) == {
        "fold",
        "null",
    }
    for name in shown.answers.dtype.names:
        assert np.array_equal(
            whole.answers[name], shown.answers[name], equal_nan=True
        )


def steady(
    count: int, attitudes: tuple[str, ...] = ("steady",)
) -> tuple[Records, CaseSet]:
    """Answers of an invented sweep with one trim that bends a little, and its cases."""
    angles = np.arange(float(count))
    answers = np.zeros(count * len(attitudes), ANSWER)
    answers["contact"] = True
    answers["margin"] = 0.5
    answers["state"][:, 0] = np.tile(
        0.01 * angles + 1e-4 * angles**2, len(attitudes)
    )
    records = np.zeros(answers.size, CASE)
    records["speed"] = np.arange(answers.size)
    names = tuple(name for name in attitudes for _ in range(count))
    return answers, CaseSet(records, names, angles, attitudes)


@pytest.mark.parametrize("low", [0.2, 0.8])
@pytest.mark.parametrize("side", [-1, 1])
def test_a_trim_is_carried_as_far_as_it_exists(low: float, side: int) -> None:
    """At the last four angles of ten, or at the first, the car was found elsewhere; that trim goes on for
    three angles. The lower margin stands in each of them, the higher one beside it; no other changes."""
    answers, cases = steady(10, ("other", "steady"))
    beyond = np.arange(6, 10) if side > 0 else np.arange(0, 4)
    answers["state"][10 + beyond, 1] = 0.02
    answers["margin"][10 + beyond] = low
    before = answers.copy()
    reach = {10 + 5, 10 + 4, 10 + 3} if side > 0 else {10 + 4, 10 + 5, 10 + 6}

    def solve(
        some: CaseSet, starts: Records, by_slope: bool = False
    ) -> Records:
        rows = some.records["speed"].astype(int)
        found = before[rows]
        for one, row, start in zip(found, rows, starts, strict=True):
            if start["state"][1] == 0.02 and row in reach:
                one["state"][1], one["margin"] = 0.02, low
        return found

    higher = keep_lower(answers, cases, solve)
    rows = sorted(reach)
    assert answers["margin"][rows] == pytest.approx(min(low, 0.5))
    assert higher[rows] == pytest.approx(max(low, 0.5))
    others = [row for row in range(20) if row not in reach]
    assert np.array_equal(answers[others], before[others])
    assert np.isnan(higher[others]).all()


@pytest.mark.parametrize("count", [1, 2, 3, 10])
def test_one_curve_of_trims_is_not_solved_again(count: int) -> None:
    """No bend, no work; three angles are too few for a curve, and are looked at."""
    answers, cases = steady(count)
    asked: list[int] = []

    def solve(
        some: CaseSet, starts: Records, by_slope: bool = False
    ) -> Records:
        asked.append(len(some))
        return answers[some.records["speed"].astype(int)]

    assert np.isnan(keep_lower(answers, cases, solve)).all()
    assert sum(asked) == (2 * (count - 1) if count < 4 else 0)


@pytest.mark.parametrize("state", ["slides", "lost"])
def test_only_two_positions_that_hold_are_compared(state: str) -> None:
    """Of a case that slides or is lost, the neighbour's trim is no better news: its answer stays."""
    answers, cases = steady(10)
    answers["state"][5:, 1] = 0.02
    answers["slides" if state == "slides" else "contact"][7] = state == "slides"
    before = answers.copy()
    higher = keep_lower(
        answers, cases, lambda some, starts, by_slope=False: starts
    )
    assert before[7] == answers[7]
    assert np.isnan(higher[7])
