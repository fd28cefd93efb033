"""`--cluster` and shared studies with machines that are killed: the same numbers as a run alone.

Whole studies on several processes, minutes each: run by hand, `pytest tests/benchmarks/test_cluster.py`.
"""

from __future__ import annotations

import json
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from dask_machines import Machines, killed_when, machines

from setupopt.cli.main import group
from setupopt.jobs import cluster

Run = Callable[..., Result]
SETUPS = Path(__file__).resolve().parents[2] / "setups"
# Twenty-four chunks about gusts, of a tenth of a second each, are most of the work.
PROVE = (
    "--seeds",
    "4",
    "--seconds",
    "2",
    "--ride-cases",
    "1",
    "--builds",
    "16",
    "--directions",
    "24",
)
SEARCH = ("--starts", "1", "--json", "--quiet")
EFFORT = (
    "evaluations",
    "seconds",
)  # what it took; all else must be the same to the last digit


@pytest.fixture(name="run")
def run_here() -> Run:
    """Runs a command line in this process."""
    return lambda *args: CliRunner().invoke(
        group, [str(arg) for arg in args], prog_name="setupopt"
    )


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machines]:
    """A scheduler for two workers."""
    with machines(tmp_path_factory.mktemp("machines")) as found:
        yield found


@pytest.fixture(autouse=True)
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where this test's own broken-off studies are; compiled kernels are shared."""
    from setupopt.physics.kept_kernels import cache_folder

    monkeypatch.setenv("NUMBA_CACHE_DIR", str(cache_folder().parents[1]))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "setupopt" / "unfinished"


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bore at two roll angles, with three bodies; only springs may change."""
    folder = tmp_path_factory.mktemp("few") / "project"
    shutil.copytree(
        SETUPS / "bore",
        folder,
        ignore=shutil.ignore_patterns("proved", "sheets", "*.csv", "*.svg"),
    )
    venue, limits = folder / "venue.toml", folder / "limits.toml"
    first, *attitudes = (
        venue.read_text()
        .replace("to = 180, step = 5", "to = 180, step = 180")
        .split("[[")
    )
    venue.write_text("[[".join([first, *attitudes[:1]]))
    ranges = (
        "camber_deg = {",
        "ride_height_mm = {",
        "pressure_bar = {",
        "anti_roll_N_per_mm = ",
        "third_N",
    )
    kept = (
        line
        for line in limits.read_text().splitlines()
        if not line.startswith(ranges)
    )
    limits.write_text("\n".join(kept))
    return folder


@pytest.fixture(scope="module")
def proved(few: Path) -> dict[str, Any]:
    """The proof without a cluster."""
    done = CliRunner().invoke(
        group, ["prove", str(few), *PROVE, "--json", "--quiet"]
    )
    return dict(json.loads(done.stdout))


def answer(run: Run, *args: str | Path) -> dict[str, Any]:
    """What a script is told."""
    result = run(*args)
    assert result.exit_code in (0, 1), result.stderr
    return {
        key: value
        for key, value in json.loads(result.stdout).items()
        if key not in EFFORT
    }


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
