"""`setupopt propose`: the setup whose worst margin is highest."""

from __future__ import annotations

from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from setupopt.cli import completing, options
from setupopt.cli.outputs import keep_prices, refuse_bodies_folder
from setupopt.cli.runner import Task, run
from setupopt.cli.waiting import Saying, loading
from setupopt.errors import printable

if TYPE_CHECKING:
    from setupopt.project import Project
    from setupopt.report.propose.fields import JudgedProposal
    from setupopt.search import ProposalOptions
    from setupopt.search.relaxation import Progress

FILE = "proposed.toml"
_ALTERNATIVES = [f"alternative-{number}.toml" for number in range(1, 100)]


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
@options.number(
    "--rear-reserve", "X",
    "The front axle uses at least X more of its grip than the rear one, 0 to 1, in the cases within 0.1 "
    "of the worst margin: the front axle loses grip first. Without it: no such limit.",
    -1.0, 1.0,
)  # fmt: skip
@options.number(
    "--most-growth", "RATE",
    "No case whose sideslip grows by itself faster than RATE, 1/s. A driver holds 3 to 4. "
    "Without it: no such limit.",
    0.0, 1000.0,
)  # fmt: skip
@options.choice(
    "--on", ["sweep", "route"], "sweep",
    "The cases: those of the sweep, or those of the best route of today's setup, see route.",
)  # fmt: skip
@options.flag("--robust", "Include build errors within [tolerance] of limits.toml.")  # fmt: skip
@options.number(
    "--alternatives loss", "LOSS",
    "Show clearly different setups that lose at most so much worst margin; 0 for none.",
    0.0, 1.0, 0.01,
)  # fmt: skip
@click.option(
    "--min-gain", type=options.Finite(0.0, 1.0), default=0.0, metavar="X",
    help="Leave out changes that gain less than X of the worst margin, the smallest first; the others are "
    "searched again. All of them together lose at most 0.005, or X if that is more.",
)  # fmt: skip
@options.choice(
    "--raise raised", ["margin", "disturbance"], "margin",
    "What the search raises: the worst margin, with [require] of limits.toml withstood; or the "
    "disturbances of [require], with a worst margin of at least --floor.",
)  # fmt: skip
@click.option(
    "--study", metavar="URL",
    help="Optuna storage that keeps the choice of parts, such as "
    "sqlite:///parts.db; several workers may share it.",
)  # fmt: skip
@options.count("--starts", "Setups to start from.", 4, 1, 1000)
@options.count("--seed", "Seed of the other starts.", 0, 0)
@options.cluster_option
def command(
    common: options.Common,
    floors: dict[str | None, float],
    cluster: str | None,
    on: str,
    **given: Any,
) -> None:
    """The setup of PROJECT, inside limits.toml, whose worst margin is highest.

    Writes proposed.toml to PROJECT. With --out, it is written to DIR instead, with proposal.txt,
    proposal.json, tradeoff.svg and the alternatives, alternative-1.toml and so on. A run that is stopped
    while it chooses parts continues from there when it is started again with the same inputs.

    \b
    Example: setupopt propose my-car --keep front.spring_N_per_mm
      the best of all other settings, the front springs as they are
    """
    with loading(common.quiet):
        project = common.load()
        refuse_bodies_folder(common.out, project.folder)

        from setupopt.report.propose.fields import JudgedProposal
        from setupopt.report.propose.text import text
        from setupopt.search import ProposalOptions

    own = {name: least for name, least in floors.items() if name is not None}
    requires = project.limits is not None and project.limits.require is not None
    least = floors.get(None) or 0.0 if requires else 0.0
    asked = ProposalOptions(minimum_margins=own, least_margin=least, **given)
    folder = project.folder if common.out is None else Path(common.out)
    reserved = [FILE, *(_ALTERNATIVES if common.out else ())]

    def after(judged: JudgedProposal) -> None:
        _warn_of_stale(folder, len(judged.alternatives) if common.out else 0)
        if on == "sweep":  # the report shows what is kept beside the sweep
            _keep(judged, folder / FILE)

    def others(judged: JudgedProposal) -> dict[Path, str | bytes]:
        setups = _setups(judged, with_alternatives=common.out is not None)
        return {folder / name: content for name, content in setups.items()}

    task = Task(
        progress=Saying(common.quiet, "loading"),
        compute=lambda progress: _judged(
            project, asked, floors.get(None), on == "route", cluster, progress
        ),
        text=text,
        as_dict=JudgedProposal.as_dict,
        name="proposal",
        files={"tradeoff.svg": attrgetter("picture")} if on == "sweep" else {},
        others=others,
        reserved=[folder / name for name in reserved],
        project=project,
        after=after,
        stopped="nothing was written; parts that were solved are kept, the same command goes on from there",
    )
    run(common, task)


def _judged(
    project: Project,
    asked: ProposalOptions,
    floor: float | None,
    is_on_route: bool,
    cluster: str | None,
    progress: Progress,
) -> JudgedProposal:
    """The proposal on the cases that are asked for."""
    from setupopt.report.propose.fields import JudgedProposal
    from setupopt.route.both import on_route
    from setupopt.route.goal import RouteOptions
    from setupopt.route.study import study_route
    from setupopt.search import propose

    driven = project
    if is_on_route:
        progress("route of today's setup")
        driven = on_route(study_route(project, RouteOptions()))
    with options.worker_pool(cluster) as pool:
        found = propose(driven, asked, progress, pool)
    return JudgedProposal(driven, asked, found, floor)


def _setups(judged: JudgedProposal, with_alternatives: bool) -> dict[str, str]:
    """The proposed setup, and if wanted its alternatives, as files by name."""
    from setupopt.project.writing import setup_text
    from setupopt.report.shared.words import setup_comment

    venue = judged.project.venue.name
    warning = (
        ""
        if judged.proposal.holds
        else "IT BREAKS A LIMIT OR A FLOOR, OR LOSES CONTACT: see what propose printed."
    )
    shown = [
        (
            FILE,
            f"Proposed for {venue}",
            judged.proposal.setup,
            judged.proposal.margin,
        )
    ]
    for number, one in enumerate(
        judged.alternatives if with_alternatives else (), 1
    ):
        what = f"Alternative {number} to the proposal for {venue}"
        shown.append((_ALTERNATIVES[number - 1], what, one.setup, one.margin))
    return {
        name: setup_text(setup, None, setup_comment(what, margin, warning))
        for name, what, setup, margin in shown
    }


def _keep(judged: JudgedProposal, written: Path) -> None:
    """Leave the answer in the project, for the prices and the picture of the report.

    It is kept under the setup that was `written`: read again, its numbers lack the last bits of the search.
    """
    from setupopt.project import load
    from setupopt.project.stored_prices import PICTURE

    found = load(judged.project.folder, written)
    keep_prices(found, {**judged.as_dict(), PICTURE: judged.picture})


def _warn_of_stale(folder: Path, written: int) -> None:
    """Name the alternatives in the folder that an earlier run has written."""
    for stale in sorted(folder.glob("alternative-*.toml")):
        if stale.name not in _ALTERNATIVES[:written]:
            click.echo(printable(f"not of this run: {stale}"), err=True)
