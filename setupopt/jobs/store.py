"""Finished chunks of a study on disk, so that a stopped study goes on where it was."""

from __future__ import annotations

import hashlib
import io
import os
import shutil
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from setupopt.errors import OutputError
from setupopt.files import cache_home, write_whole
from setupopt.physics.kept_kernels import UNFINISHED

_KEPT_SECONDS = 30 * 24 * 3600  # of a study that nobody resumes
_CHECKSUM = 32  # bytes of SHA-256


@dataclass(frozen=True)
class Store:
    """Finished chunks of one study, each a file of `folder`: the array as .npy after its checksum.

    A study never needs its store: a chunk that cannot be written is not kept, and a damaged file counts as
    missing.
    """

    folder: Path

    @classmethod
    def open(cls, study: str) -> Store:
        """The chunks of the study with this fingerprint, in the user's private cache, or in a new temporary
        folder where there is no such cache. Removes studies that were not used for 30 days."""
        home = cache_home("XDG_CACHE_HOME") or _temporary()
        folder = home / UNFINISHED / study
        if _mark_used(folder):
            _remove_old(folder.parent)
        return cls(folder)

    def read(self, name: str) -> np.ndarray | None:
        """A chunk, or None where there is none or its file is damaged."""
        try:
            raw = (self.folder / name).read_bytes()
            checksum = raw[:_CHECKSUM]
            content = raw[_CHECKSUM:]
            return (
                from_npy(content)
                if hashlib.sha256(content).digest() == checksum
                else None
            )
        except (OSError, ValueError):
            return None

    def write(self, name: str, array: np.ndarray) -> None:
        """Keep a chunk, whole or not at all; a full disk does not end a study. No arrays of objects."""
        raw = to_npy(array)
        with suppress(OSError, OutputError):
            self.folder.mkdir(parents=True, exist_ok=True)
            write_whole(self.folder / name, hashlib.sha256(raw).digest() + raw)

    def finish(self) -> None:
        """Remove the study: its folder, and the folders above it that are left empty."""
        shutil.rmtree(self.folder, ignore_errors=True)
        with suppress(OSError):  # not empty: another study, or compiled kernels
            self.folder.parent.rmdir()
            self.folder.parents[1].rmdir()


def _temporary() -> Path:
    """A new folder of this run alone; where none can be made, one that keeps nothing."""
    try:
        return Path(tempfile.mkdtemp(prefix="setupopt-"))
    except OSError:
        return Path(os.devnull)


def _mark_used(folder: Path) -> bool:
    """Make the folder where it is missing, and set its time to now; whether it can be written."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        os.utime(folder)
    except OSError:
        return False
    return os.access(folder, os.W_OK)


def _remove_old(home: Path) -> None:
    limit = time.time() - _KEPT_SECONDS
    with suppress(OSError):  # another run may remove them too
        for folder in home.iterdir():
            if folder.is_dir() and folder.stat().st_mtime < limit:
                shutil.rmtree(folder, ignore_errors=True)


def to_npy(array: np.ndarray) -> bytes:
    """The array as the bytes of an .npy file; ValueError for objects."""
    file = io.BytesIO()
    np.save(file, array, allow_pickle=False)
    return file.getvalue()


def from_npy(raw: bytes) -> np.ndarray:
    """The array of such bytes; ValueError where they hold none."""
    return np.asarray(np.load(io.BytesIO(raw), allow_pickle=False))
