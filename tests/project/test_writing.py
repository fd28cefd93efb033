"""Writing a setup: tidy, with comments kept, whole or not at all."""

from __future__ import annotations

import os
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from setupopt.errors import InputErrors, OutputError
from setupopt.files import write_whole
from setupopt.project import load, read_setup, setup_as_dict, write_setup
from setupopt.project.model import Setup
from setupopt.project.settings import SETTINGS

from .good_folder import SETUP, write_folder


@pytest.fixture
def setup(tmp_path: Path) -> Setup:
    """The good folder's setup."""
    return load(write_folder(tmp_path / "good")).setup


def test_setup_as_dict_says_what_the_file_says(setup: Setup) -> None:
    """File units, no noise from the conversions."""
    assert setup_as_dict(setup) == tomllib.loads(SETUP)


def test_written_setup_reads_back(setup: Setup, tmp_path: Path) -> None:
    """The form that is written is the form that is read."""
    write_setup(tmp_path / "proposed.toml", setup)
    assert read_setup(tmp_path / "proposed.toml") == setup
    assert "00000000" not in (tmp_path / "proposed.toml").read_text()


@settings(max_examples=50, deadline=None, database=None)
@given(
    camber=st.floats(-15, 15),
    height=st.floats(1, 1000),
    spring=st.floats(1, 2000),
)
def test_any_setup_reads_back(
    tmp_path_factory: pytest.TempPathFactory,
    camber: float,
    height: float,
    spring: float,
) -> None:
    """What stands in the file after one writing stays through the next."""
    folder = tmp_path_factory.mktemp("written")
    text = (
        SETUP.replace("-2.5", repr(camber))
        .replace("height_mm = 35", f"height_mm = {height!r}")
        .replace("per_mm = 140", f"per_mm = {spring!r}")
    )
    (folder / "a.toml").write_text(text)
    write_setup(folder / "b.toml", read_setup(folder / "a.toml"))
    first = tomllib.loads((folder / "b.toml").read_text())
    write_setup(folder / "c.toml", read_setup(folder / "b.toml"))
    assert tomllib.loads((folder / "c.toml").read_text()) == first
    assert first["front"]["camber_deg"] == pytest.approx(camber, abs=1e-6)
    assert first["front"]["spring_N_per_mm"] == pytest.approx(spring, abs=1e-6)


def test_comments_and_order_are_kept(setup: Setup, tmp_path: Path) -> None:
    """The user's own notes survive; the new note stands on top."""
    like = tmp_path / "setup.toml"
    like.write_text(
        SETUP.replace("camber_deg = -2.5", "camber_deg = -2.5  # measured hot")
    )
    stiff = replace(setup, front=replace(setup.front, camber=setup.rear.camber))
    write_setup(
        tmp_path / "out.toml",
        stiff,
        like,
        "margin 0.31\nfrom\ttwo \x1b[2J lines",
    )
    text = (tmp_path / "out.toml").read_text()
    assert text.startswith(
        "# margin 0.31\n# from two  [2J lines\n\n# invented numbers\n"
    )
    assert "camber_deg = -2.0  # measured hot" in text
    assert read_setup(tmp_path / "out.toml") == stiff


@pytest.mark.parametrize(
    "like",
    [
        "setup.name = 'x'\nfront.camber_deg = 1\n[rear]\ncamber_deg = 1\n",
        "front = { camber_deg = 1 }\n",
        "[rear]\n[setup]\nname = 'x'\n",
        "[front]\nold = 1\n",
    ],
)
def test_unusual_layouts_come_out_right(
    setup: Setup, tmp_path: Path, like: str
) -> None:
    """Dotted keys, inline tables, missing tables: the values win over the layout."""
    (tmp_path / "like.toml").write_text(like)
    write_setup(tmp_path / "out.toml", setup, tmp_path / "like.toml")
    assert read_setup(tmp_path / "out.toml") == setup


def test_third_spring_of_zero_may_go_unsaid(
    setup: Setup, tmp_path: Path
) -> None:
    """No key appears that the user did not need."""
    like = tmp_path / "setup.toml"
    like.write_text(
        "".join(
            line
            for line in SETUP.splitlines(True)
            if not line.startswith("third")
        )
    )
    bare = replace(
        setup,
        front=replace(setup.front, third=0.0),
        rear=replace(setup.rear, third=0.0),
    )
    write_setup(tmp_path / "out.toml", bare, like)
    assert "third" not in (tmp_path / "out.toml").read_text()
    assert read_setup(tmp_path / "out.toml") == bare


