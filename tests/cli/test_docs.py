"""The glossary is complete, and what the pages tell to type works."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from types import SimpleNamespace

import click
import pytest
from short_proofs import SHORTEST, UNREACHED

import setupopt
from setupopt.cli.main import group
from setupopt.evaluation.losses import _CAUSES
from setupopt.project.car_schema import BodyFile, CarFile
from setupopt.project.cases_file import BUMPS
from setupopt.project.field_types import Table
from setupopt.project.limits_schema import LimitsFile
from setupopt.project.setup_schema import SetupFile
from setupopt.project.validation_errors import alias, table_in
from setupopt.project.venue_schema import VenueFile
from setupopt.search import Proposal

from .conftest import Run
from .test_assess import COLUMNS, KEYS
from .test_compare import KEYS as COMPARED
from .test_compare import LINE
from .test_propose import KEYS as PROPOSED
from .test_propose import MORE
from .test_route import KEYS as ROUTE
from .test_speeds import KEYS as SPEEDS

DOCS = Path(__file__).parents[2] / "docs"


def keys(table: type[Table]) -> set[str]:
    """Keys with a value, of a table and of all tables in it."""
    found: set[str] = set()
    for name, field in table.model_fields.items():
        inner = table_in(field.annotation)
        own = alias(name, field)
        found |= (
            keys(inner) if inner and own not in inner.model_fields else {own}
        )
    return found - {"from", "to", "step"}


@pytest.mark.parametrize(
    "schema", [CarFile, BodyFile, VenueFile, SetupFile, LimitsFile]
)
def test_every_key_of_the_files_is_explained(schema: type[Table]) -> None:
    """Under its own name."""
    glossary = (DOCS / "nomenclature.md").read_text()
    assert [
        key for key in sorted(keys(schema)) if f"`{key}`" not in glossary
    ] == []


def test_every_column_and_field_is_explained() -> None:
    """Four wheels are told by the first and the last."""
    glossary = (DOCS / "nomenclature.md").read_text()
    columns = [
        column
        for column in COLUMNS
        if "_fr_" not in column and "_rl_" not in column
    ]
    fields = (*KEYS, *PROPOSED, *MORE, *SPEEDS, *ROUTE, *COMPARED, *LINE)
    assert [
        name
        for name in (*columns, *BUMPS, *fields)
        if f"`{name}`" not in glossary
    ] == []


def test_every_cause_of_the_loss_budget_is_explained() -> None:
    """In the words that are printed."""
    model = (DOCS / "model.md").read_text()
    assert [
        cause.name for cause in _CAUSES if f"| {cause.name} |" not in model
    ] == []


# ---- what the pages tell to type --------------------------------------------------------------------------

README = DOCS.parent / "README.md"
FENCE = re.compile(r"^```(\w*) ?([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
# What sets up Python or another machine is run by .ci/run and the people there.
NOT_OURS = ("python3 -m", ".venv/bin/pytest")
# Options of dask's own scheduler and worker, which docs/cluster.md explains
DASKS = {"--host", "--no-dashboard", "--dashboard-address"}


def pages() -> list[Path]:
    """README, then the pages in the order of the index, then what the index forgot."""
    listed = re.findall(
        r"\]\((?!\.\.)([\w-]+\.md)\)", (DOCS / "index.md").read_text()
    )
    return [README, *(DOCS / name for name in listed), DOCS / "index.md"]


def commands(script: str) -> list[tuple[str, ...]]:
    """Words after `setupopt` of every command of a shell block."""
    lines = script.replace("\\\n", " ").splitlines()
    parts = (part.strip() for line in lines for part in line.split("&&"))
    return [
        arguments(part)
        for part in parts
        if part and not part.startswith(("#", *NOT_OURS))
    ]


def arguments(command: str) -> tuple[str, ...]:
    """Of a command of ours, with or without the folder it is installed in."""
    program, *words = shlex.split(command)
    assert program.removeprefix(".venv/bin/") == "setupopt", (
        f"{command}: the test cannot run that"
    )
    return tuple(words)


def work_through(page: Path, done: set[tuple[str, ...]], run: Run) -> list[str]:
    """Every block in its order; what went wrong. Blocks with a file's name are the file."""
    wrong = []
    for kind, name, content in FENCE.findall(page.read_text(encoding="utf-8")):
        if name:
            Path(name).write_text(content)
        for command in commands(content) if kind == "sh" else []:
            if command not in done:
                done.add(command)
                result = run(*command, *EFFORT.get(command[0], ()))
                coarsen()
                if result.exit_code not in (0, 1):
                    said = f"status {result.exit_code}: {result.output[-500:]}"
                    wrong.append(f"{page.name}: {shlex.join(command)}: {said}")
    return wrong


