"""Writes a setup in the form of setup.toml."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from setupopt.files import write_whole
from setupopt.project.model import AxleSetup, Setup
from setupopt.project.settings import SETTINGS, in_file_units
from setupopt.project.toml_file import read_toml


def setup_as_dict(setup: Setup) -> dict[str, Any]:
    """The setup by the keys and units of setup.toml, numbers rounded to 1e-6 of the unit.

    No `body` where it is the one of car.toml.
    """
    body = {} if setup.body is None else {"body": setup.body}
    return {"setup": {"name": setup.name, **body}, "front": _axle(setup.front), "rear": _axle(setup.rear)}


def _axle(axle: AxleSetup) -> dict[str, float]:
    return {setting.key: in_file_units(axle, setting) for setting in SETTINGS}


def write_setup(path: str | Path, setup: Setup, like: str | Path | None = None, comment: str = "") -> None:
    """Write `setup` to `path`, whole or not at all, with `comment` on top.

    With `like`, a setup file, its comments and order are kept. Raises InputErrors when `like` cannot
    be read and OutputError when `path` cannot be written.
    """
    write_whole(path, setup_text(setup, like, comment))


def setup_text(setup: Setup, like: str | Path | None = None, comment: str = "") -> str:
    """What `write_setup` writes. Raises InputErrors when `like` cannot be read."""
    values = setup_as_dict(setup)
    return _comment(comment) + (_fresh(values) if like is None else _altered(Path(like), values))


def _comment(comment: str) -> str:
    plain = "".join(letter if letter.isprintable() or letter == "\n" else " " for letter in comment.rstrip())
    return "".join(f"# {line}".rstrip() + "\n" for line in plain.split("\n")) + "\n" if plain else ""


def _fresh(values: dict[str, Any]) -> str:
    import tomlkit  # here, because only the commands that write a setup need it

    return tomlkit.dumps(values)


def _altered(like: Path, values: dict[str, Any]) -> str:
    """The text of `like` with other values, comments kept."""
    import tomlkit

    text = read_toml(like).text
    document: Any = tomlkit.parse(text)
    for name, table in values.items():
        kept = document.setdefault(name, {})
        for key, value in table.items():
            if key in kept or value != 0.0 or key != "third_N_per_mm":  # a third spring of 0 may go unsaid
                kept[key] = value
    if "body" not in values["setup"]:
        document["setup"].pop("body", None)
    altered = tomlkit.dumps(document)
    return altered if _says(altered, values) else _fresh(values)


def _says(text: str, values: dict[str, Any]) -> bool:
    """Whether a text reads back as the values: unusual layouts are not worth a wrong setup."""
    try:
        read = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    unsaid = {"setup": {}, "front": {"third_N_per_mm": 0.0}, "rear": {"third_N_per_mm": 0.0}}
    return {name: {**unsaid[name], **read.get(name, {})} for name in unsaid} == values