def test_body_is_written_where_there_is_one(
    setup: Setup, tmp_path: Path
) -> None:
    """Under its name beside the setup's; nothing is said of the body of car.toml."""
    assert "body" not in setup_as_dict(setup)["setup"]
    worn = replace(setup, body="low drag")
    assert setup_as_dict(worn)["setup"] == {
        "name": "baseline",
        "body": "low drag",
    }
    write_setup(tmp_path / "worn.toml", worn)
    assert read_setup(tmp_path / "worn.toml") == worn


@pytest.mark.parametrize("old", [None, "low drag", "high wing"])
@pytest.mark.parametrize("new", [None, "low drag"])
def test_body_follows_the_setup_not_the_pattern(
    setup: Setup, tmp_path: Path, old: str | None, new: str | None
) -> None:
    """A body that the pattern names is taken out, put in or replaced; its comments stay."""
    write_setup(tmp_path / "like.toml", replace(setup, body=old), None, "kept")
    write_setup(
        tmp_path / "out.toml", replace(setup, body=new), tmp_path / "like.toml"
    )
    assert read_setup(tmp_path / "out.toml") == replace(setup, body=new)
    assert (tmp_path / "out.toml").read_text().startswith("# kept\n")


def test_minus_nothing_is_nothing(setup: Setup) -> None:
    """-0.0 does not reach a sheet."""
    still = replace(setup, front=replace(setup.front, camber=-0.0, toe=-1e-12))
    front = setup_as_dict(still)["front"]
    assert str(front["camber_deg"]) == str(front["toe_mm"]) == "0.0"


def test_every_setting_of_an_axle_is_listed(setup: Setup) -> None:
    """A setting added to the model cannot be forgotten in the file."""
    assert [setting.field for setting in SETTINGS] == list(
        type(setup.front).__slots__
    )[: len(SETTINGS)]


def test_missing_pattern_is_refused_and_nothing_written(
    setup: Setup, tmp_path: Path
) -> None:
    """The file to follow must be there."""
    with pytest.raises(InputErrors):
        write_setup(tmp_path / "out.toml", setup, tmp_path / "none.toml")
    assert not (tmp_path / "out.toml").exists()


def test_file_is_readable_and_nothing_else_left(tmp_path: Path) -> None:
    """Colleagues can read it, and no temporary file stays behind."""
    old = os.umask(0o022)
    try:
        write_whole(tmp_path / "a.txt", "text")
    finally:
        os.umask(old)
    assert (tmp_path / "a.txt").stat().st_mode & 0o777 == 0o644
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


def test_failed_write_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk costs the new file, not the old one."""
    write_whole(tmp_path / "a.txt", b"old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        write_whole(tmp_path / "a.txt", "new")
    assert [path.read_text() for path in tmp_path.iterdir()] == ["old"]


@pytest.mark.parametrize("place", ["none/a.txt", "", "a\0b", "x" * 300])
def test_impossible_place_is_said(tmp_path: Path, place: str) -> None:
    """A missing folder, a folder, an impossible name."""
    with pytest.raises(OutputError, match="could not be written"):
        write_whole(f"{tmp_path}/{place}", "text")


def test_link_stays_a_link(tmp_path: Path) -> None:
    """A linked setup file is written where it lies."""
    (tmp_path / "real.toml").write_text("old")
    (tmp_path / "link.toml").symlink_to(tmp_path / "real.toml")
    write_whole(tmp_path / "link.toml", "new")
    assert (tmp_path / "link.toml").is_symlink()
    assert (tmp_path / "real.toml").read_text() == "new"


def test_files_written_together_or_none(tmp_path: Path) -> None:
    """Where the second cannot be written the first stays as it was, and nothing lies beside it."""
    from setupopt.errors import OutputError
    from setupopt.files import write_together

    first, second = tmp_path / "first.txt", tmp_path / "missing" / "second.txt"
    first.write_text("old", encoding="utf-8")
    with pytest.raises(OutputError, match=r"second\.txt"):
        write_together({first: "new", second: "new"})
    assert first.read_text(encoding="utf-8") == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["first.txt"]
    second.parent.mkdir()
    write_together({first: "new", second: "new"})
    assert {path.read_text(encoding="utf-8") for path in (first, second)} == {
        "new"
    }
