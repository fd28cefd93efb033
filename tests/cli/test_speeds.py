"""`setupopt speeds`: what it answers, writes and refuses."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from setupopt.cli.main import group

from .conftest import Run
from .test_prove import project

KEYS = (
    "speed_m_s", "looked_at_m_s", "ends_to_m_s", "windows", "low", "high", "beyond", "breaks",
    "breaks_at_rest", "curve", "by_attitude", "keeps_from_m_s", "keeps_to_m_s", "by_limit", "down", "up",
    "missing", "run_up", "target_m_s", "reached", "top_m_s", "metres", "seconds", "doubt_m", "doubt_s",
    "along_mm", "grip_until_m_s", "acceleration_m_s2", "coasting", "from_m_s", "to_m_s", "safe",
)  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bore with few cases, at a speed that it holds."""
    return project(
        tmp_path_factory.mktemp("speeds") / "project", attitudes=2, speed=58.0
    )


@pytest.fixture(scope="module")
def answer(
    folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> tuple[dict[str, Any], Path]:
    """The JSON of one run, and the folder that it wrote to."""
    out = tmp_path_factory.mktemp("out")
    done = CliRunner().invoke(
        group, ["speeds", str(folder), "--json", "--quiet", "--out", str(out)]
    )
    assert done.exit_code == 0, done.output
    assert (out / "speeds.json").read_text() == done.stdout
    return json.loads(done.stdout), out


def keys(answer: object) -> set[str]:
    """Every key of an answer, at any depth."""
    if isinstance(answer, list):
        return set().union(*map(keys, answer))
    if isinstance(answer, dict):
        return set(answer) | keys(list(answer.values()))
    return set()


def test_answers_and_files_agree(answer: tuple[dict[str, Any], Path]) -> None:
    """A CSV row for each speed and attitude; the margins of both the same."""
    told, out = answer
    rows = list(csv.DictReader((out / "speeds.csv").read_text().splitlines()))
    assert len(rows) == 2 * len(told["curve"])
    for point, first, second in zip(
        told["curve"], rows[::2], rows[1::2], strict=True
    ):
        margins = [
            float(row["margin"]) if row["margin"] else None
            for row in (first, second)
        ]
        assert point["margin"] == (None if None in margins else min(margins))  # type: ignore[type-var]
        assert first["safe"] == str(not point["breaks"])
    assert {path.name for path in out.iterdir()} == {
        f"speeds.{end}" for end in ("txt", "json", "csv", "svg")
    }


def test_the_list_of_keys_is_whole(answer: tuple[dict[str, Any], Path]) -> None:
    """The glossary's test goes by it: what an answer holds besides the fields that other commands share."""
    found = keys(answer[0])
    shared = {
        "holds", "floor", "setup", "name", "checksum", "cases", "cautions", "margin", "roll_angle_deg",
        "attitude", "limit", "where", "value", "sense", "required", "unit", "case", "worst", "by_angle",
    }  # fmt: skip
    assert found - shared <= set(KEYS)
    assert set(KEYS) - {"safe"} <= found


def test_status_tells_an_unsafe_sweep(folder: Path, run: Run) -> None:
    """A floor that the sweep's speed misses: 1, and words for it; --quiet leaves curve and run-up out."""
    done = run("speeds", folder, "--floor", "0.9", "--quiet")
    assert done.exit_code == 1
    assert (
        "UNSAFE: The sweep's 58 m/s fails the minimum margin"
        in done.stdout.replace("\n", " ")
    )
    assert "Run-up" not in done.stdout


def test_text_fits_and_says_what_matters(
    folder: Path,
    run: Run,
    answer: tuple[dict[str, Any], Path],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No line is wider than the terminal, nor than the file; window, curve, run-up, loss of drive, no
    clearance."""
    monkeypatch.setenv("COLUMNS", "80")
    screen = run("speeds", folder).stdout
    for text, width in (
        (screen, 80),
        ((answer[1] / "speeds.txt").read_text(), 100),
    ):
        lines = text.splitlines()
        assert (
            max(len(line) for line in lines if not line.startswith("Setup: "))
            <= width
        )
        whole = " ".join(" ".join(lines).split())
        for words in (
            "inside the safe window", "Margin against speed", "Run-up", "Loss of drive",
            "no clearance to drive",
        ):  # fmt: skip
            assert words in whole


def test_missing_power_is_named_with_its_line(
    folder: Path, run: Run, tmp_path: Path
) -> None:
    """The key and where it belongs; the rest answers, and the picture is drawn without a run-up."""
    poor = project(tmp_path / "poor", speed=58.0)
    car = poor / "car.toml"
    car.write_text(
        "".join(
            one
            for one in car.read_text().splitlines(True)
            if "power_kW" not in one
        )
    )
    done = run("speeds", poor, "--json", "--quiet", "--out", tmp_path / "out")
    answer = json.loads(done.stdout)
    assert done.exit_code == 0
    assert answer["run_up"] is None
    assert "car.power_kW" in answer["missing"]
    assert "line " in answer["missing"]
    assert "run-up" not in (tmp_path / "out" / "speeds.svg").read_text()


def test_refusals(folder: Path, run: Run, tmp_path: Path) -> None:
    """A setup that is not there, a number that is none, a folder that is a file: 2, and nothing written."""
    taken = tmp_path / "taken"
    taken.write_text("")
    assert (
        run(
            "speeds",
            folder,
            "--setup",
            "nowhere.toml",
            "--out",
            tmp_path / "out",
        ).exit_code
        == 2
    )
    assert run("speeds", folder, "--floor", "nan").exit_code == 2
    assert run("speeds", folder, "--out", taken).exit_code == 2
    assert not (tmp_path / "out").exists()
