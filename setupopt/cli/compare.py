"""`setupopt compare`: bodies and setups against each other, ranked by worst margin."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import completing, options
from setupopt.cli.outputs import (
    folder_targets,
    refuse_bodies_folder,
    refuse_inputs,
)
from setupopt.cli.runner import Task, run
from setupopt.cli.waiting import Saying, loading
from setupopt.errors import OutputError

if TYPE_CHECKING:
    from setupopt.project import Project, Setup
    from setupopt.report.compare.fields import JudgedComparison, Line
    from setupopt.search.comparison import ComparisonOptions
    from setupopt.search.relaxation import Progress

# The first words of a setup that compare has written, and may write again.
_MARK = "Best of compare"


@click.command("compare")
@options.common
@click.argument(
    "setup_files", metavar="[SETUP_FILE]...", nargs=-1, type=completing.SETUP
)
@options.flag("--as-is", "Search nothing: every body with every setup as it is.")  # fmt: skip
@options.count("--starts", "Setups to start each body's search from.", 2, 1, 1000)  # fmt: skip
@options.cluster_option
def command(
    common: options.Common,
    setup_files: tuple[str, ...],
    as_is: bool,
    starts: int,
    cluster: str | None,
) -> None:
    """Every body of PROJECT with its own best setup inside limits.toml, and each SETUP_FILE as it is, ranked
    by worst margin; and why each loses to the first.

    With --as-is every body is combined with every SETUP_FILE, or with today's setup. With --out,
    compare.txt, compare.json, compare.csv, compare.svg and the best setup of each body, setup-BODY.toml,
    are written to DIR.

    \b
    Example: setupopt compare my-car setup.toml proposed.toml --as-is
      every body with today's and with the proposed setup, nothing searched
    """
    if as_is and cluster is not None:
        raise click.UsageError(
            "--cluster: with --as-is nothing is searched that other machines could do"
        )
    with loading(common.quiet):
        found = common.load()
        refuse_bodies_folder(common.out, found.folder)
        reads = [
            path
            for name in setup_files
            for path in (name, str(found.folder / name))
        ]
        own = _own_targets(found, common, reads)
        project, setups = _with_setups(found, setup_files)

        from setupopt.report.compare.fields import JudgedComparison
        from setupopt.report.compare.picture import comparison_svg
        from setupopt.report.compare.text import text
        from setupopt.search.comparison import ComparisonOptions

    chosen = ComparisonOptions(as_is, starts)
    task = Task(
        progress=Saying(common.quiet, "loading"),
        compute=lambda progress: _judged(
            project, setups, chosen, common.floor, cluster, progress
        ),
        text=text,
        as_dict=JudgedComparison.as_dict,
        name="compare",
        files={
            "compare.csv": JudgedComparison.csv_text,
            "compare.svg": comparison_svg,
        },
        others=lambda judged: _best_setups(judged, own),
        reads=reads,
        project=project,
    )
    run(common, task)


def _judged(
    project: Project,
    setups: Sequence[Setup],
    chosen: ComparisonOptions,
    floor: float | None,
    cluster: str | None,
    progress: Progress,
) -> JudgedComparison:
    """The comparison, searched on other machines where there is a cluster."""
    from setupopt.report.compare.fields import JudgedComparison
    from setupopt.search.comparison import compare

    with options.worker_pool(cluster) as pool:
        compared = compare(project, setups, chosen, progress, pool)
    return JudgedComparison(compared, chosen.as_is, chosen.starts, floor)


def _with_setups(
    project: Project, files: Sequence[str]
) -> tuple[Project, list[Setup]]:
    """The project with the cautions about all files, and the setups to compare.

    A name that several setups have is preceded by the file.
    """
    from setupopt.project import load

    read = [load(project.folder, file) for file in files]
    cautions = dict.fromkeys(
        text for one in (project, *read) for text in one.cautions
    )
    names = Counter(one.setup.name for one in read)
    setups = [
        one.setup
        if names[one.setup.name] == 1
        else replace(one.setup, name=f"{file}: {one.setup.name}")
        for one, file in zip(read, files, strict=True)
    ]
    return replace(project, cautions=tuple(cautions)), setups


# ---- the best setup of each body ---------------------------------------------------------------------------


def _own_targets(
    project: Project, common: options.Common, reads: Sequence[str]
) -> dict[str, Path]:
    """Where the best setups go, by file name. Raises OutputError where another file would be lost."""
    bodies = [None, *(body.name for body in project.bodies)]
    targets = folder_targets(
        common.out, [_setup_name(project, body) for body in bodies]
    )
    refuse_inputs(targets.values(), project.folder, common.setup_file, *reads)
    for target in targets.values():
        _refuse_foreign(target)
    return targets


def _setup_name(project: Project, body: str | None) -> str:
    """File of the best setup of a body; a body may be called "car" too."""
    from setupopt.project.bodies import body_label

    taken = any(other.name.lower() == "car" for other in project.bodies)
    return f"setup-{'car' if body is None and not taken else body_label(body)}.toml"


def _refuse_foreign(target: Path) -> None:
    """A setup that somebody else wrote is not overwritten."""
    if not target.is_file():
        return
    with target.open(encoding="utf-8", errors="replace") as file:
        if not file.read(len(_MARK) + 2).startswith(f"# {_MARK}"):
            raise OutputError(
                str(target), "a setup that compare has not written stands there"
            )


def _best_setups(
    judged: JudgedComparison, targets: dict[str, Path]
) -> dict[Path, str | bytes]:
    """Every body's best setup: its own best, where that was searched for, else the first given."""
    from setupopt.project.writing import setup_text

    if not targets:
        return {}
    best: dict[str | None, Line] = {}
    for line in sorted(
        judged.lines, key=lambda line: not line.contender.is_own_best
    ):
        best.setdefault(line.contender.setup.body, line)
    return {
        targets[_setup_name(judged.project, body)]: setup_text(
            line.contender.setup, None, _setup_head(judged, line)
        )
        for body, line in best.items()
    }


def _setup_head(judged: JudgedComparison, line: Line) -> str:
    """The comment on top of a setup: its margin and its caution."""
    from setupopt.project.bodies import body_words
    from setupopt.report.shared.words import setup_comment

    one = line.contender
    what = f"{_MARK} with the {body_words(one.setup.body)} at {judged.project.venue.name}"
    warning = (
        ""
        if one.holds
        else "IT BREAKS A LIMIT OR LOSES CONTACT: see what compare printed."
    )
    return setup_comment(what, one.margin, warning)
