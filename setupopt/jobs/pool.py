"""Executors that state how many jobs they run at a time."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from typing import Any


class WorkerPool(Executor):
    """An executor that states how many jobs it runs at a time: `threads`."""

    @property
    def threads(self) -> int:
        """Jobs at a time; where machines come and go, those of now."""
        raise NotImplementedError


class SerialExecutor(WorkerPool):
    """Runs every job inside `submit`, in the caller's thread; an error of the job leaves `submit`."""

    @property
    def threads(self) -> int:
        """One."""
        return 1

    def submit(
        self, do: Callable[..., Any], /, *args: Any, **kwargs: Any
    ) -> Future[Any]:
        """The finished job."""
        done: Future[Any] = Future()
        done.set_result(do(*args, **kwargs))
        return done
