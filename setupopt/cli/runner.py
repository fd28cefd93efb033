"""How every command goes on once its input is read: compute, write, print, exit.

A command describes itself by a `Task`; only `run` shows progress, writes files, prints and ends it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, NoReturn, TypeVar

import click

from setupopt.cli.outputs import (
    as_json_text,
    folder_targets,
    refuse_inputs,
    write_all,
)
from setupopt.cli.waiting import Progress, Saying, say_compiling, writing
from setupopt.errors import UserError, printable
from setupopt.files import Growing

if TYPE_CHECKING:
    from setupopt.cli.options import Common
    from setupopt.project import Project

Answer = TypeVar("Answer")
Content = str | bytes | Growing
Files = Mapping[str, Callable[[Answer], Content | None]]  # makers by file name
_FILE_WIDTH = 100  # characters in a line of a text that is written to a file


def _no_files(answer: object) -> Mapping[Path, Content]:
    return {}


def _nothing(answer: object) -> None:
    """Most commands have nothing left to do."""


@dataclass(frozen=True)
class Task(Generic[Answer]):
    """One command.

    `compute` gets `progress`, the line on the terminal. `text` gets the answer, the width of a line and
    whether to leave the tables out. `passes` decides the exit status.
    `project`: the one that was read, and `target` the setup file that it takes without --setup; the text names
    the setup, with `more`, and what is assumed. `cautions` about the input; None: those of the project.
    `name` is that of the text and the JSON in --out; empty: neither is written.
    `files` makes the other files of --out by name; None for a file that has no content.
    `others` gives what is written elsewhere, and `reserved` the paths that it may use.
    `reads` are input files besides those of the project.
    `after` runs when all is written. `stopped` is said when the user stops the computation.
    """

    progress: Progress | Saying
    compute: Callable[[Any], Answer]
    text: Callable[[Answer, int, bool], str]
    as_dict: Callable[[Answer], object]
    passes: Callable[[Answer], bool] = attrgetter("holds")
    project: Project | None = None
    target: str | None = None
    cautions: Callable[[Answer], Sequence[str]] | None = None
    name: str = ""
    files: Files[Answer] = field(default_factory=dict)
    others: Callable[[Answer], Mapping[Path, Content]] = _no_files
    reserved: Iterable[Path] = ()
    reads: Sequence[str | None] = ()
    more: str = ""
    after: Callable[[Answer], None] = _nothing
    stopped: str = ""


def run(common: Common, task: Task[Answer]) -> NoReturn:
    """Compute, write, print, and exit with status 0 when the answer passes, else 1.

    Raises UserError when the input or a file to write is refused; nothing is written then.
    """
    makers = _makers(common, task)
    refuse_inputs(
        [*makers, *task.reserved],
        Path(common.project),
        common.setup_file,
        *task.reads,
    )
    if common.excel:
        from setupopt.report.shared.excel import is_available

        if not is_available():
            raise UserError(
                "--excel: needs the package XlsxWriter, pip install 'setupopt[excel]'"
            )
    say_compiling(common.quiet)
    answer = _computed(task)
    with writing(common.quiet):
        answer_json = as_json_text(task.as_dict(answer))
        contents = {
            path: make(answer, answer_json) for path, make in makers.items()
        }
        written = {
            path: content
            for path, content in contents.items()
            if content is not None
        }
        written |= task.others(answer)
        if common.excel:
            books = _workbooks(written)
            refuse_inputs(
                books, Path(common.project), common.setup_file, *task.reads
            )
            written |= books
        write_all(written)
    task.after(answer)
    _print(common, task, answer, answer_json, written)
    click.get_current_context().exit(0 if task.passes(answer) else 1)


def _workbooks(written: Mapping[Path, Content]) -> dict[Path, Content]:
    """Every table in CSV as a workbook beside it."""
    from setupopt.report.shared.excel import workbook

    tables = {
        path: content
        for path, content in written.items()
        if path.suffix == ".csv"
    }
    return {
        path.with_suffix(".xlsx"): workbook(
            content.read().decode()
            if isinstance(content, Growing)
            else str(content)
        )
        for path, content in tables.items()
    }


def _computed(task: Task[Answer]) -> Answer:
    """The answer. The message of an interrupt says what is kept."""
    try:
        with task.progress as progress:
            return task.compute(progress)
    except KeyboardInterrupt:
        raise KeyboardInterrupt(task.stopped) from None


_Make = Callable[[Answer, str], Content | None]


def _makers(common: Common, task: Task[Answer]) -> dict[Path, _Make[Answer]]:
    """What makes each file of --out from the answer and its JSON."""
    makers: dict[str, _Make[Answer]] = {}
    if task.name:
        makers[f"{task.name}.txt"] = lambda answer, _: _text(
            common, task, answer, _FILE_WIDTH
        )
        makers[f"{task.name}.json"] = lambda _, answer_json: answer_json
    for name, make in task.files.items():
        makers[name] = lambda answer, _, make=make: make(answer)  # type: ignore[misc]
    targets = folder_targets(common.out, makers)
    return {target: makers[name] for name, target in targets.items()}


def _text(
    common: Common,
    task: Task[Answer],
    answer: Answer,
    width: int,
    short: bool = False,
) -> str:
    """The text of the answer, under the setup and what is assumed."""
    from setupopt.report.shared.tables import paragraph
    from setupopt.report.shared.words import assumed_text

    parts = []
    if task.project is not None:
        setup = common.setup_words(task.project, task.target)
        assumed = () if short else task.project.assumed
        parts = [
            paragraph(f"{setup}{task.more}", width),
            assumed_text(assumed, width),
        ]
    return "\n".join([*filter(None, parts), task.text(answer, width, short)])


def _print(
    common: Common,
    task: Task[Answer],
    answer: Answer,
    answer_json: str,
    written: Iterable[Path],
) -> None:
    """Text and written files; or JSON alone on standard output and the cautions on standard error."""
    from setupopt.report.shared.tables import screen_width
    from setupopt.report.shared.words import cautions_text

    width = screen_width()
    if common.as_json:
        found = task.project.cautions if task.project else ()
        if task.cautions is not None:
            found = tuple(task.cautions(answer))
        cautions = cautions_text(found, width)
        if cautions and not common.quiet:
            click.echo(printable(cautions), err=True)
        click.echo(answer_json, nl=False)
        return
    click.echo(
        printable(_text(common, task, answer, width, common.quiet)), nl=False
    )
    lines = [f"written: {path}" for path in written]
    if lines:
        click.echo(printable("\n".join(["", *lines])))
