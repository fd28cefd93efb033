"""`setupopt assess`: the grip margin at every roll angle and attitude, the worst one and why."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from setupopt.cli import completing, options
from setupopt.cli.runner import Files, Task, run
from setupopt.cli.waiting import Progress, loading
from setupopt.errors import OutputError

if TYPE_CHECKING:
    from setupopt.evaluation.assessment import Assessment
    from setupopt.evaluation.cases import CaseSet
    from setupopt.project import Project


@click.command("assess")
@options.common
@click.option(
    "--cases", "cases_file", metavar="FILE.csv", type=completing.TABLE,
    help="Load cases instead of the venue's sweep.",
)  # fmt: skip
@click.option(
    "--cases-out", metavar="FILE.csv", type=completing.TABLE,
    help="Write a table with one row for every case.",
)  # fmt: skip
@options.gpu_option
@click.option(
    "--sensitivity", is_flag=True,
    help="Say which input that is hard to measure matters here, and how much: measure that one first.",
)  # fmt: skip
def command(
    common: options.Common,
    cases_file: str | None,
    cases_out: str | None,
    sensitivity: bool,
) -> None:
    """Grip margin at every roll angle and attitude of PROJECT, the worst one and why.

    With --out, assess.txt, assess.json, cases.csv and a picture are written to DIR.

    \b
    Example: setupopt assess my-car --floor 0.1
      the margin of today's setup; exit status 1 where it is under 0.1
    """
    with loading(common.quiet):
        project = common.load()
        table = _table(cases_out)
        cases = _cases(cases_file, project)

        from setupopt.evaluation.assessment import assess
        from setupopt.report.assess.picture import assessment_svg

    svg: Files[Assessment] = {"assess.svg": assessment_svg}
    task = Task(
        progress=Progress(len(cases), common.quiet),
        compute=lambda progress: assess(project, cases, common.floor, progress),
        text=_words(sensitivity),
        as_dict=_fields(sensitivity),
        passes=lambda found: found.holds,
        cautions=lambda found: found.cautions,
        name="assess",
        files=svg if table else {**svg, "cases.csv": _cases_text},
        others=lambda found: {path: _cases_text(found) for path in table},
        reserved=table,
        reads=[cases_file],
        setup=common.setup_words(project),
        assumed=project.assumed,
    )
    run(common, task)


def _words(sensitivity: bool) -> Callable[[Assessment, int, bool], str]:
    """What the screen shows."""
    from setupopt.report.assess.sensitivity import sensitivity_text
    from setupopt.report.assess.text import text

    def words(found: Assessment, width: int, short: bool) -> str:
        said = text(found, width, short)
        if not sensitivity:
            return said
        return f"{said}\n{sensitivity_text(found.sensitivities, width)}\n"

    return words


def _fields(sensitivity: bool) -> Callable[[Assessment], dict[str, Any]]:
    """What --json shows."""
    from setupopt.report.assess.sensitivity import sensitivity_fields

    def fields(found: Assessment) -> dict[str, Any]:
        if not sensitivity:
            return found.as_dict()
        return found.as_dict() | {
            "sensitivity": sensitivity_fields(found.sensitivities)
        }

    return fields


def _cases_text(found: Assessment) -> str:
    """A row for every case."""
    from setupopt.evaluation.assessment import csv_text

    return csv_text(found.result)


def _table(cases_out: str | None) -> list[Path]:
    """The file of --cases-out, if it is given. Raises OutputError where its folder does not exist."""
    if cases_out is None:
        return []
    if not Path(cases_out).parent.is_dir():
        raise OutputError(cases_out, "its folder does not exist")
    return [Path(cases_out)]


def _cases(cases_file: str | None, project: Project) -> CaseSet:
    from setupopt.evaluation.cases import sweep_cases, table_cases

    if cases_file is None:
        return sweep_cases(project.venue)
    from setupopt.project.cases_file import read_cases

    return table_cases(
        read_cases(cases_file, project.venue, project.car), project.venue
    )
