"""`--cluster`: the same numbers from a Dask scheduler and two workers; refusals. Kills are benchmarks."""

# Fixtures are taken by name
# ruff: noqa: F401, F811

from __future__ import annotations

import socket
import sys
from pathlib import Path

import pytest
from cluster_fixtures import SEARCH, answer, few, kept, pair
from dask_machines import Machines
from short_proofs import SHORT as PROVE

from setupopt.jobs import cluster

from .conftest import Run

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
