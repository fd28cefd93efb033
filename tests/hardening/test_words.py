"""What stands on a terminal: no escape of a name gets there, and no odd surroundings end in a traceback."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest
from cli import folders
from processes import COMMAND, python

from setupopt.errors import printable

ESCAPE = "\x1b[2J\x07\u202e"


def run(
    *words: str | bytes | Path,
    where: Path,
    shell_end: str = "",
    **environment: str,
) -> subprocess.CompletedProcess[bytes]:
    """A command in a process of its own; `shell_end`: what a shell does with its output."""
    line: list[str | bytes | Path] = [*COMMAND, *words]
    if shell_end:
        line = ["sh", "-c", f'exec "$@" {shell_end}', "sh", *line]
    return subprocess.run(
        [os.fspath(word) for word in line],
        cwd=where, env=os.environ | environment, capture_output=True, timeout=300, check=False,
    )  # fmt: skip


@pytest.mark.parametrize(
    "words",
    [("assess", ESCAPE), ("assess", "--floor", ESCAPE, "."), (f"ass{ESCAPE}",), (f"--{ESCAPE}",),
     ("assess", f"--{ESCAPE}", "."), ("assess", ".", "--setup", ESCAPE), ("sheet", ".", "--date", ESCAPE),
     ("fit", "tyre", ESCAPE), ("start", ".", "--example", ESCAPE)],
    ids=lambda words: " ".join(words).encode("unicode_escape").decode(),
)  # fmt: skip
def test_refusals_obey_no_escape(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    """Of folders, files, commands, options and their values: status 2, the name to be read."""
    folders.held(tmp_path / "project")
    done = run(*words, where=tmp_path / "project")
    assert done.returncode == 2
    text = (done.stdout + done.stderr).decode()
    assert "Traceback" not in text
    assert printable(text) == text
    assert "\\x1b[2J" in text


def test_answers_obey_no_escape(tmp_path: Path) -> None:
    """A folder of such a name, from its making to an answer in it, on screen and on standard error."""
    done = [
        run("start", ESCAPE, where=tmp_path),
        run("assess", ESCAPE, "--out", ESCAPE, where=tmp_path),
    ]
    for one in done:
        text = (one.stdout + one.stderr).decode()
        assert one.returncode in (0, 1), text
        assert printable(text) == text
        assert "\\x1b[2J" in text


def test_a_maker_that_is_no_text(tmp_path: Path) -> None:
    """Bytes that are no UTF-8, or marks that turn the writing direction: refused, no line in the log."""
    home = folders.held(tmp_path / "project")
    for by in (b"A. \xff Nother", "A. \u202eNother", "x" * 200):
        done = run("sheet", "project", "--by", by, where=tmp_path)
        assert done.returncode == 2
        assert b"--by" in done.stderr and b"Traceback" not in done.stderr
    assert not (home / "revisions.csv").exists()


ZONES = ["A-167", "No/Where", ":/dev/null", "\x1b[2J", "A" * 5000]
# One process for all zones, because starting the program takes most of a run's time
_EVERY_ZONE = f"""
import os, time
from click.testing import CliRunner
from setupopt.cli.main import group
for zone in {ZONES!r}:
    os.environ["TZ"] = zone
    time.tzset()
    done = CliRunner().invoke(group, ["sheet", "project", "--json"], prog_name="setupopt")
    print(done.exit_code, repr(done.stderr), type(done.exception).__name__)
"""


def test_odd_time_zones(tmp_path: Path) -> None:
    """The date of a sheet is one, whatever TZ says."""
    folders.held(tmp_path / "project")
    done = python(_EVERY_ZONE, where=tmp_path)
    said = done.stdout.splitlines()
    assert len(said) == len(ZONES)
    assert set(said) <= {"0 '' NoneType", "0 '' SystemExit", "1 '' SystemExit"}
    assert done.stderr == ""


@pytest.mark.parametrize("end", [">&-", "</dev/null >&-"])
def test_closed_standard_output(tmp_path: Path, end: str) -> None:
    """Refused in words: a file opened next would take its place."""
    folders.held(tmp_path / "project")
    done = run("assess", "project", where=tmp_path, shell_end=end)
    assert done.returncode == 2
    assert done.stderr.startswith(b"standard output is closed")


@pytest.mark.parametrize("floor", ["1e300", "-11", "10.5", "nan"])
def test_floor_has_bounds(tmp_path: Path, floor: str) -> None:
    """No margin is beyond them; 1e300 once came back in every sum."""
    folders.held(tmp_path / "project")
    done = run("assess", "project", f"--floor={floor}", where=tmp_path)
    assert done.returncode == 2
    assert b"--floor" in done.stderr


def test_the_page_sends_nothing_anywhere() -> None:
    """Its policy allows no script, no form that is sent, and no other base for its addresses."""
    from setupopt.report import page

    text = (Path(next(iter(page.__path__))) / "page.html").read_text(
        encoding="utf-8"
    )
    policy = text.partition('Content-Security-Policy" content="')[2].partition(
        '"'
    )[0]
    rules = dict(
        rule.split(maxsplit=1) for rule in policy.split(";") if rule.strip()
    )
    assert (
        rules["default-src"]
        == rules["base-uri"]
        == rules["form-action"]
        == "'none'"
    )
