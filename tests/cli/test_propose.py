"""`setupopt propose`: what it writes, prints and answers."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from .conftest import Run

SETUPS = Path(__file__).resolve().parents[2] / "setups"
KEYS = ["setup", "margin", "start_margin", "worst", "binding_cases", "limit_prices", "evaluations", "seconds"]


@pytest.fixture(scope="module")
def hill(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The quickest example, with a coarse sweep."""
    folder = tmp_path_factory.mktemp("hill") / "project"
    shutil.copytree(SETUPS / "hill", folder)
    venue = folder / "venue.toml"
    venue.write_text(venue.read_text().replace("to = 5, step = 0.5", "to = 5, step = 2.5"))
    return folder


def test_json_has_the_promised_keys_first(run: Run, hill: Path, tmp_path: Path) -> None:
    """Scripts rely on these keys, their order and their units."""
    answer = json.loads(run("propose", hill, "--json", "--quiet", "--starts", "1", "--out", tmp_path).stdout)
    assert list(answer)[: len(KEYS)] == KEYS
    assert set(answer["setup"]) == {"setup", "front", "rear"}
    assert answer["margin"] > answer["start_margin"]
    assert answer["worst"]["contact"] is True
    assert answer["worst"]["margin"] == answer["margin"]
    assert answer["binding_cases"][0]["margin"] == pytest.approx(answer["margin"])
    assert all(set(price) == {"limit", "margin_per_unit", "unit"} for price in answer["limit_prices"])


def test_written_setup_is_the_one_told(run: Run, hill: Path, tmp_path: Path) -> None:
    """`proposed.toml` reads as a setup, and assessing it finds the margin told, on the angles both have."""
    proposed = json.loads(run("propose", hill, "--json", "--starts", "1", "--out", tmp_path).stdout)
    assessed = run("assess", hill, "--setup", tmp_path / "proposed.toml", "--json")
    assert assessed.exit_code == 0
    assert json.loads(assessed.stdout)["worst"]["margin"] >= proposed["margin"] - 1e-9


def test_project_is_untouched_but_for_the_proposal(run: Run, hill: Path) -> None:
    """Without --out one file appears in the project, and no other changes."""
    before = {path.name: path.read_bytes() for path in hill.iterdir() if path.name != "proposed.toml"}
    assert run("propose", hill, "--starts", "1").exit_code == 0
    after = {path.name: path.read_bytes() for path in hill.iterdir()}
    head = after.pop("proposed.toml").decode()
    assert after == before
    assert "no clearance to drive" in head.replace("\n# ", " ")


def test_text_shows_today_and_proposed(run: Run, hill: Path, tmp_path: Path) -> None:
    """A person sees both setups, both margins, the evidence and the caution, in 80 columns."""
    text = run("propose", hill, "--starts", "2", "--out", tmp_path).stdout
    for words in ("today", "proposed", "starts ended between", "no clearance to drive", "written:"):
        assert words in text
    assert max(len(line) for line in text.splitlines() if not line.startswith("written")) <= 80


def test_floor_not_reached_is_status_one(run: Run, hill: Path, tmp_path: Path) -> None:
    """A floor above what can be had: done, but not what was asked for."""
    result = run("propose", hill, "--starts", "1", "--floor", "0.9", "--out", tmp_path)
    assert result.exit_code == 1
    assert "not reached" in result.stdout


def test_missing_limits_are_asked_for(run: Run, hill: Path, tmp_path: Path) -> None:
    """Without limits.toml: refused with its name, nothing written."""
    folder = tmp_path / "bare"
    shutil.copytree(hill, folder)
    (folder / "limits.toml").unlink()
    (folder / "proposed.toml").unlink(missing_ok=True)
    result = run("propose", folder)
    assert result.exit_code == 2
    assert "limits.toml" in result.stderr
    assert not (folder / "proposed.toml").exists()


@pytest.mark.parametrize("where", ["proposed.toml", "PROJECT/proposed.toml"])
def test_the_setup_read_is_never_overwritten(run: Run, hill: Path, where: str) -> None:
    """Proposing from an earlier proposal must not write over it, however it is named."""
    shutil.copy(hill / "setup.toml", hill / "proposed.toml")
    result = run("propose", hill, "--setup", where.replace("PROJECT", str(hill)))
    assert result.exit_code == 2
    assert (hill / "proposed.toml").read_bytes() == (hill / "setup.toml").read_bytes()


def test_out_that_is_a_file_is_refused_before_the_work(run: Run, hill: Path, tmp_path: Path) -> None:
    """No solving first and failing after."""
    (tmp_path / "file").write_text("")
    result = run("propose", hill, "--out", tmp_path / "file")
    assert result.exit_code == 2
    assert "not a folder" in result.stderr
