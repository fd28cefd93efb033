"""`setupopt fit tyre`: a table in, a piece of car.toml out, and what it does not hold said aloud."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from fit.tyre_tables import (
    CURVES,
    HEAD,
    PRESS,
    PROGRAMME,
    Invented,
    answers,
    noisy,
    write,
)
from fuzzed import FUZZED
from hypothesis import given, settings
from hypothesis import strategies as st
from project.good_folder import write_folder

from setupopt.fit.tyre_table import COLUMNS, CURVE, NOISE, QUANTITIES, SLIP
from setupopt.project import load

from .conftest import Run, refused

ROWS = PROGRAMME[::2]
TAPED = ("--radius-mm", "280", "--tread-width-mm", "230")


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Everything measured, 1 % noise."""
    values = noisy(answers(Invented(), ROWS), 3, 0.01)
    return write(
        tmp_path_factory.mktemp("rig") / "front slick.csv", ROWS, values
    )


@pytest.fixture
def patches(tmp_path: Path) -> Path:
    """Only patches, at one pressure, with a slipped gauge on line 4."""
    rows = [row for row in PROGRAMME if row[2] == 1.5]
    values = noisy(answers(Invented(), rows), 4, 0.01)
    values[2, 0] += 0.01
    return write(tmp_path / "patches.csv", rows, values, QUANTITIES[:4])


