"""Long studies in small chunks: on all cores or any executor, in bounded memory, resumable.

A study is a sequence of independent jobs. The answer of each is one array, a chunk, which is kept on disk
until the study is finished: a study that was stopped, by Ctrl-C or by a power failure, goes on from there to
the same numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from queue import SimpleQueue
from typing import Any, Protocol, TypeVar

import numpy as np

from setupopt.jobs.chunk_ranges import Progress
from setupopt.jobs.pool import SerialExecutor, WorkerPool
from setupopt.jobs.store import Store, from_npy, to_npy
from setupopt.physics.jit import workers

Job = TypeVar("Job")
Job_co = TypeVar("Job_co", covariant=True)

_AHEAD = 4  # jobs per worker that start before their turn


class Jobs(Protocol[Job_co]):
    """What `run_chunks` needs of the jobs; every sequence has it. A job may be made when it is read."""

    def __len__(self) -> int: ...

    def __getitem__(self, index: int, /) -> Job_co: ...


def run_chunks(
    name: str,
    do: Callable[[Job], np.ndarray],
    jobs: Jobs[Job],
    *,
    store: Store | None = None,
    pool: Executor | None = None,
    progress: Progress | None = None,
    ahead: int | None = None,
) -> Iterator[np.ndarray]:
    """Answers of `do` to all `jobs`, in their order. A chunk that the store holds is not computed again.

    `do` runs on all local cores, or in `pool`; for another machine `do` and the jobs must pickle. At most
    `ahead` jobs start before their turn, by default 4 for each thread of the pool or each local core.
    `progress(1)` is called for every chunk computed or found. An error, Ctrl-C, or closing the iterator
    cancels the jobs that have not started. Those that have are waited for (not in a `pool`) and kept. The
    answers are the same for any number of workers.
    """
    own = pool or ThreadPoolExecutor(workers())
    work = _Work(name, do, jobs, store, own)
    most = ahead or _most_ahead(pool)
    started = 0
    try:
        for turn in range(len(jobs)):
            while started < min(turn + most, len(jobs)):
                work.start(started)
                started += 1
            while turn not in work.ready:
                work.receive()
                if progress is not None:
                    progress(1)
            yield work.ready.pop(turn)
    finally:
        work.cancel()
        if pool is None:
            own.shutdown()


def _most_ahead(pool: Executor | None) -> int:
    """How many jobs may start before their turn: enough that no worker waits for a slow one."""
    if isinstance(pool, SerialExecutor):
        return 1
    return _AHEAD * (
        max(1, pool.threads) if isinstance(pool, WorkerPool) else workers()
    )


@dataclass(frozen=True)
class _Work:
    """Chunks between their start and their turn.

    The thread that learns of a chunk's end keeps the chunk, whatever the reader of the results does
    meanwhile, and only then hands it over: the reader may remove the store after the last chunk.
    """

    name: str
    do: Callable[[Any], np.ndarray]
    jobs: Jobs[Any]
    store: Store | None
    pool: Executor
    running: dict[int, Future[np.ndarray]] = field(default_factory=dict)
    ended: SimpleQueue[tuple[int, np.ndarray | BaseException]] = field(
        default_factory=SimpleQueue
    )
    ready: dict[int, np.ndarray] = field(default_factory=dict)

    def start(self, index: int) -> None:
        """Find the chunk in the store, or submit its job."""
        found = (
            self.store.read(f"{self.name}-{index:05d}") if self.store else None
        )
        if found is not None:
            self.ended.put((index, found))
            return
        self.running[index] = self.pool.submit(self.do, self.jobs[index])
        self.running[index].add_done_callback(partial(self.end, index))

    def end(self, index: int, future: Future[np.ndarray]) -> None:
        """Keep the chunk of a finished job and hand it over, or its error."""
        try:
            # through the file format: a computed chunk and one from the store must have the same layout
            chunk = from_npy(to_npy(future.result()))
            if self.store:
                self.store.write(f"{self.name}-{index:05d}", chunk)
            self.ended.put((index, chunk))
        except BaseException as error:
            self.ended.put((index, error))

    def receive(self) -> None:
        """Wait for the next chunk that ends, whichever it is. Raises the error of its job."""
        index, chunk = self.ended.get()
        self.running.pop(index, None)
        if isinstance(chunk, BaseException):
            raise chunk
        self.ready[index] = chunk

    def cancel(self) -> None:
        """Cancel the jobs that have not started."""
        for future in self.running.values():
            future.cancel()
