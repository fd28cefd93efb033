"""`setupopt speeds`: between which speeds a setup is safe, the run-up, and loss of drive."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import options
from setupopt.cli.outputs import as_json_text, folder_targets, print_json, refuse_inputs, write_all
from setupopt.cli.waiting import Progress, loading, say_compiling, writing

if TYPE_CHECKING:
    from setupopt.project import Project
    from setupopt.robust.speeds.study import SpeedStudy

_WIDTH = 100  # of the text written to a file
_FILES = {"text": "speeds.txt", "json": "speeds.json", "curve": "speeds.csv", "picture": "speeds.svg"}


@click.command("speeds")
@options.common
@click.pass_context
def command(
    ctx: click.Context, project: str, setup_file: str | None, out: str | None, as_json: bool, quiet: bool,
    floor: float | None,
) -> None:  # fmt: skip
    """At which speeds the setup of PROJECT keeps every limit and the floor of the margin (0 unless --floor is
    given), how long a run-up the sweep's speed takes, and what time is left when the drive is lost.

    Exit status 1 when the sweep's own speed is not safe. With --out, speeds.txt, speeds.json, speeds.csv
    and speeds.svg are written to DIR.

    \b
    Example: setupopt speeds my-car --setup proposed.toml --floor 0.05
      the speeds at which the proposed setup keeps a margin of 0.05
    """
    with loading(quiet):
        from setupopt.project import load

        found = load(project, setup_file)
    targets = folder_targets(out, _FILES)
    refuse_inputs(targets, Path(project), setup_file)
    study = _study(found, floor or 0.0, quiet)
    with writing(quiet):
        answer = _json(study)
        _write(targets, study, answer)
    _print(study, answer, as_json, quiet)
    ctx.exit(0 if study.holds else 1)


def _study(project: Project, floor: float, quiet: bool) -> SpeedStudy:
    say_compiling(quiet)
    with loading(quiet):
        from setupopt.robust.speeds.study import scanned_speeds, study_speeds

    count = len(scanned_speeds(project.venue.sweep.speed))
    with Progress(count, quiet, "speeds") as progress:
        return study_speeds(project, project.setup, floor, progress)


def _json(study: SpeedStudy) -> str:
    from setupopt.report.speeds.fields import as_dict

    return as_json_text(as_dict(study))


def _write(targets: dict[str, Path], study: SpeedStudy, answer: str) -> None:
    """Write the files asked for, each whole or not at all."""
    if not targets:
        return
    from setupopt.report.speeds.fields import csv_text
    from setupopt.report.speeds.picture import speeds_picture
    from setupopt.report.speeds.text import text

    contents = {
        "text": text(study, _WIDTH), "json": answer, "curve": csv_text(study),
        "picture": speeds_picture(study),
    }  # fmt: skip
    write_all({target: contents[kind] for kind, target in targets.items()})


def _print(study: SpeedStudy, answer: str, as_json: bool, quiet: bool) -> None:
    from setupopt.report.shared.tables import screen_width
    from setupopt.report.speeds.text import text

    if as_json:
        print_json(answer, study.project.cautions, quiet)
        return
    click.echo(text(study, screen_width(), short=quiet), nl=False)
