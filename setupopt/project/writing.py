"""Writes a setup in the form of setup.toml."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from setupopt.files import write_whole
from setupopt.project.model import AXLES, SIDES, AxleSetup, Ballast, Setup
from setupopt.project.settings import (
    BALANCE,
    SETTINGS,
    WING,
    in_file_units,
    rounded,
)
from setupopt.project.toml_file import read_toml
from setupopt.units import MM

# A table of TOML or JSON, by its keys.
Entries = dict[str, Any]


def setup_as_dict(setup: Setup) -> Entries:
    """The setup by the keys and units of setup.toml, numbers rounded to 1e-6 of the unit.

    No `body` where it is the one of car.toml.
    """
    body = {} if setup.body is None else {"body": setup.body}
    balance = {
        s.key: rounded(v, s)
        for s in BALANCE
        if (v := getattr(setup.balance, s.field)) is not None
    }
    whole = {
        "setup": {"name": setup.name, **body},
        "front": _axle(setup.front),
        "rear": _axle(setup.rear),
        "balance": balance,
        "wings": {name: rounded(angle, WING) for name, angle in setup.wings},
        "ballast": [_ballast(piece) for piece in setup.ballast],
    }
    return {name: table for name, table in whole.items() if table}


def _axle(axle: AxleSetup) -> Entries:
    """Both sides alike; where they are not, each side's own values in a table of the side."""
    found: Entries = {}
    for setting in SETTINGS:
        left, right = axle.sides(setting.field)
        if left is None or right is None:
            continue
        values = [rounded(value, setting) for value in (left, right)]
        mean = in_file_units(axle, setting)
        found[setting.key] = values[0] if values[0] == values[1] else mean
        if values[0] != values[1]:
            for side, value in zip(SIDES, values, strict=True):
                found.setdefault(side, {})[setting.key] = value
    sides = {side: found.pop(side) for side in SIDES if side in found}
    return found | sides


def _ballast(piece: Ballast) -> Entries:
    lengths = {
        f"{name}_mm": round(getattr(piece, name) / MM, 6)
        for name in ("station", "side", "height")
    }
    return {"name": piece.name, "mass_kg": round(piece.mass, 6), **lengths}


def write_setup(
    path: str | Path,
    setup: Setup,
    like: str | Path | None = None,
    comment: str = "",
) -> None:
    """Write `setup` to `path`, whole or not at all, with `comment` on top.

    With `like`, a setup file, its comments and order are kept. Raises InputErrors when `like` cannot
    be read and OutputError when `path` cannot be written.
    """
    write_whole(path, setup_text(setup, like, comment))


def setup_text(
    setup: Setup, like: str | Path | None = None, comment: str = ""
) -> str:
    """What `write_setup` writes. Raises InputErrors when `like` cannot be read."""
    values = setup_as_dict(setup)
    return comment_text(comment) + (
        _fresh(values) if like is None else _altered(Path(like), values)
    )


def comment_text(comment: str) -> str:
    """Lines on top of a TOML file, and an empty one; nothing for no comment."""
    plain = "".join(
        letter if letter.isprintable() or letter == "\n" else " "
        for letter in comment.rstrip()
    )
    return (
        "".join(f"# {line}".rstrip() + "\n" for line in plain.split("\n"))
        + "\n"
        if plain
        else ""
    )


def _fresh(values: Entries) -> str:
    import tomlkit  # here, because only the commands that write a setup need it

    return tomlkit.dumps(values)


def _altered(like: Path, values: Entries) -> str:
    """The text of `like` with other values, comments kept."""
    import tomlkit

    text = read_toml(like).text
    document: Any = tomlkit.parse(text)
    for name in ("balance", "wings", "ballast"):
        if name not in values:
            document.pop(name, None)
    for name, table in values.items():
        if isinstance(table, list):
            _alter_rows(document, name, table)
        else:
            _alter(document.setdefault(name, {}), table)
    if "body" not in values["setup"]:
        document["setup"].pop("body", None)
    altered = tomlkit.dumps(document)
    return altered if _says(altered, values) else _fresh(values)


def _alter(kept: Any, table: Entries) -> None:
    """Put values into a table, and take the sides out that are not in it."""
    for side in SIDES:
        if side in kept and side not in table:
            del kept[side]
    for key, value in table.items():
        if isinstance(value, dict):
            _alter(kept.setdefault(key, {}), value)
            for gone in [other for other in kept[key] if other not in value]:
                del kept[key][gone]
        elif (
            key in kept or value != 0.0 or key != "third_N_per_mm"
        ):  # a third spring of 0 may go unsaid
            kept[key] = value


def _alter_rows(document: Any, name: str, rows: list[Entries]) -> None:
    """Put values into the tables of a list, one after another; new ones where there are not as many."""
    kept = document.get(name)
    if kept is None or len(kept) != len(rows):
        document[name] = rows
        return
    for one, row in zip(kept, rows, strict=True):
        _alter(one, row)


def _says(text: str, values: Entries) -> bool:
    """Whether a text reads back as the values: unusual layouts are not worth a wrong setup."""
    try:
        read = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    for axle in AXLES:
        read.get(axle, {}).setdefault("third_N_per_mm", 0.0)
    for piece in read.get("ballast", []):
        piece.setdefault("side_mm", 0.0)
    return bool(read == values)
