"""The tab key: commands, options, names, files; in the real bash where there is one."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.shell_completion import ShellComplete
from processes import python

from setupopt.cli import start
from setupopt.cli.main import COMMANDS, group

from . import folders
from .conftest import Run
from .test_main import HEAVY


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in: a project, a table, and what is nobody's business."""
    folders.fill(
        tmp_path,
        "car/setup.toml car/wet.toml car/bodies/long.toml press.csv notes.txt .x.csv",
    )
    monkeypatch.chdir(tmp_path)
    return tmp_path


def offered(*words: str) -> list[str]:
    """Values offered for the last word, with the kind that the shell shall look for itself."""
    *before, last = words
    items = ShellComplete(
        group, {}, "setupopt", "_SETUPOPT_COMPLETE"
    ).get_completions(before, last)
    return [
        item.value if item.type == "plain" else f"<{item.type}>"
        for item in items
    ]


def test_commands_and_options() -> None:
    """All of them, or those that begin so."""
    assert offered("") == list(COMMANDS)
    assert offered("pro") == ["propose", "prove"]
    assert offered("fit", "") == ["tyre", "air"]
    assert offered("propose", "my-car", "--ke") == ["--keep"]
    assert {"--floor", "--cases", "--json"} <= set(offered("assess", "--"))


def test_names_of_ours() -> None:
    """Examples as they are installed, settings as they are written in the files, and shells."""
    assert offered("start", "--example", "") == sorted(start.examples())
    assert offered("propose", "p", "--keep", "front.c") == ["front.camber_deg"]
    assert "body" in offered("propose", "p", "--keep", "")
    assert offered("completion", "") == ["bash", "zsh", "fish"]


@pytest.mark.parametrize(
    ("words", "values"),
    [
        (["assess", ""], ["<dir>"]),
        (["assess", "car", "--out", ""], ["<dir>"]),
        (["fit", "tyre", ""], ["car/", "press.csv"]),
        (["fit", "tyre", "pr"], ["press.csv"]),
        (["fit", "tyre", "c"], ["<dir>"]),
        (["fit", "tyre", "no"], []),
        (["fit", "tyre", "nowhere/"], []),
        (
            ["readback", "car", "car/"],
            ["car/bodies/", "car/setup.toml", "car/wet.toml"],
        ),
        (["assess", "car", "--setup", ""], ["car/", "setup.toml", "wet.toml"]),
        (["assess", "--setup", "car/w"], ["car/wet.toml"]),
        (["assess", "car", "--setup=w"], ["wet.toml"]),
        (["compare", "car", "setup.toml", "w"], ["wet.toml"]),
    ],
)
def test_files_and_folders(
    place: Path, words: list[str], values: list[str]
) -> None:
    """Of the ending that is asked for, none that are hidden; setups also by their name in the project."""
    assert offered(*words) == values


def test_odd_names_are_left_to_the_shell(place: Path) -> None:
    """It knows how a blank or a quote is typed."""
    (place / "press 2.csv").write_text("")
    assert offered("fit", "tyre", "press") == ["<file>"]


def test_completing_imports_nothing_heavy(place: Path) -> None:
    """The offer must come before the next key."""
    for words in (
        "setupopt p",
        "setupopt compare car s",
        "setupopt prove car --cluster tcp://a:1 --b",
    ):
        code = (
            "import sys\nfrom setupopt.cli.main import main\ntry: main()\nexcept SystemExit: pass\n"
            f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)"
        )
        asked = {"_SETUPOPT_COMPLETE": "bash_complete", "COMP_WORDS": words}
        asked["COMP_CWORD"] = str(len(words.split()) - 1)
        done = python(code, **asked)
        assert done.stdout and done.stderr.splitlines()[-1] == "[]"


# In a shell of its own: the completion is switched on, and asked as the tab key asks it.
BASH = """
eval "$(setupopt completion bash)"
COMP_WORDS=(setupopt {words}); COMP_CWORD={count}
$(complete -p setupopt | sed 's/.*-F \\([^ ]*\\) .*/\\1/') setupopt
printf '%s\\n' "${{COMPREPLY[@]}}"
"""


def in_shell(
    shell: str, script: str, folder: Path
) -> subprocess.CompletedProcess[str]:
    """What a shell prints, with our command on its path."""
    program = folder / "bin" / "setupopt"
    program.parent.mkdir()
    program.write_text(
        f"#!{sys.executable}\nfrom setupopt.cli.main import main\nmain()\n"
    )
    program.chmod(0o755)
    path = f"{program.parent}{os.pathsep}{os.environ['PATH']}"
    return subprocess.run(
        [shell, "-c", script],
        capture_output=True,
        text=True,
        env=os.environ | {"PATH": path},
        check=True,
    )


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
@pytest.mark.parametrize(
    ("words", "values"),
    [
        ("pro", ["propose", "prove"]),
        ("start --example b", ["bank", "bore"]),
        ("assess car --setup w", ["wet.toml"]),
        ("assess car --cases-", ["--cases-out"]),
    ],
)
def test_in_the_real_bash(place: Path, words: str, values: list[str]) -> None:
    """The printed lines work there."""
    done = in_shell(
        "bash", BASH.format(words=words, count=len(words.split())), place
    )
    assert done.stdout.splitlines() == values
    assert done.stderr == ""


@pytest.mark.skipif(shutil.which("fish") is None, reason="no fish here")
def test_in_the_real_fish(place: Path) -> None:
    """The printed lines work there, with the help texts beside the names."""
    asked = "\n".join(
        f"complete -C 'setupopt {words}'"
        for words in ("pro", "assess car --setup w")
    )
    done = in_shell(
        "fish", f"setupopt completion fish | source\n{asked}", place
    )
    assert [line.split("\t")[0] for line in done.stdout.splitlines()] == [
        "propose",
        "prove",
        "wet.toml",
    ]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_lines_for_every_shell(run: Run, place: Path, shell: str) -> None:
    """They name the variable by which the command is asked; a shell that is here finds no fault in them."""
    lines = run("completion", shell).stdout
    assert f"_SETUPOPT_COMPLETE={shell}_complete" in lines
    if shutil.which(shell):
        assert (
            subprocess.run(
                [shell, "-n", "-c", lines], capture_output=True, check=True
            ).stderr
            == b""
        )


def test_unknown_shell_is_refused(run: Run) -> None:
    """With the ones that there are."""
    result = run("completion", "csh")
    assert result.exit_code == 2 and "bash" in result.stderr
