"""Compiled kernels, the same code uncompiled, and the examples in their docstrings."""

from __future__ import annotations

import doctest
import importlib
import json
import os
import pkgutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cars import CAR, SETUP, load_cases, venue
from processes import python

import setupopt.physics
from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics import kept_kernels, margin

MODULES = sorted(
    m.name
    for m in pkgutil.iter_modules(
        setupopt.physics.__path__, "setupopt.physics."
    )
)
HERE = Path(__file__).parents[1]


def some_cases() -> CaseSet:
    """Up a wall, a banked turn, and one that loses contact."""
    return load_cases(
        venue(1.0 / 8.0),
        roll_angle=[1.6, -0.4, 3.1],
        speed=[60.0, 50.0, 15.0],
        heading=[0.05, 0.0, 0.0],
        turn_curvature=[0.0, 0.005, 0.0],
        crosswind=[4.0, 0.0, 0.0],
    )


def numbers() -> dict[str, Any]:
    """Every number of every answer, as lists."""
    model = Model(CAR)
    a = model.run(model.settings([SETUP]), some_cases()).answers[0]
    names = (
        "margin",
        "search_margin",
        "press",
        "state",
        "load",
        "grip",
        "use",
        "patch",
        "downforce",
    )
    return {name: np.nan_to_num(a[name], nan=-1e9).tolist() for name in names}


def test_uncompiled_kernels_give_the_same_numbers() -> None:
    """With NUMBA_DISABLE_JIT=1, in a process of its own: trims to 1e-9, what is read at the fold to 1e-6.

    Compiled code fuses products and sums; the fold is found to 1e-6 and a lost case by a long path, so that
    rounding grows to that.
    """
    script = (
        "import json, physics.test_jit as t; print(json.dumps(t.numbers()))"
    )
    paths = os.pathsep.join(
        str(p) for p in (HERE, HERE / "reference", HERE.parent)
    )
    done = python(
        script, NUMBA_DISABLE_JIT="1", PYTHONPATH=paths, SETUPOPT_THREADS="1"
    )
    plain, compiled = json.loads(done.stdout), numbers()
    held = np.array(compiled["press"]) == 0.0
    assert held.tolist() == [True, True, False]
    for name, values in compiled.items():
        theirs = np.array(plain[name], dtype=float)
        ours = np.array(values, dtype=float)
        scale = max(1.0, np.abs(ours[held]).max())
        digits = 1e-6 if name in ("margin", "search_margin") else 1e-9
        assert np.abs(theirs[held] - ours[held]).max() <= digits * scale, name
        if name != "margin":
            assert theirs[~held] == pytest.approx(
                ours[~held], rel=1e-6, abs=1e-6 * scale
            ), name


def examples(name: str) -> list[doctest.DocTest]:
    """Docstrings with examples in a module; compiled functions count as functions."""
    found = doctest.DocTestFinder(exclude_empty=True).find(
        importlib.import_module(name), name
    )
    return [test for test in found if test.examples]


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings(name: str) -> None:
    """Every `>>>` runs and shows what it says; as many are found as the source holds."""
    runner = doctest.DocTestRunner()
    tests = examples(name)
    for test in tests:
        runner.run(test)
    assert runner.failures == 0
    source = Path(importlib.import_module(name).__file__ or "").read_text(
        encoding="utf-8"
    )
    assert sum(len(test.examples) for test in tests) == source.count(">>> ")


def test_there_are_examples_at_all() -> None:
    """The search for examples finds those of the margin."""
    assert examples("setupopt.physics.margin")


def test_kernels_are_compiled_without_the_interpreter_lock() -> None:
    """Plain threads use all cores only if a kernel lets the lock go; a zero divisor gives inf, no error."""
    options = margin.axle_use.whole.targetoptions
    assert options["nogil"]
    assert options["error_model"] == "numpy"


def test_kernel_folder_belongs_to_the_sources(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Under the cache that the user names, in a folder of this very code."""
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    folder = kept_kernels.cache_folder.__wrapped__()
    assert folder.parent == tmp_path / "setupopt"
    assert folder.name == kept_kernels.fingerprint()


def test_kernel_folder_without_a_place_to_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A cache that cannot be made is replaced by a temporary folder."""
    blocked = tmp_path / "file"
    blocked.write_text("not a folder", encoding="utf-8")
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(blocked))
    assert tmp_path not in kept_kernels.cache_folder.__wrapped__().parents


def test_unfinished_studies_are_no_old_kernels(tmp_path: Path) -> None:
    """Kernels of old versions go, all but three; what a stopped study left beside them stays."""
    for name in ("a", "b", "c", "d", "e", kept_kernels.UNFINISHED):
        (tmp_path / name).mkdir()
    kept_kernels._forget_old(tmp_path)
    left = {folder.name for folder in tmp_path.iterdir()}
    assert kept_kernels.UNFINISHED in left
    assert len(left) == 4


