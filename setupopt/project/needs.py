"""Entries that only some commands need."""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from setupopt.errors import InputError, InputErrors
from setupopt.project.toml_file import read_toml
from setupopt.project.toml_positions import nearest_line

Value = TypeVar("Value")


def need(
    value: Value | None, file: str | Path, key: str, purpose: str
) -> Value:
    """The value, or InputError saying which key is missing, in which table, and what it is for.

    `key` is dotted, such as "car.power_kW"; `purpose` ends the sentence "expected it, because ...".
    """
    if value is None:
        raise InputError(
            str(file),
            _table_line(Path(file), key),
            key,
            "nothing",
            f"it, because {purpose}",
        )
    return value


def _table_line(path: Path, key: str) -> int | None:
    """Where the key belongs; None when the file is not at hand."""
    try:
        return nearest_line(read_toml(path).lines, tuple(key.split(".")))
    except InputErrors:
        return None
