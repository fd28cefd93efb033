"""`setupopt prove`: what a setup stands of bumps, wind, rough road and build error."""

from __future__ import annotations

from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import completing, options
from setupopt.cli.outputs import as_json_text, folder_targets, print_json, refuse_inputs, write_all
from setupopt.cli.waiting import Progress, Saying, loading, say_compiling, writing
from setupopt.errors import OutputError
from setupopt.units import MM, PERCENT

if TYPE_CHECKING:
    from collections.abc import Callable

    from setupopt.project import Project
    from setupopt.report.prove.fields import JudgedReport
    from setupopt.robust.road.spectrum import Tracks
    from setupopt.robust.robustness import Plan

STOPPED = 130
_WIDTH = 100  # of the text written to a file
_FILES = {"text": "prove.txt", "json": "prove.json", "cases": "prove-cases.csv", "picture": "prove-bump.svg"}


@click.command("prove")
@options.common
@click.option("--bump", type=options.Finite(0.0), metavar="MM", help="Bump that must be stood.")
@click.option("--gust", type=options.Finite(0.0), metavar="M_S", help="Gust that must be stood.")
@click.option("--wind", type=options.Finite(0.0), metavar="M_S", help="Steady wind that must be stood.")
@click.option(
    "--chance", type=options.Finite(0.0, 100.0), default=5.0, show_default=True, metavar="PERCENT",
    help="Share of runs on the rough road that may go under the floor.",
)  # fmt: skip
@click.option(
    "--seconds", type=options.Finite(1.0, 120.0), default=10.0, show_default=True, metavar="S",
    help="Length of a run.",
)  # fmt: skip
@click.option(
    "--seeds", type=click.IntRange(2, 1_000_000), default=40, show_default=True, metavar="N",
    help="Random roads that each case rides over.",
)  # fmt: skip
@click.option(
    "--ride-cases", type=click.IntRange(1, 1000), default=2, show_default=True, metavar="N",
    help="Cases to ride in time, the likeliest to go under the floor.",
)  # fmt: skip
@click.option(
    "--builds", type=click.IntRange(2, 1 << 24), default=1024, show_default=True, metavar="N",
    help="Builds of the cloud.",
)  # fmt: skip
@click.option(
    "--directions", type=click.IntRange(4, 360), default=16, show_default=True, metavar="N",
    help="Directions of the wind.",
)  # fmt: skip
@click.option(
    "--profile", metavar="FILE.csv", type=completing.TABLE, help="Measured road instead of a random one."
)
@click.option(
    "--seed", type=click.IntRange(0), default=0, show_default=True, metavar="N",
    help="Seed of roads and builds.",
)  # fmt: skip
@options.cluster_option
@click.pass_context
def command(
    ctx: click.Context, project: str, setup_file: str | None, out: str | None, as_json: bool,
    quiet: bool, floor: float | None, bump: float | None, gust: float | None, wind: float | None,
    chance: float, seconds: float, seeds: int, ride_cases: int, builds: int, directions: int,
    profile: str | None, seed: int, cluster: str | None,
) -> None:  # fmt: skip
    """What the setup of PROJECT stands of bumps, wind, rough road and build error before the margin goes
    under the floor (0 unless --floor is given).

    With --out, prove.txt, prove.json, prove-cases.csv and prove-bump.svg are written to DIR. The answer is
    also kept in PROJECT/proved, for the run card. A run that is stopped goes on from there when it is
    started again with the same inputs.

    \b
    Example: setupopt prove my-car --setup proposed.toml --bump 10
      what the proposed setup stands; exit status 1 where 10 mm are too much
    """
    with loading(quiet):
        from setupopt.project import load
        from setupopt.robust.robustness import Plan

        found = load(project, setup_file)
    targets = folder_targets(out, _FILES)
    refuse_inputs(targets, Path(project), setup_file, profile)
    plan = Plan(
        floor=floor or 0.0, seconds=seconds, seeds=seeds, ride_cases=ride_cases, builds=builds,
        directions=directions, seed=seed, chance=chance * PERCENT, bump=None if bump is None else bump * MM,
        gust=gust, wind=wind, profile=_profile(profile),
    )  # fmt: skip
    judged = _prove(ctx, found, plan, quiet, cluster)
    with writing(quiet):
        answer = as_json_text(judged.as_dict())
        _write(targets, judged, answer)
    _keep(judged, answer)
    _print(judged, answer, as_json, quiet)
    ctx.exit(0 if judged.holds else 1)


def _profile(file: str | None) -> Tracks | None:
    """The measured road, if one is given."""
    if file is None:
        return None
    from setupopt.robust.road.profile import read_profile

    return read_profile(file)


def _prove(
    ctx: click.Context, project: Project, plan: Plan, quiet: bool, address: str | None
) -> JudgedReport:
    say_compiling(quiet)
    with loading(quiet):
        from setupopt.report.prove.fields import JudgedReport
        from setupopt.robust.robustness import prove

    def watch(what: str, parts: int) -> AbstractContextManager[Callable[[int], object]]:
        return Progress(parts, quiet, what)

    try:
        with options.crew(address) as crew, Saying(quiet, "what breaks first"):
            judged = JudgedReport(prove(project, plan, watch, crew))
            judged.verdicts  # noqa: B018 - the last of the work, while it can be stopped
    except KeyboardInterrupt:
        click.echo("stopped; what is finished is kept, the same command goes on from there", err=True)
        ctx.exit(STOPPED)
    return judged


def _write(targets: dict[str, Path], judged: JudgedReport, answer: str) -> None:
    """Write the files asked for, each whole or not at all."""
    if not targets:
        return
    from setupopt.report.prove.fields import csv_text
    from setupopt.report.prove.picture import bump_picture
    from setupopt.report.prove.text import text

    contents = {
        "text": text(judged, _WIDTH), "json": answer, "cases": csv_text(judged),
        "picture": bump_picture(judged.proof),
    }  # fmt: skip
    write_all({targets[kind]: content for kind, content in contents.items() if content is not None})


def _keep(judged: JudgedReport, answer: str) -> None:
    """Leave the proof in the project, under the checksum of its setup, for the run card."""
    from setupopt.project.stored_proof import proof_file

    try:
        write_all({proof_file(judged.proof.project, judged.proof.setup): answer})
    except OutputError as error:
        click.echo(f"not kept for the run card: {error}", err=True)


def _print(judged: JudgedReport, answer: str, as_json: bool, quiet: bool) -> None:
    from setupopt.report.prove.text import text
    from setupopt.report.shared.tables import screen_width

    if as_json:
        print_json(answer, judged.proof.project.cautions, quiet)
        return
    click.echo(text(judged, screen_width(), short=quiet), nl=False)