DAMAGED = """
import os, sys
from setupopt.physics import surface
print(surface.onwards(0.0, 0.0, 0.125, 1.5)[0], len(list(surface.onwards.whole.stats.cache_hits)))
"""


@pytest.mark.skipif(
    bool(os.environ.get("NUMBA_DISABLE_JIT")), reason="nothing is compiled"
)
@pytest.mark.parametrize("keep", [0, 200])
def test_damaged_kernels_are_compiled_anew(tmp_path: Path, keep: int) -> None:
    """Files cut short by a full disk or a lost power: the same answer, no traceback; whole ones are taken."""
    told = [run_in_cache(tmp_path), run_in_cache(tmp_path)]
    for kept in tmp_path.rglob("*.nb?"):
        kept.write_bytes(kept.read_bytes()[:keep])
    told.append(run_in_cache(tmp_path))
    assert [answer for answer, _ in told] == [told[0][0]] * 3
    assert [hits for _, hits in told] == ["0", "1", "0"]


def run_in_cache(folder: Path) -> list[str]:
    """Height by one kernel, and how many kernels were found compiled, in a run of its own."""
    return output_in_cache(folder, ["-c", DAMAGED])


def output_in_cache(folder: Path, arguments: list[str]) -> list[str]:
    """Words that Python prints in a run of its own."""
    done = subprocess.run(
        [sys.executable, *arguments], env={**os.environ, "NUMBA_CACHE_DIR": str(folder)},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stderr == ""
    return done.stdout.split()


SHARED = """
import numpy as np
from setupopt.physics.jit import kernel, shared_kernel

PAIR = np.dtype((np.record, np.dtype([("a", "f8"), ("b", "f8", (3,))], align=True)))


@shared_kernel(PAIR, [PAIR], ["f8"], "f8", returns=("f8", "i8"))
def inner(pair, pairs, x, share):
    pair.a += share * pairs[pairs.size - 1].b[1]
    return x[0], 7


@shared_kernel(PAIR, "i8")
def outer(pair, count):
    for i in range(count):
        pair.a += i


@shared_kernel(PAIR)
def unused(pair):
    pair.a = 0.0


@kernel
def caller(pairs, x):
    outer(pairs[0], 3)
    return inner(pairs[0], pairs, pairs[0].b, 2)[0] + inner(pairs[0], pairs, x, 0.5)[1]


pairs = np.zeros(2, PAIR)
pairs[0].b[0] = 10.0
pairs[1].b[1] = 4.0
print(caller(pairs, np.ones(1)), pairs[0].a, sum(caller.whole.stats.cache_hits.values()))
"""


@pytest.mark.skipif(
    bool(os.environ.get("NUMBA_DISABLE_JIT")), reason="nothing is compiled"
)
def test_shared_kernels_are_found_by_those_kept_on_disk(tmp_path: Path) -> None:
    """10 + 7, and 0 + 1 + 2 + 2 * 4 + 4 / 2, compiled, from disk, and with one shared kernel lost there.

    A kept caller that finds no shared kernel would end the program: a lost one is compiled anew. One that
    nobody calls does not keep the caller from being taken from disk.
    """
    program = tmp_path / "program.py"
    program.write_text(SHARED, encoding="utf-8")
    printed = [output_in_cache(tmp_path, [str(program)]) for _ in range(2)]
    for kept in tmp_path.rglob("program.inner*"):
        kept.unlink()
    printed += [output_in_cache(tmp_path, [str(program)]) for _ in range(2)]
    assert [words[:2] for words in printed] == [["17.0", "13.0"]] * 4
    assert [words[2] for words in printed] == ["0", "1", "1", "1"]


@pytest.mark.skipif(
    bool(os.environ.get("NUMBA_DISABLE_JIT")), reason="nothing is compiled"
)
def test_shared_kernels_are_compiled_in_processes_of_their_own(
    tmp_path: Path,
) -> None:
    """Two small ones of the package: both are on disk before this process compiles anything."""
    script = (
        "from setupopt.physics import jit, pad, ride_time\n"
        "both = {pad._penetration, ride_time.begin}\n"
        "jit.workers = lambda: 2\n"
        "print(*(k.is_kept for k in both))\n"
        "jit._compile_beside(both)\n"
        "print(*(k.is_kept for k in both))\n"
        "print(sum(sum(k.whole.stats.cache_hits.values()) for k in both))\n"
    )
    words = output_in_cache(tmp_path, ["-c", script])
    assert words == ["False", "False", "True", "True", "2"]
