"""The command explore: the address, the port, and how it stops."""

from __future__ import annotations

import socket
import webbrowser
from pathlib import Path

import pytest
from report.report_folders import example

from setupopt.explore.server import ExploreServer

from .conftest import Run


def stopped(self: ExploreServer, poll_interval: float = 0.5) -> None:
    """In place of serving: the user presses Ctrl-C at once."""
    raise KeyboardInterrupt


def test_it_prints_the_address_and_stops(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C is the way it ends: exit 0. The browser gets the printed address, and none with --no-browser."""
    opened: list[str] = []
    monkeypatch.setattr(ExploreServer, "serve_forever", stopped)
    monkeypatch.setattr(webbrowser, "open", opened.append)
    folder = str(example("bore", tmp_path / "bore"))
    before = sorted(Path(folder).iterdir())
    done = run("explore", folder)
    assert done.exit_code == 0, done.output
    assert f"open once, from this machine: {opened[0]}\n" in done.stdout
    assert opened[0].startswith("http://127.0.0.1:")
    assert "no browser could be opened" in done.stdout  # append returns None
    assert "browser" not in run("explore", folder, "--no-browser").stdout
    assert len(opened) == 1
    assert sorted(Path(folder).iterdir()) == before


def test_a_port_in_use_is_refused(run: Run, tmp_path: Path) -> None:
    """By one line, before anything is computed."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = run(
            "explore",
            str(example("bore", tmp_path / "bore")),
            "--port",
            str(port),
            "--no-browser",
        )
    assert done.exit_code == 2
    assert done.stderr == f"--port {port}: Address already in use\n"
