"""How kernels are compiled: by numba, without the interpreter lock, kept on disk.

The folder of the compiled code carries a fingerprint of every kernel's source. Numba itself looks
only at the file a function stands in; a changed helper in another file would go unseen, and an
old number would come back from a new program.
"""

from __future__ import annotations

import hashlib
import os
import platform
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

# Versions whose compiled kernels are kept besides the present one.
_KEPT = 3
# Beside them in the cache: studies that were broken off, which are nobody's old kernels.
UNFINISHED = "unfinished"

F = TypeVar("F", bound=Callable[..., Any])


@cache
def fingerprint() -> str:
    """Hash of all kernel sources, of numba and of the processor's kind."""
    digest = hashlib.sha256(f"{numba.__version__} {platform.machine()}".encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


def _is_usable(folder: Path) -> bool:
    """Whether the folder is there, or can be made, and can be written."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return False
    return os.access(folder, os.W_OK)


def _forget_old(home: Path) -> None:
    """Remove compiled kernels of other versions, but for the three used last."""
    kept = (fingerprint(), UNFINISHED)
    others = [folder for folder in home.iterdir() if folder.is_dir() and folder.name not in kept]
    for folder in sorted(others, key=lambda f: f.stat().st_mtime, reverse=True)[_KEPT:]:
        shutil.rmtree(folder, ignore_errors=True)


@cache
def cache_folder() -> Path:
    """Folder of the compiled kernels: the user's cache, or a temporary one where that is read-only."""
    base = os.environ.get("NUMBA_CACHE_DIR") or os.environ.get("XDG_CACHE_HOME")
    wanted = Path(base) if base else Path.home() / ".cache"
    folder = wanted / "setupopt" / fingerprint()
    is_new = not folder.exists()
    if not _is_usable(folder):
        return Path(tempfile.gettempdir()) / "setupopt" / fingerprint()
    if is_new:
        _forget_old(folder.parent)
    return folder


def kernel(function: F) -> F:
    """Compile `function` at its first call, and keep the result for later runs."""
    config: Any = numba.config
    before, config.CACHE_DIR = config.CACHE_DIR, str(cache_folder())
    try:
        compiled: Any = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    finally:
        config.CACHE_DIR = before
    if hasattr(compiled, "_cache"):  # not where nothing is compiled
        compiled._cache.load_overload = _or_anew(compiled._cache)
    return cast(F, compiled)


def _or_anew(cache: Any) -> Callable[..., Any]:
    """Loads what was compiled before; what is damaged is taken away, and compiled anew."""
    load = cache.load_overload

    def loaded(*asked: Any) -> Any:
        try:
            return load(*asked)
        except Exception:  # whatever reading a damaged file raises
            cache.flush()
            return None

    return loaded


def is_compiled_already() -> bool:
    """Whether an earlier run left compiled kernels, so that the first sweep need not wait."""
    return any(cache_folder().rglob("*.nbi"))
