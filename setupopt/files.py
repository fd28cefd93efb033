"""Files written whole or not at all, regular files read, and folders that nobody else can write to."""

from __future__ import annotations

import errno
import fcntl
import os
import re
import select
import signal
import stat
import tempfile
import threading
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, Self

from setupopt.errors import OutputError

# The interrupt first: from then on nothing is raised between two lines of ours.
_ENDING = tuple(
    getattr(signal, name)
    for name in ("SIGINT", "SIGTERM", "SIGHUP")
    if hasattr(signal, name)
)
_SPARE = re.compile(r"\..*\.[0-9a-f]{12}\.setupopt\.tmp", re.DOTALL)
_BLOCK = 1 << 20
_PATIENCE = 30.0  # s that the reader of a FIFO may take nothing
_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISBLK, "a disk"),
)


# ---- writing -----------------------------------------------------------------------------------------------


def write_whole(path: str | Path, data: str | bytes) -> None:
    """Write `data` (text as UTF-8) to `path`: readers see the old file or the new one, never a part.

    Half a letter, which names of files may hold, is written as its number. What asks the run to end waits
    until the file is there. Raises OutputError when `path` cannot be written; the old file then stays.
    """
    write_together({Path(path): data})


class Growing:
    """A file that is written piece by piece, beside its place, and then put there by `write_together`.

    Nothing is there before the first piece; leaving the block takes away what was not put in place.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._spares = ExitStack()
        self._handle: int | None = None
        self.spare: Path | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        with undisturbed():
            self._spares.close()

    def write(self, text: str) -> None:
        """Append a piece. Raises OutputError."""
        if self._handle is None:
            with undisturbed():
                self._open()
        assert self._handle is not None
        with _as_output_error(self.path):
            _write_all(self._handle, _encoded(text))

    def read(self) -> bytes:
        """All that was written."""
        assert self.spare is not None
        return self.spare.read_bytes()

    def _open(self) -> None:
        mode = _old_mode(self.path)
        target = resolved(self.path)
        folder = target.parent
        if mode is not None and not stat.S_ISREG(mode):
            folder = Path(tempfile.gettempdir())
        while not folder.is_dir():
            folder = (
                folder.parent
            )  # it is made when there is something to put into it
        with _as_output_error(self.path):
            self.spare, self._handle = _spare(
                folder, target.name, mode, self._spares
            )


def write_together(contents: Mapping[Path, str | bytes | Growing]) -> None:
    """Write several files as `write_whole` does: none of them where one cannot be written.

    A file that is written again keeps its mode, a link stays a link. A FIFO or a device is written into; a
    folder, a disk or a socket is refused before anything is written.
    """
    with undisturbed(), ExitStack() as spares:
        modes = {path: _old_mode(path) for path in contents}
        streams = [
            path
            for path, mode in modes.items()
            if mode is not None and not stat.S_ISREG(mode)
        ]
        ready = [
            (path, *_beside(path, contents[path], mode, spares))
            for path, mode in modes.items()
            if path not in streams
        ]
        for path in streams:
            with _as_output_error(path):
                _write_stream(path, contents[path])
        for path, spare, target in ready:
            with _as_output_error(path):
                spare.replace(target)


def _encoded(data: str | bytes) -> bytes:
    return (
        data.encode("utf-8", "backslashreplace")
        if isinstance(data, str)
        else data
    )


def _old_mode(path: Path) -> int | None:
    """Kind and mode of what `path` leads to; None where there is nothing. Refuses what cannot be written."""
    with _as_output_error(path):
        try:
            mode = path.stat().st_mode
        except FileNotFoundError:
            return None
        for is_kind, name in _KINDS:
            if is_kind(mode):
                raise OSError(f"it is {name}")
    return mode


def _write_stream(path: Path, data: str | bytes | Growing) -> None:
    """Write into a FIFO or a device, which need a reader that takes something every half minute."""
    handle = os.open(path, os.O_WRONLY | os.O_NONBLOCK | os.O_NOCTTY)
    try:
        if not isinstance(data, Growing):
            _write_all(handle, _encoded(data))
        elif data.spare is not None:
            with data.spare.open("rb") as stream:
                while piece := stream.read(_BLOCK):
                    _write_all(handle, piece)
    finally:
        os.close(handle)


def _write_all(handle: int, raw: bytes) -> None:
    left = memoryview(raw)
    while left:
        if not select.select([], [handle], [], _PATIENCE)[1]:
            raise OSError(errno.ETIMEDOUT, "nothing reads from it")
        left = left[os.write(handle, left) :]


def resolved(path: Path) -> Path:
    """Where a path leads, links followed. Raises OutputError."""
    with _as_output_error(path):
        return path.resolve()


@contextmanager
def _as_output_error(path: Path) -> Iterator[None]:
    """Errors of the system become one kind."""
    try:
        yield
    except (
        OSError,
        ValueError,
        RuntimeError,
    ) as error:  # a NUL in the name; links in a circle
        raise OutputError(str(path), reason(error)) from None


@contextmanager
def undisturbed() -> Iterator[None]:
    """Signals that end the run wait until the block is done. No more than that outside the main thread."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    before = {
        number: signal.signal(number, lambda got, _: came.append(got))
        for number in _ENDING
    }
    try:
        yield
    finally:
        for number in reversed(_ENDING):
            signal.signal(number, before[number] or signal.SIG_DFL)
        for number in came:
            signal.raise_signal(number)


