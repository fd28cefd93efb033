"""`setupopt report`: everything about today's setup and the proposed one on one page."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import options
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
    from setupopt.evaluation.report_data import Report
    from setupopt.project import Project

FILE = "report.html"


@click.command("report")
@options.common
@click.pass_context
def command(
    ctx: click.Context, project: str, setup_file: str | None, out: str | None, as_json: bool, quiet: bool,
    floor: float | None,
) -> None:  # fmt: skip
    """One page about the setup that PROJECT stands on today and the proposed one: worst case, losses,
    margins, loads, drawings to scale, contact patches, limits and robustness.

    Writes report.html to PROJECT, or to DIR with --out: one file that needs no network, for screen and paper.
    Exit status 1 when the proposed setup, or today's where there is no proposed.toml, loses contact, breaks a
    limit or misses the floor.

    \b
    Example: setupopt report my-car --floor 0.05
      the page of both setups; exit status 1 where the margin is under 0.05
    """
    home, found = Path(project), default_target(Path(project))
    with loading(quiet):
        from setupopt.project import load

        today = load(project, setup_file)
        proposed = None if found is None else load(project, str(home / found))
    targets = folder_targets(project if out is None else out, {"page": FILE})
    refuse_inputs(targets, home, setup_file, found and str(home / found))
    say_compiling(quiet)
    made = _report(today, proposed, floor, quiet)
    with writing(quiet):
        _write(made, targets["page"])
    _print(made, targets["page"], as_json, quiet)
    ctx.exit(0 if made.holds else 1)


def _report(today: Project, proposed: Project | None, floor: float | None, quiet: bool) -> Report:
    day = datetime.datetime.now().astimezone().date().isoformat()
    with Saying(quiet, "cases of the sweep"):
        from setupopt.evaluation.report_data import report

        return report(today, proposed, floor, day)


def _write(made: Report, target: Path) -> None:
    """The page, whole or not at all."""
    from setupopt.report.page.html import html

    write_all({target: html(made)})


def _print(made: Report, target: Path, as_json: bool, quiet: bool) -> None:
    """The verdict on the setup that counts, and where the page is."""
    from setupopt.report.assess.text import text
    from setupopt.report.page.fields import as_dict
    from setupopt.report.shared.tables import screen_width

    if as_json:
        print_json(as_json_text(as_dict(made)), made.cautions, quiet)
        return
    click.echo(text(made.target.assessment, screen_width(), short=True), nl=False)
    click.echo(f"\nwritten: {target}")
