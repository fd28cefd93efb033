"""Files written whole or not at all."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path

from setupopt.errors import OutputError

# The interrupt first: from then on nothing is raised between two lines of ours.
_ENDING = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))


def write_whole(path: str | Path, data: str | bytes) -> None:
    """Write `data` (text as UTF-8) to `path`: readers see the old file or the new one, never a part.

    Half a letter, which names of files may hold, is written as its number. What asks the run to end waits
    until the file stands. Raises OutputError when the place cannot be written; the old file then stays.
    """
    write_together({Path(path): data})


def write_together(contents: Mapping[Path, str | bytes]) -> None:
    """Write several files as `write_whole` does: none of them where one cannot be written."""
    with undisturbed(), ExitStack() as spares:
        ready = [(path, *_beside(path, data, spares)) for path, data in contents.items()]
        for path, spare, target in ready:
            with _told(path):
                spare.replace(target)


def resolved(path: Path) -> Path:
    """Where a path leads, links followed. Raises OutputError."""
    with _told(path):
        return path.resolve()


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """What the disk says as one error."""
    try:
        yield
    except (OSError, ValueError, RuntimeError) as error:  # a NUL in the name; links in a circle
        raise OutputError(str(path), reason(error)) from None


@contextmanager
def undisturbed() -> Iterator[None]:
    """Signals that end the run wait until the block is done. No more than that outside the main thread."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    before = {number: signal.signal(number, lambda told, _: came.append(told)) for number in _ENDING}
    try:
        yield
    finally:
        for number in reversed(_ENDING):
            signal.signal(number, before[number] or signal.SIG_DFL)
        for number in came:
            signal.raise_signal(number)


def reason(error: Exception) -> str:
    """What an operating system says of a file, without its number and its name."""
    return (error.strerror if isinstance(error, OSError) else None) or str(error)


def short(name: str) -> str:
    """So much of a file's name that more can be put to it: 255 bytes are all that most disks take."""
    return os.fsdecode(os.fsencode(name)[:100]) if len(os.fsencode(name)) > 100 else name


def _beside(path: Path, data: str | bytes, spares: ExitStack) -> tuple[Path, Path]:
    """The data in a file beside its target, taken away if it is there at the end; and that target."""
    raw = data.encode("utf-8", "backslashreplace") if isinstance(data, str) else data
    target = resolved(path)  # a link stays a link, its target is replaced
    with _told(path):
        spare = target.with_name(f".{short(target.name)}.{os.urandom(6).hex()}.tmp")
        spares.callback(spare.unlink, missing_ok=True)
        # os.open, because tempfile makes files that only their owner can read
        handle = os.open(spare, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
        with os.fdopen(handle, "wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
    return spare, target
