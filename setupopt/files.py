"""Files written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from setupopt.errors import OutputError


def write_whole(path: str | Path, data: str | bytes) -> None:
    """Write `data` (text as UTF-8) to `path`: readers see the old file or the new one, never a part.

    Raises OutputError when the place cannot be written; the old file is then untouched.
    """
    raw = data.encode("utf-8") if isinstance(data, str) else data
    try:
        target = Path(path).resolve()  # a link stays a link, its target is replaced
        spare = target.with_name(f".{target.name[:100]}.{os.urandom(6).hex()}.tmp")
        _replace(target, spare, raw)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise OutputError(str(path), reason) from None


def _replace(target: Path, spare: Path, raw: bytes) -> None:
    # os.open, because tempfile makes files that only their owner can read
    handle = os.open(spare, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        spare.replace(target)
    except BaseException:
        spare.unlink(missing_ok=True)
        raise
