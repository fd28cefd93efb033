"""Proposals: better than today's setup, settable, inside the limits, and true between the angles."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import setupopt
from setupopt.cases import sweep_cases
from setupopt.errors import UserError
from setupopt.project import Project, read_setup, write_setup
from setupopt.project.model import AXLES, Range
from setupopt.project.settings import SETTINGS
from setupopt.search import Proposal
from setupopt.search.maxmin import merit
from setupopt.search.rounding import to_steps
from setupopt.search.setup_problem import SetupProblem

SETUPS = Path(__file__).resolve().parents[2] / "setups"


@pytest.fixture(scope="module")
def bore() -> Project:
    """The invented car in its bore."""
    return setupopt.load(SETUPS / "bore")


@pytest.fixture(scope="module")
def proposal(bore: Project) -> Proposal:
    """Its proposal from two starts."""
    return setupopt.propose(bore, starts=2)


def test_it_beats_the_present_setup_clearly(proposal: Proposal) -> None:
    """The job: a worst margin higher by more than any rounding or noise."""
    assert proposal.margin > proposal.start_margin + 0.05
    assert proposal.holds


def test_its_margin_holds_on_a_sweep_denser_still(bore: Project, proposal: Proposal) -> None:
    """Between the angles that were checked nothing is worse: 0.001 is a tenth of what a driver could tell."""
    angles = np.linspace(bore.venue.sweep.start, bore.venue.sweep.stop, 1801)
    finer = setupopt.evaluate(bore, proposal.setup, sweep_cases(bore.venue, angles))
    assert finer.worst_margin[0] == pytest.approx(proposal.margin, abs=1e-3)


def test_the_check_is_at_least_five_times_denser(bore: Project, proposal: Proposal) -> None:
    """What is promised of the check, and that its angles contain those of the search."""
    own = sweep_cases(bore.venue)
    assert proposal.result.cases.angles.size > 5 * (own.angles.size - 1)
    assert np.abs(own.angles[:, None] - proposal.result.cases.angles).min(axis=1).max() < 1e-9


def test_every_setting_can_be_set(bore: Project, proposal: Proposal) -> None:
    """Steps and parts: mechanics get no value between two shims or springs."""
    assert bore.limits is not None
    for axle in AXLES:
        ranges, chosen = getattr(bore.limits, axle), getattr(proposal.setup, axle)
        for setting in SETTINGS:
            span: Range | None = getattr(ranges, setting.field, None)
            if span is None:
                continue
            value = getattr(chosen, setting.field)
            if span.choices is not None:
                assert min(abs(value - choice) for choice in span.choices) < 1e-9 * abs(value)
            elif span.step is not None:
                steps = (value - span.lower) / span.step
                assert steps == pytest.approx(round(steps), abs=1e-6)
            assert span.lower - 1e-12 <= value <= span.upper + 1e-12


def test_no_single_step_is_better(bore: Project, proposal: Proposal) -> None:
    """Rounding left nothing lying about: no one step of one setting raises the worst value of the sweep."""
    assert bore.limits is not None
    problem = SetupProblem(bore, bore.limits, proposal.result.cases)
    from setupopt.variables import from_setup

    at = from_setup(problem.variables, proposal.setup)
    around = [at]
    for j, variable in enumerate(problem.variables):
        grid = variable.grid()
        assert grid is not None
        place = int(np.abs(grid - at[j]).argmin())
        for i in (place - 1, place + 1):
            if 0 <= i < grid.size:
                moved = at.copy()
                moved[j] = grid[i]
                around.append(moved)
    answers = problem(np.array(around))
    merits = merit(answers.values, answers.limits)
    # between the angles of the search single steps may differ by the size of its exchange rule
    assert merits[1:].max() < merits[0] + 2e-4


def test_written_and_read_it_is_the_same_setup(bore: Project, proposal: Proposal, tmp_path: Path) -> None:
    """The margin told is the margin of the file: rounding to the file's digits changes nothing."""
    write_setup(tmp_path / "proposed.toml", proposal.setup)
    again = setupopt.evaluate(bore, read_setup(tmp_path / "proposed.toml"), proposal.result.cases)
    assert again.worst_margin[0] == pytest.approx(proposal.margin, abs=1e-9)