# Given once more, the last counts: less of what takes hours.
EFFORT = {
    "prove": (*UNREACHED, *SHORTEST),
    "propose": ("--starts", "1"),
    "compare": ("--starts", "1"),
}


def coarsen() -> None:
    """Two roll angles and one attitude of the bore, few parts: the hours are not the pages'."""
    for venue in Path().glob("*/venue.toml"):
        sweep, *attitudes = venue.read_text().split("[[attitude]]")
        few = sweep.replace("to = 180, step = 5 }", "to = 180, step = 180 }")
        venue.write_text("[[attitude]]".join([few, *attitudes[:1]]))
    for limits in Path().glob("*/limits.toml"):
        text = limits.read_text()
        for key, parts in (("springs", "[100, 160]"), ("anti_roll", "[0, 30]")):
            text = re.sub(
                rf"^{key}_N_per_mm = .*$",
                f"{key}_N_per_mm = {parts}",
                text,
                flags=re.MULTILINE,
            )
        text = re.sub(
            r"^(ride_height_mm|pressure_bar) = {.*\n",
            "",
            text,
            flags=re.MULTILINE,
        )
        limits.write_text(text)


def test_every_command_of_the_pages_runs(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In one folder, page after page, each command once. 1 is an answer too, 2 and a traceback are not."""
    monkeypatch.chdir(tmp_path)
    done: set[tuple[str, ...]] = set()
    assert [
        said for page in pages() for said in work_through(page, done, run)
    ] == []
    # A route takes half a minute, no page holds a log, and explore ends by Ctrl-C: they have tests
    commands = set(group.list_commands(click.Context(group)))
    assert {command[0] for command in done} >= commands - {
        "route",
        "learn",
        "explore",
    }
    assert (tmp_path / "my-car" / "proposed.toml").exists()


def test_a_command_that_is_wrong_is_found(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page that tells to type what is refused, and what is no command of ours."""
    monkeypatch.chdir(tmp_path)
    page = tmp_path / "page.md"
    page.write_text("```sh\nsetupopt assess no-such-folder\n```\n")
    assert "status 2" in work_through(page, set(), run)[0]
    page.write_text("```sh\nrm -r my-car\n```\n")
    with pytest.raises(AssertionError, match="cannot run"):
        work_through(page, set(), run)


def test_every_page_is_in_the_index() -> None:
    """With one line each; and the index names no page that is not there."""
    listed = [page.name for page in pages() if page.parent == DOCS]
    assert sorted(listed) == sorted(page.name for page in DOCS.glob("*.md"))


def every_option() -> set[str]:
    """Options of all commands."""
    found: set[str] = {"--version"}
    waiting: list[tuple[click.Command, click.Context]] = [
        (group, click.Context(group))
    ]
    while waiting:
        command, context = waiting.pop()
        found |= {
            name for param in command.get_params(context) for name in param.opts
        }
        if isinstance(command, click.Group):
            inner = (
                command.get_command(context, name)
                for name in command.list_commands(context)
            )
            waiting += [
                (one, click.Context(one)) for one in inner if one is not None
            ]
    return found


@pytest.mark.parametrize(
    "page", [README, *sorted(DOCS.glob("*.md"))], ids=lambda page: page.name
)
def test_options_and_links_of_a_page_exist(page: Path) -> None:
    """Every `--option` is one of a command, or of dask; every link to a file of ours leads somewhere."""
    text = page.read_text(encoding="utf-8")
    ours = " ".join(line for line in text.splitlines() if "-m pip" not in line)
    assert (
        set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", ours))
        <= every_option() | DASKS
    )
    for name, heading in re.findall(r"\]\((?!\w+:)([^)#]*)#?([^)]*)\)", text):
        target = page.parent / name if name else page
        assert target.exists(), name
        assert not heading or heading in headings(target), f"{name}#{heading}"


def headings(page: Path) -> list[str]:
    """As links name them."""
    titles = re.findall(
        r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE
    )
    return [
        re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-")
        for title in titles
    ]


def test_the_python_of_the_readme_runs(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
) -> None:
    """As it stands, in the repository's folder; only the search, which is run above, is left out."""
    (block,) = (
        content
        for kind, _, content in FENCE.findall(README.read_text())
        if kind == "python"
    )
    asked = []

    def propose(
        project: setupopt.Project, wanted: setupopt.ProposalOptions
    ) -> SimpleNamespace:
        asked.append(wanted.keep)
        return SimpleNamespace(margin=0.5, result=setupopt.evaluate(project))

    monkeypatch.chdir(README.parent)
    monkeypatch.setattr(setupopt, "propose", propose, raising=False)
    exec(block, {})
    assert asked == [["rear.spring_N_per_mm"]]
    assert {"margin", "result"} <= {
        *Proposal.__dataclass_fields__,
        *dir(Proposal),
    }
    assert " 0.5\n" in capsys.readouterr().out
