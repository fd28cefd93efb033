"""`setupopt assess`: the grip margin at every roll angle and attitude, the worst one and why."""

from __future__ import annotations

from dataclasses import asdict
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
@options.flag(
    "--sensitivity",
    "Say which input that is hard to measure matters here, and how much: measure that one first.",
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

        from setupopt.evaluation.assessment import Assessment, assess
        from setupopt.report.assess.picture import assessment_svg
        from setupopt.report.assess.text import text

    svg: Files[Assessment] = {"assess.svg": assessment_svg}
    task = Task(
        progress=Progress(len(cases), common.quiet),
        compute=lambda progress: assess(project, cases, common.floor, progress),
        text=_words if sensitivity else text,
        as_dict=_fields if sensitivity else Assessment.as_dict,
        passes=lambda found: found.holds,
        cautions=lambda found: found.cautions,
        name="assess",
        files=svg if table else {**svg, "cases.csv": _cases_text},
        others=lambda found: {path: _cases_text(found) for path in table},
        reserved=table,
        reads=[cases_file],
        project=project,
    )
    run(common, task)


def _words(found: Assessment, width: int, short: bool) -> str:
    """What the screen shows, with what matters most."""
    from setupopt.report.assess.sensitivity import sensitivity_text
    from setupopt.report.assess.text import text

    said = sensitivity_text(found.sensitivities, width)
    return f"{text(found, width, short)}\n{said}"


def _fields(found: Assessment) -> dict[str, Any]:
    """What --json shows, with the same."""
    rows = [asdict(row) for row in found.sensitivities]
    return found.as_dict() | {"sensitivity": rows}


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
