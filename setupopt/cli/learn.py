"""`setupopt learn`: a run's log beside the model, the model corrected, and what may be driven next."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import completing, options
from setupopt.cli.runner import Task, run
from setupopt.cli.waiting import Progress, loading
from setupopt.units import PERCENT

if TYPE_CHECKING:
    from setupopt.learn.study import Learned


@click.command("learn")
@options.common
@click.argument(
    "logs", metavar="LOG...", nargs=-1, required=True, type=completing.TABLE
)
@options.path(
    "--channels", "MAP.toml", completing.TABLE,
    "Which columns of the logs are which channels: a table [channels].",
)  # fmt: skip
@options.number(
    "--chance percent", "PERCENT", "Highest chance of failing that is accepted.", 1e-4, 50.0, 1.0,
)  # fmt: skip
@options.flag(
    "--programme",
    "The test programme of the route: runs that are each a small step; minutes.",
)  # fmt: skip
@options.path("--corrected", "DIR", completing.FOLDER, "New folder for the corrected project.")  # fmt: skip
def command(
    common: options.Common,
    logs: tuple[str, ...],
    channels: str | None,
    percent: float,
    programme: bool,
    corrected: str | None,
) -> None:
    """Compares logs of runs with the model: residuals of every channel, the corrected car with errors, and the next
    run whose chance of a margin under the minimum (0 unless --floor is given) is small.

    LOG is a CSV, MAT, .xlsx, .ods, .mf4 or .tdms file with time_s, speed_m_s and other channels. Exit status
    1 when no next run is safe enough, the corrected car misses the minimum over the sweep, or parts of the
    logs contradict each other. With --out, learn.txt, learn.json, learn.csv, learn-way.csv and four pictures
    are written to DIR. --corrected writes a new project; the old one stays as it is.

    \b
    Example: setupopt learn my-car run1.csv run2.csv --corrected my-car-2
      the car as two runs show it, in the new folder my-car-2
    """
    with loading(common.quiet):
        from setupopt.learn.corrected import refuse_folder

        if corrected is not None:
            refuse_folder(Path(corrected))
        project = common.load()

        from setupopt.learn.next_step import plain_runs, route_runs
        from setupopt.learn.study import STEPS, LearnOptions, learn
        from setupopt.report.learn.fields import as_dict
        from setupopt.report.learn.text import text

    wanted = LearnOptions(
        channels,
        percent * PERCENT,
        common.floor or 0.0,
        route_runs if programme else plain_runs,
    )
    task = Task(
        progress=Progress(STEPS, common.quiet, "steps"),
        compute=lambda progress: learn(project, logs, wanted, progress),
        text=text,
        as_dict=as_dict,
        name="learn",
        files=_files(),
        others=lambda learned: _new_project(learned, logs, corrected),
        reads=[*logs, channels],
        project=project,
        stopped="finished routes of the programme are kept for the same command"
        if programme
        else "",
    )
    run(common, task)


def _files() -> Mapping[str, Callable[[Learned], str]]:
    """What --out writes beside text and JSON."""
    from setupopt.report.learn import picture
    from setupopt.report.learn.fields import csv_text, way_text

    return {
        "learn.csv": csv_text,
        "learn-way.csv": way_text,
        "learn-channels.svg": picture.channels_picture,
        "learn-residuals.svg": picture.residuals_picture,
        "learn-posterior.svg": picture.posterior_picture,
        "learn-run.svg": picture.run_picture,
    }


def _new_project(
    learned: Learned, logs: tuple[str, ...], folder: str | None
) -> Mapping[Path, bytes]:
    """The files of the corrected project; none where no folder is named for it."""
    if folder is None:
        return {}
    from setupopt.learn.corrected import files

    today = date.today().isoformat()
    made = files(
        learned.correction, learned.grip, learned.project, list(logs), today
    )
    return {Path(folder) / name: content for name, content in made.items()}
