"""The folder of the compiled kernels.

It carries a fingerprint of every kernel's source. Numba itself looks only at the file a function stands
in; a changed helper in another file would go unseen, and an old number would come back from a new program.
"""

from __future__ import annotations

import hashlib
import platform
import shutil
from functools import cache
from pathlib import Path

import numba

from setupopt.files import cache_home

# Versions whose compiled kernels are kept besides the present one.
_KEPT = 3
# Beside them in the cache: unfinished studies, which are no old kernels.
UNFINISHED = "unfinished"


@cache
def fingerprint() -> str:
    """Hash of all kernel sources, of numba and of the processor's kind."""
    digest = hashlib.sha256(
        f"{numba.__version__} {platform.machine()}".encode()
    )
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


def _forget_old(home: Path) -> None:
    """Remove compiled kernels of other versions, but for the three used last."""
    kept = (fingerprint(), UNFINISHED)
    others = [
        folder
        for folder in home.iterdir()
        if folder.is_dir() and folder.name not in kept
    ]
    for folder in sorted(others, key=lambda f: f.stat().st_mtime, reverse=True)[
        _KEPT:
    ]:
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


def is_compiled_already() -> bool:
    """Whether an earlier run left compiled kernels, so that the first sweep need not wait."""
    folder = cache_folder()
    return folder is not None and any(folder.rglob("*.nbi"))
