"""`setupopt speeds`: between which speeds a setup is safe, the run-up, and loss of drive."""

from __future__ import annotations

import click

from setupopt.cli import options
from setupopt.cli.runner import Task, run
from setupopt.cli.waiting import Progress, loading


@click.command("speeds")
@options.common
def command(common: options.Common) -> None:
    """At which speeds the setup of PROJECT keeps every limit and the minimum margin (0 unless --floor is
    given), how long a run-up the sweep's speed takes, and what time is left when the drive is lost.

    Exit status 1 when the sweep's own speed is not safe. With --out, speeds.txt, speeds.json, speeds.csv
    and speeds.svg are written to DIR.

    \b
    Example: setupopt speeds my-car --setup proposed.toml --floor 0.05
      the speeds at which the proposed setup keeps a margin of 0.05
    """
    with loading(common.quiet):
        project = common.load()

        from setupopt.report.speeds.fields import as_dict, csv_text
        from setupopt.report.speeds.picture import speeds_picture
        from setupopt.report.speeds.text import text
        from setupopt.robust.speeds.at_speed import scanned_speeds
        from setupopt.robust.speeds.study import SpeedOptions, study_speeds

    task = Task(
        progress=Progress(
            len(scanned_speeds(project.venue.sweep.speed)),
            common.quiet,
            "speeds",
        ),
        compute=lambda progress: study_speeds(
            project, SpeedOptions(common.floor or 0.0), progress
        ),
        text=text,
        as_dict=as_dict,
        name="speeds",
        files={"speeds.csv": csv_text, "speeds.svg": speeds_picture},
        project=project,
    )
    run(common, task)
