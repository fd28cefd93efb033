"""How kernels are compiled: by numba, without the interpreter lock, kept on disk.

The folder of the compiled code carries a fingerprint of every kernel's source. Numba itself looks
only at the file a function stands in; a changed helper in another file would go unseen, and an
old number would come back from a new program.
"""

from __future__ import annotations

import hashlib
import platform
import shutil
from collections.abc import Callable
from contextlib import suppress
from functools import cache, partial
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

from setupopt.files import cache_home

# Versions whose compiled kernels are kept besides the present one.
_KEPT = 3
# Beside them in the cache: unfinished studies, which are no old kernels.
UNFINISHED = "unfinished"

F = TypeVar("F", bound=Callable[..., Any])


@cache
def fingerprint() -> str:
    """Hash of all kernel sources, of numba and of the processor's kind."""
    digest = hashlib.sha256(f"{numba.__version__} {platform.machine()}".encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


def _forget_old(home: Path) -> None:
    """Remove compiled kernels of other versions, but for the three used last."""
    kept = (fingerprint(), UNFINISHED)
    others = [folder for folder in home.iterdir() if folder.is_dir() and folder.name not in kept]
    for folder in sorted(others, key=lambda f: f.stat().st_mtime, reverse=True)[_KEPT:]:
        shutil.rmtree(folder, ignore_errors=True)


@cache
def cache_folder() -> Path | None:
    """Folder of the compiled kernels, the user's alone; None where there is none, so that nothing is kept."""
    home = cache_home("NUMBA_CACHE_DIR", "XDG_CACHE_HOME")
    if home is None:
        return None
    folder = home / fingerprint()
    try:
        is_new = not folder.exists()
        folder.mkdir(exist_ok=True)
        if is_new:
            _forget_old(home)
    except OSError:
        return None
    return folder


def kernel(function: F) -> F:
    """Compile `function` at its first call, and keep the result for later runs."""
    compiled = _compiler(function, cache_folder())
    cache = getattr(compiled, "_cache", None)  # not where nothing is compiled
    if cache is not None:
        cache.load_overload = _forgiving(cache.load_overload, cache.flush)
        cache.save_overload = _forgiving(cache.save_overload)
    return cast(F, compiled)


def _compiler(function: Callable[..., Any], folder: Path | None) -> Any:
    """The function as numba compiles it, kept in a folder."""
    config: Any = numba.config
    before = config.CACHE_DIR
    config.CACHE_DIR = "" if folder is None else str(folder)
    compiler = partial(numba.njit, nogil=True, error_model="numpy")
    try:
        return compiler(cache=folder is not None)(function)
    except (OSError, RuntimeError):  # the folder takes no file: the disk is full
        return compiler()(function)
    finally:
        config.CACHE_DIR = before


def _forgiving(action: Callable[..., Any], after: Callable[[], object] = lambda: None) -> Callable[..., Any]:
    """Does something with what is kept on disk. Where that fails nothing is kept: `after` clears up.

    Reading a damaged file may raise anything; writing to a full disk raises OSError.
    """

    def tried(*args: Any) -> Any:
        try:
            return action(*args)
        except Exception:
            with suppress(OSError):
                after()
            return None

    return tried


def is_compiled_already() -> bool:
    """Whether an earlier run left compiled kernels, so that the first sweep need not wait."""
    folder = cache_folder()
    return folder is not None and any(folder.rglob("*.nbi"))
