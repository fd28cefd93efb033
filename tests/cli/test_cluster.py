"""`--cluster`: the same numbers from a Dask scheduler and two workers; refusals. Kills are benchmarks."""

from __future__ import annotations

import json
import shutil
import socket
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from dask_machines import Machines, machines

from setupopt.jobs import cluster

from .conftest import Run

SETUPS = Path(__file__).resolve().parents[2] / "setups"
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
    "4",
)
SEARCH = ("--starts", "1", "--json", "--quiet")
EFFORT = (
    "evaluations",
    "seconds",
)  # what it took; all else must be the same to the last digit


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
    """The bore at two roll angles in one attitude, with three bodies; only springs may change."""
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


def answer(run: Run, *args: str | Path) -> dict[str, Any]:
    """What a script is told."""
    result = run(*args)
    assert result.exit_code in (0, 1), result.stderr
    return {
        key: value
        for key, value in json.loads(result.stdout).items()
        if key not in EFFORT
    }


# ---- the same numbers --------------------------------------------------------------------------------------


def test_compare_on_two_workers(
    run: Run, few: Path, pair: Machines, kept: Path
) -> None:
    """Each body a job: the same ranking, margins and reasons; nothing is left."""
    pair.start(2)
    found = answer(run, "compare", few, *SEARCH, "--cluster", pair.address)
    assert found == answer(run, "compare", few, *SEARCH)
    assert not list(kept.glob("*/*"))


# ---- refusals ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["prove", "compare", "propose"])
@pytest.mark.parametrize(
    "address",
    ["127.0.0.1:8786", "tcp://127.0.0.1", "tcp://10.0.0.5 :8786", "tcp://10.0.0.5:8786 ", "http://a:1", "",
     "tcp://:8786", "tcp://a:99999", "tcp://a:port", "tcp://a:1/x", "tcp://me:secret@a:1", "tcp://[::1:8786"],
)  # fmt: skip
def test_bad_addresses_are_refused(
    run: Run, few: Path, command: str, address: str
) -> None:
    """What was found and what is expected; status 2, and the project is not even read."""
    result = run(command, few / "nowhere", "--cluster", address)
    assert (result.exit_code, result.stdout) == (2, "")
    assert (
        f"found {address!r}, expected the address of a Dask scheduler, such as tcp://"
        in result.stderr
    )


def test_without_the_extra_it_is_named(
    run: Run, few: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Which extra to install, and how."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    result = run("prove", few, *PROVE, "--cluster", "tcp://127.0.0.1:8786")
    assert (result.exit_code, result.stdout) == (2, "")
    assert (
        "extra `cluster`, as in pip install 'setupopt[cluster]'"
        in result.stderr
    )


def test_nobody_answers(
    run: Run, few: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A port where nothing listens: one message within the time to connect, nothing written."""
    monkeypatch.setattr(cluster, "_CONNECT", 0.3)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
        result = run(
            "prove",
            few,
            *PROVE,
            "--out",
            tmp_path / "out",
            "--cluster",
            address,
        )
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(
        f"--cluster {address}: no Dask scheduler can be reached"
    )
    assert len(result.stderr.splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_tls_without_certificates_says_where_they_go(
    run: Run, few: Path
) -> None:
    """They are dask's to configure."""
    result = run("prove", few, *PROVE, "--cluster", "tls://127.0.0.1:8786")
    assert result.exit_code == 2
    assert "DASK_DISTRIBUTED__COMM__TLS__CA_FILE" in result.stderr


def test_another_program_is_refused(
    run: Run, few: Path, pair: Machines, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kernels of another version on a worker: told by worker and by what differs."""
    pair.start(1)
    other = cluster.identity() | {"kernels": "0123456789abcdef"}
    monkeypatch.setattr(cluster, "program", lambda: other)
    cluster.identity.cache_clear()
    result = run("prove", few, *PROVE, "--cluster", pair.address)
    cluster.identity.cache_clear()
    assert (result.exit_code, result.stdout) == (2, "")
    assert "runs another program (kernels " in result.stderr
    assert "0123456789abcdef here" in result.stderr
    assert "numpy" not in result.stderr


def test_a_cluster_for_nothing_is_refused(run: Run, few: Path) -> None:
    """compare --as-is searches nothing: who asks for machines there has misunderstood one of the two."""
    result = run("compare", few, "--as-is", "--cluster", "tcp://127.0.0.1:8786")
    assert result.exit_code == 2
    assert "--as-is" in result.stderr
