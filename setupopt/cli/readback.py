"""`setupopt readback`: the margin of the car as it was really built, and what to correct."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import completing, options
from setupopt.cli.outputs import (
    as_json_text,
    default_target,
    folder_targets,
    print_json,
    refuse_inputs,
    write_all,
)
from setupopt.cli.waiting import Saying, loading, say_compiling

if TYPE_CHECKING:
    from setupopt.sheet.readback import ReadBack

_FILES = {"text": "readback.txt", "json": "readback.json"}
_WIDTH = 100  # of the text written to a file


@click.command("readback")
@options.project_argument
@click.argument("measured", metavar="MEASURED", type=completing.FileName(".csv", ".toml"))
@options.without_project
@click.pass_context
def command(
    ctx: click.Context, project: str, measured: str, setup_file: str | None, out: str | None, as_json: bool,
    quiet: bool, floor: float | None,
) -> None:  # fmt: skip
    """Margin of PROJECT as it was built and MEASURED on the pad, and the corrections that it needs.

    MEASURED is the CSV of `setupopt sheet`, filled in, or a TOML file with [fl], [fr], [rl], [rr], [front],
    [rear]; what is left out is taken as wanted. The target is --setup, or proposed.toml where the project has
    one, or setup.toml. Without --floor the margin may be what the tolerance allows. With --out, readback.txt
    and readback.json are written to DIR.

    \b
    Example: setupopt readback my-car pad.csv
      the margin of the car as the filled-in sheet says it stands
    """
    wanted = setup_file or default_target(Path(project))
    with loading(quiet):
        from setupopt.project import load
        from setupopt.project.measured_file import read_measured

        found = load(project, wanted)
        values = read_measured(measured)
    targets = folder_targets(out, _FILES)
    refuse_inputs(targets, Path(project), setup_file, measured)
    say_compiling(quiet)
    with Saying(quiet, "the car as built"):
        from setupopt.sheet.readback import read_back

        read = read_back(found, found.setup, values, floor)
    _write(targets, read)
    _print(read, wanted or "setup.toml", as_json, quiet)
    ctx.exit(0 if read.holds else 1)


def _write(targets: dict[str, Path], read: ReadBack) -> None:
    """Write the files asked for, each whole or not at all."""
    if not targets:
        return
    from setupopt.report.readback.text import text

    write_all({targets["text"]: text(read, _WIDTH), targets["json"]: _json(read)})


def _json(read: ReadBack) -> str:
    from setupopt.report.readback.fields import as_dict

    return as_json_text(as_dict(read))


def _print(read: ReadBack, wanted: str, as_json: bool, quiet: bool) -> None:
    from setupopt.report.readback.text import text
    from setupopt.report.shared.tables import screen_width

    if as_json:
        print_json(_json(read), read.cautions, quiet)
        return
    click.echo(f"Target: {wanted}")
    click.echo(text(read, screen_width(), short=quiet), nl=False)
