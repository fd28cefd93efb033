"""`setupopt readback`: the margin of the car as it was really built, and what to correct."""

from __future__ import annotations

import click

from setupopt.cli import completing, options
from setupopt.cli.runner import Task, run
from setupopt.cli.waiting import Saying, loading


@click.command("readback")
@options.common
@click.argument(
    "measured", metavar="MEASURED", type=completing.FileName(".csv", ".toml")
)
def command(common: options.Common, measured: str) -> None:
    """Margin of PROJECT as it was built and MEASURED on the pad, and the corrections that it needs.

    MEASURED is the CSV of `setupopt sheet`, filled in, or a TOML file with [fl], [fr], [rl], [rr], [front],
    [rear]; what is left out is taken as wanted. The target is --setup, or proposed.toml where the project has
    one, or setup.toml. Without --floor the margin may be what the tolerance allows. With --out, readback.txt
    and readback.json are written to DIR.

    \b
    Example: setupopt readback my-car pad.csv
      the margin of the car as the filled-in sheet describes it
    """
    target = common.proposed()
    with loading(common.quiet):
        project = common.load(target)

        from setupopt.project.measured_file import read_measured
        from setupopt.report.readback.fields import as_dict
        from setupopt.report.readback.text import text
        from setupopt.sheet.readback import read_back

        values = read_measured(measured)
    task = Task(
        progress=Saying(common.quiet, "the car as built"),
        compute=lambda _: read_back(
            project, project.setup, values, common.floor
        ),
        text=text,
        as_dict=as_dict,
        cautions=lambda read: read.cautions,
        name="readback",
        reads=[measured],
        project=project,
        target=target,
    )
    run(common, task)
