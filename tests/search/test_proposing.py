"""Proposals: better than today's setup, settable, inside the limits, true between the angles, repeatable."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import optuna
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


@pytest.fixture(scope="module")
def proposal(hill: Project) -> Proposal:
    """The hill's proposal, with alternatives."""
    return setupopt.propose(hill, ProposalOptions(starts=2))


@pytest.fixture(scope="module")
def with_bodywork(bore: Project) -> Proposal:
    """The bore's, which has three bodies."""
    return setupopt.propose(bore, replace(QUICK, loss=0.06))


def test_it_beats_the_present_setup_clearly(proposal: Proposal, with_bodywork: Proposal) -> None:
    """The job: a worst margin higher by more than any rounding or noise."""
    for found in (proposal, with_bodywork):
        assert found.margin > found.start_margin + 0.02
        assert found.holds


def test_its_margin_holds_on_a_sweep_denser_still(bore: Project, with_bodywork: Proposal) -> None:
    """Between the angles that were checked nothing is worse: 1e-5 is a hundredth of what steps cost."""
    angles = np.linspace(bore.venue.sweep.start, bore.venue.sweep.stop, 1801)
    finer = setupopt.evaluate(bore, with_bodywork.setup, sweep_cases(bore.venue, angles))
    assert finer.worst_margin[0] == pytest.approx(with_bodywork.margin, abs=1e-5)


def test_every_setting_can_be_set(bore: Project, with_bodywork: Proposal) -> None:
    """Steps and parts: mechanics get no value between two shims or springs."""
    assert bore.limits is not None
    for axle in AXLES:
        ranges, chosen = getattr(bore.limits, axle), getattr(with_bodywork.setup, axle)
        for setting in SETTINGS:
            span: Range | None = getattr(ranges, setting.field, None)
            if span is not None:
                _is_settable(span, getattr(chosen, setting.field))


def _is_settable(span: Range, value: float) -> None:
    assert span.lower - 1e-12 <= value <= span.upper + 1e-12
    if span.choices is not None:
        assert min(abs(value - choice) for choice in span.choices) < 1e-9 * abs(value)
    elif span.step is not None:
        steps = (value - span.lower) / span.step
        assert steps == pytest.approx(round(steps), abs=1e-6)


def test_no_single_step_is_better(hill: Project, proposal: Proposal) -> None:
    """Rounding left nothing lying about: no one step of one setting, parts too, raises the worst margin."""
    problem = problem_of(hill)
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
    angles = np.linspace(hill.venue.sweep.start, hill.venue.sweep.stop, 41)
    setups = [problem.setup(point, "") for point in around]
    result = setupopt.evaluate(hill, setups, sweep_cases(hill.venue, angles))
    kept = [not limits_check.broken(hill, s, result, row) for row, s in enumerate(setups)]
    assert kept[0]
    assert result.worst_margin[kept].max() < result.worst_margin[0] + 1e-6


def test_written_and_read_it_is_the_same_setup(
    bore: Project, with_bodywork: Proposal, tmp_path: Path
) -> None:
    """The margin told is the margin of the file, the body in it: the file's digits change nothing."""
    write_setup(tmp_path / "proposed.toml", with_bodywork.setup)
    again = setupopt.evaluate(bore, read_setup(tmp_path / "proposed.toml"), with_bodywork.between.cases)
    assert again.worst_margin[0] == pytest.approx(with_bodywork.margin, abs=1e-9)


def test_same_seed_same_proposal(hill: Project, proposal: Proposal) -> None:
    """Two runs give the same setup, the same alternatives, the same prices."""
    again = setupopt.propose(hill, ProposalOptions(starts=2))
    assert again.setup == proposal.setup
    assert again.margin == proposal.margin
    assert again.alternatives == proposal.alternatives
    assert again.prices == proposal.prices


def test_evidence_is_in_order(proposal: Proposal, with_bodywork: Proposal) -> None:
    """Steps cost no less than nothing, parts neither; nothing is above the bound; all prices are checked."""
    for found in (proposal, with_bodywork):
        told = found.evidence
        assert found.weighted_margin <= told.with_parts + 1e-6
        assert told.with_parts <= told.continuous + 1e-4
        assert told.continuous <= told.bound + 1e-9
        assert told.parts is not None
        assert told.parts.is_finished
        assert told.parts.solves < 0.02 * told.parts.count
        assert all(price.agrees for price in found.prices)
        assert sum(binding.weight for binding in found.active_cases) == pytest.approx(1.0, abs=1e-6)


def test_the_best_body_is_chosen(bore: Project, with_bodywork: Proposal) -> None:
    """No other body alone is worth more; today's body is an alternative, for it loses less than was asked."""
    alone = {
        body: setupopt.propose(with_body(bore, body), replace(QUICK, keep=("body",)))
        for body in (None, "low-drag")
    }
    assert with_bodywork.setup.body == "long-floor"
    assert all(found.setup.body == body for body, found in alone.items())
    assert with_bodywork.margin > max(found.margin for found in alone.values()) + 0.01
    other = next(a for a in with_bodywork.alternatives if a.setup.body is None)
    assert other.margin == pytest.approx(alone[None].margin, abs=2e-3)


def test_what_is_kept_stays(hill: Project) -> None:
    """Pinned settings are those of today, to the last digit; the rest still gains."""
    found = setupopt.propose(hill, replace(QUICK, keep=("camber_deg", "rear.spring_N_per_mm")))
    assert found.setup.front.camber == hill.setup.front.camber
    assert found.setup.rear.camber == hill.setup.rear.camber
    assert found.setup.rear.spring == hill.setup.rear.spring
    assert found.margin > found.start_margin


