"""Studies on many machines: the jobs go to a Dask scheduler, by its address, as to any other executor.

A job that was lost with its worker is done again by another. Jobs and answers travel as `distributed` packs
them, which is by pickle: whoever reaches a scheduler can run code on its machines. Nothing of that is kept on
disk.
"""

from __future__ import annotations

import logging
import socket
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future, InvalidStateError
from contextlib import contextmanager, suppress
from functools import cache, partial
from importlib import import_module
from ssl import SSLContext
from typing import Any
from urllib.parse import urlsplit

from setupopt.errors import UserError
from setupopt.jobs.fingerprint import program
from setupopt.jobs.pool import WorkerPool

_CONNECT = 4.0  # seconds in which a scheduler must answer
_LONGEST_GREETING = 1 << 20  # bytes
_FIRST_WORKER = 10.0  # seconds to wait for the first worker
_ALONE = 60.0  # seconds that a scheduler may be without workers in the middle of the work
_LOOK = 1.0  # seconds between two looks at the scheduler
_CLOSE = 2.0  # seconds to say goodbye in
_SAME = "install the same setupopt and libraries on every machine, and start the workers again"


class ClusterError(UserError):
    """The machines asked for cannot be used, or no longer."""


def refuse_address(address: str) -> None:
    """Raises ClusterError for what is no address of a scheduler: tcp://HOST:PORT or tls://HOST:PORT."""
    with suppress(
        ValueError
    ):  # a port that is no number, or brackets that do not close
        parts = urlsplit(address)
        bare = f"{parts.scheme}://{parts.netloc}" == address and not any(
            c.isspace() for c in address
        )
        if (
            bare
            and parts.scheme in ("tcp", "tls")
            and parts.hostname
            and parts.port
            and not parts.username
        ):
            return
    raise ClusterError(
        f"--cluster: found {address!r}, expected the address of a Dask scheduler, such as tcp://10.0.0.5:8786"
    )


@contextmanager
def cluster(address: str) -> Iterator[WorkerPool]:
    """The workers of a Dask scheduler as an executor.

    TLS and timeouts are those of dask's own configuration. Raises ClusterError where the address is none, the
    extra `cluster` is not installed, nobody answers, there are no workers, or one runs another program; and,
    out of the jobs' futures, where scheduler or workers are lost for good.
    """
    refuse_address(address)
    client = _client(address)
    try:
        _refuse_workers(address, client)
        with _Machines(address, client) as machines:
            yield machines
    finally:
        with suppress(
            Exception
        ):  # a scheduler that is gone is no reason to fail
            client.close(timeout=_CLOSE)


# ---- before the work ---------------------------------------------------------------------------------------


def _client(address: str) -> Any:
    """A connection to the scheduler."""
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise ClusterError(
            "--cluster needs dask and distributed, which are not installed: install setupopt with its extra "
            "`cluster`, as in pip install 'setupopt[cluster]'"
        ) from None
    for name in (
        "distributed",
        "distributed.client",
        "distributed.core",
        "distributed.comm",
    ):
        logging.getLogger(name).setLevel(
            logging.CRITICAL + 1
        )  # what matters is said as an error, once
    is_tls = address.startswith("tls:")
    encryption = (
        distributed.Security().get_connection_args("client")["ssl_context"]
        if is_tls
        else None
    )
    if is_tls and not encryption:
        raise ClusterError(
            f"--cluster {address}: dask's configuration names no certificates; set "
            "DASK_DISTRIBUTED__COMM__TLS__CA_FILE and those of the client"
        )
    try:
        _require_greeting(address, encryption)
        return distributed.Client(
            address, timeout=_CONNECT, set_as_default=False
        )
    except (
        Exception
    ) as error:  # whatever a wrong address, name, port or certificate brings
        reason = str(error).strip().splitlines()[:1] or [type(error).__name__]
        raise ClusterError(
            f"--cluster {address}: no Dask scheduler can be reached ({reason[0]})"
        ) from None


def _require_greeting(address: str, encryption: SSLContext | None) -> None:
    """Raises OSError unless a scheduler greets at the address, as dask's do before they are spoken to.

    A greeting begins with its length, 8 bytes, the least first. Dask's own client waits without end at a port
    where somebody listens and says nothing.
    """
    parts = urlsplit(address)
    with socket.create_connection(
        (parts.hostname or "", parts.port or 0), timeout=_CONNECT
    ) as peer:
        try:
            stream = (
                encryption.wrap_socket(peer, server_hostname=parts.hostname)
                if encryption
                else peer
            )
            with stream, stream.makefile("rb") as greetings:
                greeting = greetings.read(8)
        except TimeoutError:
            raise OSError(
                f"something listens there, but says nothing for {_CONNECT:g} s"
            ) from None
    if (
        len(greeting) < 8
        or int.from_bytes(greeting, "little") > _LONGEST_GREETING
    ):
        raise OSError("what answers there is something else")


@cache
def identity() -> dict[str, str]:
    """The program that runs here, as it was when a scheduler first asked for it."""
    return program()


