"""The fingerprint of a study: a hash of all that decides its numbers."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import scipy

import setupopt
from setupopt.physics import kept_kernels


def fingerprint(*parts: object) -> str:
    """Name of a study: 32 hexadecimal digits of all that decides its numbers.

    `parts`: None, numbers, strings, arrays, and tuples, lists and dataclasses of them. Each counts to the
    last bit, a dataclass with every field: pass options as the whole dataclass, so that a new option makes a
    new study. The sources of this program and the versions of its numerical libraries are added. The parts
    must also decide the jobs and how they are divided. Raises TypeError for any other kind of part, such as
    a path or a function.
    """
    digest = hashlib.sha256(_program_text().encode())
    for piece in _encode(parts):
        digest.update(piece)
    return digest.hexdigest()[:32]


def program() -> dict[str, str]:
    """What decides numbers besides the inputs: versions and sources of this program and its libraries."""
    digest = hashlib.sha256()
    for source in sorted(Path(__file__).parents[1].rglob("*.py")):
        digest.update(source.read_bytes())
    libraries = {
        "setupopt": setupopt.__version__,
        "numpy": np.__version__,
        "scipy": scipy.__version__,
    }
    libraries |= {name: version(name) for name in ("clarabel", "cvxpy")}
    return libraries | {
        "kernels": kept_kernels.fingerprint(),
        "sources": digest.hexdigest()[:16],
    }


@cache
def _program_text() -> str:
    """Chunks of another program must not be mixed with those of this one."""
    return (
        " ".join(f"{name} {value}" for name, value in program().items()) + ";"
    )


def _encode(part: Any) -> Iterator[bytes]:
    """Kind and exact value. Every piece marks its own end, so that no two parts have the same bytes."""
    kind = type(part)
    if isinstance(
        part, float
    ):  # numpy's too; repr is the shortest text that reads back as the same number
        yield f"float {float(part)!r};".encode()
    elif part is None or kind in (bool, int, str, bytes):
        yield f"{kind.__name__} {part!r};".encode()
    elif kind is np.ndarray or isinstance(part, np.generic):
        yield from _encode_array(np.asarray(part))
    elif kind is list or isinstance(part, tuple):
        yield from _encode_all(kind, part)
    elif is_dataclass(kind):
        yield from _encode_all(
            kind, [(f.name, getattr(part, f.name)) for f in fields(kind)]
        )
    else:
        raise TypeError(
            f"no part of a study's fingerprint: {kind.__module__}.{kind.__qualname__}"
        )


def _encode_all(kind: type, parts: Any) -> Iterator[bytes]:
    yield f"{kind.__module__}.{kind.__qualname__} of {len(parts)};".encode()
    for part in parts:
        yield from _encode(part)


def _encode_array(array: np.ndarray) -> Iterator[bytes]:
    """Type, shape and bytes; records field by field, because the bytes between fields are undefined."""
    if array.dtype.hasobject:
        raise TypeError("no part of a study's fingerprint: an array of objects")
    yield f"array {array.dtype.names or array.dtype.str} {array.shape};".encode()
    if array.dtype.names:
        for name in array.dtype.names:
            yield from _encode_array(array[name])
    else:
        yield array.tobytes()
