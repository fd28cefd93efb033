"""Hundreds of broken folders: each is refused in words, and nothing is written."""

from __future__ import annotations

from itertools import islice
from pathlib import Path

from project.broken_folders import broken_folders

from .conftest import Run

EVERY = 4  # a fresh start of the reader for each would take a minute for all of them


def test_broken_folders_are_refused_by_file_and_key(
    run: Run, tmp_path: Path
) -> None:
    """Status 2, standard error names file and key, standard output and the disk stay clean."""
    out, count = tmp_path / "out", 0
    for broken in islice(broken_folders(tmp_path / "folders"), 0, None, EVERY):
        before = sorted(broken.folder.iterdir())
        result = run(
            "assess",
            broken.folder,
            "--out",
            out,
            "--cases-out",
            tmp_path / "cases.csv",
            "--json",
        )
        assert (result.exit_code, result.stdout) == (2, ""), broken.name
        assert broken.file in result.stderr, broken.name
        assert broken.key in result.stderr, broken.name
        assert sorted(broken.folder.iterdir()) == before
        count += 1
    assert count >= 200
    assert sorted(tmp_path.iterdir()) == [tmp_path / "folders"]
