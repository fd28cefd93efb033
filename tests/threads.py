"""Crews of threads that stand in for the workers of a machine."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

from setupopt.jobs.pool import WorkerPool


class Threads(WorkerPool):
    """A crew of threads."""

    def __init__(self, count: int) -> None:
        self.pool, self.count = ThreadPoolExecutor(count), count

    @property
    def threads(self) -> int:
        return self.count

    def submit(
        self, do: Callable[..., Any], /, *args: Any, **kwargs: Any
    ) -> Future[Any]:
        return self.pool.submit(do, *args, **kwargs)
