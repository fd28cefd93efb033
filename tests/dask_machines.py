"""A Dask scheduler and its workers on this machine, for tests; whatever happens, none outlives them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from threading import Thread
from typing import Any

import distributed

from setupopt.physics.kept_kernels import cache_folder

LOOPBACK = "127.0.0.1"


def wait_until(holds: Callable[[], Any], seconds: float = 60.0) -> None:
    """Wait until it holds; busy cores start processes slowly."""
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.02)


@dataclass
class Machines:
    """A scheduler at a free port of the loopback, and workers of one thread each."""

    folder: Path
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._start_scheduler()

    def _start_scheduler(self) -> None:
        told = self.folder / "scheduler.json"
        told.unlink(missing_ok=True)
        self.scheduler = self._start(
            "scheduler", "--port", "0", "--scheduler-file", told
        )
        wait_until(lambda: told.exists() and told.read_text())
        self.address = str(json.loads(told.read_text())["address"])

    def _start(self, what: str, *args: object) -> subprocess.Popen[bytes]:
        """`dask scheduler` or `dask worker` in a process of its own, with the tests' compiled kernels."""
        kernels = str(cache_folder().parents[1])
        own = {
            "SETUPOPT_THREADS": "1",
            "NUMBA_CACHE_DIR": kernels,
            "XDG_CACHE_HOME": str(self.folder / "cache"),
        }
        hidden = ("--no-dashboard", "--dashboard-address", f"{LOOPBACK}:0")
        words = [
            "-m",
            "dask",
            what,
            "--host",
            LOOPBACK,
            *hidden,
            *map(str, args),
        ]
        with (self.folder / f"{what}.log").open("ab") as log:
            return subprocess.Popen(
                [sys.executable, *words],
                env=os.environ | own,
                stdout=log,
                stderr=log,
            )

    def start(self, count: int) -> None:
        """So many workers, no more, ready for work; and a scheduler, if it was killed."""
        if self.scheduler.poll() is not None:
            self.kill()
            self._start_scheduler()
        self.workers = [
            worker for worker in self.workers if worker.poll() is None
        ]
        for extra in self.workers[count:]:
            extra.kill()
            extra.wait()
        while len(self.workers) < count:
            room = (
                "--nthreads",
                1,
                "--no-nanny",
                "--local-directory",
                self.folder / "room",
            )
            self.workers.append(self._start("worker", self.address, *room))
        self.workers = self.workers[:count]
        with distributed.Client(self.address, set_as_default=False) as client:
            wait_until(lambda: len(client.nthreads()) == count)

    def kill(self) -> None:
        """SIGKILL to everything that still runs."""
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()


@contextmanager
def machines(folder: Path) -> Iterator[Machines]:
    """A scheduler without workers yet."""
    folder.mkdir(parents=True, exist_ok=True)
    found = Machines(folder)
    try:
        yield found
    finally:
        found.kill()


@contextmanager
def killed_when(
    process: subprocess.Popen[bytes], holds: Callable[[], Any]
) -> Iterator[None]:
    """SIGKILL to a process as soon as it holds, which must be before the block ends."""
    over: list[bool] = []
    early: list[bool] = []

    def watch() -> None:
        while not over and not holds():
            time.sleep(0.01)
        early.append(not over)
        process.kill()

    thread = Thread(target=watch, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.append(True)
        thread.join(10.0)
    assert early == [True], "it ended before anything was killed"
