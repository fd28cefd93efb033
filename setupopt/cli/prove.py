"""`setupopt prove`: how much bump, wind, rough road and build error a setup stands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from setupopt.cli import completing, options
from setupopt.cli.outputs import as_json_text, write_all
from setupopt.cli.runner import Task, run
from setupopt.cli.waiting import Progress, Saying, loading
from setupopt.errors import OutputError
from setupopt.units import MM, PERCENT

if TYPE_CHECKING:
    from setupopt.report.prove.fields import JudgedReport
    from setupopt.robust.road.spectrum import Tracks
    from setupopt.robust.robustness import RobustnessOptions, Watch


_QUICK = {
    "seconds": 3.0,
    "seeds": 4,
    "ride_cases": 1,
    "builds": 64,
    "directions": 4,
}
_QUICK_PLACES = 6  # of the sweep, from one that is looked at to the next
_QUICK_WORDS = ". QUICK PROOF, for a first look: run prove without --quick before the car does."


def _quick(ctx: click.Context, param: click.Parameter, wanted: bool) -> None:
    """Other defaults, before the other options are read."""
    if wanted:
        ctx.default_map = {**(ctx.default_map or {}), **_QUICK}
        ctx.meta["quick"] = True


def _withstood(name: str, metavar: str, what: str) -> options.Option:
    """A size that the car must withstand."""
    help_text = f"{what} that the car must withstand."
    return options.number(name, metavar, help_text, 0.0)


@click.command("prove")
@options.common
@_withstood("--bump", "MM", "Bump")
@_withstood("--seam", "MM", "Step up or down")
@_withstood("--gust", "M_S", "Gust")
@_withstood("--wind", "M_S", "Steady wind")
@_withstood("--step", "M_S", "Wind step")
@options.flag(
    "--faults",
    "Faults that the car must withstand: drive lost, wheel locked, tyre flat, steer.",
)  # fmt: skip
@options.number("--chance", "PERCENT", "Highest chance of failing that is accepted.", 0.0, 100.0, 5.0)  # fmt: skip
@options.number("--seconds", "S", "Length of a run.", 1.0, 120.0, 10.0)
@options.count("--seeds", "Random roads that each case rides over.", 40, 2, 1_000_000)  # fmt: skip
@options.count(
    "--ride-cases", "Cases to simulate in time: those most likely to go under the minimum margin.", 2, 1, 1000
)  # fmt: skip
@options.count("--builds", "Sample of builds within the tolerance.", 1024, 2, 1 << 24)  # fmt: skip
@options.count("--directions", "Directions of the wind.", 16, 4, 360)
@options.path("--profile", "FILE.csv", completing.TABLE, "Measured road instead of a random one.")  # fmt: skip
@options.count("--seed", "Seed of roads and builds.", 0, 0)
@options.flag(
    "--quick",
    "A first look: every sixth roll angle and the worst ones; fewer directions, builds, roads and "
    "shorter runs where no option says otherwise. The answer, the run card and the report say so.",
    callback=_quick, expose_value=False, is_eager=True,
)  # fmt: skip
@options.cluster_option
@options.gpu_option
def command(
    common: options.Common,
    profile: str | None,
    cluster: str | None,
    **given: Any,
) -> None:
    """How much bump, seam, gust, wind, rough road, fault and build error the setup of PROJECT withstands.

    Bumps, gusts, roads and faults are judged by what the car does: drift, sideslip, time without contact and
    return, as [disturbed] of limits.toml allows; the rest by the minimum margin (0 unless --floor is given).

    With --out, prove.txt, prove.json, prove-cases.csv, prove-bump.svg and prove-faults.svg are written to
    DIR. The answer is also kept in PROJECT/proved, for the run card. A run that is stopped continues from there
    when it is started again with the same inputs.

    \b
    Example: setupopt prove my-car --setup proposed.toml --bump 10
      what the proposed setup withstands; exit status 1 if 10 mm are too much
    """
    quick = _QUICK_WORDS if "quick" in click.get_current_context().meta else ""
    with loading(common.quiet):
        project = common.load()

        from setupopt.report.prove.faults_picture import faults_picture
        from setupopt.report.prove.fields import JudgedReport, csv_text
        from setupopt.report.prove.picture import bump_picture
        from setupopt.report.prove.text import text
        from setupopt.robust.robustness import prove

        given["every"] = _QUICK_PLACES if quick else 1
        plan = _plan(common.floor, profile, given)

    def compute(_: object) -> JudgedReport:
        with options.worker_pool(cluster) as pool:
            judged = JudgedReport(
                prove(project, plan, _watch(common.quiet), pool)
            )
        judged.verdicts  # noqa: B018 - the last of the work, while it can be stopped
        return judged

    task = Task(
        progress=Saying(common.quiet, "what breaks first"),
        compute=compute,
        text=text,
        as_dict=JudgedReport.as_dict,
        name="prove",
        files={
            "prove-cases.csv": csv_text,
            "prove-bump.svg": lambda judged: bump_picture(judged.proof),
            "prove-faults.svg": lambda judged: faults_picture(judged.proof),
        },
        reads=[profile],
        project=project,
        more=quick,
        after=_keep,
        stopped="what is finished is kept, the same command goes on from there",
    )
    run(common, task)


def _watch(quiet: bool) -> Watch:
    """Where progress is said."""
    return lambda what, parts: Progress(parts, quiet, what)


def _plan(
    floor: float | None, profile: str | None, given: dict[str, Any]
) -> RobustnessOptions:
    """The options in SI."""
    from setupopt.robust.robustness import RobustnessOptions

    given["chance"] *= PERCENT
    for name in ("bump", "seam"):
        given[name] = None if given[name] is None else given[name] * MM
    return RobustnessOptions(
        floor=floor or 0.0, profile=_profile(profile), **given
    )


def _profile(file: str | None) -> Tracks | None:
    """The measured road, if one is given."""
    if file is None:
        return None
    from setupopt.robust.road.profile import read_profile

    return read_profile(file)


def _keep(judged: JudgedReport) -> None:
    """Leave the proof in the project, under the checksum of its setup, for the run card.

    A coarser proof does not replace a finer one: its figures would look better only because it tried less.
    """
    from setupopt.project.stored_proof import (
        is_coarser,
        proof_extent,
        proof_file,
        stored_proof,
    )

    project = judged.proof.project
    setup = judged.proof.setup
    answer = judged.as_dict()
    kept = stored_proof(project, setup)
    if kept is not None and is_coarser(answer, kept):
        click.echo(
            f"not kept for the run card: the proof in {proof_file(project, setup)} tried more "
            f"({proof_extent(kept)}) than this one ({proof_extent(answer)})",
            err=True,
        )
        return
    try:
        write_all({proof_file(project, setup): as_json_text(answer)})
    except OutputError as error:
        click.echo(f"not kept for the run card: {error}", err=True)
