"""`setupopt compare`: what it writes, prints and answers."""

from __future__ import annotations

import csv
import json
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest
from small_examples import small_bore

from setupopt.cli import waiting
from setupopt.project import read_setup, setup_as_dict

from .conftest import Run, widest

FILES = ["compare.csv", "compare.json", "compare.svg", "compare.txt"]
# Fields of the answer, and of each contender in it.
KEYS = [
    "ranked",
    "margin",
    "floor",
    "holds",
    "cases",
    "attitudes",
    "cautions",
    "asked",
]
LINE = [
    "rank",
    "body",
    "is_own_best",
    "margin",
    "worst",
    "reason",
    "best_in",
    "nowhere_best",
    "by_attitude",
    "contact_lost",
    "slides",
    "limits_broken",
    "setup",
]


@pytest.fixture(scope="module")
def bore(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example with three bodies, at the floor and the top in two attitudes; only springs may change."""
    home = tmp_path_factory.mktemp("bore")
    return small_bore(home, "straight", "turned up 8 deg")


@pytest.fixture
def own(bore: Path, tmp_path: Path) -> Path:
    """A copy that a test may spoil, with a second setup that names another body."""
    folder = Path(shutil.copytree(bore, tmp_path / "own"))
    text = (folder / "setup.toml").read_text()
    (folder / "wet.toml").write_text(
        text.replace("[setup]\n", '[setup]\nbody = "low-drag"\n')
    )
    return folder


def answer(run: Run, *args: str | Path) -> dict[str, Any]:
    """What a quick run says to a script."""
    result = run("compare", *args, "--as-is", "--json", "--quiet")
    assert result.stderr == ""
    return dict(json.loads(result.stdout))


# ---- the answer --------------------------------------------------------------------------------------------


def test_json_has_the_promised_fields(run: Run, own: Path) -> None:
    """Three bodies with today's setup, the best first; margins are those of assess."""
    told = answer(run, own)
    assert list(told) == KEYS
    assert [list(line) for line in told["ranked"]] == [LINE] * 3
    assert [line["rank"] for line in told["ranked"]] == [1, 2, 3]
    assert told["margin"] == told["ranked"][0]["margin"]
    assert told["asked"] == {"as_is": True, "starts": None}
    assert told["ranked"][0]["reason"] is None
    reason = {
        "roll_angle_deg",
        "attitude",
        "cause",
        "more",
        "behind",
        "along_mm",
    }
    assert set(told["ranked"][1]["reason"]) == reason
    today = next(line for line in told["ranked"] if line["body"] is None)
    assessed = json.loads(run("assess", own, "--json").stdout)
    assert today["worst"] == assessed["worst"]
    assert today["margin"] == min(row["margin"] for row in today["by_attitude"])


def test_own_best_with_files(run: Run, own: Path, tmp_path: Path) -> None:
    """Everything in DIR alone; each body's setup is there and has the margin that is told."""
    before = {path: path.read_bytes() for path in own.rglob("*.toml")}
    out = tmp_path / "new" / "out"
    result = run("compare", own, "wet.toml", "--starts", "1", "--out", out)
    assert (result.exit_code, result.stderr) == (0, "")
    assert {path: path.read_bytes() for path in own.rglob("*.toml")} == before
    setups = {
        None: "setup-car.toml",
        "long-floor": "setup-long-floor.toml",
        "low-drag": "setup-low-drag.toml",
    }
    assert sorted(path.name for path in out.iterdir()) == sorted(
        [*FILES, *setups.values()]
    )
    told = json.loads((out / "compare.json").read_text())
    assert [line["is_own_best"] for line in told["ranked"]].count(True) == 3
    given = next(line for line in told["ranked"] if not line["is_own_best"])
    assert given["setup"] == setup_as_dict(read_setup(own / "wet.toml"))
    for line in told["ranked"]:
        if line["is_own_best"]:
            assert (
                tomllib.loads((out / setups[line["body"]]).read_text())
                == line["setup"]
            )
    best = told["ranked"][0]
    assessed = run(
        "assess", own, "--setup", out / setups[best["body"]], "--json"
    )
    assert json.loads(assessed.stdout)["worst"]["margin"] == pytest.approx(
        told["margin"], abs=1e-6
    )
    _is_said(result.stdout, told, out)


def _is_said(text: str, told: dict[str, Any], out: Path) -> None:
    """The report in 80 columns and the table of cells say what the answer says."""
    assert widest(text) <= 80
    assert f"worst margin {told['margin']:.3f}" in text
    assert "no clearance to drive" in text.replace("\n", " ")
    rows = list(csv.DictReader((out / "compare.csv").open(newline="")))
    cells = [cell for line in told["ranked"] for cell in line["by_attitude"]]
    assert [float(row["margin"]) for row in rows] == [
        cell["margin"] for cell in cells
    ]
    assert max(map(len, (out / "compare.txt").read_text().splitlines())) <= 100
    assert (out / "compare.svg").read_text().startswith("<?xml")


def test_a_second_run_writes_over_its_own_files(
    run: Run, own: Path, tmp_path: Path
) -> None:
    """What compare has written it may write again, to the same bytes; a stranger's setup it may not."""
    args = ("compare", own, "--as-is", "--out", tmp_path / "out")
    assert run(*args).exit_code == 0
    first = {
        path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()
    }
    assert run(*args).exit_code == 0
    assert {
        path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()
    } == first
    mine = tmp_path / "out" / "setup-car.toml"
    shutil.copy(own / "setup.toml", mine)
    result = run(*args)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "a setup that compare has not written" in result.stderr
    assert mine.read_bytes() == (own / "setup.toml").read_bytes()


def test_setups_are_looked_for_where_the_user_stands_then_in_the_folder(
    run: Run, own: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As --setup does; two of the same name are told apart by their files."""
    other = tmp_path / "other.toml"
    other.write_text((own / "setup.toml").read_text())
    monkeypatch.chdir(tmp_path)
    named = {
        line["setup"]["setup"]["name"]
        for line in answer(run, own, "other.toml", "wet.toml")["ranked"]
    }
    today = tomllib.loads((own / "setup.toml").read_text())["setup"]["name"]
    assert named == {f"other.toml: {today}", f"wet.toml: {today}"}
    assert len(answer(run, own, "other.toml")["ranked"]) == 3
    _change(other, "toe_mm = -1.0", "toe_mm = -1.5")
    stood = {
        line["setup"]["front"]["toe_mm"]
        for line in answer(run, own, "--setup", other)["ranked"]
    }
    assert stood == {-1.5}


# ---- ends --------------------------------------------------------------------------------------------------


def test_status_says_whether_the_best_will_do(run: Run, own: Path) -> None:
    """0; 1 under the floor, where it breaks a limit, and where it loses contact."""
    args = ("compare", own, "--as-is", "--quiet")
    assert run(*args).exit_code == 0
    under = run(*args, "--floor", "0.9")
    assert under.exit_code == 1 and "Minimum margin 0.9: FAIL" in under.stdout
    _change(own / "car.toml", "load_limit_N = 8200", "load_limit_N = 1000")
    broken = run(*args)
    assert (
        broken.exit_code == 1
        and "LIMITS BROKEN even by the best" in broken.stdout
    )
    _change(own / "venue.toml", "speed_m_s = 54", "speed_m_s = 35")
    lost = run(*args)
    assert lost.exit_code == 1 and "CONTACT LOST" in lost.stdout


def _change(file: Path, old: str, new: str) -> None:
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))


def test_progress_is_told_on_a_terminal(
    run: Run, own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Which contender of how many, and what is done with it; nothing with --quiet."""
    said: list[str] = []
    monkeypatch.setattr(
        waiting.Saying, "__call__", lambda self, words: said.append(words)
    )
    assert run("compare", own, "--as-is").stderr == ""
    assert "2 of 3" in " ".join(said)
    monkeypatch.setattr(waiting, "is_terminal", lambda: True)
    monkeypatch.setattr(waiting, "_PATIENCE", 0.0)
    monkeypatch.setenv("TERM", "xterm")
    assert "so far" in run("compare", own, "--as-is").stderr
    assert run("compare", own, "--as-is", "--quiet").stderr == ""


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["none.toml"], "none.toml"),
        (["venue.toml"], "venue.toml"),
        (["--starts", "0"], "--starts"),
        (["--floor", "nan"], "expected a number"),
        (["--out", "PROJECT/bodies"], "read as a body"),
        (["--out", "PROJECT/car.toml"], "not a folder"),
        (
            ["PROJECT/out/setup-car.toml", "--out", "PROJECT/out"],
            "one of the files that are read",
        ),
        (
            ["out/setup-car.toml", "--out", "PROJECT/out"],
            "one of the files that are read",
        ),
        (
            ["--setup", "out/setup-car.toml", "--out", "PROJECT/out"],
            "one of the files that are read",
        ),
    ],
)
def test_refusals_come_before_the_work(
    run: Run, own: Path, args: list[str], said: str
) -> None:
    """Status 2, one message on standard error, nothing written, no file that is read overwritten."""
    (own / "out").mkdir()
    read = own / "out" / "setup-car.toml"
    shutil.copy(own / "setup.toml", read)
    before = sorted(own.rglob("*"))
    result = run(
        "compare", own, *(arg.replace("PROJECT", str(own)) for arg in args)
    )
    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr
    assert sorted(own.rglob("*")) == before
    assert read.read_bytes() == (own / "setup.toml").read_bytes()


def test_one_body_and_one_setup_are_nothing_to_compare(
    run: Run, own: Path
) -> None:
    """Said with what would help."""
    shutil.rmtree(own / "bodies")
    (own / "wet.toml").unlink()
    result = run("compare", own, "--as-is")
    assert result.exit_code == 2
    assert "put bodies in bodies/, or name setup files" in result.stderr


def test_help_fits_a_narrow_terminal(run: Run) -> None:
    """Every option is told, and no line is longer than 80 places."""
    text = run("compare", "--help").stdout
    assert max(map(len, text.splitlines())) <= 80
    for name in ("setup", "as-is", "starts", "floor", "out", "json", "quiet"):
        assert f"--{name} " in text