def test_files_and_the_piece_of_car_toml(
    table: Path, tmp_path: Path, run: Run
) -> None:
    """What --out writes; the piece put into a car in the place of its tyre is read without a complaint."""
    done = run("fit", "tyre", table, *TAPED, "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    names = {"tyre-front slick.toml", "fit.txt", "fit.json", "fit.svg"}
    assert {path.name for path in (tmp_path / "out").iterdir()} == names
    made = (tmp_path / "out" / "tyre-front slick.toml").read_text()
    assert "[tyre." not in done.stdout
    (name, tyre), *more = tomllib.loads(made)["tyre"].items()
    assert name == "front slick" and not more
    true = Invented().key_values
    assert all(tyre[key] == pytest.approx(true[key], rel=0.25) for key in true)
    folder = write_folder(tmp_path / "car")
    car = (folder / "car.toml").read_text()
    (folder / "car.toml").write_text(
        f"{car}\n{made}".replace('tyre = "slick"', 'tyre = "front slick"')
    )
    assert load(folder).car.front.tyre.tread_width == pytest.approx(0.23)


def test_without_out_the_piece_is_printed(table: Path, run: Run) -> None:
    """Alone it is what a user pastes."""
    done = run("fit", "tyre", table, *TAPED, "--name", "rear", "--quiet")
    piece = done.stdout[done.stdout.index("# From") :]
    assert set(tomllib.loads(piece)["tyre"]["rear"]) == {
        *Invented().key_values,
        "camber_thrust_share",
        "friction_pressure_kPa",
        "friction_least_pressure_kPa",
        "measured_pressure_bar",
    }


def test_slip_curves_in_the_piece_and_the_picture(
    tmp_path: Path, run: Run
) -> None:
    """Of curves, aligning moments and relaxation length: the shares that they tell and the mean are in
    the piece, and the curves are drawn over slip angle."""
    kept = (CURVE, "aligning_Nm", "patch_length_mm", "relaxation_mm")
    rows = CURVES[::2]
    path = write(
        tmp_path / "t.csv",
        rows,
        noisy(answers(Invented(), rows), 5, 0.01),
        kept,
    )
    done = run("fit", "tyre", path, *TAPED, "--out", tmp_path)
    assert done.exit_code == 1  # one pressure
    made = (tmp_path / "tyre-t.toml").read_text()
    (tyre,) = tomllib.loads(made)["tyre"].values()
    assert tyre["shear_per_foundation"] == pytest.approx(1.6, rel=0.05)
    assert tyre["camber_thrust_share"] == pytest.approx(0.6, rel=0.1)
    assert tyre["relaxation_mm"] == pytest.approx(210.0, rel=0.01)
    assert tyre["measured_pressure_bar"] == {"from": 1.5, "to": 1.5}
    answer = json.loads((tmp_path / "fit.json").read_text())
    assert {"lateral_N", "aligning_Nm"} <= {
        one["quantity"] for one in answer["quantities"]
    }
    drawn = (tmp_path / "fit.svg").read_text()
    assert "slip angle deg" in drawn and "load N" in drawn


def test_what_is_not_told_is_left_out_and_said(patches: Path, run: Run) -> None:
    """No friction column and one pressure: status 1, reasons and advice, comments instead of numbers."""
    done = run("fit", "tyre", patches)
    said = " ".join(done.stdout.split())
    assert done.exit_code == 1
    assert "INCOMPLETE: 6 of 9 parameters are not identifiable" in said
    assert (
        "friction: no measured value depends on it enough; peak_lateral_N"
        in said
    )
    assert (
        "foundation_N_per_mm3: cannot be told apart from foundation_per_bar_N_per_mm3"
        in said
    )
    assert "the whole foundation at 1.5 bar is identified: 0.0" in said
    piece = done.stdout[done.stdout.index("# From") :]
    (tyre,) = tomllib.loads(piece)["tyre"].values()
    assert set(tyre) == {
        "radius_mm",
        "tread_width_mm",
        "crown_radius_mm",
        "measured_pressure_bar",
    }
    assert (
        "# friction: no measured value" in piece
        and "# foundation_N_per_mm3" in piece
    )


def test_outlying_values_by_line(patches: Path, run: Run) -> None:
    """The slipped gauge, with what was measured and what the model says."""
    done = run("fit", "tyre", patches)
    (row,) = [
        line.split()
        for line in done.stdout.splitlines()
        if line.strip().startswith("4  deflection_mm")
    ]
    assert float(row[2]) == pytest.approx(float(row[3]) + 10.0, abs=0.5)
    answer = json.loads(run("fit", "tyre", patches, "--json", "--quiet").stdout)
    assert (
        answer["outlying"][0]["line"],
        answer["outlying"][0]["quantity"],
    ) == (4, "deflection_mm")


def test_json_holds_the_same_and_is_explained(
    table: Path, tmp_path: Path, run: Run
) -> None:
    """Only JSON on standard output, as in the file; every field, column and option stands in the glossary."""
    done = run("fit", "tyre", table, *TAPED, "--json", "--out", tmp_path)
    answer = json.loads(done.stdout)
    assert (tmp_path / "fit.json").read_text() == done.stdout
    assert answer["is_whole"] and answer["tyre"]["radius_mm"] == 280.0
    glossary = (
        Path(__file__).parents[2] / "docs" / "nomenclature.md"
    ).read_text()
    inner = {
        key for name in ("parameters", "quantities") for key in answer[name][0]
    }
    known = {
        "name",
        "table",
        "rows",
        "cautions",
        "key",
        "value",
        "given",
        "values",
        "quantity",
        "outlying",
    }
    names = {*answer, *inner, *COLUMNS, *NOISE, "score", "line"} - known
    assert [name for name in sorted(names) if f"`{name}`" not in glossary] == []


@pytest.mark.parametrize("width", ["80", "160"])
def test_text_fits(
    patches: Path, run: Run, width: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No line of the report is wider than the terminal."""
    monkeypatch.setenv("COLUMNS", width)
    report = run("fit", "tyre", patches).stdout.partition("# From")[0]
    assert max(map(len, report.splitlines())) <= int(width)


def test_cautions_come_first(patches: Path, run: Run) -> None:
    """Copied rows and rows without a reading are told before any number."""
    with patches.open("a") as stream:
        stream.write(
            "3000,0,1.5,,,,\n" + patches.read_text().splitlines()[5] + "\n"
        )
    said = run("fit", "tyre", patches).stdout
    assert (
        0
        < said.index("nothing measured on line 18")
        < said.index("lines 6 and 19")
        < said.index("radius_mm")
    )


WRONG = {
    "--noise deflection=1": "deflection_mm",
    "--noise deflection_mm": "NAME=NUMBER",
    "--noise deflection_mm=0": "no noise of deflection_mm",
    "--noise deflection_mm=1 --noise deflection_mm=2": "given twice",
    "--radius-mm 0.28": "at least 100",
    "--surface-grip nan": "expected a number",
    "--name a\nb": "control or invisible characters",
}


@pytest.mark.parametrize("options", WRONG)
def test_options_that_cannot_be(table: Path, run: Run, options: str) -> None:
    """Status 2, and what would do instead; nothing is read before."""
    done = run("fit", "tyre", table, *options.split(" "))
    refused(done, WRONG[options])


def test_broken_table_is_refused_and_nothing_written(
    tmp_path: Path, run: Run
) -> None:
    """Line and column on standard error."""
    bad = tmp_path / "bad.csv"
    bad.write_text(
        "load_N,inclination_deg,pressure_bar,deflection_mm\n3000,0,1.5,0.012\n3000,x,1.5,12\n"
    )
    done = run("fit", "tyre", bad, "--out", tmp_path / "out")
    refused(done, "line 2, deflection_mm", "line 3, inclination_deg")
    assert not (tmp_path / "out").exists()


def test_table_is_not_overwritten(
    table: Path, tmp_path: Path, run: Run
) -> None:
    """A table that bears the name of an output."""
    own = tmp_path / "fit.json"
    own.write_text(table.read_text())
    refused(run("fit", "tyre", own, "--out", tmp_path))
    assert own.read_text() == table.read_text()


def test_names_that_are_no_file_names(
    patches: Path, tmp_path: Path, run: Run
) -> None:
    """The tyre keeps its name, the file gets a plain one."""
    run(
        "fit",
        "tyre",
        patches,
        *TAPED,
        "--name",
        '../a "b" 車',
        "--out",
        tmp_path / "out",
    )
    (made,) = (tmp_path / "out").glob("tyre-*.toml")
    assert list(tomllib.loads(made.read_text())["tyre"]) == ['../a "b" 車']
    assert {path.parent for path in tmp_path.rglob("tyre-*")} == {
        tmp_path / "out"
    }


CELLS = st.sampled_from(
    [
        "",
        "0",
        "3000",
        "1e3",
        "-5",
        "1.5",
        "nan",
        "inf",
        '"1,5"',
        "x",
        "99999999",
        "0.0001",
    ]
)


@settings(FUZZED, max_examples=12)
@given(
    st.lists(
        st.lists(CELLS, min_size=13, max_size=13).map(",".join),
        min_size=1,
        max_size=3,
    )
)
def test_broken_cells_give_no_traceback(
    tmp_path: Path, run: Run, rows: list[str]
) -> None:
    """Whatever stands in the cells: an answer or a refusal (the runner fails on anything else)."""
    path = tmp_path / "fuzz.csv"
    path.write_text(
        "\n".join([",".join((*HEAD, SLIP, *QUANTITIES)), *rows]) + "\n"
    )
    assert run("fit", "tyre", path).exit_code in (0, 1, 2)


@pytest.mark.parametrize(
    "row",
    [
        "60,15,0.2,0.1,,,,",
        "200000,-15,6,300,2000,1000,1000000,",
        "3000,0,1.5,,,,,,30,18000,100,900,3000",
        "200000,15,6,,,,,,0.001,1,2000,-0.0,5",
    ],
)
def test_extremes_that_may_be_give_no_traceback(
    tmp_path: Path, run: Run, row: str
) -> None:
    """The ends of every range, one row: hardly anything is told, and that is said."""
    path = tmp_path / "t.csv"
    cells = row + "," * (12 - row.count(","))
    path.write_text(
        ",".join((*HEAD, *PRESS, SLIP, *QUANTITIES[5:])) + f"\n{cells}\n"
    )
    done = run("fit", "tyre", path, "--out", tmp_path)
    assert done.exit_code == 1
    assert "INCOMPLETE" in done.stdout
    assert json.loads((tmp_path / "fit.json").read_text())["rows"] == 1


def test_help_tells_both_commands(run: Run) -> None:
    """`air` is imported on use, and listed all the same."""
    said = run("fit", "--help").stdout
    assert said.index("  tyre ") < said.index("  air ")
    assert run("fit", "nothing").exit_code == 2
