"""Jobs on a scheduler's workers: what comes back, what is refused."""

from __future__ import annotations

import re
import socket
import ssl
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import suppress
from pathlib import Path

import numpy as np
import psutil
import pytest
from dask_machines import LOOPBACK, machines

from setupopt.jobs import cluster as rooms
from setupopt.jobs.cluster import ClusterError, cluster
from setupopt.jobs.pool import WorkerPool
from setupopt.jobs.run import run_chunks


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A scheduler with one worker."""
    with machines(tmp_path_factory.mktemp("machines")) as found:
        found.start(1)
        yield found.address


@pytest.fixture
def crew(address: str) -> Iterator[WorkerPool]:
    """The worker."""
    with cluster(address) as found:
        yield found


def test_chunks_come_in_order_to_the_last_bit(crew: WorkerPool) -> None:
    """The same sines and square roots as here, record for record; one thread is told."""
    assert crew.threads == 1
    angles = [np.linspace(0.0, number, 7) for number in range(20)]
    found = run_chunks("a", np.sin, angles, pool=crew)
    assert [one.tobytes() for one in found] == [
        np.sin(one).tobytes() for one in angles
    ]


def test_machines_listen_at_their_host_alone(
    tmp_path: Path, address: str
) -> None:
    """As docs/cluster.md starts them nothing listens elsewhere, not even the web server without a page."""
    listening = [
        found.laddr.ip
        for process in psutil.Process().children(recursive=True)
        for found in process.net_connections("inet")
        if found.status == psutil.CONN_LISTEN
    ]
    assert len(listening) >= 2
    assert set(listening) == {LOOPBACK}
    page = Path(__file__).parents[2] / "docs" / "cluster.md"
    starts = re.findall(
        r"dask (?:scheduler|worker) .*", page.read_text(encoding="utf-8")
    )
    assert len(starts) == 2
    hidden = " --no-dashboard --dashboard-address 127.0.0.1:0"
    assert all(" --host " in line and hidden in line for line in starts)


def test_a_jobs_own_error_comes_out(crew: WorkerPool) -> None:
    """As it was raised there, and the crew goes on."""
    with pytest.raises(ZeroDivisionError):
        crew.submit(divmod, 1, 0).result(timeout=30)
    assert crew.submit(divmod, 7, 2).result(timeout=30) == (3, 1)


def test_what_cannot_be_sent_is_an_error_of_the_job(crew: WorkerPool) -> None:
    """Not taken for a scheduler that was lost."""
    with pytest.raises(TypeError, match="serialize"):
        crew.submit(len, threading.Lock()).result(timeout=30)


def test_a_job_that_is_cancelled_is_not_begun(
    crew: WorkerPool, tmp_path: Path
) -> None:
    """One worker is busy; what waits behind it and is cancelled leaves no trace."""
    busy: Future[None] = crew.submit(time.sleep, 0.5)
    behind = [
        crew.submit(Path.touch, tmp_path / f"{number}") for number in range(5)
    ]
    assert all(one.cancel() for one in behind)
    busy.result(timeout=30)
    crew.submit(divmod, 7, 2).result(timeout=30)
    assert list(tmp_path.iterdir()) == []


def test_a_worker_that_came_later_is_refused_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Every job tells what program it expects, and is done by no other."""
    ours = rooms.identity()
    assert rooms._do(ours, divmod, 7, 2) == (3, 1)
    for name in ours:
        with pytest.raises(ClusterError, match=name):
            rooms._do(ours | {name: "other"}, divmod, 7, 2)


def test_a_scheduler_without_workers_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With how to start one, after a while and not never."""
    monkeypatch.setattr(rooms, "_FIRST_WORKER", 0.3)
    with (
        machines(tmp_path) as alone,
        pytest.raises(
            ClusterError, match=f"no workers.*dask worker {alone.address}"
        ),
        cluster(alone.address),
    ):
        pass


@pytest.mark.parametrize("scheme", ["tcp", "tls"])
@pytest.mark.parametrize(
    "said",
    [
        b"",
        b"SSH-2.0-OpenSSH_9.2\r\n",
        b"HTTP/1.1 400 Bad Request\r\n\r\n",
        b"\xff" * 64,
    ],
)
def test_what_is_no_scheduler_ends_in_a_message(
    said: bytes, scheme: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A listener that says nothing, and ports of other programs: one message, after the time to connect.

    Dask's own client waited for minutes at the first, and ended in tracebacks of its own at the others.
    """
    monkeypatch.setattr(rooms, "_CONNECT", 0.5)
    encryption = {"ssl_context": ssl.create_default_context()}
    monkeypatch.setattr(
        "distributed.Security.get_connection_args", lambda *_: encryption
    )
    with socket.create_server(("127.0.0.1", 0)) as server:
        address = f"{scheme}://127.0.0.1:{server.getsockname()[1]}"
        held: list[socket.socket] = []

        def greet() -> None:
            with suppress(OSError):
                held.append(server.accept()[0])
                held[0].sendall(said)

        threading.Thread(target=greet, daemon=True).start()
        begun = time.monotonic()
        with (
            pytest.raises(
                ClusterError, match="no Dask scheduler can be reached"
            ),
            cluster(address),
        ):
            pass
        assert time.monotonic() - begun < 30.0
        for one in held:
            one.close()
