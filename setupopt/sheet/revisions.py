"""The revision log of a project: who set what, when, the margin then. Lines are added, never rewritten."""

from __future__ import annotations

import csv
import errno
import fcntl
import io
import os
from dataclasses import astuple, dataclass, fields
from pathlib import Path

from setupopt.errors import OutputError
from setupopt.files import reason, undisturbed
from setupopt.project.csv_write import csv_text

LOG = "revisions.csv"


@dataclass(frozen=True)
class Revision:
    """One line of the log."""

    revision: int
    date: str
    by: str
    setup: str
    checksum: str
    margin: str
    changes: str


def next_revision(folder: Path, checksum: str) -> tuple[int, bool]:
    """Number of the revision that a setup has or gets, and whether it is a new one.

    The setup of the last line keeps its number: printing a sheet again is no revision.
    """
    rows = _rows(folder / LOG)
    if rows and rows[-1].get("checksum") == checksum:
        return len(rows), False
    return len(rows) + 1, True


def _rows(log: Path) -> list[dict[str, str]]:
    """Lines of the log; none where there is none. A damaged line still counts as one."""
    try:
        text = log.read_text(encoding="utf-8", errors="replace")
    except FileNotFoundError:
        return []
    except OSError as error:
        raise OutputError(str(log), reason(error)) from None
    try:
        return list(csv.DictReader(io.StringIO(text)))
    except csv.Error as error:
        raise OutputError(str(log), f"it is damaged: {error}") from None


def append(folder: Path, revision: Revision) -> Path:
    """Add one line, whole or not at all, after a new heading where the log is new. Raises OutputError."""
    log = folder / LOG
    try:
        handle = os.open(log, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o644)
        try:
            with undisturbed():
                _add(handle, revision)
        finally:
            os.close(handle)
    except OSError as error:
        raise OutputError(str(log), reason(error)) from None
    return log


def _add(handle: int, revision: Revision) -> None:
    """One run at a time; what a full disk took only a part of is taken back."""
    fcntl.flock(handle, fcntl.LOCK_EX)
    size = os.fstat(handle).st_size
    raw = _text(handle, size, revision).encode("utf-8", "backslashreplace")
    try:
        if os.write(handle, raw) < len(raw):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(handle)
    except BaseException:
        os.ftruncate(handle, size)
        raise


def _text(handle: int, size: int, revision: Revision) -> str:
    """The line; before it the heading of a new log, or the end of a line that was cut off."""
    cut_off = size and os.pread(handle, 1, size - 1) != b"\n"
    heading = [field.name for field in fields(Revision)]
    with_heading = csv_text(heading, [astuple(revision)])
    return with_heading if not size else ("\n" if cut_off else "") + with_heading.partition("\n")[2]
