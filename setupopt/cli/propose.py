"""`setupopt propose`: the setup whose worst margin is highest."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import options
from setupopt.cli.outputs import as_json_text, make_folder, print_json
from setupopt.cli.waiting import Saying, say_compiling
from setupopt.errors import OutputError

if TYPE_CHECKING:
    from setupopt.project import Project
    from setupopt.report.proposal import JudgedProposal

FILE = "proposed.toml"


@click.command("propose")
@options.common
@click.option(
    "--starts", type=click.IntRange(1, 1000), default=4, show_default=True, help="Setups to start from."
)
@click.option(
    "--seed", type=click.IntRange(0), default=0, show_default=True, help="Seed of the other starts."
)
@click.pass_context
def command(
    ctx: click.Context, project: str, setup_file: str | None, out: str | None, as_json: bool,
    quiet: bool, floor: float | None, starts: int, seed: int,
) -> None:  # fmt: skip
    """The setup of PROJECT, inside limits.toml, whose worst margin is highest.

    Writes proposed.toml to PROJECT, or to DIR with --out.
    """
    from setupopt.project import load

    found = load(project, setup_file)
    target = _target(found, out, setup_file)
    judged = _propose(found, floor, starts, seed, quiet)
    _write(target, judged)
    _print(judged, target, as_json, quiet)
    ctx.exit(0 if judged.holds else 1)


def _target(project: Project, out: str | None, setup_file: str | None) -> Path:
    """The file to write. Raises OutputError where it cannot be, before any work is done."""
    folder = Path(out) if out is not None else project.folder
    if folder.exists() and not folder.is_dir():
        raise OutputError(str(folder), "it is not a folder")
    target = folder / FILE
    read = [Path(setup_file), project.folder / setup_file] if setup_file is not None else []
    if target.resolve() in {path.resolve() for path in read}:
        raise OutputError(str(target), "it is one of the files that are read")
    return target


def _propose(project: Project, floor: float | None, starts: int, seed: int, quiet: bool) -> JudgedProposal:
    say_compiling(quiet)
    from setupopt.report.proposal import JudgedProposal
    from setupopt.search import propose

    with Saying(quiet) as progress:
        return JudgedProposal(project, propose(project, starts, seed, progress=progress), floor)


def _write(target: Path, judged: JudgedProposal) -> None:
    """The setup in the form of setup.toml, with its margin and its caution on top."""
    from setupopt.project import write_setup
    from setupopt.report.assessment_text import CLOSING
    from setupopt.report.tables import paragraph

    margin = "contact lost" if judged.margin is None else f"{judged.margin:.3f}"
    short = "" if judged.proposal.holds else "\nIT BREAKS A LIMIT OR LOSES CONTACT: see what propose printed."
    head = f"Proposed for {judged.project.venue.name}; worst margin {margin} by the model.{short}"
    make_folder(target.parent)
    write_setup(target, judged.proposal.setup, None, f"{head}\n{paragraph(CLOSING, 90)}")


def _print(judged: JudgedProposal, target: Path, as_json: bool, quiet: bool) -> None:
    from setupopt.report.proposal_text import text
    from setupopt.report.tables import screen_width

    if as_json:
        print_json(as_json_text(judged.as_dict()), judged.project.cautions, quiet)
        return
    click.echo(text(judged, screen_width(), short=quiet), nl=False)
    click.echo(f"\nwritten: {target}")
