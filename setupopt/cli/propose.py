"""`setupopt propose`: the setup whose worst margin is highest."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import completing, options
from setupopt.cli.outputs import (
    as_json_text,
    folder_targets,
    print_json,
    refuse_inputs,
    write_all,
)
from setupopt.cli.waiting import Saying, loading, say_compiling, writing
from setupopt.errors import OutputError
from setupopt.files import resolved

if TYPE_CHECKING:
    from setupopt.project import Project, Setup
    from setupopt.report.propose.fields import JudgedProposal
    from setupopt.search import ProposalOptions

STOPPED = 130
FILE = "proposed.toml"
_FILES = {"text": "proposal.txt", "json": "proposal.json", "picture": "tradeoff.svg"}
_WIDTH = 100  # of the text written to a file
_MOST_ALTERNATIVES = 99  # none of so many files may be one that is read


@click.command("propose")
@options.with_floors
@click.option(
    "--weights", type=options.Named(options.Finite(0.0, 100.0)), multiple=True, callback=options.by_name,
    metavar="NAME=W", help="How much the attitude NAME counts, 0 to 100; 1 where nothing is said. "
    "May be repeated.",
)  # fmt: skip
@click.option(
    "--keep", multiple=True, metavar="KEY", shell_complete=completing.settings,
    help="Setting that stays as it is: front.camber_deg; camber_deg for both axles; body. May be repeated.",
)  # fmt: skip
@click.option("--robust", is_flag=True, help="Reckon with build errors within [tolerance] of limits.toml.")
@click.option(
    "--alternatives", "loss", type=options.Finite(0.0, 1.0), default=0.01, show_default=True, metavar="LOSS",
    help="Show clearly different setups that lose at most so much worst margin; 0 for none.",
)  # fmt: skip
@click.option(
    "--study", metavar="URL", help="Optuna storage that keeps the choice of parts, such as "
    "sqlite:///parts.db; several workers may share it.",
)  # fmt: skip
@click.option(
    "--starts", type=click.IntRange(1, 1000), default=4, show_default=True, metavar="N",
    help="Setups to start from.",
)  # fmt: skip
@click.option(
    "--seed", type=click.IntRange(0), default=0, show_default=True, metavar="N",
    help="Seed of the other starts.",
)  # fmt: skip
@options.cluster_option
@click.pass_context
def command(
    ctx: click.Context, project: str, setup_file: str | None, out: str | None, as_json: bool, quiet: bool,
    floors: dict[str | None, float], weights: dict[str, float], keep: tuple[str, ...], robust: bool,
    loss: float, study: str | None, starts: int, seed: int, cluster: str | None,
) -> None:  # fmt: skip
    """The setup of PROJECT, inside limits.toml, whose worst margin is highest.

    Writes proposed.toml to PROJECT. With --out, it is written to DIR instead, with proposal.txt,
    proposal.json, tradeoff.svg and the alternatives, alternative-1.toml and so on. A run that is stopped
    while it chooses parts goes on from there when it is started again with the same inputs.

    \b
    Example: setupopt propose my-car --keep front.spring_N_per_mm
      the best of all other settings, the front springs as they are
    """
    with loading(quiet):
        from setupopt.project import load
        from setupopt.search import ProposalOptions

        found = load(project, setup_file)
        _refuse_targets(found, out, setup_file)
    say_compiling(quiet)

    own = {name: least for name, least in floors.items() if name is not None}
    asked = ProposalOptions(starts, seed, weights, own, keep, robust, loss, study)
    judged = _propose(ctx, found, asked, floors.get(None), quiet, cluster)
    with writing(quiet):
        answer = as_json_text(judged.as_dict())
        written = _write(judged, answer, out)
    _print(judged, answer, written, as_json, quiet)
    ctx.exit(0 if judged.holds else 1)


def _refuse_targets(project: Project, out: str | None, setup_file: str | None) -> None:
    """Raises OutputError where a file cannot be written, before any work is done."""
    from setupopt.project.bodies import FOLDER

    numbers = range(1, _MOST_ALTERNATIVES + 1)
    more = {} if out is None else {**_FILES, **{f"{n}": _alternative(n) for n in numbers}}
    targets = folder_targets(str(project.folder) if out is None else out, {"setup": FILE, **more})
    refuse_inputs(targets, project.folder, setup_file)
    if resolved(targets["setup"].parent) == resolved(project.folder / FOLDER):
        raise OutputError(str(out), "every setup there would be read as a body")


def _alternative(number: int) -> str:
    return f"alternative-{number}.toml"


def _propose(
    ctx: click.Context,
    project: Project,
    asked: ProposalOptions,
    floor: float | None,
    quiet: bool,
    address: str | None,
) -> JudgedProposal:
    try:
        with Saying(quiet, "loading") as progress:
            from setupopt.report.propose.fields import JudgedProposal
            from setupopt.search import propose

            with options.crew(address) as crew:
                found = propose(project, asked, progress, crew)
            return JudgedProposal(project, asked, found, floor)
    except KeyboardInterrupt:
        kept = "parts that were solved are kept, the same command goes on from there"
        click.echo(f"stopped; nothing was written; {kept}", err=True)
        ctx.exit(STOPPED)


# ---- files -------------------------------------------------------------------------------------------------


def _write(judged: JudgedProposal, answer: str, out: str | None) -> list[Path]:
    """Everything that was asked for, all of it or nothing; all is made before any is written."""
    from setupopt.project.writing import setup_text

    folder = judged.project.folder if out is None else Path(out)
    setups = [(folder / FILE, judged.proposal.setup, _head(judged))]
    if out is not None:
        setups += _alternatives(judged, folder)
    texts: dict[Path, str] = {target: setup_text(setup, None, head) for target, setup, head in setups}
    if out is not None:
        texts |= {folder / name: text for name, text in _texts(judged, answer).items()}
    write_all(texts)
    return list(texts)


def _texts(judged: JudgedProposal, answer: str) -> dict[str, str]:
    """Report, answer and picture, by file."""
    from setupopt.report.propose.picture import tradeoff_svg
    from setupopt.report.propose.text import text

    report, picture = text(judged, _WIDTH), tradeoff_svg(judged.proposal)
    return {_FILES["text"]: report, _FILES["json"]: answer, _FILES["picture"]: picture}


def _alternatives(judged: JudgedProposal, folder: Path) -> list[tuple[Path, Setup, str]]:
    """File, setup and head of each alternative."""
    found = []
    for number, one in enumerate(judged.alternatives, 1):
        what = f"Alternative {number} to the proposal for {judged.project.venue.name}"
        found.append((folder / _alternative(number), one.setup, _setup_head(judged, what, one.margin)))
    return found


def _head(judged: JudgedProposal) -> str:
    return _setup_head(judged, f"Proposed for {judged.project.venue.name}", judged.proposal.margin)


def _setup_head(judged: JudgedProposal, what: str, margin: float) -> str:
    """What stands on top of a setup: its margin and its caution."""
    from setupopt.report.assess.text import CLOSING
    from setupopt.report.shared.tables import margin_words, paragraph

    holds = judged.proposal.holds
    short = "" if holds else "\nIT BREAKS A LIMIT OR A FLOOR, OR LOSES CONTACT: see what propose printed."
    return f"{what}; worst margin {margin_words(margin)} by the model.{short}\n{paragraph(CLOSING, 90)}"


def _print(judged: JudgedProposal, answer: str, written: list[Path], as_json: bool, quiet: bool) -> None:
    from setupopt.report.propose.text import text
    from setupopt.report.shared.tables import screen_width

    for stale in sorted(set(written[0].parent.glob("alternative-*.toml")) - set(written)):
        click.echo(f"not of this run: {stale}", err=True)
    if as_json:
        print_json(answer, judged.project.cautions, quiet)
        return
    click.echo(text(judged, screen_width(), short=quiet), nl=False)
    click.echo("\n" + "\n".join(f"written: {target}" for target in written))
