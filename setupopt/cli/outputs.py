"""Files that a command writes: none replaces a file that is read, and each is written whole."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.errors import OutputError, printable
from setupopt.files import Growing, resolved, write_together

if TYPE_CHECKING:
    from setupopt.project import Project

_INPUTS = ("car.toml", "venue.toml", "setup.toml", "limits.toml")


def folder_targets(out: str | None, names: Iterable[str]) -> dict[str, Path]:
    """Paths in the folder `out` by name; none without a folder. Raises OutputError."""
    if out is None:
        return {}
    if Path(out).exists() and not Path(out).is_dir():
        raise OutputError(out, "it is not a folder")
    return {name: Path(out) / name for name in names}


def refuse_inputs(
    targets: Iterable[Path],
    home: Path,
    setup_file: str | None,
    *more: str | None,
) -> None:
    """Raises OutputError where a target is a file that is read, or a folder.

    `home` is the folder of the project; `setup_file` may lie in it.
    """
    read = [home / name for name in (*_INPUTS, *_survey(home))]
    read += [Path(name) for name in more if name is not None]
    read += [] if setup_file is None else [Path(setup_file), home / setup_file]
    inputs = {resolved(path) for path in read}
    for target in targets:
        if resolved(target) in inputs:
            raise OutputError(
                str(target), "it is one of the files that are read"
            )
        if target.is_dir():
            raise OutputError(str(target), "it is a folder")


def _survey(home: Path) -> list[str]:
    """The file of the project's surveyed section, if it has one."""
    try:
        venue = tomllib.loads((home / "venue.toml").read_text(encoding="utf-8"))
        return [str(venue["section"]["survey"])]
    except (
        OSError,
        ValueError,
        KeyError,
        TypeError,
    ):  # no such section; or what reading the project refuses
        return []


def refuse_bodies_folder(out: str | None, home: Path) -> None:
    """Raises OutputError where setups would be written among the bodies of a project."""
    from setupopt.project.bodies import FOLDER

    if resolved(Path(out or home)) == resolved(home / FOLDER):
        raise OutputError(str(out), "every setup there would be read as a body")


def as_json_text(answer: object) -> str:
    """An answer as JSON; raises ValueError for numbers that JSON does not have."""
    return json.dumps(answer, indent=2, allow_nan=False) + "\n"


def write_all(contents: Mapping[Path, str | bytes | Growing]) -> None:
    """Write every file and make its folder if it is missing; none is written where one cannot be.

    Raises OutputError.
    """
    for target in contents:
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(
                str(target.parent), error.strerror or str(error)
            ) from None
    write_together(contents)


def keep_prices(project: Project, answer: object) -> None:
    """Leave prices of limits and trade-offs in the project, for reports on exactly the setup it stands on."""
    from setupopt.project.stored_prices import proposal_file

    try:
        write_all({proposal_file(project, project.setup): as_json_text(answer)})
    except OutputError as error:
        click.echo(printable(f"not kept for the report: {error}"), err=True)
