"""Verdicts: each against the plain evaluation of the situation that it tells."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import evaluate
from setupopt.physics.ride_run import STOOD
from setupopt.project import Project
from setupopt.report.prove.fields import JudgedReport
from setupopt.report.prove.text import text
from setupopt.robust.bump import BumpRides
from setupopt.robust.robustness import (
    RobustnessOptions,
    RobustnessReport,
    prove,
)
from setupopt.robust.verdict import Verdict
from setupopt.robust.verdicts import verdicts
from setupopt.robust.wind import with_wind

PLAN = RobustnessOptions(
    seconds=1.0, seeds=2, ride_cases=1, builds=8, directions=2, bump=0.5
)


@pytest.fixture(scope="module")
def proof(
    bore: Project, tmp_path_factory: pytest.TempPathFactory
) -> RobustnessReport:
    """Two roll angles, straight and in a crosswind."""
    venue = replace(
        bore.venue,
        sweep=replace(bore.venue.sweep, step=np.radians(180.0)),
        attitudes=bore.venue.attitudes[:4:3],
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        return prove(replace(bore, venue=venue, folder=Path()), PLAN)


@pytest.fixture(scope="module")
def rows(proof: RobustnessReport) -> dict[str, Verdict]:
    """By what they speak of."""
    return {verdict.what: verdict for verdict in verdicts(proof)}


def test_what_few_rides_show_is_said(rows: dict[str, Verdict]) -> None:
    """None of two rides failed: no chance near zero, as up to 84 in 100 may (1 - 0.025^(1/2), Clopper-Pearson)."""
    road = rows["rough road"]
    assert road.found == 0.0
    assert "0 to 84 %" in road.how


@pytest.mark.parametrize("along", [False, True])
def test_the_report_fits_its_terminal(
    proof: RobustnessReport, along: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a section of parts, too, where every place has its metres along."""
    if along:
        monkeypatch.setattr(
            CaseSet, "along", lambda *_: {"along_mm": 12345.678}
        )
    screen = text(JudgedReport(proof), 80)
    assert max(map(len, screen.splitlines())) <= 80
    assert ("12346" in screen) == along
    assert "< 0.001" not in screen


def test_margin_as_set_is_the_evaluation(
    proof: RobustnessReport, rows: dict[str, Verdict]
) -> None:
    """Worst margin and its case."""
    plain = evaluate(proof.project)
    assert rows["margin as set"].found == pytest.approx(
        float(plain.worst_margin[0]), abs=1e-12
    )
    assert rows["margin as set"].row == int(plain.worst[0])


def test_changes_do_what_they_say(
    proof: RobustnessReport, rows: dict[str, Verdict]
) -> None:
    """Worst steady margin before and after each change, by plain evaluations; none falls under the floor."""
    changes = [
        verdict.change
        for verdict in rows.values()
        if verdict.change is not None
    ]
    assert changes
    for change in changes:
        before, after = evaluate(
            proof.project, [proof.setup, change.setup]
        ).worst_margin
        assert (change.worst_before, change.worst_after) == pytest.approx(
            (before, after), abs=1e-8
        )
        assert after >= min(proof.plan.floor, before)
        assert change.gain > 0


def test_steady_wind_is_held_and_a_little_more_is_not(
    proof: RobustnessReport, rows: dict[str, Verdict]
) -> None:
    """In the case and from the direction that it tells."""
    worst = proof.gust.found[proof.gust.worst_steady]
    direction, speed = float(worst["direction"]), rows["steady wind"].found
    assert speed is not None
    for share, held in ((1.0, True), (1.1, False)):
        cases = with_wind(proof.steady.cases, share * speed, direction)
        assert (
            evaluate(proof.project, cases=cases).worst_margin[0]
            >= proof.plan.floor
        ) == held


def test_what_is_asked_is_judged(rows: dict[str, Verdict]) -> None:
    """Half a metre of bump is asked and not stood; nothing is asked of the wind; broken rows come first."""
    assert rows["bump"].asked == pytest.approx(500.0)
    assert rows["bump"].holds is False
    assert rows["steady wind"].holds is None
    assert next(iter(rows.values())).holds is False


def test_road_is_judged_by_its_rides(
    proof: RobustnessReport, rows: dict[str, Verdict]
) -> None:
    """The share told is that of the ridden case that fares worst."""
    assert proof.road is not None
    worst = max(ridden.sums.chance_fallen()[0] for ridden in proof.road.ridden)
    assert rows["rough road"].found == pytest.approx(100.0 * worst)


def test_bump_is_stood_and_its_instant_stands_beside(
    proof: RobustnessReport, rows: dict[str, Verdict]
) -> None:
    """The row's height is stood in its case; the words give the instantaneous number as no verdict."""
    row = rows["bump"].row
    assert row is not None
    rides = BumpRides(proof.project, proof.setup, proof.steady.cases)
    assert (
        rides.cross(row, proof.bump.allowance.obstacle(row))["reason"][0]
        == STOOD
    )
    assert "no verdict" in rows["bump"].how


def test_faults_are_named_at_every_angle(
    proof: RobustnessReport, rows: dict[str, Verdict]
) -> None:
    """Eleven faults at both angles; a locked wheel leaves less time than a lost drive."""
    assert proof.faults.found.size == 2 * 11
    assert len(set(proof.faults.names)) == 11
    seconds = {
        word: proof.faults.of(word)["seconds"].min()
        for word in ("drive", "locked")
    }
    assert seconds["locked"] < seconds["drive"]
    assert "the driver has" in rows["one wheel locked"].how


def test_notebooks_show_every_verdict(
    proof: RobustnessReport, rows: dict[str, Verdict]
) -> None:
    """A row for each, below the names of the columns."""
    shown = proof._repr_html_()
    assert shown.count("<tr") == len(rows) + 1
    assert all(what in shown for what in rows)
