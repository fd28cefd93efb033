"""The revision log of a project: who set what, when, the margin then. Lines are added, never rewritten."""

from __future__ import annotations

import csv
import errno
import fcntl
import io
import os
import stat
from dataclasses import astuple, dataclass, fields, replace
from pathlib import Path

from setupopt.errors import OutputError
from setupopt.files import reason, undisturbed
from setupopt.project.csv_write import csv_text

LOG = "revisions.csv"
MOST_BYTES = 20_000_000  # of the log; a line has about 200


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


def reserve(folder: Path, revision: Revision) -> Revision:
    """The revision with its number, which no other one has: a line in the log, before any sheet is written.

    The setup of the last line keeps its number and gets no new line: printing a sheet again is no revision.
    Runs at the same time wait for each other. Raises OutputError.
    """
    log = folder / LOG
    try:
        # Without waiting for the other end of a FIFO
        handle = os.open(
            log, os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_NONBLOCK, 0o644
        )
        try:
            with undisturbed():
                return _reserve(handle, revision)
        finally:
            os.close(handle)
    except csv.Error as error:
        raise OutputError(str(log), f"it is damaged: {error}") from None
    except OSError as error:
        raise OutputError(str(log), reason(error)) from None


def _reserve(handle: int, revision: Revision) -> Revision:
    """Under the lock of the log."""
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        raise OSError("it is not a file")
    fcntl.flock(handle, fcntl.LOCK_EX)
    size = os.fstat(handle).st_size
    if size > MOST_BYTES:
        raise OSError(f"it has more than {MOST_BYTES} bytes")
    text = os.pread(handle, size, 0).decode("utf-8", "replace")
    rows = list(csv.DictReader(io.StringIO(text)))
    numbers = [_number(row, place) for place, row in enumerate(rows, start=1)]
    if rows and rows[-1].get("checksum") == revision.checksum:
        return replace(revision, revision=numbers[-1])
    new = replace(revision, revision=max([len(rows), *numbers]) + 1)
    _add(handle, size, _line(text, new))
    return new


def _number(row: dict[str, str], place: int) -> int:
    """Number of a line of the log; a damaged line has that of its place."""
    text = row.get("revision") or ""
    return (
        int(text)
        if text.isascii() and text.isdigit() and len(text) < 10
        else place
    )


def _line(text: str, revision: Revision) -> str:
    """The line; before it the heading of a new log, or the end of a line that was cut off."""
    heading = [field.name for field in fields(Revision)]
    with_heading = csv_text(heading, [astuple(revision)])
    if not text:
        return with_heading
    end = "" if text.endswith("\n") else "\n"
    return end + with_heading.partition("\n")[2]


def _add(handle: int, size: int, line: str) -> None:
    """The line at the end of the log; what a full disk took only a part of is taken back."""
    raw = line.encode("utf-8", "backslashreplace")
    try:
        if os.write(handle, raw) < len(raw):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(handle)
    except BaseException:
        os.ftruncate(handle, size)
        raise
