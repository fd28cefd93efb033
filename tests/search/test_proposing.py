"""Proposals: better than today's setup, settable, inside the limits, true between the angles, repeatable."""

from __future__ import annotations

import os
import signal
import sqlite3
import time
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest

import setupopt
from setupopt.errors import UserError
from setupopt.evaluation import limits_check
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.variables import from_setup
from setupopt.jobs.store import Store
from setupopt.project import Project, read_setup, write_setup
from setupopt.project.bodies import with_body
from setupopt.project.model import AXLES, Range
from setupopt.project.settings import SETTINGS
from setupopt.search import Proposal, ProposalOptions
from setupopt.search.parts.discrete_choice import _storage

from .conftest import SETUPS, coarse, problem_of

QUICK = ProposalOptions(starts=1, loss=0.0)
HEIGHTS = replace(
    QUICK, keep=("spring_N_per_mm",)
)  # of the small hill: ride heights alone are free


@pytest.fixture(scope="module")
def proposal(small_hill: Project) -> Proposal:
    """The hill's proposal, with alternatives."""
    return setupopt.propose(small_hill, ProposalOptions(starts=2))


@pytest.fixture(scope="module")
def with_bodywork(small_bore: Project) -> Proposal:
    """The bore's, which has three bodies."""
    return setupopt.propose(small_bore, replace(QUICK, loss=0.06))


def test_it_beats_the_present_setup_clearly(
    proposal: Proposal, with_bodywork: Proposal
) -> None:
    """The job: a worst margin higher by more than any noise, a thousand times the accuracy of a margin."""
    for found in (proposal, with_bodywork):
        assert found.margin > found.start_margin + 1e-3
        assert found.holds


def test_its_margin_holds_on_a_sweep_denser_still(
    small_bore: Project, with_bodywork: Proposal
) -> None:
    """Between the angles that were checked nothing is worse: 1e-5 is a hundredth of what steps cost."""
    angles = np.linspace(
        small_bore.venue.sweep.start, small_bore.venue.sweep.stop, 721
    )
    finer = setupopt.evaluate(
        small_bore, with_bodywork.setup, sweep_cases(small_bore.venue, angles)
    )
    assert finer.worst_margin[0] == pytest.approx(
        with_bodywork.margin, abs=1e-5
    )


def test_every_setting_can_be_set(
    small_hill: Project, proposal: Proposal
) -> None:
    """Steps and parts: mechanics get no value between two shims or springs."""
    assert small_hill.limits is not None
    for axle in AXLES:
        ranges, chosen = (
            getattr(small_hill.limits, axle),
            getattr(proposal.setup, axle),
        )
        for setting in SETTINGS:
            span: Range | None = getattr(ranges, setting.field, None)
            if span is not None:
                _is_settable(span, getattr(chosen, setting.field))


def _is_settable(span: Range, value: float) -> None:
    assert span.lower - 1e-12 <= value <= span.upper + 1e-12
    if span.choices is not None:
        assert min(abs(value - choice) for choice in span.choices) < 1e-9 * abs(
            value
        )
    elif span.step is not None:
        steps = (value - span.lower) / span.step
        assert steps == pytest.approx(round(steps), abs=1e-6)


def test_no_single_step_is_better(
    small_hill: Project, proposal: Proposal
) -> None:
    """Rounding left nothing lying about: no one step of one setting, parts too, raises the worst margin."""
    problem = problem_of(small_hill)
    at = from_setup(problem.variables, proposal.setup)
    around = [at]
    for j, variable in enumerate(problem.variables):
        grid = variable.grid()
        assert grid is not None
        place = int(np.abs(grid - at[j]).argmin())
        around += [
            np.where(np.arange(at.size) == j, grid[i], at)
            for i in (place - 1, place + 1)
            if 0 <= i < grid.size
        ]
    angles = np.linspace(
        small_hill.venue.sweep.start, small_hill.venue.sweep.stop, 41
    )
    setups = [problem.setup(point, "") for point in around]
    result = setupopt.evaluate(
        small_hill, setups, sweep_cases(small_hill.venue, angles)
    )
    kept = [
        not limits_check.broken(small_hill, s, result, row)
        for row, s in enumerate(setups)
    ]
    assert kept[0]
    assert result.worst_margin[kept].max() < result.worst_margin[0] + 1e-6


def test_written_and_read_it_is_the_same_setup(
    small_bore: Project, with_bodywork: Proposal, tmp_path: Path
) -> None:
    """The margin told is the margin of the file, the body in it: the file's digits change nothing."""
    write_setup(tmp_path / "proposed.toml", with_bodywork.setup)
    again = setupopt.evaluate(
        small_bore,
        read_setup(tmp_path / "proposed.toml"),
        with_bodywork.between.cases,
    )
    assert again.worst_margin[0] == pytest.approx(
        with_bodywork.margin, abs=1e-9
    )


