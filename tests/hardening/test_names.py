"""Files and folders of any name that a disk takes, and links to them."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from cli import folders
from processes import MAIN

from .test_disks import DAY

NAMES = {
    "spaces": "my car, wet",
    "line end": "a\nb",
    "leading dash": "-rf",
    "looks like an option": "--out",
    "no UTF-8": os.fsdecode(b"caf\xe9 \xff"),
    "longest": "x" * 255,
    "longest in bytes": "\U0001f697" * 63,
    "quotes": "'\"$(ls)`",
    "escape": "\x1b[2J",
    "formula": "=1+1",
}
# Several lines in one process, because starting the program takes most of a line's time; "" ends each.
_LINES = """
import sys
from setupopt.cli.main import main
words, line = sys.argv[1:], []
for word in words:
    if word:
        line.append(word)
        continue
    sys.argv, line = ["setupopt", *line], []
    try:
        main()
    except SystemExit as end:
        assert end.code in (None, 0, 1), end.code
"""


def command(
    *words: str | Path, where: Path, script: str = MAIN
) -> subprocess.CompletedProcess[bytes]:
    """The command as a user runs it, with output that cannot hold every name."""
    plain = os.environ | {"PYTHONIOENCODING": "ascii:strict"}
    line = [sys.executable, "-c", script, *map(os.fspath, words)]
    return subprocess.run(
        line,
        cwd=where,
        env=plain,
        capture_output=True,
        timeout=300,
        check=False,
    )


def test_projects_of_any_name(tmp_path: Path) -> None:
    """Every kind of output, into a folder of such a name too; a refusal is words as well."""
    name = "-rf " + NAMES["no UTF-8"]
    home = folders.held(tmp_path / name)
    (home / "other.toml").write_bytes((home / "setup.toml").read_bytes())
    compared = (
        "compare",
        "--as-is",
        "--out",
        name,
        "--",
        name,
        str(home / "other.toml"),
        "setup.toml",
    )
    lines = (
        ("assess", "--out", name, "--", name),
        compared,
        ("sheet", *DAY, "--", name),
    )
    done = command(
        *(word for line in lines for word in (*line, "")),
        where=tmp_path,
        script=_LINES,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert {"assess.txt", "compare.svg", "sheets", "revisions.csv"} <= {
        path.name for path in home.iterdir()
    }
    (home / "car.toml").write_text("x")
    refused = command("assess", "--", name, where=tmp_path)
    assert refused.returncode == 2
    assert b"Traceback" not in refused.stderr and b"car.toml" in refused.stderr


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_files_of_any_name(tmp_path: Path, name: str) -> None:
    """Written, linked and read again under such a name; nothing beside them is left."""
    from setupopt.project import load, read_setup, write_setup

    project = load(folders.held(tmp_path / "project"))
    (tmp_path / "link").symlink_to(name)
    write_setup(tmp_path / "link", project.setup)
    assert (tmp_path / "link").is_symlink()
    assert (
        read_setup(tmp_path / name)
        == read_setup(tmp_path / "link")
        == project.setup
    )
    assert {path.name for path in tmp_path.iterdir()} == {
        "project",
        "link",
        name,
    }


def test_project_behind_links(tmp_path: Path) -> None:
    """Folder and files may be links; results go where the link leads, and no link becomes a file."""
    home = folders.held(tmp_path / "real")
    (tmp_path / "shared.toml").write_bytes((home / "car.toml").read_bytes())
    (home / "car.toml").unlink()
    (home / "car.toml").symlink_to(tmp_path / "shared.toml")
    (tmp_path / "link").symlink_to("real", target_is_directory=True)
    done = command("sheet", "link", *DAY, where=tmp_path)
    assert (done.returncode, done.stderr) == (0, b"")
    assert (home / "car.toml").is_symlink()
    assert (home / "revisions.csv").is_file()


@pytest.mark.parametrize(
    "line", [("assess",), ("assess", "--setup"), ("start",), ("readback",)]
)
def test_links_in_a_circle(tmp_path: Path, line: tuple[str, ...]) -> None:
    """As a project, a setup, a folder to fill and a table: refused by name."""
    home = folders.held(tmp_path / "project")
    (tmp_path / "a").symlink_to("b")
    (tmp_path / "b").symlink_to("a")
    words = (
        (line[0], home, *line[1:])
        if line[1:] or line[0] == "readback"
        else line
    )
    done = command(*words, "a", where=tmp_path)
    assert done.returncode == 2
    assert done.stderr.startswith(b"a: ")