def test_everything_kept_is_told(hill: Project) -> None:
    """Nothing left to search is no proposal."""
    keys = tuple(setting.key for setting in SETTINGS)
    with pytest.raises(UserError, match="--keep leaves no setting free"):
        setupopt.propose(hill, replace(QUICK, keep=keys))


def test_only_the_body_left_free(bore: Project) -> None:
    """Every setting kept, the bodies are still chosen among."""
    keys = tuple(setting.key for setting in SETTINGS)
    found = setupopt.propose(bore, replace(QUICK, keep=keys))
    assert found.setup == replace(bore.setup, name=found.setup.name, body="long-floor")


def test_a_floor_is_kept_and_costs_the_others(hill: Project, proposal: Proposal) -> None:
    """An attitude asked for more than it has gets it; those that are raised pay."""
    name, has, *_ = proposal.by_attitude()[-1]
    found = setupopt.propose(hill, replace(QUICK, minimum_margins={name: has + 0.005}))
    margins = {attitude: margin for attitude, margin, *_ in found.by_attitude()}
    assert margins[name] >= has + 0.005 - 1e-6
    assert found.weighted_margin < proposal.weighted_margin
    assert found.missed_minimums == ()


def test_a_floor_out_of_reach_is_told(hill: Project) -> None:
    """Never hidden behind a margin: the attitude is named, and the proposal does not hold."""
    name = hill.venue.attitudes[0].name
    found = setupopt.propose(hill, replace(QUICK, minimum_margins={name: 0.95}))
    assert found.missed_minimums == (name,)
    assert not found.holds


def test_weights_move_the_worst_elsewhere(hill: Project, proposal: Proposal) -> None:
    """An attitude that counts more ends with more margin, and the worst of the rest with less."""
    name, has, *_ = proposal.by_attitude()[2]
    found = setupopt.propose(hill, replace(QUICK, weights={name: 1.15}))
    margins = {attitude: margin for attitude, margin, *_ in found.by_attitude()}
    assert margins[name] > has
    assert found.weighted_margin == pytest.approx(
        min(1 - w * (1 - margins[n]) for n, _, w, _ in found.by_attitude()), abs=1e-6
    )


def test_robust_stands_more(hill: Project) -> None:
    """Its worst build is better than that of the exact proposal; what that costs is told."""
    found = setupopt.propose(hill, replace(QUICK, robust=True))
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


def test_limits_that_cannot_be_met_are_told(hill: Project) -> None:
    """An impossible least wheel load is named, never hidden behind a margin."""
    assert hill.limits is not None
    packaging = replace(hill.limits.packaging, wheel_load_least=5000.0)
    impossible = setupopt.propose(replace(hill, limits=replace(hill.limits, packaging=packaging)), QUICK)
    assert not impossible.holds
    assert any("wheel_load" in limit.limit for limit in impossible.broken)


def test_a_storage_that_cannot_be_is_one_message(hill: Project) -> None:
    """A driver that is not installed, and an address that is none."""
    for url in ("postgresql+nothing://host/study", "no address", "mysql://nobody@nowhere/study"):
        with pytest.raises(UserError, match="--study"):
            setupopt.propose(hill, replace(QUICK, study=url))


def _big(folder: Path) -> Path:
    """The hill on a fine sweep with long shelves: its parts take a while."""
    project = folder / "project"
    shutil.copytree(SETUPS / "hill", project)
    limits = (project / "limits.toml").read_text()
    shelf = ", ".join(str(s) for s in range(60, 131, 7))
    (project / "limits.toml").write_text(limits.replace("[60, 70, 80, 90, 100, 115, 130]", f"[{shelf}]"))
    return project


def _command(project: Path, out: Path, study: str) -> list[str]:
    program = "from setupopt.cli.main import main; main()"
    asked = ["--json", "--quiet", "--starts", "1", "--alternatives", "0", "--study", study, "--out", str(out)]
    return [sys.executable, "-c", program, "propose", str(project), *asked]


def _boxes(url: str) -> int:
    """Boxes opened so far in the one study of a storage."""
    try:
        (name,) = optuna.get_all_study_names(url)
        return len(optuna.load_study(study_name=name, storage=url).trials)
    except Exception:
        return 0


def test_killed_and_continued(tmp_path: Path) -> None:
    """Killed without warning as soon as a box is begun, and continued: the setup of a run left alone."""
    project, url = _big(tmp_path), f"sqlite:///{tmp_path / 'kept.db'}"
    process = subprocess.Popen(_command(project, tmp_path / "cut", url), stdout=subprocess.DEVNULL)
    while process.poll() is None and _boxes(url) < 1:
        time.sleep(0.02)
    os.kill(process.pid, signal.SIGKILL)
    assert process.wait() == -signal.SIGKILL, "it was done before it could be killed"
    answers = []
    for out, study in (("on", url), ("whole", f"sqlite:///{tmp_path / 'alone.db'}")):
        done = subprocess.run(_command(project, tmp_path / out, study), capture_output=True, check=False)
        answers.append(json.loads(done.stdout))
    assert answers[0]["setup"] == answers[1]["setup"]
    assert answers[0]["margin"] == answers[1]["margin"]


def test_two_runs_at_once_do_not_share_a_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
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
    assert coarse("hill", 5.0).venue.sweep.step == 5.0 * setupopt.load(SETUPS / "hill").venue.sweep.step


def test_problems_share_their_variables(bore: Project) -> None:
    """Every body is searched in the same settings, so that points of one mean the same for another."""
    names = {
        tuple(v.name for v in problem_of(with_body(bore, b)).variables)
        for b in (None, "low-drag", "long-floor")
    }
    assert len(names) == 1