def _refuse_workers(address: str, client: Any) -> None:
    """Raises ClusterError unless there are workers and all of them run this very program."""
    try:
        client.wait_for_workers(1, timeout=_FIRST_WORKER)
        told = client.run(identity, on_error="return")
    except Exception as error:
        reason = (
            "it has no workers"
            if "Timeout" in type(error).__name__
            else str(error)
        )
        raise ClusterError(
            f"--cluster {address}: {reason}; start some with: dask worker {address}"
        ) from None
    for worker, there in sorted(told.items()):
        _refuse_other(there, worker)


def _refuse_other(there: Any, worker: str) -> None:
    """Raises ClusterError where a worker's program is not the one that runs here."""
    told = (
        str(there)
        if not isinstance(there, dict)
        else _difference(there, identity())
    )
    if told:
        raise ClusterError(
            f"worker {worker} runs another program ({told}): {_SAME}"
        )


def _difference(there: dict[str, str], here: dict[str, str]) -> str:
    """In words, what two programs differ in; empty where they do not."""
    names = [
        name for name in {**here, **there} if here.get(name) != there.get(name)
    ]
    return ", ".join(
        f"{name} {there.get(name)} there, {here.get(name)} here"
        for name in names
    )


# ---- the work ----------------------------------------------------------------------------------------------


def _brought(do: Any) -> Any:
    """What does the jobs, on a worker; it goes to each of them once, and again where one was lost."""
    return do


def _do(expected: dict[str, str], do: Callable[..., Any], *args: Any) -> Any:
    """One job on a worker, unless it came after the look at the workers with another program."""
    told = _difference(identity(), expected)
    if told:
        raise ClusterError(
            f"a worker on {socket.gethostname()} runs another program ({told}): {_SAME}"
        )
    return do(*args)


class _Machines(WorkerPool):
    """The workers of a scheduler. A thread of its own sees to it that nobody waits for ever."""

    def __init__(self, address: str, client: Any) -> None:
        self.address, self.client = address, client
        self.waiting: dict[
            Future[Any], Any
        ] = {}  # and the scheduler's own futures of the same jobs
        self.brought: tuple[Any, Any] = None, None
        self.closed = threading.Event()

    def __enter__(self) -> _Machines:
        threading.Thread(target=self._watch, daemon=True).start()
        return self

    def __exit__(self, *exception: object) -> None:
        self.closed.set()

    @property
    def threads(self) -> int:
        """Those of all workers of now."""
        try:
            return sum(self.client.nthreads().values())
        except Exception:
            raise self._lost() from None

    def submit(
        self, do: Callable[..., Any], /, *args: Any, **kwargs: Any
    ) -> Future[Any]:
        """A job for any worker; what does it is sent once for all jobs in a row that it does."""
        if self.brought[0] is not do:
            self.brought = do, self._begun(_brought, do)
        here: Future[Any] = Future()
        there = self._begun(
            partial(_do, identity()), self.brought[1], *args, **kwargs
        )
        self.waiting[here] = there
        here.add_done_callback(self._forget)
        there.add_done_callback(partial(self._end, here))
        return here

    def _begun(self, do: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
        try:
            return self.client.submit(do, *args, pure=False, **kwargs)
        except Exception as error:
            raise self._told(error) from None

    def _end(self, here: Future[Any], there: Any) -> None:
        """Hand an answer over, or what went wrong; called in a thread of the connection's."""
        try:
            if there.status == "cancelled":
                raise self._lost()
            _settle(here, there.result(), None)
        except BaseException as error:
            _settle(here, None, self._told(error))

    def _told(self, error: BaseException) -> BaseException:
        """What the user is told: the job's own mistake, or what happened to the machines."""
        if type(error).__name__ == "KilledWorker":
            return ClusterError(
                f"--cluster {self.address}: one and the same job ended several workers, perhaps for want of "
                "memory; what is finished is kept"
            )
        is_ours = (
            self.client.status == "running"
            and "Cancelled" not in type(error).__name__
        )
        return error if is_ours else self._lost()

    def _forget(self, here: Future[Any]) -> None:
        """Nobody waits for it any more: the scheduler need not begin it, or may forget its answer."""
        there = self.waiting.pop(here, None)
        if there is not None:
            there.release()

    def _lost(self, what: str = "the scheduler was lost") -> ClusterError:
        return ClusterError(
            f"--cluster {self.address}: {what}; what is finished is kept, the same command goes on from there"
        )

    def _watch(self) -> None:
        """End all waiting where the scheduler is gone, or has been without workers for long."""
        alone = 0.0
        while not self.closed.wait(_LOOK):
            alone = 0.0 if self._has_workers() else alone + _LOOK
            if self.client.status != "running":
                self._fail(self._lost())
            elif alone >= _ALONE:
                self._fail(
                    self._lost(f"for {_ALONE:.0f} s there has been no worker")
                )

    def _has_workers(self) -> bool:
        try:
            return bool(self.client.nthreads())
        except Exception:
            return False

    def _fail(self, error: ClusterError) -> None:
        for here in list(self.waiting):
            _settle(here, None, error)


def _settle(
    future: Future[Any], answer: Any, error: BaseException | None
) -> None:
    """End a future, unless it has ended: cancelled here, or given up."""
    with suppress(InvalidStateError):
        if error is None:
            future.set_result(answer)
        else:
            future.set_exception(error)
