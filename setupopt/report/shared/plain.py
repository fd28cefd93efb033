"""Answers as plain Python values, for JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, is_dataclass
from operator import attrgetter
from typing import Any

from setupopt.evaluation.result import Field, finite
from setupopt.project.checksum import setup_checksum
from setupopt.project.model import Project, Setup


def plain(value: Any) -> Any:
    """A value for JSON: a dataclass as a dict, a sequence as a list, None for a number that is not finite.

    >>> plain((1.0, float("inf"), "a"))
    [1.0, None, 'a']
    """
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    if isinstance(value, Mapping):
        return {key: plain(inner) for key, inner in value.items()}
    if isinstance(value, tuple | list):
        return [plain(inner) for inner in value]
    return finite(value) if isinstance(value, float) else value


def picked(row: Any, *same: str, **renamed: str) -> Field:
    """Attributes of a row as plain values: by their own names, and by other keys; with dots of an attribute.

    >>> picked(3 + 4j, "real", other="imag.real")
    {'real': 3.0, 'other': 4.0}
    """
    keys = {**dict(zip(same, same, strict=True)), **renamed}
    return {key: plain(attrgetter(name)(row)) for key, name in keys.items()}


def setup_fields(project: Project, setup: Setup, *more: str) -> Field:
    """A setup by its name, `more` of its attributes, and the checksum by which its papers are known."""
    checksum = setup_checksum(project, setup)
    return {**picked(setup, "name", *more), "checksum": checksum}


def rounded(value: float | None, unit: float = 1.0) -> float | None:
    """A value in a unit, to six digits: the rest is noise. None where there is none.

    >>> rounded(0.123456789, 0.01), rounded(None)
    (12.3457, None)
    """
    return None if value is None else float(f"{value / unit:.6g}")
