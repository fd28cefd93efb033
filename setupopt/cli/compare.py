"""`setupopt compare`: bodies and setups against each other, ranked by worst margin."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import completing, options
from setupopt.cli.outputs import as_json_text, folder_targets, print_json, refuse_inputs, write_all
from setupopt.cli.waiting import Saying, loading, say_compiling, writing
from setupopt.errors import OutputError
from setupopt.files import resolved

if TYPE_CHECKING:
    from setupopt.project import Project, Setup
    from setupopt.report.compare.fields import JudgedComparison, Line

_TEXT, _JSON, _CELLS, _PICTURE = "compare.txt", "compare.json", "compare.csv", "compare.svg"
# How a setup begins that compare has written, and may write again.
_MARK = "Best of compare"
_WIDTH = 100  # of the text written to a file


@click.command("compare")
@options.project_argument
@click.argument("setup_files", metavar="[SETUP_FILE]...", nargs=-1, type=completing.SETUP)
@options.without_project
@click.option("--as-is", is_flag=True, help="Search nothing: every body with every setup as it is.")
@click.option(
    "--starts", type=click.IntRange(1, 1000), default=2, show_default=True, metavar="N",
    help="Setups to start each body's search from.",
)  # fmt: skip
@options.cluster_option
@click.pass_context
def command(
    ctx: click.Context, project: str, setup_files: tuple[str, ...], setup_file: str | None, out: str | None,
    as_json: bool, quiet: bool, floor: float | None, as_is: bool, starts: int, cluster: str | None,
) -> None:  # fmt: skip
    """Every body of PROJECT with its own best setup inside limits.toml, and each SETUP_FILE as it is, ranked
    by worst margin; and why each loses to the first.

    With --as-is every body wears every SETUP_FILE, or today's setup where there is none. With --out,
    compare.txt, compare.json, compare.csv, compare.svg and the best setup of each body, setup-BODY.toml,
    are written to DIR.

    \b
    Example: setupopt compare my-car setup.toml proposed.toml --as-is
      every body with today's and with the proposed setup, nothing searched
    """
    if as_is and cluster is not None:
        raise click.UsageError("--cluster: with --as-is nothing is searched that other machines could do")
    with loading(quiet):
        from setupopt.project import load

        found = load(project, setup_file)
        _refuse_targets(found, out, setup_file, setup_files)
        whole, setups = _with_setups(found, setup_files)
    judged = _compare(whole, setups, as_is, starts, floor, quiet, cluster)
    with writing(quiet):
        answer = as_json_text(judged.as_dict())
        written = _write(judged, answer, out)
    _print(judged, answer, written, as_json, quiet)
    ctx.exit(0 if judged.holds else 1)


# ---- what is read ------------------------------------------------------------------------------------------


def _with_setups(project: Project, files: Sequence[str]) -> tuple[Project, list[Setup]]:
    """The setups to compare, checked against the project, which takes over the cautions about them.

    Setups of the same name are told apart by their files.
    """
    from setupopt.project import load

    read = [load(project.folder, file) for file in files]
    cautions = dict.fromkeys(text for one in (project, *read) for text in one.cautions)
    names = Counter(one.setup.name for one in read)
    setups = [
        one.setup if names[one.setup.name] == 1 else replace(one.setup, name=f"{file}: {one.setup.name}")
        for one, file in zip(read, files, strict=True)
    ]
    return replace(project, cautions=tuple(cautions)), setups


def _compare(
    project: Project, setups: Sequence[Setup], as_is: bool, starts: int, floor: float | None, quiet: bool,
    address: str | None,
) -> JudgedComparison:  # fmt: skip
    say_compiling(quiet)
    with Saying(quiet, "loading") as progress:
        from setupopt.report.compare.fields import JudgedComparison
        from setupopt.search.comparison import compare

        with options.crew(address) as crew:
            found = compare(project, setups, as_is, starts, progress, crew)
        return JudgedComparison(found, as_is, starts, floor)


# ---- files -------------------------------------------------------------------------------------------------


def _refuse_targets(
    project: Project, out: str | None, setup_file: str | None, setup_files: Sequence[str]
) -> None:
    """Raises OutputError where a file cannot be written, or is not to be, before any work is done."""
    from setupopt.project.bodies import FOLDER

    setups = [_setup_name(project, body) for body in (None, *(body.name for body in project.bodies))]
    targets = folder_targets(out, {name: name for name in (_TEXT, _JSON, _CELLS, _PICTURE, *setups)})
    given = [path for name in setup_files for path in (name, str(project.folder / name))]
    refuse_inputs(targets, project.folder, setup_file, *given)
    if out is not None and resolved(Path(out)) == resolved(project.folder / FOLDER):
        raise OutputError(out, "every setup there would be read as a body")
    for name in setups if targets else ():
        _refuse_other(targets[name])


def _setup_name(project: Project, body: str | None) -> str:
    """File of the best setup of a body; a body may be called "car" too."""
    from setupopt.project.bodies import told

    taken = any(other.name.lower() == "car" for other in project.bodies)
    return f"setup-{'car' if body is None and not taken else told(body)}.toml"


def _refuse_other(target: Path) -> None:
    """A setup that somebody else wrote is not overwritten."""
    if not target.exists():
        return
    with target.open(encoding="utf-8", errors="replace") as file:
        if not file.readline().startswith(f"# {_MARK}"):
            raise OutputError(str(target), "a setup that compare has not written stands there")


def _write(judged: JudgedComparison, answer: str, out: str | None) -> list[Path]:
    """Everything that was asked for, all of it or nothing; all is made before any is written."""
    if out is None:
        return []
    from setupopt.project.writing import setup_text
    from setupopt.report.compare.picture import comparison_svg
    from setupopt.report.compare.text import text

    texts = {_TEXT: text(judged, _WIDTH), _JSON: answer, _CELLS: judged.csv_text()}
    texts[_PICTURE] = comparison_svg(judged)
    for body, line in _best_of_bodies(judged):
        head = _setup_head(judged, line)
        texts[_setup_name(judged.project, body)] = setup_text(line.contender.setup, None, head)
    written = {Path(out) / name: content for name, content in texts.items()}
    write_all(written)
    return list(written)


def _best_of_bodies(judged: JudgedComparison) -> Iterable[tuple[str | None, Line]]:
    """The line of every body's best setup: its own best, where it was searched for, else the first given."""
    found: dict[str | None, Line] = {}
    for line in sorted(judged.lines, key=lambda line: not line.contender.is_own_best):
        found.setdefault(line.contender.setup.body, line)
    return found.items()


def _setup_head(judged: JudgedComparison, line: Line) -> str:
    """What stands on top of a setup: its margin and its caution."""
    from setupopt.project.bodies import body_words
    from setupopt.report.assess.text import CLOSING
    from setupopt.report.shared.tables import margin_words, paragraph

    one = line.contender
    what = f"{_MARK} with the {body_words(one.setup.body)} at {judged.project.venue.name}"
    short = "" if one.holds else "\nIT BREAKS A LIMIT OR LOSES CONTACT: see what compare printed."
    first = f"{what}; worst margin {margin_words(one.margin)} by the model."
    return f"{paragraph(first, 90)}{short}\n{paragraph(CLOSING, 90)}"


def _print(judged: JudgedComparison, answer: str, written: list[Path], as_json: bool, quiet: bool) -> None:
    from setupopt.report.compare.text import text
    from setupopt.report.shared.tables import screen_width

    if as_json:
        print_json(answer, judged.project.cautions, quiet)
        return
    click.echo(text(judged, screen_width(), short=quiet), nl=False)
    if written:
        click.echo("\n" + "\n".join(f"written: {target}" for target in written))
