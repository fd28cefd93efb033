"""The command group: help without waiting, and how runs end."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import setupopt
from setupopt.cli import assess, main
from setupopt.cli.main import COMMANDS, group
from setupopt.errors import OutputError, UserError

from .conftest import Run, installed

HEAVY = ("numpy", "numba", "scipy", "pandas", "pydantic", "cvxpy", "tomlkit")


@pytest.mark.parametrize(
    "args", [["--help"], ["--version"], ["start", "--help"], ["assess", "--help"], ["compare", "--help"], []]
)
def test_help_imports_nothing_heavy(args: list[str]) -> None:
    """Asking costs no second: neither compilers nor solvers nor tables are loaded."""
    code = (
        "import sys\nfrom setupopt.cli.main import group\n"
        f"try: group({args!r}, prog_name='setupopt')\nexcept SystemExit: pass\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.splitlines()[-1] == "[]"


def test_help_lists_every_command_in_order(run: Run) -> None:
    """The table of help texts is what is shown."""
    shown = run("--help").stdout
    places = [shown.index(f"  {name} ") for name in COMMANDS]
    assert places == sorted(places)
    assert all(text in shown for _, text in COMMANDS.values())
    assert {"start", "assess", "propose"} <= set(COMMANDS)


def test_help_of_every_command_fits_a_narrow_terminal(run: Run) -> None:
    """No line of help is longer than 80 places."""
    for args in (["--help"], ["start", "--help"], ["assess", "--help"]):
        assert max(map(len, run(*args).stdout.splitlines())) <= 80


def test_version(run: Run) -> None:
    """Name and number, no more."""
    assert run("--version").stdout == f"setupopt {setupopt.__version__}\n"


def test_unknown_command_and_option_are_refused(run: Run) -> None:
    """Status 2, and the word that was not understood."""
    for args in (["asses"], ["assess", "x", "--jsn"], ["assess"], ["assess", "x", "--floor", "nan"]):
        result = run(*args)
        assert result.exit_code == 2
        assert result.stdout == ""
        assert result.stderr


def _ending_with(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def fail(*args: object) -> None:
        raise error

    monkeypatch.setattr(assess, "_assess", fail)


@pytest.mark.parametrize(
    ("error", "status", "said"),
    [
        (UserError("this is refused"), 2, "this is refused\n"),
        (OutputError("x.csv", "disk full"), 2, "x.csv: could not be written (disk full)\n"),
        (KeyboardInterrupt(), 130, "stopped; nothing was written\n"),
        (OSError(28, "No space left on device", "x.csv"), 2, "x.csv: No space left on device\n"),
        (BrokenPipeError(32, "Broken pipe"), 141, ""),
    ],
)
def test_every_end_has_its_status(
    run: Run, held: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException, status: int, said: str
) -> None:
    """A line on standard error, nothing on standard output, no traceback."""
    _ending_with(monkeypatch, error)
    result = run("assess", held)
    assert (result.exit_code, result.stdout, result.stderr) == (status, "", said)


@pytest.mark.parametrize(
    ("environment", "color"),
    [({}, None), ({"NO_COLOR": "1"}, False), ({"TERM": "dumb"}, False), ({"NO_COLOR": ""}, None)],
)
def test_colour_is_left_out_where_unwanted(
    monkeypatch: pytest.MonkeyPatch, environment: dict[str, str], color: bool | None
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

    monkeypatch.setattr(main.LazyGroup, "get_command", lambda self, ctx, name: probe)
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


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no such device here")
def test_full_disk_behind_standard_output(held: Path) -> None:
    """A result that cannot be delivered is no success."""
    command = [sys.executable, "-c", "from setupopt.cli.main import main; main()", "assess", str(held)]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert done.stderr == "output: No space left on device\n"


@pytest.mark.skipif(os.name == "nt", reason="pipes behave otherwise there")
def test_reader_that_goes_away(held: Path) -> None:
    """`setupopt assess P | head -0`: silence, and a status of its own."""
    reading, writing = os.pipe()
    os.close(reading)
    command = [sys.executable, "-c", "from setupopt.cli.main import main; main()", "assess", str(held)]
    done = subprocess.run(command, stdout=writing, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writing)
    assert (done.returncode, done.stderr) == (141, "")
