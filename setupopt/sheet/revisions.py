"""The revision log of a project: who set what, when, the margin then. Lines are added, never rewritten."""

from __future__ import annotations

import csv
import io
import os
from dataclasses import astuple, dataclass, fields
from pathlib import Path

from setupopt.errors import OutputError

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
        raise OutputError(str(log), error.strerror or str(error)) from None
    return list(csv.DictReader(io.StringIO(text)))


def append(folder: Path, revision: Revision) -> Path:
    """Add one line in a single write, after a new heading where the log is new. Raises OutputError."""
    log = folder / LOG
    try:
        handle = os.open(log, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o644)
        try:
            os.write(handle, _text(handle, revision).encode("utf-8"))
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as error:
        raise OutputError(str(log), error.strerror or str(error)) from None
    return log


def _text(handle: int, revision: Revision) -> str:
    """The line; before it the heading of a new log, or the end of a line that was cut off."""
    size = os.fstat(handle).st_size
    buffer = io.StringIO()
    if size and os.pread(handle, 1, size - 1) != b"\n":
        buffer.write("\n")
    writer = csv.writer(buffer, lineterminator="\n")
    if not size:
        writer.writerow([field.name for field in fields(Revision)])
    writer.writerow([harmless(str(cell)) for cell in astuple(revision)])
    return buffer.getvalue()


def harmless(cell: str) -> str:
    """A cell that no spreadsheet runs as a formula, on one line.

    >>> harmless("=1+1"), harmless("-1.5"), harmless("left\\nright")
    ("'=1+1", '-1.5', 'left right')
    """
    line = " ".join(cell.split())
    if line[:1] in "=+-@" and not _is_number(line):
        return f"'{line}"
    return line


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return not text
    return True
