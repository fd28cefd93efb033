"""What the tests of the commands share."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from processes import COMMAND

from setupopt.cli.main import group

from . import folders

Run = Callable[..., Result]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs a command line in this process; nothing but an exit is allowed to come out of it."""
    monkeypatch.setenv("COLUMNS", "80")

    def call(*args: str | Path) -> Result:
        result = CliRunner().invoke(
            group, [str(arg) for arg in args], prog_name="setupopt"
        )
        assert result.exception is None or isinstance(
            result.exception, SystemExit
        ), result.exc_info
        assert "Traceback" not in result.output
        return result

    return call


@pytest.fixture(scope="session")
def held(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project without a complaint."""
    return folders.held(tmp_path_factory.mktemp("held"))


@pytest.fixture(scope="session")
def lost(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project that loses contact and breaks limits."""
    return folders.lost(tmp_path_factory.mktemp("lost"))


def refused(done: Result, *said: str) -> None:
    """Exit status 2, and these words on standard error."""
    assert done.exit_code == 2
    told = " ".join(done.stderr.split())
    for words in said:
        assert words in told, told


def widest(text: str) -> int:
    """Letters of the longest line, but for those that name the files written."""
    lines = text.splitlines()
    return max(len(line) for line in lines if not line.startswith("written"))


def installed(
    *args: str | Path, **environment: str
) -> subprocess.CompletedProcess[str]:
    """The command as a user runs it, in a process of its own."""
    return subprocess.run(
        [*COMMAND, *map(str, args)],
        capture_output=True,
        text=True,
        env=os.environ | environment,
        timeout=300,
        check=False,
    )