def test_same_seed_same_proposal(
    small_hill: Project, proposal: Proposal
) -> None:
    """Two runs give the same setup, the same alternatives, the same prices."""
    again = setupopt.propose(small_hill, ProposalOptions(starts=2))
    assert again.setup == proposal.setup
    assert again.margin == proposal.margin
    assert again.alternatives == proposal.alternatives
    assert again.prices == proposal.prices


def test_evidence_is_in_order(
    proposal: Proposal, with_bodywork: Proposal
) -> None:
    """Steps cost no less than nothing, parts neither; nothing is above the bound; all prices are checked."""
    for found in (proposal, with_bodywork):
        told = found.evidence
        assert found.weighted_margin <= told.with_parts + 1e-6
        assert told.with_parts <= told.continuous + 1e-4
        assert told.continuous <= told.bound + 1e-9
        assert told.parts is not None
        assert told.parts.is_finished
        assert sum(
            binding.weight for binding in found.active_cases
        ) == pytest.approx(1.0, abs=1e-6)
    # In the bore three limits meet in two settings: no price there is the only one
    assert proposal.prices
    assert all(price.agrees for price in proposal.prices)
    springs = proposal.evidence.parts
    assert springs is not None
    assert (
        springs.solves < 0.25 * springs.count
    )  # what is bounded away is never solved


def test_the_best_body_is_chosen(
    small_bore: Project, with_bodywork: Proposal
) -> None:
    """Today's body alone is worth less; it is an alternative, for it loses less than was asked."""
    alone = setupopt.propose(
        with_body(small_bore, None), replace(QUICK, keep=("body",))
    )
    assert with_bodywork.setup.body == "long-floor"
    assert alone.setup.body is None
    assert with_bodywork.margin > alone.margin + 0.01
    other = next(a for a in with_bodywork.alternatives if a.setup.body is None)
    assert other.margin == pytest.approx(alone.margin, abs=2e-3)


def test_what_is_kept_stays(small_hill: Project) -> None:
    """Settings to keep are those of today, to the last digit; the rest still gains."""
    found = setupopt.propose(
        small_hill,
        replace(QUICK, keep=("ride_height_mm", "rear.spring_N_per_mm")),
    )
    assert found.setup.front.ride_height == small_hill.setup.front.ride_height
    assert found.setup.rear == small_hill.setup.rear
    assert found.margin > found.start_margin


def test_everything_kept_is_told(hill: Project) -> None:
    """Nothing left to search is no proposal."""
    keys = tuple(setting.key for setting in SETTINGS)
    with pytest.raises(UserError, match="--keep leaves no setting free"):
        setupopt.propose(hill, replace(QUICK, keep=keys))


def test_only_the_body_left_free(small_bore: Project) -> None:
    """Every setting kept, the bodies are still chosen among."""
    keys = tuple(setting.key for setting in SETTINGS)
    found = setupopt.propose(small_bore, replace(QUICK, keep=keys))
    assert found.setup == replace(
        small_bore.setup, name=found.setup.name, body="long-floor"
    )


def test_a_floor_is_kept_and_costs_the_others(
    small_hill: Project, proposal: Proposal
) -> None:
    """An attitude asked for more than it has gets it; those that are raised pay."""
    name, has, *_ = proposal.by_attitude()[-1]
    found = setupopt.propose(
        small_hill, replace(HEIGHTS, minimum_margins={name: has + 0.002})
    )
    margins = {attitude: margin for attitude, margin, *_ in found.by_attitude()}
    assert margins[name] >= has + 0.002 - 1e-6
    assert found.weighted_margin < proposal.weighted_margin
    assert found.missed_minimums == ()


def test_what_is_out_of_reach_is_told(small_hill: Project) -> None:
    """Never hidden behind a margin: the attitude that misses its minimum margin and the least wheel load that
    no setup has are named, and the proposal does not pass."""
    assert small_hill.limits is not None
    packaging = replace(small_hill.limits.packaging, wheel_load_least=5000.0)
    project = replace(
        small_hill, limits=replace(small_hill.limits, packaging=packaging)
    )
    name = project.venue.attitudes[0].name
    found = setupopt.propose(
        project, replace(HEIGHTS, minimum_margins={name: 0.95})
    )
    assert found.missed_minimums == (name,)
    assert any("wheel_load" in limit.limit for limit in found.broken)
    assert not found.holds


