"""`setupopt assess`: the grip margin at every roll angle and attitude, the worst one and why."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from setupopt.cli import completing, options
from setupopt.cli.runner import Files, Task, run
from setupopt.cli.waiting import Progress, Saying, loading
from setupopt.errors import InputError, OutputError
from setupopt.files import Growing

if TYPE_CHECKING:
    from setupopt.evaluation.assessment import Assessment
    from setupopt.evaluation.case_file import CaseFile
    from setupopt.evaluation.cases import CaseSet
    from setupopt.evaluation.result import Result
    from setupopt.project import Project

_READING = "reading the cases"
_MOST_IN_EXCEL = (1 << 20) - 1


@click.command("assess")
@options.common
@options.path(
    "--cases cases_file", "FILE.csv", completing.TABLE, "Load cases instead of the venue's sweep.",
)  # fmt: skip
@options.path("--cases-out", "FILE.csv", completing.TABLE, "Write a table with one row for every case.")  # fmt: skip
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
        target = _table(cases_out, common.out)
    with Saying(common.quiet, _READING) as saying:
        cases = _cases(
            cases_file,
            project,
            common.excel,
            lambda count: saying(f"{_READING}: {count}"),
        )
    with loading(common.quiet):
        from setupopt.evaluation.assessment import Assessment, assess, csv_text
        from setupopt.report.assess.picture import assessment_svg
        from setupopt.report.assess.text import text

    with ExitStack() as growing:
        table = growing.enter_context(Growing(target)) if target else None

        def take(result: Result) -> None:
            if table is not None:
                table.write(csv_text(result, head=table.spare is None))

        files: Files[Assessment] = {"assess.svg": assessment_svg}
        own = {}
        if cases_out is None:
            files = {**files, "cases.csv": lambda _: table}
        elif table is not None:
            own = {table.path: table}
        task = Task(
            progress=Progress(len(cases), common.quiet),
            compute=lambda progress: assess(
                project, cases, common.floor, progress, take
            ),
            text=_words if sensitivity else text,
            as_dict=_fields if sensitivity else Assessment.as_dict,
            cautions=lambda found: found.cautions,
            name="assess",
            files=files,
            others=lambda _: own,
            reserved=own,
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


def _table(cases_out: str | None, out: str | None) -> Path | None:
    """Where the table of cases goes, if anywhere. Raises OutputError where the folder of --cases-out is missing."""
    if cases_out is None:
        return None if out is None else Path(out) / "cases.csv"
    if not Path(cases_out).parent.is_dir():
        raise OutputError(cases_out, "its folder does not exist")
    return Path(cases_out)


def _cases(
    cases_file: str | None,
    project: Project,
    excel: bool,
    progress: Callable[[int], object],
) -> CaseSet | CaseFile:
    from setupopt.evaluation.cases import sweep_cases

    if cases_file is None:
        return sweep_cases(project.venue)
    from setupopt.evaluation.case_file import case_file

    cases = case_file(cases_file, project, progress)
    if excel and len(cases) > _MOST_IN_EXCEL:
        raise InputError(
            cases_file,
            None,
            "",
            f"{len(cases)} rows",
            f"at most {_MOST_IN_EXCEL}, which is what a workbook holds: leave --excel out",
        )
    return cases
