"""`setupopt report`: everything about today's setup and the proposed one on one page."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import options
from setupopt.cli.outputs import keep_prices
from setupopt.cli.runner import Task, run
from setupopt.cli.waiting import Saying, loading

if TYPE_CHECKING:
    from setupopt.evaluation.report_data import Report

FILE = "report.html"


@click.command("report")
@options.common
def command(common: options.Common) -> None:
    """One page about the setup of PROJECT today and the proposed one: worst case, losses,
    margins, loads, drawings to scale, contact patches, limits and robustness.

    Writes report.html to PROJECT, or to DIR with --out: one file that needs no network, for screen and paper.
    Exit status 1 when the proposed setup, or today's where there is no proposed.toml, loses contact, breaks a
    limit or misses the floor.

    \b
    Example: setupopt report my-car --floor 0.05
      the page of both setups; exit status 1 where the margin is under 0.05
    """
    name = common.proposed()
    proposed_file = name and str(Path(common.project) / name)
    with loading(common.quiet):
        today = common.load()

        from setupopt.evaluation.report_data import report
        from setupopt.project import load
        from setupopt.report.assess.text import text
        from setupopt.report.page.fields import as_dict
        from setupopt.report.page.html import html
        from setupopt.report.page.prices import with_prices

        proposed = None if proposed_file is None else load(common.project, name)
    page = Path(common.out or common.project) / FILE
    day = datetime.date.today().isoformat()
    task = Task(
        progress=Saying(common.quiet, "cases of the sweep"),
        compute=lambda progress: with_prices(
            report(today, proposed, common.floor, day), progress
        ),
        text=lambda made, width, _: text(
            made.target.assessment, width, short=True
        ),
        as_dict=as_dict,
        cautions=lambda made: made.cautions,
        others=lambda made: {page: html(made)},
        reserved=[page],
        after=_keep,
        reads=[proposed_file],
        project=today,
        more=f"; proposed: {proposed.setup.name} ({proposed_file})"
        if proposed
        else "",
    )
    run(common, task)


def _keep(made: Report) -> None:
    """Leave prices that took seconds in the project, for the next report."""
    if made.prices is not None and "near" in made.prices:
        keep_prices(made.target.project, made.prices)