def test_same_seed_same_proposal(bore: Project, proposal: Proposal) -> None:
    """Two runs give the same setup."""
    again = setupopt.propose(bore, starts=2)
    assert again.setup == proposal.setup
    assert again.margin == proposal.margin


def test_prices_have_the_right_sign_and_size(bore: Project, proposal: Proposal) -> None:
    """Widening the dearest limit raises the margin by about its price; half and double are the bounds."""
    assert bore.limits is not None
    assert bore.limits.rear.pressure is not None
    price = next(p for p in proposal.prices if p.limit == "rear.pressure_bar.from")
    wider = replace(bore.limits.rear.pressure, lower=bore.limits.rear.pressure.lower - 5e3)  # 0.05 bar
    limits = replace(bore.limits, rear=replace(bore.limits.rear, pressure=wider))
    gained = setupopt.propose(replace(bore, limits=limits), starts=2).margin_before_rounding
    gain = gained - proposal.margin_before_rounding
    assert 0.5 * 0.05 * price.margin_per_unit < gain < 2.0 * 0.05 * price.margin_per_unit


def test_without_limits_it_says_what_is_missing(bore: Project) -> None:
    """No limits.toml: one clear message, no guess."""
    with pytest.raises(UserError, match=r"limits\.toml"):
        setupopt.propose(replace(bore, limits=None))


def _coarse(project: Project) -> Project:
    """The project on every fourth angle of its sweep, to keep the test short."""
    sweep = replace(project.venue.sweep, step=4.0 * project.venue.sweep.step)
    return replace(project, venue=replace(project.venue, sweep=sweep))


def test_limits_that_cannot_be_met_are_told(bore: Project) -> None:
    """An impossible least wheel load is named, never hidden behind a margin."""
    assert bore.limits is not None
    packaging = replace(bore.limits.packaging, wheel_load_least=5000.0)
    limits = replace(bore.limits, packaging=packaging)
    impossible = setupopt.propose(_coarse(replace(bore, limits=limits)), starts=1)
    assert not impossible.holds
    assert any("wheel_load" in limit.limit for limit in impossible.broken)


def test_steps_against_brute_force(bore: Project) -> None:
    """Rounding two settings of coarse steps finds what trying all their combinations finds."""
    assert bore.limits is not None
    angles = np.linspace(0.0, np.pi, 13)
    coarse = Range(0.03, 0.054, 0.004)
    limits = replace(
        bore.limits,
        front=replace(
            bore.limits.front, camber=None, spring=None, anti_roll=None, pressure=None, ride_height=coarse
        ),
        rear=replace(
            bore.limits.rear, camber=None, spring=None, anti_roll=None, pressure=None, ride_height=coarse
        ),
    )
    problem = SetupProblem(bore, limits, sweep_cases(bore.venue, angles))
    grid = problem.variables[0].grid()
    assert grid is not None
    every = np.array([(a, b) for a in grid for b in grid])
    answers = problem(every)
    best = merit(answers.values, answers.limits).max()
    from setupopt.search.maxmin import climb

    _, reached = to_steps(problem, problem.variables, climb(problem, problem.start))
    assert reached == pytest.approx(best, abs=1e-9)


def test_lost_contact_is_climbed_out_of(bore: Project) -> None:
    """From a setup that peels off the search finds back to contact: lost cases have a slope."""
    assert bore.limits is not None
    slow = replace(bore.venue, sweep=replace(bore.venue.sweep, speed=41.0))
    high = replace(
        bore.setup,
        front=replace(bore.setup.front, ride_height=0.07),
        rear=replace(bore.setup.rear, ride_height=0.08),
    )
    project = replace(bore, venue=slow, setup=high)
    found = setupopt.propose(_coarse(project), starts=1)
    assert found.start_result.lost() > 0
    assert found.result.lost() < found.start_result.lost()
