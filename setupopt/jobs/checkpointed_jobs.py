"""Long studies in small chunks: on all cores or any executor, in bounded memory, taken up where they ended.

A study is a row of independent jobs. Each answers with one array, a chunk, which is kept on disk until the
study is finished: what was broken off, by Ctrl-C or by the power, goes on from there to the same numbers.
"""

from __future__ import annotations

import hashlib
import io
import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field, fields, is_dataclass
from functools import cache, partial
from importlib.metadata import version
from pathlib import Path
from queue import SimpleQueue
from typing import Any, Protocol, TypeVar

import numpy as np
import scipy

import setupopt
from setupopt.errors import OutputError
from setupopt.files import write_whole
from setupopt.physics import jit
from setupopt.physics.sweep import workers

Job = TypeVar("Job")
Job_co = TypeVar("Job_co", covariant=True)

_KEPT_DAYS = 30  # of a study that nobody took up again
_AHEAD = 4  # jobs per worker begun before their turn
_CHECKSUM = 32  # bytes of SHA-256


# ---- which study it is -------------------------------------------------------------------------------------


def fingerprint(*parts: object) -> str:
    """Name of a study: 32 hexadecimal digits of all that decides its numbers.

    `parts`: None, numbers, strings, arrays, and tuples, lists and dataclasses of them, taken to the
    last bit; to them come this program's sources and the libraries it counts with. The parts must tell
    the jobs too, and how they are cut. Raises TypeError for anything else, such as a path or a function.
    """
    digest = hashlib.sha256(_program().encode())
    for piece in _encode(parts):
        digest.update(piece)
    return digest.hexdigest()[:32]


def program() -> dict[str, str]:
    """What decides numbers besides the inputs: versions and sources of this program and its libraries."""
    digest = hashlib.sha256()
    for source in sorted(Path(__file__).parents[1].rglob("*.py")):
        digest.update(source.read_bytes())
    own = {"setupopt": setupopt.__version__, "numpy": np.__version__, "scipy": scipy.__version__}
    solvers = {name: version(name) for name in ("cvxpy", "clarabel")}
    return own | solvers | {"kernels": jit.fingerprint(), "sources": digest.hexdigest()[:16]}


@cache
def _program() -> str:
    """Chunks of another program must not be mixed with those of this one."""
    return " ".join(f"{name} {told}" for name, told in program().items()) + ";"


def _encode(part: Any) -> Iterator[bytes]:
    """Kind and exact value; every piece tells where it ends, so that no two parts read alike."""
    kind = type(part)
    if isinstance(part, float):  # numpy's too; repr is the shortest text that reads back as the same number
        yield f"float {float(part)!r};".encode()
    elif part is None or kind in (bool, int, str, bytes):
        yield f"{kind.__name__} {part!r};".encode()
    elif kind is np.ndarray or isinstance(part, np.generic):
        yield from _encode_array(np.asarray(part))
    elif kind is list or isinstance(part, tuple):
        yield from _encode_all(kind, part)
    elif is_dataclass(kind):
        yield from _encode_all(kind, [(f.name, getattr(part, f.name)) for f in fields(kind)])
    else:
        raise TypeError(f"no part of a study's fingerprint: {kind.__module__}.{kind.__qualname__}")


def _encode_all(kind: type, parts: Any) -> Iterator[bytes]:
    yield f"{kind.__module__}.{kind.__qualname__} of {len(parts)};".encode()
    for part in parts:
        yield from _encode(part)


def _encode_array(array: np.ndarray) -> Iterator[bytes]:
    """Type, shape and bytes; records field by field, for between the fields may lie anything."""
    if array.dtype.hasobject:
        raise TypeError("no part of a study's fingerprint: an array of objects")
    yield f"array {array.dtype.names or array.dtype.str} {array.shape};".encode()
    if array.dtype.names:
        for name in array.dtype.names:
            yield from _encode_array(array[name])
    else:
        yield array.tobytes()


# ---- finished chunks ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Store:
    """Finished chunks of one study, each a file of `folder`: the array as .npy after its checksum.

    A convenience, never a condition: what cannot be written is not kept, what cannot be trusted is not there.
    """

    folder: Path

    @classmethod
    def open(cls, study: str) -> Store:
        """The chunks of a study by its fingerprint, in the user's cache, or in a temporary folder where that
        cannot be written. Forgets studies that were not touched for 30 days."""
        user = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
        for base in (user, Path(tempfile.gettempdir())):
            folder = base / "setupopt" / jit.UNFINISHED / study
            if _is_touched(folder):
                _forget_old(folder.parent)
                break
        return cls(folder)

    def read(self, name: str) -> np.ndarray | None:
        """A chunk, or None where there is none or its file is damaged."""
        try:
            raw = (self.folder / name).read_bytes()
            whole = hashlib.sha256(raw[_CHECKSUM:]).digest() == raw[:_CHECKSUM]
            return _from_npy(raw[_CHECKSUM:]) if whole else None
        except (OSError, ValueError):
            return None

    def write(self, name: str, array: np.ndarray) -> None:
        """Keep a chunk, whole or not at all; a full disk must not end a study. No arrays of objects."""
        raw = _to_npy(array)
        with suppress(OSError, OutputError):
            self.folder.mkdir(parents=True, exist_ok=True)
            write_whole(self.folder / name, hashlib.sha256(raw).digest() + raw)

    def finish(self) -> None:
        """Forget the study: its folder, and those above it that are left empty."""
        shutil.rmtree(self.folder, ignore_errors=True)
        with suppress(OSError):  # another study, or compiled kernels
            self.folder.parent.rmdir()
            self.folder.parents[1].rmdir()


