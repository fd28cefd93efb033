"""The command group: help without waiting, and how runs end."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
from pathlib import Path
from typing import IO

import click
import pytest
from click.testing import CliRunner
from processes import COMMAND, python

import setupopt
from setupopt.cli import main
from setupopt.cli.main import COMMANDS, group
from setupopt.errors import OutputError, UserError

from .conftest import Run, installed

BORE = Path(__file__).resolve().parents[2] / "setups" / "bore"
HEAVY = ("numpy", "numba", "scipy", "pandas", "pydantic", "clarabel", "tomlkit")


# All that a user can ask about without computing; the paths of the commands within commands too.
PATHS = [[], *([name] for name in COMMANDS), ["fit", "tyre"], ["fit", "air"]]


def test_help_imports_nothing_heavy() -> None:
    """Asking costs no second: neither compilers nor solvers nor tables are loaded, by no command's help."""
    asked = [
        ["--version"],
        [],
        ["start", "--list"],
        *([*path, "--help"] for path in PATHS),
    ]
    code = f"""
import sys
from setupopt.cli.main import group
for args in {asked!r}:
    try:
        group(args, prog_name="setupopt")
    except SystemExit:
        print(args, [name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)
"""
    done = python(code)
    said = [line for line in done.stderr.splitlines() if line.startswith("[")]
    assert said == [f"{args} []" for args in asked]


def test_an_answer_loads_no_tables() -> None:
    """An assessment that writes nothing needs no pandas, which takes a third of a second to load."""
    code = (
        "import sys\nfrom setupopt.cli.main import group\n"
        f"try: group(['assess', {str(BORE)!r}, '--quiet'], prog_name='setupopt')\nexcept SystemExit: pass\n"
        "print('numpy' in sys.modules, 'pandas' in sys.modules, file=sys.stderr)"
    )
    assert python(code).stderr == "True False\n"


def test_help_of_the_group_imports_no_command() -> None:
    """Its texts stand in a table: a command that becomes slow to load slows no help but its own."""
    code = (
        "import sys\nfrom setupopt.cli.main import group\n"
        "try: group(['--help'], prog_name='setupopt')\nexcept SystemExit: pass\n"
        "print(sorted(name for name in sys.modules if name.startswith('setupopt.')), file=sys.stderr)"
    )
    loaded = ["setupopt.cli", "setupopt.cli.main", "setupopt.errors"]
    assert python(code).stderr == f"{loaded}\n"


@pytest.mark.parametrize("path", PATHS, ids=" ".join)
def test_help_gives_an_example_that_can_be_typed(
    run: Run, path: list[str]
) -> None:
    """One, in the same form everywhere, of this very command, and with words on what it does."""
    lines = run(*path, "--help").stdout.splitlines()
    (place,) = (
        number
        for number, line in enumerate(lines)
        if line.startswith("  Example: ")
    )
    assert lines[place + 1].startswith("    ") and lines[place + 2] == ""
    (typed,) = re.findall(
        r"^(?:eval \"\$\()?(setupopt [^&)]+)",
        lines[place].removeprefix("  Example: "),
    )
    words = shlex.split(typed)
    assert words[: len(path) + 1] == ["setupopt", *path]
    _parse(words[1:])


def _parse(args: list[str]) -> None:
    """The command line, as far as its words are understood; nothing is run."""
    command: click.Command = group
    while isinstance(command, click.Group):
        found = command.get_command(click.Context(command), args.pop(0))
        assert found is not None
        command = found
    command.make_context("setupopt", args)


def test_options_of_the_same_name_are_explained_alike() -> None:
    """The shared ones are written once; --floor of propose takes names as well."""
    texts: dict[str, set[str | None]] = {}
    for name in set(COMMANDS) - {"fit", "propose"}:
        command = group.get_command(click.Context(group), name)
        assert command is not None
        for param in command.params:
            if isinstance(param, click.Option):
                texts.setdefault(param.opts[0], set()).add(param.help)
    assert {name for name, said in texts.items() if len(said) > 1} == set()


def test_help_lists_every_command_in_order(run: Run) -> None:
    """The table of help texts is what is shown."""
    shown = run("--help").stdout
    places = [shown.index(f"  {name} ") for name in COMMANDS]
    assert places == sorted(places)
    assert all(text in shown for _, text in COMMANDS.values())
    assert {"start", "assess", "propose"} <= set(COMMANDS)


