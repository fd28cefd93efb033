"""`setupopt sheet`: what the mechanics work from, as PDF, CSV and JSON."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import completing, options
from setupopt.cli.outputs import as_json_text, folder_targets, refuse_inputs
from setupopt.cli.runner import Task, run
from setupopt.cli.waiting import Saying, loading

if TYPE_CHECKING:
    from setupopt.report.sheet.fields import Sheet

FOLDER = "sheets"


def _day(ctx: click.Context, param: click.Parameter, value: str | None) -> str:
    """A date as YYYY-MM-DD, as it was written; empty where none is given."""
    if value is None:
        return ""
    try:
        return datetime.date.fromisoformat(value).isoformat()
    except ValueError:
        raise click.BadParameter(
            f"found {value!r}, expected a date as 2026-01-31", ctx, param
        ) from None


def _maker(ctx: click.Context, param: click.Parameter, value: str) -> str:
    """The name of a person, on one line; it may be empty."""
    from setupopt.project.field_types import NAME, is_plain

    line = " ".join(value.split())
    if line and not is_plain(line):
        raise click.BadParameter(
            f"found {value!r}, expected {NAME}", ctx, param
        )
    return line


@click.command("sheet")
@options.common
@options.path(
    "--today today_file", "FILE", completing.SETUP, "Setup that the car has today; default setup.toml.",
)  # fmt: skip
@options.route_option
@click.option(
    "--by",
    default="",
    callback=_maker,
    metavar="NAME",
    help="Who made the sheet.",
)
@click.option(
    "--date",
    "day",
    callback=_day,
    metavar="YYYY-MM-DD",
    help="Date on the sheet; default today's.",
)
def command(
    common: options.Common,
    today_file: str | None,
    route_file: str | None,
    by: str,
    day: str,
) -> None:
    """Setup sheet, change list and run card of PROJECT for the mechanics.

    The target is the setup given with --setup, or proposed.toml where the project has one, or setup.toml.
    Writes PDF, CSV and JSON to PROJECT/sheets, or to DIR with --out, and adds a line to PROJECT/revisions.csv
    when the target is a new one. With --route the PDF has a route card for driver and crew. The CSV, filled
    in, is what `setupopt readback` reads.

    \b
    Example: setupopt sheet my-car --by "A. Nother"
      the sheets that take the car from today's setup to the proposed one
    """
    target = common.proposed()
    home = Path(common.project)
    with loading(common.quiet):
        project = common.load(target)

        from setupopt.api import SheetOptions
        from setupopt.api import sheet as make_sheet
        from setupopt.project import load
        from setupopt.report.sheet.fields import Sheet
        from setupopt.report.sheet.text import text

        today = load(home, today_file).setup
    sheet_options = SheetOptions(
        today, common.floor or 0.0, day, by, route_file
    )

    def others(sheet: Sheet) -> dict[Path, str | bytes]:
        contents = _files(sheet, Path(common.out or home / FOLDER))
        refuse_inputs(contents, home, common.setup_file, today_file, route_file)
        return contents

    def warn(sheet: Sheet) -> None:
        """The text says it on standard output, which holds nothing but JSON with --json."""
        if common.as_json and sheet.do_not_run:
            click.echo("\n! ".join(["DO NOT RUN", *sheet.do_not_run]), err=True)

    task = Task(
        progress=Saying(common.quiet, "change list and run card"),
        compute=lambda _: make_sheet(project, sheet_options),
        text=text,
        as_dict=Sheet.as_dict,
        passes=lambda sheet: sheet.passes,
        others=others,
        project=project,
        target=target,
        after=warn,
    )
    run(common, task)


def _files(sheet: Sheet, folder: Path) -> dict[Path, str | bytes]:
    """What is written, by path."""
    from setupopt.report.sheet.fields import table
    from setupopt.report.sheet.pdf import pdf

    contents: dict[str, str | bytes] = {
        "pdf": pdf(sheet),
        "csv": table(sheet),
        "json": as_json_text(sheet.as_dict()),
    }
    names = [f"{sheet.file_name}.{kind}" for kind in contents]
    targets = folder_targets(str(folder), names)
    return dict(zip(targets.values(), contents.values(), strict=True))
