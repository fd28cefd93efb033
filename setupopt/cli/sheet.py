"""`setupopt sheet`: what the mechanics work from, as PDF, CSV and JSON."""

from __future__ import annotations

import datetime
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
from setupopt.cli.waiting import Saying, loading, say_compiling, writing

if TYPE_CHECKING:
    from setupopt.project import Project, Setup
    from setupopt.report.sheet.fields import Sheet

FOLDER = "sheets"


class Day(click.ParamType):
    """A date as YYYY-MM-DD."""

    name = "date"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The date as it was written; a usage error for anything else."""
        try:
            return datetime.date.fromisoformat(value).isoformat()
        except ValueError:
            self.fail(f"found {value!r}, expected a date as 2026-01-31", param, ctx)


@click.command("sheet")
@options.common
@click.option(
    "--today", "today_file", metavar="FILE", type=completing.SETUP,
    help="What the car stands on; default setup.toml.",
)  # fmt: skip
@click.option("--by", default="", metavar="NAME", help="Who made the sheet.")
@click.option("--date", "day", type=Day(), metavar="YYYY-MM-DD", help="Date on the sheet; default today's.")
@click.pass_context
def command(
    ctx: click.Context, project: str, setup_file: str | None, out: str | None, as_json: bool, quiet: bool,
    floor: float | None, today_file: str | None, by: str, day: str | None,
) -> None:  # fmt: skip
    """Setup sheet, change list and run card of PROJECT for the mechanics.

    The target is the setup given with --setup, or proposed.toml where the project has one, or setup.toml.
    Writes PDF, CSV and JSON to PROJECT/sheets, or to DIR with --out, and adds a line to PROJECT/revisions.csv
    when the target is a new one. The CSV, filled in, is what `setupopt readback` reads.

    \b
    Example: setupopt sheet my-car --by "A. Nother"
      the sheets that take the car from today's setup to the proposed one
    """
    with loading(quiet):
        from setupopt.project import load

        found = load(project, setup_file or default_target(Path(project)))
        today = load(project, today_file).setup
    say_compiling(quiet)
    date = day or datetime.datetime.now().astimezone().date().isoformat()
    with Saying(quiet, "change list and run card"):
        sheet, is_new = _sheet(found, today, floor or 0.0, date, " ".join(by.split()))
    targets = _targets(sheet, out, Path(project), setup_file, today_file)
    with writing(quiet):
        _write(sheet, targets)
    if is_new:
        _log(sheet)
    _print(sheet, targets, as_json, quiet)
    ctx.exit(0 if _holds(sheet) else 1)


def _sheet(project: Project, today: Setup, floor: float, date: str, by: str) -> tuple[Sheet, bool]:
    """The sheet, and whether it is a new revision."""
    from setupopt.project.checksum import setup_checksum
    from setupopt.report.sheet.fields import Sheet
    from setupopt.sheet.card import run_card
    from setupopt.sheet.change_list import change_list
    from setupopt.sheet.revisions import next_revision

    changes = change_list(project, today, project.setup)
    number, is_new = next_revision(project.folder, setup_checksum(project, project.setup))
    return Sheet(project, changes, run_card(project, project.setup, floor), number, date, by), is_new


def _targets(
    sheet: Sheet, out: str | None, home: Path, setup_file: str | None, today_file: str | None
) -> dict[str, Path]:
    """The files to write, by kind. Raises OutputError where they cannot be."""
    names = {kind: f"{sheet.file_name}.{kind}" for kind in ("pdf", "csv", "json")}
    targets = folder_targets(str(home / FOLDER) if out is None else out, names)
    refuse_inputs(targets, home, setup_file, today_file)
    return targets


def _write(sheet: Sheet, targets: dict[str, Path]) -> None:
    """All three files, each whole or not at all."""
    from setupopt.report.sheet.fields import table
    from setupopt.report.sheet.pdf import pdf

    write_all(
        {
            targets["pdf"]: pdf(sheet),
            targets["csv"]: table(sheet),
            targets["json"]: as_json_text(sheet.as_dict()),
        }
    )


def _log(sheet: Sheet) -> None:
    """One more line in the project's revision log."""
    from setupopt.report.sheet.fields import revision
    from setupopt.sheet.revisions import append

    append(sheet.project.folder, revision(sheet))


def _holds(sheet: Sheet) -> bool:
    """Whether the setup as it will be set keeps contact and floor."""
    return sheet.changes.margin_landed >= sheet.card.floor


def _print(sheet: Sheet, targets: dict[str, Path], as_json: bool, quiet: bool) -> None:
    from setupopt.report.shared.tables import screen_width
    from setupopt.report.sheet.text import text

    if as_json:
        print_json(as_json_text(sheet.as_dict()), sheet.project.cautions, quiet)
        return
    click.echo(text(sheet, screen_width(), short=quiet), nl=False)
    for target in targets.values():
        click.echo(f"written: {target}")