def test_weights_move_the_worst_elsewhere(
    small_hill: Project, proposal: Proposal
) -> None:
    """An attitude that counts more ends with more margin; the weighted margin is the least of all."""
    name, has, *_ = proposal.by_attitude()[1]
    found = setupopt.propose(small_hill, replace(HEIGHTS, weights={name: 1.15}))
    margins = {attitude: margin for attitude, margin, *_ in found.by_attitude()}
    assert margins[name] > has
    assert found.weighted_margin == pytest.approx(
        min(1 - w * (1 - margins[n]) for n, _, w, _ in found.by_attitude()),
        abs=1e-6,
    )


def test_robust_stands_more(small_hill: Project) -> None:
    """Its worst build is better than that of the exact proposal; what that costs is told."""
    one_free = ("spring_N_per_mm", "rear.ride_height_mm")
    found = setupopt.propose(
        small_hill, replace(QUICK, robust=True, keep=one_free)
    )
    told = found.robustness
    assert told is not None
    assert told.gain > 0.0
    assert 0.0 <= told.price < 0.01
    assert told.cloud_least >= told.built - 1e-4
    assert told.margin == pytest.approx(found.margin, abs=1e-4)


def test_robust_needs_a_tolerance(hill: Project) -> None:
    """Without [tolerance] nobody knows what the mechanics can hold."""
    assert hill.limits is not None
    bare = replace(hill, limits=replace(hill.limits, tolerance=None))
    with pytest.raises(UserError, match=r"no \[tolerance\]"):
        setupopt.propose(bare, replace(QUICK, robust=True))


def test_without_limits_it_says_what_is_missing(hill: Project) -> None:
    """No limits.toml: one clear message, no guess."""
    with pytest.raises(UserError, match=r"limits\.toml"):
        setupopt.propose(replace(hill, limits=None))


def test_a_storage_that_cannot_be_is_one_message(hill: Project) -> None:
    """A driver that is not installed, and an address that is none."""
    for url in (
        "postgresql+nothing://host/study",
        "no address",
        "mysql://nobody@nowhere/study",
    ):
        with pytest.raises(UserError, match="--study"):
            setupopt.propose(hill, replace(QUICK, study=url))


def _with_long_shelves(project: Project) -> Project:
    """More springs to choose from: the parts take several boxes."""
    assert project.limits is not None
    front = project.limits.front
    shelf = Range(6e4, 1.3e5, choices=tuple(np.arange(6e4, 1.31e5, 7e3)))
    return replace(
        project,
        limits=replace(project.limits, front=replace(front, spring=shelf)),
    )


def _boxes(file: Path) -> int:
    """Boxes opened so far in a storage."""
    try:
        with sqlite3.connect(file) as storage:
            return int(
                storage.execute("select count(*) from trials").fetchone()[0]
            )
    except sqlite3.Error:
        return 0


def test_killed_and_continued(small_hill: Project, tmp_path: Path) -> None:
    """Killed without warning as soon as a box is begun, and continued: the setup of a run left alone."""
    project, file = _with_long_shelves(small_hill), tmp_path / "kept.db"
    kept = replace(
        QUICK,
        keep=("ride_height_mm", "rear.spring_N_per_mm"),
        study=f"sqlite:///{file}",
    )
    # Forked: a new interpreter would take seconds to start
    process = get_context("fork").Process(
        target=setupopt.propose, args=(project, kept)
    )
    process.start()
    while process.is_alive() and _boxes(file) < 1:
        time.sleep(0.02)
    process.kill()
    process.join()
    assert process.exitcode == -signal.SIGKILL, (
        "it was done before it could be killed"
    )
    assert _boxes(file) >= 1
    continued, alone = (
        setupopt.propose(project, options)
        for options in (kept, replace(kept, study=None))
    )
    assert continued.setup == alone.setup
    assert continued.margin == alone.margin


def test_two_runs_at_once_do_not_share_a_file(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """While another process is at the very same study, this one works in memory and takes nothing from it."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    study = Store.open("a-study")
    (study.folder / "worker").write_text(str(os.getppid()))
    with _storage(None, "a-study") as url:
        assert url is None
    assert (study.folder / "worker").exists()
    (study.folder / "worker").write_text("999999999")  # nobody any more
    with _storage(None, "a-study") as url:
        assert url is not None
        assert url.startswith("sqlite:")
    assert not study.folder.exists()


def test_the_coarse_sweep_is_coarse() -> None:
    """The sweeps that these tests use really are shorter than the examples' own."""
    assert (
        coarse("hill", 5.0).venue.sweep.step
        == 5.0 * setupopt.load(SETUPS / "hill").venue.sweep.step
    )


def test_problems_share_their_variables(bore: Project) -> None:
    """Every body is searched in the same settings, so that points of one mean the same for another."""
    names = {
        tuple(v.name for v in problem_of(with_body(bore, b)).variables)
        for b in (None, "low-drag", "long-floor")
    }
    assert len(names) == 1
