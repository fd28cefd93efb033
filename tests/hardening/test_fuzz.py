"""Spoilt inputs end in words that name the file, or in a result; a fuller run is among the benchmarks."""

from __future__ import annotations

from pathlib import Path

import pytest
from fuzzed import FUZZED
from hypothesis import given, settings
from hypothesis import strategies as st

from setupopt.errors import UserError

from .commands import LINES, faults, fuzz_commands
from .fuzzing import Summary, fuzz, take
from .inputs import Input, make_inputs

Home = tuple[Path, list[Input]]


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A project with one of every file."""
    folder = tmp_path_factory.mktemp("fuzz") / "project"
    return folder, make_inputs(folder)


@pytest.fixture(autouse=True)
def own_cache(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Studies are kept apart from the user's; compiled kernels stay where they are."""
    from setupopt.physics.kept_kernels import cache_folder

    monkeypatch.setenv("NUMBA_CACHE_DIR", str(cache_folder().parents[1]))
    monkeypatch.setenv(
        "XDG_CACHE_HOME", str(tmp_path_factory.getbasetemp() / "cache")
    )


def test_good_inputs_are_taken(home: Home) -> None:
    """What is spoilt below is sound to begin with, and every command that is tried knows its file."""
    folder, inputs = home
    for one in inputs:
        one.use(one.read(folder))
    assert set(LINES) <= {one.file for one in inputs}


def test_spoilt_inputs_end_in_words_or_numbers(home: Home) -> None:
    """400 of them: no trace of the program, no hang, every refusal names a file."""
    summary = fuzz(*home, count=400, seed=7)
    assert summary.failed == []
    assert summary.hung == []
    assert summary.unnamed == []
    assert summary.refused > 130
    assert summary.accepted > 65


@settings(FUZZED, max_examples=20)
@given(
    raw=st.binary(max_size=300)
    | st.text(max_size=300).map(lambda text: text.encode("utf-8", "replace"))
)
def test_anything_at_all_ends_in_words(home: Home, raw: bytes) -> None:
    """Bytes that hypothesis thinks of, in the place of every file in turn."""
    folder, inputs = home
    for one in inputs:
        summary = Summary()
        (folder / one.file).write_bytes(raw)
        take(folder, one, raw, summary)
        (folder / one.file).write_bytes(one.raw)
        assert summary.failed == []
        assert summary.unnamed == []


def test_whole_commands_on_spoilt_inputs(home: Home) -> None:
    """Status 0, 1 or 2; words that name the file; nothing written where refused; no spare file left."""
    assert fuzz_commands(*home, count=14, seed=3) == []


def test_faults_are_seen(
    home: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reader that breaks, and a command that leaves a file behind, are both told."""
    folder, inputs = home
    broken = Input("car.toml", inputs[0].raw, lambda _: 1 / 0)
    nameless = Input("car.toml", inputs[0].raw, _refuse)
    summary = fuzz(folder, [broken, nameless], 4, 0)
    assert (len(summary.failed), len(summary.unnamed)) == (2, 2)
    left = folder.parent / ".cases.csv.tmp"
    left.touch()
    found = faults(folder, ("assess", "@/none"), tmp_path / "out")
    left.unlink()
    assert [fault[:5] for fault in found] == ["left "]


def _refuse(folder: Path) -> None:
    raise UserError("something is wrong somewhere")
