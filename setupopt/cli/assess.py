"""`setupopt assess`: the grip margin at every roll angle and attitude, the worst one and why."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import completing, options
from setupopt.cli.outputs import as_json_text, folder_targets, print_json, refuse_inputs, write_all
from setupopt.cli.waiting import Progress, loading, say_compiling, writing
from setupopt.errors import OutputError

if TYPE_CHECKING:
    from setupopt.evaluation.assessment import Assessment
    from setupopt.evaluation.cases import CaseSet
    from setupopt.project import Project

_FILES = {"cases": "cases.csv", "text": "assess.txt", "json": "assess.json", "picture": "assess.svg"}
_WIDTH = 100  # of the text written to a file


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
@click.pass_context
def command(
    ctx: click.Context, project: str, setup_file: str | None, out: str | None, as_json: bool,
    quiet: bool, floor: float | None, cases_file: str | None, cases_out: str | None,
) -> None:  # fmt: skip
    """Grip margin at every roll angle and attitude of PROJECT, the worst one and why.

    With --out, assess.txt, assess.json, cases.csv and a picture are written to DIR.

    \b
    Example: setupopt assess my-car --floor 0.1
      the margin of today's setup; exit status 1 where it is under 0.1
    """
    with loading(quiet):
        from setupopt.project import load

        found = load(project, setup_file)
        targets = _targets(out, cases_out)
        refuse_inputs(targets, Path(project), setup_file, cases_file)
        cases = _cases(cases_file, found)
    assessment = _assess(found, cases, floor, quiet)
    with writing(quiet):
        _write(targets, assessment)
    _print(assessment, as_json, quiet)
    ctx.exit(0 if assessment.holds else 1)


def _targets(out: str | None, cases_out: str | None) -> dict[str, Path]:
    """The files to write, by what they hold. Raises OutputError where there is no room for one."""
    found = folder_targets(out, _FILES)
    if cases_out is not None:
        found["cases"] = Path(cases_out)
        if not found["cases"].parent.is_dir():
            raise OutputError(cases_out, "its folder does not exist")
    return found


def _cases(cases_file: str | None, project: Project) -> CaseSet:
    from setupopt.evaluation.cases import sweep_cases, table_cases

    if cases_file is None:
        return sweep_cases(project.venue)
    from setupopt.project.cases_file import read_cases

    return table_cases(read_cases(cases_file, project.venue, project.car), project.venue)


def _assess(project: Project, cases: CaseSet, floor: float | None, quiet: bool) -> Assessment:
    say_compiling(quiet)
    with Progress(len(cases), quiet) as progress:
        from setupopt.evaluation.assessment import assess

        return assess(project, cases, floor, progress)


def _write(targets: dict[str, Path], assessment: Assessment) -> None:
    """Write the files asked for, each whole or not at all."""
    from setupopt.evaluation.assessment import csv_text
    from setupopt.report.assess.picture import assessment_svg
    from setupopt.report.assess.text import text

    makers = {
        "cases": lambda: csv_text(assessment.result),
        "text": lambda: text(assessment, _WIDTH),
        "json": lambda: as_json_text(assessment.as_dict()),
        "picture": lambda: assessment_svg(assessment),
    }
    write_all({target: makers[kind]() for kind, target in targets.items()})


def _print(assessment: Assessment, as_json: bool, quiet: bool) -> None:
    from setupopt.report.assess.text import text
    from setupopt.report.shared.tables import screen_width

    if as_json:
        print_json(as_json_text(assessment.as_dict()), assessment.project.cautions, quiet)
        return
    click.echo(text(assessment, screen_width(), short=quiet), nl=False)
