"""Of tests with `--cluster`: machines, an own folder of unfinished studies, a small project, answers to compare."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result
from dask_machines import Machines, machines
from small_examples import small_bore

Run = Callable[..., Result]
SEARCH = ("--starts", "1", "--json", "--quiet")
# What it took; all else must be the same to the last digit
EFFORT = ("evaluations", "seconds")


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machines]:
    """A scheduler for two workers."""
    with machines(tmp_path_factory.mktemp("machines")) as found:
        yield found


@pytest.fixture(autouse=True)
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where this test's own broken-off studies are; compiled kernels are shared."""
    from setupopt.physics.kept_kernels import cache_folder

    monkeypatch.setenv("NUMBA_CACHE_DIR", str(cache_folder().parents[1]))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "setupopt" / "unfinished"


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bore at two roll angles in one attitude, with three bodies; only springs may change."""
    return small_bore(tmp_path_factory.mktemp("few"), "straight")


def answer(run: Run, *args: str | Path) -> dict[str, Any]:
    """What a script is told."""
    result = run(*args)
    assert result.exit_code in (0, 1), result.stderr
    return {
        key: value
        for key, value in json.loads(result.stdout).items()
        if key not in EFFORT
    }