def _is_touched(folder: Path) -> bool:
    """Make the folder if need be, and mark it as used now; whether that went well."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        os.utime(folder)
    except OSError:
        return False
    return os.access(folder, os.W_OK)


def _forget_old(home: Path) -> None:
    limit = time.time() - _KEPT_DAYS * 24 * 3600
    with suppress(OSError):  # another run may be clearing up too
        for folder in home.iterdir():
            if folder.is_dir() and folder.stat().st_mtime < limit:
                shutil.rmtree(folder, ignore_errors=True)


def _to_npy(array: np.ndarray) -> bytes:
    file = io.BytesIO()
    np.save(file, array, allow_pickle=False)
    return file.getvalue()


def _from_npy(raw: bytes) -> np.ndarray:
    return np.asarray(np.load(io.BytesIO(raw), allow_pickle=False))


# ---- who does it -------------------------------------------------------------------------------------------


class WorkerPool(Executor):
    """An executor that tells how many jobs it does at once: `threads`."""

    @property
    def threads(self) -> int:
        """Jobs at once; on machines that come and go, those of now."""
        raise NotImplementedError


class SerialExecutor(WorkerPool):
    """Does every job at once, in the thread that asks; what goes wrong comes out of `submit`."""

    @property
    def threads(self) -> int:
        """One."""
        return 1

    def submit(self, do: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """The job, done."""
        done: Future[Any] = Future()
        done.set_result(do(*args, **kwargs))
        return done


# ---- the run -----------------------------------------------------------------------------------------------


class Jobs(Protocol[Job_co]):
    """What `run_chunks` asks of the jobs; every sequence has it. They may be made as they are asked for."""

    def __len__(self) -> int: ...

    def __getitem__(self, index: int, /) -> Job_co: ...


def run_chunks(
    name: str,
    do: Callable[[Job], np.ndarray],
    jobs: Jobs[Job],
    *,
    store: Store | None = None,
    pool: Executor | None = None,
    progress: Callable[[int], object] | None = None,
    ahead: int | None = None,
) -> Iterator[np.ndarray]:
    """Answers of `do` to all `jobs`, in their order; those that the store holds are not asked for again.

    `do` runs on all local cores, or in `pool`; another machine's must be able to pickle it and the jobs.
    At most `ahead` jobs are begun before their turn, if not said 4 for each thread of a crew or each local
    core. `progress(1)` is told of every chunk done or found. An error, Ctrl-C, or closing the iterator
    cancels what has not begun; what has is waited for (but in a `pool`, not) and kept. Same answers on any
    number of workers.
    """
    own = pool or ThreadPoolExecutor(workers())
    work = _Work(name, do, jobs, store, own)
    most, begun = ahead or _most_ahead(pool), 0
    try:
        for turn in range(len(jobs)):
            while begun < min(turn + most, len(jobs)):
                work.begin(begun)
                begun += 1
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
    """How many jobs may be begun before their turn: enough that no worker waits for a slow one."""
    if isinstance(pool, SerialExecutor):
        return 1
    return _AHEAD * (max(1, pool.threads) if isinstance(pool, WorkerPool) else workers())


@dataclass(frozen=True)
class _Work:
    """Chunks between their beginning and their turn.

    A chunk is kept by the thread that learns of its end, whatever the reader of the results does meanwhile,
    and only then handed over: who has the last chunk may clear the store.
    """

    name: str
    do: Callable[[Any], np.ndarray]
    jobs: Jobs[Any]
    store: Store | None
    pool: Executor
    begun: dict[int, Future[np.ndarray]] = field(default_factory=dict)
    ended: SimpleQueue[tuple[int, np.ndarray | BaseException]] = field(default_factory=SimpleQueue)
    ready: dict[int, np.ndarray] = field(default_factory=dict)

    def begin(self, index: int) -> None:
        found = self.store.read(f"{self.name}-{index:05d}") if self.store else None
        if found is not None:
            self.ended.put((index, found))
            return
        self.begun[index] = self.pool.submit(self.do, self.jobs[index])
        self.begun[index].add_done_callback(partial(self.end, index))

    def end(self, index: int, future: Future[np.ndarray]) -> None:
        try:
            # as a file gives it back: a chunk computed now and one kept must be alike in layout too
            chunk = _from_npy(_to_npy(future.result()))
            if self.store:
                self.store.write(f"{self.name}-{index:05d}", chunk)
            self.ended.put((index, chunk))
        except BaseException as error:
            self.ended.put((index, error))

    def receive(self) -> None:
        """Wait for the next chunk that ends, whichever it is; raises what it raised."""
        index, chunk = self.ended.get()
        self.begun.pop(index, None)
        if isinstance(chunk, BaseException):
            raise chunk
        self.ready[index] = chunk

    def cancel(self) -> None:
        for future in self.begun.values():
            future.cancel()