def reason(error: Exception) -> str:
    """What an operating system says of a file, without its number and its name."""
    return (error.strerror if isinstance(error, OSError) else None) or str(
        error
    )


def short(name: str) -> str:
    """So much of a file's name that more can be put to it: 255 bytes are all that most disks take."""
    return (
        os.fsdecode(os.fsencode(name)[:100])
        if len(os.fsencode(name)) > 100
        else name
    )


def _beside(
    path: Path,
    data: str | bytes | Growing,
    mode: int | None,
    spares: ExitStack,
) -> tuple[Path, Path]:
    """The data in a spare file beside its target; and that target. The stack takes away what is left."""
    target = resolved(path)  # a link stays a link, its target is replaced
    with _as_output_error(path):
        if isinstance(data, Growing):
            assert data.spare is not None
            with data.spare.open("rb") as written:
                os.fsync(written.fileno())
            return data.spare, target
        spare, handle = _spare(target.parent, target.name, mode, spares)
        _write_all(handle, _encoded(data))
        os.fsync(handle)
    return spare, target


def _spare(
    folder: Path, name: str, mode: int | None, spares: ExitStack
) -> tuple[Path, int]:
    """A new spare file in a folder, open, for a file of a name and a mode; the stack takes it away.

    It is locked until the stack ends, so that no other run takes it for one of a killed run.
    """
    _remove_abandoned(folder)
    spare = folder / f".{short(name)}.{os.urandom(6).hex()}.setupopt.tmp"
    spares.callback(spare.unlink, missing_ok=True)
    # os.open, because tempfile makes files that only their owner can read
    permissions = 0o644 if mode is None else stat.S_IMODE(mode)
    handle = os.open(
        spare, os.O_WRONLY | os.O_CREAT | os.O_EXCL, permissions & 0o777
    )
    spares.callback(os.close, handle)
    _lock_if_possible(handle)
    if mode is not None:
        os.fchmod(handle, permissions)
    return spare, handle


def _lock_if_possible(handle: int) -> bool:
    """Lock an open file; False where another run has it, or the disk knows no locks."""
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _remove_abandoned(folder: Path) -> None:
    """Remove the spare files of killed runs: nobody holds the lock of one that has some content."""
    for spare in [
        path for path in folder.iterdir() if _SPARE.fullmatch(path.name)
    ]:
        with suppress(OSError):
            handle = os.open(spare, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
            try:
                # An empty one may have been made just now, and not be locked yet
                if os.fstat(handle).st_size and _lock_if_possible(handle):
                    spare.unlink()
            finally:
                os.close(handle)


# ---- reading -----------------------------------------------------------------------------------------------


def open_regular(path: Path, most: int) -> BinaryIO:
    """A regular file of at most `most` bytes. Raises OSError, also for a FIFO, a device or a folder."""
    handle = os.open(
        path, os.O_RDONLY | os.O_NONBLOCK
    )  # a FIFO would wait for a writer
    found = os.fstat(handle)
    kind = "it is not a file" if not stat.S_ISREG(found.st_mode) else ""
    fault = kind or (
        f"it has more than {most} bytes" if found.st_size > most else ""
    )
    if fault:
        os.close(handle)
        raise OSError(fault)
    return os.fdopen(handle, "rb")


def read_regular(path: Path, most: int) -> bytes:
    """All that `open_regular` opens."""
    with open_regular(path, most) as file:
        return file.read(most)


# ---- folders -----------------------------------------------------------------------------------------------


def cache_home(*variables: str) -> Path | None:
    """The program's own folder in the cache; None where there is no private one, so that nothing is kept.

    `variables`: names in the environment, of which the first one set decides; else ~/.cache. Where that
    cannot be used, a folder of the user in the temporary directory. Kernels are read with pickle, which can
    run what it reads: another user must not be able to write here.
    """
    named = next(
        (os.environ[name] for name in variables if os.environ.get(name)), None
    )
    if _is_private(folder := _user_cache(named)):
        return folder
    with suppress(OSError):  # no temporary directory at all
        own = Path(tempfile.gettempdir()) / f"setupopt-{os.getuid()}"
        return own if _is_private(own) else None
    return None


def _user_cache(named: str | None) -> Path | None:
    if named is not None:
        return Path(named) / "setupopt"
    with suppress(
        RuntimeError
    ):  # no HOME, and no entry of the user in the list of passwords
        return Path.home() / ".cache" / "setupopt"
    return None


def _is_private(folder: Path | None) -> bool:
    """Whether a folder is there, or can be made, belongs to the user and is open to nobody else.

    One that others can read is closed to them. One that others can write to is not used.
    """
    if folder is None:
        return False
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileExistsError):
            folder.mkdir(mode=0o700)
        found = folder.lstat()
        if (
            not stat.S_ISDIR(found.st_mode)
            or found.st_uid != os.geteuid()
            or found.st_mode & 0o022
        ):
            return False
        if found.st_mode & 0o077:
            folder.chmod(0o700)
    except (OSError, ValueError):
        return False
    return os.access(folder, os.W_OK)
