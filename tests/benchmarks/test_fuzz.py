"""Ten thousand spoilt inputs and two hundred whole commands: prints what became of them."""

from __future__ import annotations

from pathlib import Path

import pytest
from hardening.commands import fuzz_commands
from hardening.fuzzing import fuzz
from hardening.inputs import make_inputs


def test_ten_thousand_inputs(tmp_path: Path) -> None:
    """By file: how many were tried; then refused, accepted, and nothing else."""
    home = tmp_path / "project"
    summary = fuzz(home, make_inputs(home), count=10_500, seed=2026)
    print(f"\n{summary}")
    for file, count in sorted(summary.tried.items()):
        print(f"  {file:28} {count}")
    assert not (summary.failed or summary.hung or summary.unnamed)


def test_two_hundred_commands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whole commands on projects with one spoilt file."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    home = tmp_path / "project"
    found = fuzz_commands(home, make_inputs(home), count=200, seed=2026)
    print(f"\ncommands 200, faults {len(found)}")
    assert found == []
