"""`--cluster` and shared studies with machines that are killed: the same numbers as a run alone.

Whole studies on several processes, minutes each: run by hand, `pytest tests/benchmarks/test_cluster.py`.
"""

# Fixtures are taken by name
# ruff: noqa: F401, F811

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from cluster_fixtures import EFFORT, SEARCH, Run, answer, few, kept, pair
from dask_machines import Machines, killed_when
from short_proofs import SHORT

from setupopt.cli.main import group
from setupopt.jobs import cluster

# Twenty-four chunks about gusts, of a tenth of a second each, are most of the work.
PROVE = (*SHORT, "--directions", "24")


@pytest.fixture(name="run")
def run_here() -> Run:
    """Runs a command line in this process."""
    return lambda *args: CliRunner().invoke(
        group, [str(arg) for arg in args], prog_name="setupopt"
    )


@pytest.fixture(scope="module")
def proved(few: Path) -> dict[str, Any]:
    """The proof without a cluster."""
    done = CliRunner().invoke(
        group, ["prove", str(few), *PROVE, "--json", "--quiet"]
    )
    return dict(json.loads(done.stdout))


def test_prove_with_a_worker_killed(
    run: Run, few: Path, proved: dict[str, Any], pair: Machines, kept: Path
) -> None:
    """SIGKILL to one of two workers among the gusts: the JSON of a run without a cluster; nothing is left."""
    pair.start(2)
    with killed_when(
        pair.workers[0], lambda: len(list(kept.glob("*/gusts-*"))) >= 3
    ):
        found = answer(
            run,
            "prove",
            few,
            *PROVE,
            "--json",
            "--quiet",
            "--cluster",
            pair.address,
        )
    assert found == proved
    assert not list(kept.glob("*/*"))


def test_propose_with_a_worker_killed(
    run: Run, few: Path, pair: Machines, tmp_path: Path
) -> None:
    """Boxes of parts are jobs; SIGKILL once some are begun: the same setup, prices and evidence."""
    files = [tmp_path / name for name in ("with.db", "without.db")]
    asked = (
        "propose",
        few,
        *SEARCH,
        "--alternatives",
        "0",
        "--out",
        tmp_path / "out",
    )
    pair.start(2)
    with killed_when(pair.workers[0], lambda: begun(files[0])):
        found = answer(
            run,
            *asked,
            "--study",
            f"sqlite:///{files[0]}",
            "--cluster",
            pair.address,
        )
    expected = answer(run, *asked, "--study", f"sqlite:///{files[1]}")
    assert found == expected


def test_two_runs_share_a_study_and_one_is_killed(
    run: Run, few: Path, tmp_path: Path
) -> None:
    """Three processes on one database, one killed while it has a box open: the others end at the setup,
    margin and evidence of a run alone."""
    shared, alone = (
        f"sqlite:///{tmp_path / name}" for name in ("shared.db", "alone.db")
    )
    asked = ["propose", str(few), *SEARCH, "--alternatives", "0"]
    line = [
        sys.executable,
        "-c",
        "from setupopt.cli.main import main; main()",
        *asked,
        "--study",
        shared,
    ]
    runs = [
        subprocess.Popen(
            [*line, "--out", str(tmp_path / name)],
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        for name in ("killed", "first", "second")
    ]
    with killed_when(runs[0], lambda: begun(tmp_path / "shared.db")):
        told = [json.loads(one.communicate(timeout=300)[0]) for one in runs[1:]]
    assert runs[0].wait(60) == -signal.SIGKILL
    expected = answer(
        run, *asked, "--study", alone, "--out", tmp_path / "alone"
    )
    for one in told:
        assert {
            key: value for key, value in one.items() if key not in EFFORT
        } == expected
    assert not (tmp_path / "killed").exists()


def begun(database: Path) -> int:
    """How many boxes a study's workers have begun."""
    with (
        suppress(sqlite3.OperationalError),
        closing(sqlite3.connect(f"file:{database}?mode=ro", uri=True)) as db,
    ):
        return int(
            db.execute(
                "select count(*) from trial_user_attributes where key = 'opened'"
            ).fetchone()[0]
        )
    return 0


# ---- machines that are lost --------------------------------------------------------------------------------


@pytest.mark.parametrize("what", ["only worker", "scheduler"])
def test_what_is_finished_outlives_the_machines(
    run: Run, few: Path, proved: dict[str, Any], pair: Machines, kept: Path, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch, what: str,
) -> None:  # fmt: skip
    """One message, status 2, nothing written; the next run goes on from there to the same numbers."""
    monkeypatch.setattr(cluster, "_ALONE", 1.0)
    asked, out = ("prove", few, *PROVE, "--json", "--quiet"), tmp_path / "out"
    pair.start(1)
    lost = pair.scheduler if what == "scheduler" else pair.workers[0]
    with killed_when(lost, lambda: len(list(kept.glob("*/gusts-*"))) >= 3):
        result = run(*asked, "--out", out, "--cluster", pair.address)
    assert (result.exit_code, result.stdout) == (2, "")
    assert len(result.stderr.splitlines()) == 1
    assert (
        "what is finished is kept, the same command goes on from there"
        in result.stderr
    )
    assert not out.exists()
    assert 3 <= len(list(kept.glob("*/gusts-*"))) < 24
    if what == "scheduler":
        assert answer(run, *asked) == proved
        assert not list(kept.glob("*/*"))
