"""The revision log: added to, never rewritten."""

from __future__ import annotations

import csv
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from setupopt.errors import OutputError
from setupopt.project.csv_write import harmless
from setupopt.sheet.revisions import LOG, Revision, reserve


def line(number: int, checksum: str = "abc") -> Revision:
    """An invented revision."""
    return Revision(
        number,
        "2026-01-31",
        "A. Nobody",
        "a setup",
        checksum,
        "0.1234",
        "camber -1 -> -2 deg",
    )


def rows(folder: Path) -> list[dict[str, str]]:
    """The log as it reads."""
    return list(csv.DictReader((folder / LOG).read_text().splitlines()))


def test_lines_are_added_behind_the_others(tmp_path: Path) -> None:
    """What stood there before is still there, byte for byte."""
    reserve(tmp_path, line(0))
    before = (tmp_path / LOG).read_bytes()
    assert reserve(tmp_path, line(0, "def")).revision == 2
    assert (tmp_path / LOG).read_bytes().startswith(before)
    assert [row["revision"] for row in rows(tmp_path)] == ["1", "2"]


def test_a_cut_off_line_spoils_no_other(tmp_path: Path) -> None:
    """A line that a power cut left half: the next one still stands on a line of its own."""
    reserve(tmp_path, line(0))
    with (tmp_path / LOG).open("a") as log:
        log.write("2,2026-02-0")
    assert reserve(tmp_path, line(0, "def")).revision == 3
    assert rows(tmp_path)[-1]["checksum"] == "def"
    assert reserve(tmp_path, line(0, "def")).revision == 3
    assert len(rows(tmp_path)) == 3


def test_printing_again_is_no_revision(tmp_path: Path) -> None:
    """The setup of the last line keeps its number; any other gets the next."""
    numbers = [
        reserve(tmp_path, line(0, checksum)).revision
        for checksum in ("abc", "abc", "def", "abc")
    ]
    assert numbers == [1, 1, 2, 3]
    assert [row["revision"] for row in rows(tmp_path)] == ["1", "2", "3"]


def test_a_line_taken_out_by_hand_gives_no_number_again(tmp_path: Path) -> None:
    """The number of a sheet on paper is not used for another setup."""
    for checksum in ("abc", "def"):
        reserve(tmp_path, line(0, checksum))
    heading, _, last = (tmp_path / LOG).read_text().splitlines()
    (tmp_path / LOG).write_text(f"{heading}\n{last}\n")
    assert reserve(tmp_path, line(0, "new")).revision == 3


def test_many_at_once(tmp_path: Path) -> None:
    """Forty setups from eight threads: forty lines, forty numbers."""
    with ThreadPoolExecutor(8) as pool:
        made = list(
            pool.map(
                lambda number: reserve(tmp_path, line(0, str(number))).revision,
                range(40),
            )
        )
    assert sorted(made) == list(range(1, 41))
    assert [int(row["revision"]) for row in rows(tmp_path)] == list(
        range(1, 41)
    )


@pytest.mark.parametrize("cell", ["=1+1", "+cmd", "@x", "-2+3", "\t=1", "\n=1"])
def test_no_cell_is_a_formula(cell: str) -> None:
    """A spreadsheet shows it and runs nothing; numbers stay numbers."""
    assert harmless(cell)[0] == "'"
    assert harmless("-1.5") == "-1.5"


def test_folder_that_cannot_be_written(tmp_path: Path) -> None:
    """Refused with the file's name."""
    (tmp_path / LOG).mkdir()
    with pytest.raises(OutputError, match=LOG):
        reserve(tmp_path, line(1))
