"""`setupopt start`: a whole copy or none."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import pytest
from project.good_folder import FILES, write_folder

from setupopt.cli import start
from setupopt.project import load

from . import folders
from .conftest import Run


@pytest.fixture
def examples(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two examples, and folders that are none."""
    home = tmp_path / "examples"
    for name in ("bore", "hill"):
        write_folder(home / name)
        (home / name / "measured").mkdir()
        (home / name / "measured" / "tyre.csv").write_text("a\n1\n")
        (home / name / ".hidden").write_text("x")
    (home / "hill" / "car.toml").chmod(0o444)
    (home / "notes").mkdir()
    monkeypatch.setattr(start, "examples_folder", lambda: home)
    return home


def content(folder: Path) -> dict[str, bytes]:
    """All files of a folder by name."""
    files = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def test_default_example_is_copied_and_the_next_step_named(
    run: Run, examples: Path, tmp_path: Path
) -> None:
    """All visible files, writable; the printed command is the one to type."""
    target = tmp_path / "my car"
    result = run("start", target)
    assert (result.exit_code, result.stderr) == (0, "")
    assert set(content(target)) == {*FILES, "measured/tyre.csv"}
    assert (
        result.stdout.splitlines()[-1]
        == f"next: setupopt assess {shlex.quote(str(target))}"
    )
    load(target)


def test_another_example_becomes_the_users_own(
    run: Run, examples: Path, tmp_path: Path
) -> None:
    """A read-only original makes a copy that can be edited; folders above are made."""
    target = tmp_path / "a" / "b"
    assert run("start", target, "--example", "hill").exit_code == 0
    assert (target / "car.toml").stat().st_mode & 0o200
    assert content(target)["car.toml"] == FILES["car.toml"].encode()


def test_unknown_example_lists_the_names(
    run: Run, examples: Path, tmp_path: Path
) -> None:
    """The near one first, where there is one. Folders without a car are no examples."""
    result = run("start", tmp_path / "x", "--example", "hil")
    assert result.exit_code == 2
    assert (
        result.stderr
        == "--example: found 'hil' (did you mean hill?), expected one of: bore, hill\n"
    )
    assert (
        "mean" not in run("start", tmp_path / "x", "--example", "ocean").stderr
    )
    assert not (tmp_path / "x").exists()


def test_list_names_every_example_of_the_repository(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One line each where there is room, by the names in its files; no folder is asked for."""
    monkeypatch.setenv("COLUMNS", "160")
    result = run("start", "--list")
    assert (result.exit_code, result.stderr) == (0, "")
    lines = result.stdout.splitlines()[1:]
    assert [line.split()[0] for line in lines] == sorted(
        path.parent.name
        for path in Path(start.examples_folder()).glob("*/car.toml")
    )
    assert all(line.count("(invented)") == 2 for line in lines)


def test_example_says_that_it_is_invented(run: Run, tmp_path: Path) -> None:
    """Nobody takes the car for a real one: what is printed and the head of every file say so."""
    for name in start.examples():
        shown = run("start", tmp_path / name, "--example", name).stdout
        assert (
            shown.count("(invented)") == 2
            and "put in your own numbers" in shown
        )
        for file in (tmp_path / name).rglob("*.toml"):
            assert "nvented" in file.read_text().split("[")[0], file


def test_missing_examples_are_said(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A package without its examples does not crash."""
    monkeypatch.setattr(start, "examples_folder", lambda: tmp_path / "nowhere")
    result = run("start", tmp_path / "x")
    assert result.exit_code == 2
    assert "not installed" in result.stderr


def test_empty_folder_is_filled_and_stays_itself(
    run: Run, examples: Path, tmp_path: Path
) -> None:
    """The user may be standing in it."""
    target = tmp_path / "here"
    target.mkdir()
    before = target.stat().st_ino
    assert run("start", target).exit_code == 0
    assert target.stat().st_ino == before
    assert set(content(target)) == {*FILES, "measured/tyre.csv"}


def test_used_folder_is_refused_and_left_alone(
    run: Run, examples: Path, tmp_path: Path
) -> None:
    """Nobody's work is overwritten."""
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "car.toml").write_text("mine")
    (tmp_path / "file").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "none")
    for name, reason in (
        ("used", "not empty"),
        ("file", "not a folder"),
        ("link", "not a folder"),
    ):
        result = run("start", tmp_path / name)
        assert result.exit_code == 2
        assert reason in result.stderr
        assert result.stdout == ""
    assert content(tmp_path / "used") == {"car.toml": b"mine"}


