"""What a command gives: files that overwrite nothing that is read, each of them whole; and JSON."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

import click

from setupopt.errors import OutputError
from setupopt.files import resolved, write_together

_INPUTS = ("car.toml", "venue.toml", "setup.toml", "limits.toml")


def folder_targets(out: str | None, names: Mapping[str, str]) -> dict[str, Path]:
    """The files to write into a folder, by what they hold; none without one. Raises OutputError."""
    if out is None:
        return {}
    if Path(out).exists() and not Path(out).is_dir():
        raise OutputError(out, "it is not a folder")
    return {kind: Path(out) / name for kind, name in names.items()}


def refuse_inputs(targets: Mapping[str, Path], home: Path, setup_file: str | None, *more: str | None) -> None:
    """No file that is read may be overwritten. A setup is looked for in the project too."""
    read = [home / name for name in (*_INPUTS, *_survey(home))]
    read += [Path(name) for name in more if name is not None]
    read += [] if setup_file is None else [Path(setup_file), home / setup_file]
    inputs = {resolved(path) for path in read}
    for target in targets.values():
        if resolved(target) in inputs:
            raise OutputError(str(target), "it is one of the files that are read")
        if target.is_dir():
            raise OutputError(str(target), "it is a folder")


def _survey(home: Path) -> list[str]:
    """The file of the project's surveyed section, if it has one."""
    try:
        venue = tomllib.loads((home / "venue.toml").read_text(encoding="utf-8"))
        return [str(venue["section"]["survey"])]
    except (OSError, ValueError, KeyError, TypeError):  # no such section; or what reading the project refuses
        return []


def default_target(home: Path) -> str | None:
    """The proposed setup of a project, where there is one: what the car is to stand on."""
    return "proposed.toml" if (home / "proposed.toml").is_file() else None


def make_folder(folder: Path) -> None:
    """The folder, if it is missing. Raises OutputError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(str(folder), error.strerror or str(error)) from None


def as_json_text(answer: object) -> str:
    """An answer as JSON, without what JSON has no word for."""
    return json.dumps(answer, indent=2, allow_nan=False) + "\n"


def print_json(text: str, cautions: Sequence[str], quiet: bool) -> None:
    """Only JSON on standard output; the cautions, which it holds as well, where a person sees them."""
    from setupopt.report.assess.text import cautions_text
    from setupopt.report.shared.tables import screen_width

    said = cautions_text(cautions, screen_width())
    if said and not quiet:
        click.echo(said, err=True)
    click.echo(text, nl=False)


def write_all(contents: Mapping[Path, str | bytes]) -> None:
    """Every file into its folder, which is made if it is missing; none where one cannot be written."""
    for target in contents:
        make_folder(target.parent)
    write_together(contents)