def test_help_of_every_command_fits_a_narrow_terminal(run: Run) -> None:
    """No line of help is longer than 80 places."""
    for path in PATHS:
        assert max(map(len, run(*path, "--help").stdout.splitlines())) <= 80


def test_version(run: Run) -> None:
    """Name and number, no more."""
    assert run("--version").stdout == f"setupopt {setupopt.__version__}\n"


def test_unknown_command_and_option_are_refused(run: Run) -> None:
    """Status 2, and the word that was not understood."""
    for args in (
        ["asses"],
        ["assess", "x", "--jsn"],
        ["assess"],
        ["assess", "x", "--floor", "nan"],
    ):
        result = run(*args)
        assert result.exit_code == 2
        assert result.stdout == ""
        assert result.stderr


def _ending_with(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def fail(*args: object, **more: object) -> None:
        raise error

    monkeypatch.setattr("setupopt.evaluation.assessment.assess", fail)


@pytest.mark.parametrize(
    ("error", "status", "said"),
    [
        (UserError("this is refused"), 2, "this is refused\n"),
        (
            OutputError("x.csv", "disk full"),
            2,
            "x.csv: could not be written (disk full)\n",
        ),
        (KeyboardInterrupt(), 130, "stopped; nothing was written\n"),
        (
            OSError(28, "No space left on device", "x.csv"),
            2,
            "x.csv: No space left on device\n",
        ),
        (BrokenPipeError(32, "Broken pipe"), 141, ""),
    ],
)
def test_every_end_has_its_status(
    run: Run,
    held: Path,
    monkeypatch: pytest.MonkeyPatch,
    error: BaseException,
    status: int,
    said: str,
) -> None:
    """A line on standard error, nothing on standard output, no traceback."""
    _ending_with(monkeypatch, error)
    result = run("assess", held)
    assert (result.exit_code, result.stdout, result.stderr) == (
        status,
        "",
        said,
    )


@pytest.mark.parametrize(
    ("environment", "color"),
    [
        ({}, None),
        ({"NO_COLOR": "1"}, False),
        ({"TERM": "dumb"}, False),
        ({"NO_COLOR": ""}, None),
    ],
)
def test_colour_is_left_out_where_unwanted(
    monkeypatch: pytest.MonkeyPatch,
    environment: dict[str, str],
    color: bool | None,
) -> None:
    """NO_COLOR and a dumb terminal switch colour off for every command."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    seen = []

    @click.command()
    @click.pass_context
    def probe(ctx: click.Context) -> None:
        seen.append(ctx.color)

    monkeypatch.setattr(
        main.LazyGroup, "get_command", lambda self, ctx, name: probe
    )
    CliRunner().invoke(group, ["start"])
    assert seen == [color]


def test_refusal_of_a_real_run(tmp_path: Path) -> None:
    """The installed command: message on standard error, status 2."""
    done = installed("assess", tmp_path / "none")
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "found no such folder" in done.stderr


def test_letters_that_the_terminal_has_not(tmp_path: Path) -> None:
    """A name in another script is refused or shown, never a crash of the printing."""
    done = installed("assess", tmp_path / "車", PYTHONIOENCODING="latin-1")
    assert done.returncode == 2
    assert r"\u8eca" in done.stderr


def assess_into(output: IO[str] | int, project: Path) -> tuple[int, str]:
    """Exit status and standard error of `assess` whose standard output goes somewhere else."""
    command = [*COMMAND, "assess", str(project)]
    done = subprocess.run(
        command, stdout=output, stderr=subprocess.PIPE, text=True, check=False
    )
    return done.returncode, done.stderr


@pytest.mark.skipif(
    not Path("/dev/full").exists(), reason="no such device here"
)
def test_full_disk_behind_standard_output(held: Path) -> None:
    """A result that cannot be delivered is no success."""
    with Path("/dev/full").open("w") as full:
        done = assess_into(full, held)
    assert done == (2, "output: No space left on device\n")


@pytest.mark.skipif(os.name == "nt", reason="pipes behave otherwise there")
def test_reader_that_goes_away(held: Path) -> None:
    """`setupopt assess P | head -0`: silence, and a status of its own."""
    reading, writing = os.pipe()
    os.close(reading)
    done = assess_into(writing, held)
    os.close(writing)
    assert done == (141, "")
