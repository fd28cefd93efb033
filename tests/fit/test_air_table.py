"""Reading measured air loads: every mistake by line and column."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cars import CAR
from fuzzed import FUZZED
from hypothesis import given, settings
from hypothesis import strategies as st

from fit.air_tables import CSV_HEAD, as_csv, attitudes, measured
from setupopt.errors import InputErrors
from setupopt.fit.air.names import body_names
from setupopt.fit.air.table import read_air
from setupopt.project.body_files import find_bodies

GOOD = "low,30,40,0.5,3,12000,50,3000,3500,1500,-90"
CELLS = dict(zip(CSV_HEAD.split(","), GOOD.split(","), strict=True))


def refused(folder: Path, text: str) -> list[str]:
    """What is said of a table."""
    path = folder / "t.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputErrors) as caught:
        read_air(path, CAR)
    return [
        str(error).removeprefix(f"{path}, ") for error in caught.value.errors
    ]


def with_cell(column: str, cell: str) -> str:
    """A good table whose third line has another cell."""
    return "\n".join(
        [CSV_HEAD, GOOD, ",".join((CELLS | {column: cell}).values())]
    )


def test_what_is_written_is_what_is_read(tmp_path: Path) -> None:
    """In SI, by configuration, in its own order; six digits are written."""
    low, high = measured(CAR, attitudes(7)), measured(CAR, attitudes(4, seed=1))
    (tmp_path / "t.csv").write_text(as_csv({"low": low, "high": high}))
    table = read_air(tmp_path / "t.csv", CAR)
    assert list(table.rows) == ["high", "low"]
    found, wanted = table.rows["low"], low.in_order()
    for name in (
        "front_ride",
        "rear_ride",
        "body_roll",
        "yaw",
        "curvature",
        "speed",
        "forces",
    ):
        assert getattr(found, name) == pytest.approx(
            getattr(wanted, name), rel=1e-5, abs=1e-9
        ), name
    assert list(found.lines) == list(wanted.lines)


def test_columns_that_may_be_missing(tmp_path: Path) -> None:
    """One body without a name, upright, in flow from ahead, over a flat surface, in the air told."""
    (tmp_path / "t.csv").write_text(
        "speed_m_s,rear_ride_height_mm,front_ride_height_mm,drag_N\n50,40,30,900\n"
    )
    (rows,) = read_air(tmp_path / "t.csv", CAR, density=1.1).rows.values()
    assert (
        rows.body_roll[0],
        rows.yaw[0],
        rows.curvature[0],
        rows.density[0],
    ) == (0.0, 0.0, 0.0, 1.1)
    assert rows.is_plain.all()
    assert np.isnan(rows.forces[0]).tolist() == [True, True, False, True]


@pytest.mark.parametrize(
    ("column", "cell", "said"),
    [
        (
            "front_ride_height_mm",
            "0.03",
            'found "0.03", expected a number from 1 to 1000 mm (it looks like m: 30 mm)',
        ),
        (
            "rear_ride_height_mm",
            "",
            "found an empty cell, expected a number from 1 to 1000 mm",
        ),
        (
            "speed_m_s",
            "-50",
            'found "-50", expected a number from 1 to 200 m/s',
        ),
        ("speed_m_s", "252", "looks like km/h: 70 m/s"),
        (
            "yaw_deg",
            "ten",
            'found "ten", expected a number from -45 to 45 deg, or nothing',
        ),
        (
            "body_roll_deg",
            "40",
            'found "40", expected a number from -15 to 15 deg, or nothing',
        ),
        (
            "drag_N",
            "-1500",
            'found "-1500", expected a number from 0 to 50000 N, or nothing',
        ),
        (
            "downforce_front_N",
            "nan",
            'found "nan", expected a number from -100000 to 100000 N, or nothing',
        ),
        ("surface_radius_mm", "12", "looks like m: 12000 mm"),
        (
            "surface_radius_mm",
            "-9000",
            'found "-9000", expected a number from 1000 to',
        ),
        ("configuration", "", "found an empty cell, expected a name"),
    ],
)
def test_a_bad_cell_is_named(
    tmp_path: Path, column: str, cell: str, said: str
) -> None:
    """By line and column, with what it may be in another unit."""
    (mistake,) = refused(tmp_path, with_cell(column, cell))
    assert mistake.startswith(f"line 3, {column}: ")
    assert said in mistake


def test_a_section_too_tight_for_the_car_is_named(tmp_path: Path) -> None:
    """Half of a span of 2.4 m may reach to nine tenths of the radius, as in venue.toml: 1333 mm."""
    wide = replace(CAR.air.elements[0], span=2.4)
    car = replace(CAR, air=replace(CAR.air, elements=(wide,)))
    (tmp_path / "t.csv").write_text(with_cell("surface_radius_mm", "1300"))
    with pytest.raises(
        InputErrors,
        match="line 3, surface_radius_mm: found 1300, expected at least 1333 mm",
    ):
        read_air(tmp_path / "t.csv", car)
    (tmp_path / "t.csv").write_text(with_cell("surface_radius_mm", "1340"))
    assert read_air(tmp_path / "t.csv", car)


@pytest.mark.parametrize(
    ("head", "said"),
    [
        ("front_ride_height_mm", "front_ride_height_mm: found no such column"),
        ("speed_m_s", "speed_m_s: found no such column"),
    ],
)
def test_a_missing_column_is_named(
    tmp_path: Path, head: str, said: str
) -> None:
    """Those that every row must have."""
    columns = {key: cell for key, cell in CELLS.items() if key != head}
    assert (
        said
        in refused(
            tmp_path, ",".join(columns) + "\n" + ",".join(columns.values())
        )[0]
    )


def test_a_misspelt_column_is_named_with_the_one_meant(tmp_path: Path) -> None:
    """And not taken for a column that is missing."""
    (mistake, *_) = refused(
        tmp_path,
        with_cell("drag_N", "1").replace("downforce_rear_N", "downforce_rear"),
    )
    assert "downforce_rear_N" in mistake


def test_a_table_without_loads_is_refused(tmp_path: Path) -> None:
    """Attitudes alone tell nothing."""
    (mistake,) = refused(
        tmp_path,
        "front_ride_height_mm,rear_ride_height_mm,speed_m_s\n30,30,50\n",
    )
    assert "nothing measured" in mistake


def test_every_mistake_is_told_at_once(tmp_path: Path) -> None:
    """In the order of the lines."""
    text = "\n".join(
        [CSV_HEAD, GOOD.replace("30", "x", 1), GOOD, GOOD.replace("50", "0", 1)]
    )
    assert [mistake.split(",")[0] for mistake in refused(tmp_path, text)] == [
        "line 2",
        "line 4",
    ]


def test_a_row_that_is_there_twice_is_told(tmp_path: Path) -> None:
    """It is kept as a repeat; nothing goes in silence."""
    (tmp_path / "t.csv").write_text("\n".join([CSV_HEAD, GOOD, GOOD]))
    table = read_air(tmp_path / "t.csv", CAR)
    assert len(table.rows["low"]) == 2
    assert "lines 2 and 3 are the same" in table.notes[0]


@settings(FUZZED, max_examples=60)
@given(st.sampled_from(list(CELLS)), st.text(max_size=12))
def test_any_cell_is_read_or_refused(
    tmp_path: Path, column: str, cell: str
) -> None:
    """Never anything but a table or a list of mistakes."""
    (tmp_path / "t.csv").write_text(
        with_cell(column, cell), encoding="utf-8", errors="replace"
    )
    try:
        table = read_air(tmp_path / "t.csv", CAR)
    except InputErrors as refusal:
        assert str(tmp_path / "t.csv") in str(refusal)
        return
    rows = [rows for rows in table.rows.values() if len(rows)]
    assert all(
        np.isfinite(one.pressure).all()
        and not math.isinf(np.nanmax(one.forces))
        for one in rows
    )


def test_configurations_get_names_that_bodies_can_have(tmp_path: Path) -> None:
    """As the reader of bodies wants them, each once even where capitals do not count."""
    labels = [
        "A",
        "a",
        "Ä",
        "run 3/7",
        "..",
        " lead",
        "é" * 50,
        "_",
        "?",
        "con\u200btrol",
        "x" * 60,
        "x" * 61,
    ]
    names = body_names(labels)
    assert len({name.lower() for name in names.values()}) == len(labels)
    (tmp_path / "bodies").mkdir()
    for name in names.values():
        (tmp_path / "bodies" / f"{name}.toml").touch()
    found, wrong = find_bodies(tmp_path)
    assert not wrong
    assert set(found) == set(names.values())
    assert names["A"] == "A"