@pytest.mark.parametrize("there", [True, False])
@pytest.mark.parametrize(
    "error", [OSError(28, "No space left on device"), KeyboardInterrupt()]
)
def test_failing_copy_leaves_nothing(
    run: Run,
    examples: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    there: bool,
    error: BaseException,
) -> None:
    """Neither half a project, nor a temporary folder, nor an empty one that was not there."""
    target = tmp_path / "a" / "b"
    if there:
        target.mkdir(parents=True)
    copied = []

    def copyfile(source: Path, place: Path) -> None:
        if len(copied) == 2:
            raise error
        copied.append(place.write_bytes(source.read_bytes()))

    monkeypatch.setattr(start.shutil, "copyfile", copyfile)
    result = run("start", target)
    assert result.exit_code == (
        130 if isinstance(error, KeyboardInterrupt) else 2
    )
    assert sorted(tmp_path.rglob("*")) == sorted(
        [
            *([target, target.parent] if there else []),
            examples,
            *examples.rglob("*"),
        ]
    )


def test_failing_move_leaves_nothing(
    run: Run, examples: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also when the trouble comes while files are put in place."""
    target = tmp_path / "here"
    target.mkdir()
    whole = Path.rename

    def rename(path: Path, to: Path) -> Path:
        if path.name == "setup.toml":
            raise OSError(5, "Input/output error")
        return whole(path, to)

    monkeypatch.setattr(Path, "rename", rename)
    assert run("start", target).exit_code == 2
    assert list(target.iterdir()) == []


def test_every_example_of_the_repository_is_a_project(
    run: Run, tmp_path: Path
) -> None:
    """What users begin with loads without a mistake."""
    names = [
        path.parent.name for path in start.examples_folder().glob("*/car.toml")
    ]
    assert "bore" in names
    for name in names:
        assert run("start", tmp_path / name, "--example", name).exit_code == 0
        load(tmp_path / name)


def test_bodies_of_an_example_are_copied(run: Run, tmp_path: Path) -> None:
    """The bore's, under their names, and nothing that an editor left beside them."""
    source = start.examples_folder() / "bore"
    assert run("start", tmp_path / "new").exit_code == 0
    assert load(tmp_path / "new").bodies == load(source).bodies != ()
    copied = {path.name for path in (tmp_path / "new" / "bodies").iterdir()}
    assert copied == {f"{body.name}.toml" for body in load(source).bodies}


def test_results_of_a_tried_example_are_not_copied(tmp_path: Path) -> None:
    """A proposal, a proof, sheets and a log that somebody's runs left beside the example stay there."""
    source = tmp_path / "source"
    folders.fill(
        source,
        "car.toml proposed.toml revisions.csv proved/abc.json sheets/sheet.pdf",
    )
    start.copy_whole(source, tmp_path / "target")
    assert [path.name for path in (tmp_path / "target").iterdir()] == [
        "car.toml"
    ]


def test_json_for_scripts(run: Run, tmp_path: Path) -> None:
    """Only JSON: the folder, the example, what it is and the files in it."""
    done = run("start", tmp_path / "car", "--example", "hill", "--json")
    told = json.loads(done.stdout)
    assert (told["folder"], told["example"]) == (str(tmp_path / "car"), "hill")
    assert told["files"] == sorted(
        path.name for path in (tmp_path / "car").iterdir()
    )
    assert "invented" in told["what"]
