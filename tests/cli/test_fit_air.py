"""`setupopt fit air`: a table in, bodies out that a car can wear, and what is held said aloud."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fit.air_tables import another, as_csv, attitudes, measured
from fuzzed import FUZZED
from hypothesis import given, settings
from hypothesis import strategies as st
from project.good_folder import write_folder

from setupopt.project import load
from setupopt.project.bodies import with_body
from setupopt.robust.builds.build_variation import BuildErrors

from .conftest import Run, refused

DOCS = Path(__file__).parents[2] / "docs"


@pytest.fixture(scope="module")
def like(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The good folder."""
    return write_folder(tmp_path_factory.mktemp("like"))


@pytest.fixture(scope="module")
def table(like: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two bodies: one well measured and one hardly, 2 % noise."""
    car, still = load(like).car, {"body_roll": 0.0, "curvature": 0.0}
    many = measured(another(1, car), attitudes(9, **still), 0.02, 1)
    few = measured(another(2, car), attitudes(3, seed=2, **still), 0.02, 2)
    path = tmp_path_factory.mktemp("tunnel") / "loads.csv"
    path.write_text(as_csv({"more wing": many, "low/drag": few}))
    return path


@pytest.fixture
def fit(run: Run, like: Path) -> Run:
    """Fits a table with the parts of the good folder."""
    return partial(run, "fit", "air", "--like", like)


def test_files_and_the_bodies_in_a_project(
    table: Path, tmp_path: Path, fit: Run
) -> None:
    """What --out writes into the project itself; its bodies can then be worn, and its spread be read."""
    home = write_folder(tmp_path / "car")
    done = fit(table, "--out", home)
    assert done.exit_code == 1, done.output  # three rows do not tell everything
    names = {
        "fit.txt",
        "fit.json",
        "spread.toml",
        "fit-more wing.svg",
        "fit-low_drag.svg",
    }
    assert names <= {path.name for path in home.iterdir()}
    project = load(home)
    assert [body.name for body in project.bodies] == ["low_drag", "more wing"]
    parts = with_body(project, "more wing").car.air.elements
    assert [part.name for part in parts] == [
        part.name for part in project.car.air.elements
    ]
    assert set(tomllib.loads((home / "spread.toml").read_text())["spread"]) >= {
        "downforce_percent"
    }
    assert (home / "fit.txt").read_text().startswith("Air loads of loads.csv")


def test_the_text_says_what_is_held_and_what_not(table: Path, fit: Run) -> None:
    """By name; with the piece of limits.toml at the end, and the odd name told."""
    done = fit(table)
    assert done.exit_code == 1
    flat = " ".join(done.stdout.split())
    assert 'Body "low_drag": 3 rows' in flat
    assert "yaw_loss_per_rad2 (as in car.toml)" in flat
    assert '"low/drag" is called "low_drag"' in flat
    assert "moments about the line where the tyres touch it" in flat
    assert done.stdout.index("[spread]") > done.stdout.index("The ladder")
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_spread_goes_on_to_prove(
    like: Path, table: Path, tmp_path: Path, run: Run
) -> None:
    """--raise-spread writes what was found into limits.toml, where that says less or nothing; what it says
    more of stays, comments too; and the build errors of prove reckon with it."""
    home = write_folder(tmp_path / "car")
    before = (home / "limits.toml").read_text()
    said = "[spread] # of mine\ndrag_percent = 40  # road\ndownforce_percent = 0.1 # tunnel\n"
    assert before.count("[spread]\n") == 1
    (home / "limits.toml").write_text(before.partition("[spread]\n")[0] + said)
    found = json.loads(
        run(
            "fit", "air", table, "--like", home, "--raise-spread", "--json"
        ).stdout
    )["spread"]
    text = (home / "limits.toml").read_text()
    assert "drag_percent = 40  # road" in text
    assert f"downforce_percent = {found['downforce_percent']} # tunnel" in text
    assert "[spread] # of mine" in text
    project = load(home)
    assert project.limits is not None
    shares = BuildErrors(
        project.car, project.setup, None, project.limits.spread
    ).shares
    wanted = {"drag": 0.40, "downforce": found["downforce_percent"] / 100}
    assert shares == pytest.approx(
        {**wanted, "side_force": found["side_force_percent"] / 100}
    )
    was, now = tomllib.loads(before), tomllib.loads(text)
    assert was.pop("spread") != now.pop("spread")
    assert was == now


def test_limits_stay_untouched_unless_asked(
    like: Path, table: Path, tmp_path: Path, run: Run
) -> None:
    """With --out into the project as well; the text says what limits.toml has."""
    home = write_folder(tmp_path / "car")
    before = (home / "limits.toml").read_bytes()
    done = run("fit", "air", table, "--like", home, "--out", home)
    assert (home / "limits.toml").read_bytes() == before
    assert "# limits.toml has " in done.stdout
    assert f"written: {home / 'spread.toml'}" in done.stdout


def test_a_spread_needs_limits(table: Path, tmp_path: Path, run: Run) -> None:
    """Before anything is fitted."""
    home = write_folder(tmp_path / "car", limits=None)
    done = run("fit", "air", table, "--like", home, "--raise-spread")
    refused(done, "--raise-spread")


def test_quiet_keeps_the_verdict(table: Path, fit: Run) -> None:
    """And leaves the tables away."""
    done = fit(table, "--quiet")
    assert "HELD" in done.stdout
    assert "[spread]" in done.stdout
    assert "The ladder" not in done.stdout


def test_json_says_the_same(table: Path, fit: Run) -> None:
    """Alone on standard output; cautions on the other."""
    done = fit(table, "--json")
    answer = json.loads(done.stdout)
    assert [body["name"] for body in answer["bodies"]] == [
        "low_drag",
        "more wing",
    ]
    assert answer["is_whole"] is False
    assert "low_drag" in done.stderr
    few, many = answer["bodies"]
    told = [
        sum(one["standard_error"] is not None for one in body["numbers"])
        for body in (few, many)
    ]
    assert told[0] < told[1]
    assert (
        few["body"]["air"]["drag_height_mm"]
        == many["body"]["air"]["drag_height_mm"]
    )
    assert (
        answer["spread"]["drag_percent"]
        >= many["errors"]["drag_N"]["error_percent"]
    )


def test_every_field_is_explained(table: Path, fit: Run) -> None:
    """In the glossary, and every column of the table."""
    glossary = (DOCS / "nomenclature.md").read_text()
    answer = json.loads(fit(table, "--json").stdout)
    keys = {
        key
        for key in fields({**answer, "body": None})
        if not key.endswith("_N")
    }
    columns = set(table.read_text().splitlines()[0].split(","))
    assert [
        key for key in sorted(keys | columns) if f"`{key}`" not in glossary
    ] == []


def fields(value: Any) -> set[str]:
    """All keys of an answer, but for those of a body, which are those of its file."""
    if isinstance(value, list):
        return set().union(*(fields(one) for one in value))
    if not isinstance(value, dict):
        return set()
    return set(value).union(
        *(fields(inner) for key, inner in value.items() if key != "body")
    )


def test_all_told_ends_well(tmp_path: Path, run: Run) -> None:
    """A body without parts, of which drag and side force were measured: everything has a value of its own."""
    home = write_folder(tmp_path)
    car = (home / "car.toml").read_text()
    air, rest = (
        car[: car.index("[[air.element]]")],
        car[car.index("[[clearance]]") :],
    )
    (home / "car.toml").write_text(
        air.replace("[air]", "[air]\nelement = []") + rest
    )
    rows = measured(
        load(home).car, attitudes(8, body_roll=0.0, curvature=0.0), 0.02
    )
    rows = replace(rows, forces=np.where([0, 0, 1, 1], rows.forces, np.nan))
    (tmp_path / "t.csv").write_text(as_csv({"plain": rows}))
    done = run("fit", "air", tmp_path / "t.csv", "--like", home)
    assert done.exit_code == 0, done.output
    assert "Every number has a value of its own" in done.stdout


def test_density_of_the_air(like: Path, tmp_path: Path, fit: Run) -> None:
    """The same newtons in thinner air mean larger areas, by its ratio; the density is told."""
    car = load(like).car
    (tmp_path / "t.csv").write_text(
        as_csv({"a": measured(car, attitudes(3, body_roll=0.0, curvature=0.0))})
    )
    done = fit(tmp_path / "t.csv", "--air-density", "0.6", "--json")
    answer = json.loads(done.stdout)
    assert answer["air_density_kg_m3"] == 0.6
    air = answer["bodies"][0]["body"]["air"]
    assert air["drag_area_m2"] == pytest.approx(
        2.0 * car.air.drag_area, rel=1e-3
    )


def test_a_broken_table_is_refused_by_line(
    table: Path, tmp_path: Path, fit: Run
) -> None:
    """And nothing is written."""
    text = table.read_text().splitlines()
    text[3] = text[3].replace("more wing,", "more wing,x")
    (tmp_path / "t.csv").write_text("\n".join(text))
    done = fit(tmp_path / "t.csv", "--out", tmp_path / "out")
    refused(done, "line 4, front_ride_height_mm: found")
    assert not (tmp_path / "out").exists()


def test_a_body_of_the_project_is_not_overwritten(
    table: Path, tmp_path: Path, run: Run
) -> None:
    """A file that somebody wrote by hand is among those that are read."""
    home = write_folder(tmp_path / "car")
    run("fit", "air", table, "--like", home, "--out", home)
    before = (home / "bodies" / "more wing.toml").read_bytes()
    done = run("fit", "air", table, "--like", home, "--out", home)
    refused(done, "it is one of the files that are read")
    assert (home / "bodies" / "more wing.toml").read_bytes() == before


@pytest.mark.parametrize(
    "wrong",
    [
        ["--air-density", "12"],
        ["--noise-percent", "0"],
        ["--like", "nowhere"],
        [],
    ],
    ids=str,
)
def test_wrong_options_are_refused(
    like: Path, table: Path, run: Run, wrong: list[str]
) -> None:
    """With exit status 2; --like must be there."""
    given_like = [] if "--like" in wrong or not wrong else ["--like", str(like)]
    done = run("fit", "air", table, *given_like, *wrong)
    assert done.exit_code == 2
    assert not done.stdout


def test_the_same_table_gives_the_same_bytes(
    table: Path, tmp_path: Path, fit: Run
) -> None:
    """Every file."""
    for name in ("one", "two"):
        fit(table, "--out", tmp_path / name)
    first = {
        path.relative_to(tmp_path / "one"): path
        for path in (tmp_path / "one").rglob("*.*")
    }
    assert len(first) == 7
    for name, path in first.items():
        assert path.read_bytes() == (tmp_path / "two" / name).read_bytes(), name


@settings(FUZZED, max_examples=40)
@given(
    line=st.integers(0, 3), place=st.integers(0, 10), cell=st.text(max_size=8)
)
def test_any_cell_ends_in_words(
    like: Path, tmp_path: Path, run: Run, line: int, place: int, cell: str
) -> None:
    """A refusal or an answer, never a trace: `run` sees to that. Nearly all cells are refused at once."""
    car = load(like).car
    rows = [
        row.split(",")
        for row in as_csv({"a": measured(car, attitudes(3))}).splitlines()
    ]
    rows[line][place] = cell
    text = "\n".join(",".join(row) for row in rows)
    (tmp_path / "t.csv").write_text(text, encoding="utf-8", errors="replace")
    assert run(
        "fit", "air", tmp_path / "t.csv", "--like", like, "--quiet"
    ).exit_code in (0, 1, 2)
