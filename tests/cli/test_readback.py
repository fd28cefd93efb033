"""`setupopt readback`: from a filled-in sheet to what has to be corrected."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from .conftest import Run, refused, widest
from .test_prove import project


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bore with few cases."""
    return project(tmp_path_factory.mktemp("readback") / "project", speed=60.0)


@pytest.fixture
def filled(folder: Path, run: Run, tmp_path: Path) -> Path:
    """The sheet's own table, filled in with its targets, but for half a degree on the rear axle."""
    assert (
        run(
            "sheet",
            folder,
            "--setup",
            "setup.toml",
            "--out",
            tmp_path / "sheet",
        ).exit_code
        == 0
    )
    (path,) = (tmp_path / "sheet").glob("*.csv")
    rows = list(csv.DictReader(path.read_text().splitlines()))
    for row in rows:
        for wheel in ("fl", "fr", "rl", "rr"):
            row[wheel] = row[f"target_{wheel}"]
        if row["quantity"] == "camber_deg":
            row["rl"] = row["rr"] = "-0.5"
    out = tmp_path / "filled.csv"
    with out.open("w", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return out


def test_filled_in_sheet_is_read_back(
    folder: Path, filled: Path, run: Run
) -> None:
    """The deviation is named with its correction in shims; everything else is as wanted."""
    answer = json.loads(
        run("readback", folder, filled, "--json", "--quiet").stdout
    )
    names = [deviation["name"] for deviation in answer["deviations"]]
    assert names[0] == "rear camber"
    assert set(names) <= {
        "rear camber",
        "corner weights",
    }  # the sheet's weights are rounded
    (fix,) = [c for c in answer["corrections"] if c["name"] == "rear camber"]
    assert (fix["from"], fix["to"]) == (-0.5, -1.0)
    assert "shims" in fix["how"]
    assert answer["target_margin"] > 0


def test_floor_decides_the_status(folder: Path, filled: Path, run: Run) -> None:
    """A floor that the car as built misses: exit status 1, and words for it."""
    done = run("readback", folder, filled, "--floor", "0.99")
    assert done.exit_code == 1
    assert "Minimum margin 0.99: FAIL" in done.stdout
    assert "no clearance to drive" in done.stdout.replace("\n", " ")


@pytest.mark.parametrize("width", ["80", "160"])
def test_text_fits(
    folder: Path,
    filled: Path,
    run: Run,
    width: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No line is wider than the terminal."""
    monkeypatch.setenv("COLUMNS", width)
    assert widest(run("readback", folder, filled).stdout) <= int(width)


def test_files_are_written_whole(
    folder: Path, filled: Path, run: Run, tmp_path: Path
) -> None:
    """Text and JSON, the JSON as printed."""
    done = run(
        "readback",
        folder,
        filled,
        "--json",
        "--quiet",
        "--out",
        tmp_path / "out",
    )
    assert (tmp_path / "out" / "readback.json").read_text() == done.stdout
    assert "rear camber" in (tmp_path / "out" / "readback.txt").read_text()


def test_broken_table_is_refused_and_nothing_written(
    folder: Path, run: Run, tmp_path: Path
) -> None:
    """Exit status 2 with line and column."""
    bad = tmp_path / "bad.csv"
    bad.write_text('quantity,unit,fl,fr,rl,rr\ncamber_deg,deg,"-4,5",,,\n')
    done = run("readback", folder, bad, "--out", tmp_path / "out")
    refused(done, "line 2, fl")
    assert not (tmp_path / "out").exists()


def test_measured_file_is_not_overwritten(
    folder: Path, run: Run, tmp_path: Path
) -> None:
    """A measured file that bears the name of an output is refused."""
    own = tmp_path / "readback.json"
    own.write_text("quantity,unit,fl,fr,rl,rr\ncamber_deg,deg,-1.5,,,\n")
    done = run("readback", folder, own, "--out", tmp_path)
    refused(done, "one of the files that are read")


def test_body_on_the_car_must_be_the_targets(
    folder: Path, filled: Path, run: Run, tmp_path: Path
) -> None:
    """Filled in as wanted it is read back; another one is refused by its line; the head names it."""
    assert "in the body of car.toml" in run(
        "readback", folder, filled
    ).stdout.replace("\n", " ")
    text = filled.read_text()
    assert text.splitlines()[1].startswith("body,,car.toml,")
    other = tmp_path / "other.csv"
    other.write_text(text.replace("body,,car.toml,", "body,,low-drag,"))
    done = run("readback", folder, other)
    refused(done, 'line 2, body: found "low-drag", expected "car.toml"')
    worn = tmp_path / "worn.toml"
    worn.write_text(
        (folder / "setup.toml")
        .read_text()
        .replace("[setup]", '[setup]\nbody = "low-drag"')
    )
    answer = json.loads(
        run(
            "readback", folder, other, "--setup", worn, "--json", "--quiet"
        ).stdout
    )
    assert answer["setup"]["body"] == "low-drag"
