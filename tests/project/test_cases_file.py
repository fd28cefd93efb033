"""Load cases from a table."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from fuzzed import FUZZED
from hypothesis import given, settings
from hypothesis import strategies as st

from setupopt.errors import InputErrors
from setupopt.project import Project, load
from setupopt.project import csv_read as csv_file
from setupopt.project.cases_file import CaseTable, case_tables
from setupopt.project.field_types import Bounds

from .good_folder import write_folder


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """The good folder, read."""
    return load(write_folder(tmp_path_factory.mktemp("good")))


def read(tmp_path: Path, project: Project, text: str | bytes) -> CaseTable:
    """The cases in a text."""
    path = tmp_path / "cases.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    (cases,) = case_tables(path, project.venue, project.car)
    return cases


def test_cases_in_si(tmp_path: Path, project: Project) -> None:
    """Every column with its unit; empty cells are zero, no turn, flat."""
    text = (
        "name,roll_angle_deg,speed_m_s,heading_deg,acceleration_m_s2,path_curvature_per_m,turn_radius_m,"
        "headwind_m_s,crosswind_m_s,bump_fl_mm,bump_fr_mm,bump_rl_mm,bump_rr_mm,radius_mm\n"
        "top,180,60,90,-3,0.01,200,1,2,3,4,5,6,8000\n"
        "\n"
        ",90,55,,,,,,,,,,,inf\n"
        "side, 45 ,5e1,,,,inf,,,,,,7,\n"
    )
    cases = read(tmp_path, project, text)
    assert len(cases) == 3
    assert cases.label == ["top", "2", "side"]
    assert cases.roll_angle == pytest.approx(
        [math.pi, math.pi / 2, math.pi / 4]
    )
    assert cases.speed == pytest.approx([60, 55, 50])
    assert cases.heading == pytest.approx([math.pi / 2, 0, 0])
    assert cases.turn_curvature == pytest.approx([0.005, 0, 0])
    assert cases.curvature == pytest.approx([0.125, 0, 0])
    assert cases.bump == pytest.approx(
        np.array([[3, 4, 5, 6], [0] * 4, [0, 0, 0, 7]]) * 1e-3
    )
    assert [cases.acceleration[0], cases.path_curvature[0]] == [-3, 0.01]
    assert [cases.headwind[0], cases.crosswind[0]] == [1, 2]


def test_section_is_the_venues_without_its_column(
    tmp_path: Path, project: Project
) -> None:
    """Two columns are enough."""
    cases = read(
        tmp_path, project, "\ufeffspeed_m_s,roll_angle_deg\r\n60,10\r\n"
    )
    assert cases.curvature == pytest.approx([1 / 7.5])
    assert cases.label == ["1"]


REFUSED = [
    ("roll_angle_deg,speed_m_s\n0,60\n1,abc\n", 3, "speed_m_s", '"abc"'),
    ("roll_angle_deg,speed_m_s\n0,\n", 2, "speed_m_s", "an empty cell"),
    ("roll_angle_deg,speed_m_s\n0,nan\n", 2, "speed_m_s", '"nan"'),
    ("roll_angle_deg,speed_m_s\n0,inf\n", 2, "speed_m_s", '"inf"'),
    ("roll_angle_deg,speed_m_s\n0,-1\n", 2, "speed_m_s", '"-1"'),
    ("roll_angle_deg,speed_m_s\n0,1_0\n", 2, "speed_m_s", '"1_0"'),
    ("roll_angle_deg,speed_m_s\n0,６\n", 2, "speed_m_s", '"６"'),
    ("roll_angle_deg,speed_m_s\n181,60\n", 2, "roll_angle_deg", '"181"'),
    ("roll_angle_deg,speed_m_s\n0,60,1\n", 2, "", "3 cells"),
    ("roll_angle_deg,speed_m_s\n0,60\n0\n", 3, "", "1 cells"),
    ("roll_angle_deg,speed_m_s\n", 1, "", "no rows"),
    ("roll_angle_deg,speed_m_s\n\n\n", 3, "", "no rows"),
    ("roll_angle_deg\n1\n", 1, "speed_m_s", "no such column"),
    ("roll_angle_deg,speed_m_s,sped\n0,60,1\n", 1, "sped", "an unknown column"),
    (
        "roll_angle_deg,speed_m_s,speed_m_s\n0,60,1\n",
        1,
        "speed_m_s",
        "it a second time",
    ),
    ("roll_angle_deg;speed_m_s\n0;60\n", 1, "", "semicolons"),
    (
        "roll_angle_deg,speed_m_s,radius_mm\n0,60,-inf\n",
        2,
        "radius_mm",
        '"-inf"',
    ),
    ("roll_angle_deg,speed_m_s,radius_mm\n0,60,7.5\n", 2, "radius_mm", '"7.5"'),
    (
        "roll_angle_deg,speed_m_s,radius_mm,heading_deg\n0,60,,0\n0,60,2000,90\n",
        3,
        "radius_mm",
        "2000",
    ),
    (
        "roll_angle_deg,speed_m_s,turn_radius_m\n0,60,0\n",
        2,
        "turn_radius_m",
        '"0"',
    ),
    (
        'roll_angle_deg,speed_m_s,name\n0,60,"a\nb"\n1,x,c\n',
        4,
        "speed_m_s",
        '"x"',
    ),
    (
        'roll_angle_deg,speed_m_s\n0,"60\n',
        2,
        "",
        "a mistake of form (unexpected end of data)",
    ),
    ("", None, "", "an empty file"),
    (b"roll_angle_deg,speed_m_s\n0,60\n\xff,60\n", 1, "", "the byte 0xff"),
]


@pytest.mark.parametrize(
    ("text", "line", "key", "found"), REFUSED, ids=lambda value: str(value)[:40]
)
def test_bad_cell_is_named(
    tmp_path: Path,
    project: Project,
    text: str | bytes,
    line: int | None,
    key: str,
    found: str,
) -> None:
    """Line, column and cell of what cannot be read."""
    with pytest.raises(InputErrors) as caught:
        read(tmp_path, project, text)
    assert (line, key, found) in [
        (error.line, error.key, error.found) for error in caught.value.errors
    ]


def test_all_bad_cells_are_named_at_once(
    tmp_path: Path, project: Project
) -> None:
    """In the order of their lines."""
    with pytest.raises(InputErrors) as caught:
        read(tmp_path, project, "roll_angle_deg,speed_m_s\n0,x\ny,60\nz,w\n")
    found = [(error.line, error.key) for error in caught.value.errors]
    assert found == [
        (2, "speed_m_s"),
        (3, "roll_angle_deg"),
        (4, "roll_angle_deg"),
        (4, "speed_m_s"),
    ]


def test_missing_file_is_said(tmp_path: Path, project: Project) -> None:
    """No file, a folder, an impossible name."""
    for path in (tmp_path / "none.csv", tmp_path, Path("a\0b")):
        with pytest.raises(InputErrors, match="cannot be read"):
            list(case_tables(path, project.venue))


def test_too_many_rows_of_a_measured_table_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is an end to what fits in memory, and it is said."""
    monkeypatch.setattr(csv_file, "MOST_ROWS", 60_000)
    path = tmp_path / "road.csv"
    columns = {"height_mm": csv_file.Column(Bounds(0.0, 1.0, "mm"))}
    path.write_text("height_mm\n" + "0\n" * 60_000)
    assert csv_file.read_csv(path, columns).lines.size == 60_000
    path.write_text("height_mm\n" + "0\n" * 60_001)
    with pytest.raises(InputErrors, match="at most 60000 rows"):
        csv_file.read_csv(path, columns)


def test_a_file_beyond_all_measure_is_refused(
    tmp_path: Path, project: Project, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By its size, before it is read; a device, which has none, is no file."""
    monkeypatch.setattr(csv_file, "MOST_BYTES_OF_PIECES", 40)
    text = "roll_angle_deg,speed_m_s\n0,60\n"
    assert len(read(tmp_path, project, text)) == 1
    with pytest.raises(InputErrors, match="more than 40 bytes"):
        read(tmp_path, project, text + "0,60\n" * 10)
    with pytest.raises(InputErrors, match="not a file"):
        list(case_tables("/dev/zero", project.venue))


HEADER = "name,roll_angle_deg,speed_m_s,heading_deg,bump_fr_mm,radius_mm\n"


@pytest.mark.parametrize("size", [1, 3, 10, 100])
def test_pieces_of_a_table(tmp_path: Path, project: Project, size: int) -> None:
    """No row is lost, out of order or numbered anew, whatever the size of a piece."""
    path = tmp_path / "cases.csv"
    rows = [
        f"{'' if n % 3 else n},{n},60.5,{n % 7}.25,{n % 3},7500\n"
        for n in range(20)
    ]
    path.write_text(HEADER + "".join(rows))
    tables = list(case_tables(path, project.venue, project.car, size))
    assert max(map(len, tables)) <= size
    labels = [label for table in tables for label in table.label]
    assert labels == [f"{n + 1 if n % 3 else n}" for n in range(20)]
    bumps = np.concatenate([table.bump[:, 1] for table in tables])
    assert (bumps == [(n % 3) * 1e-3 for n in range(20)]).all()


@pytest.mark.parametrize("size", [1, 3, 100])
def test_mistakes_beyond_the_first_piece(
    tmp_path: Path, project: Project, size: int
) -> None:
    """All are named, in the order of their lines, and no cases come after the first."""
    path = tmp_path / "cases.csv"
    good = ",10,60,0,0,7500\n"
    path.write_text(HEADER + good * 6 + ",10,x,0,0,7500\n,10,60,0,0,y\n")
    tables = case_tables(path, project.venue, project.car, size)
    seen = 0
    with pytest.raises(InputErrors) as caught:
        for table in tables:
            seen += len(table)
    assert seen <= 6
    assert [(error.line, error.key) for error in caught.value.errors] == [
        (8, "speed_m_s"),
        (9, "radius_mm"),
    ]
    path.write_text(HEADER + good * 6 + ",10,60,90,0,1500\n" * 2)
    with pytest.raises(InputErrors) as caught:
        list(case_tables(path, project.venue, project.car, size))
    assert [error.line for error in caught.value.errors] == [8, 9]


@settings(FUZZED, max_examples=200)
@given(
    st.binary(max_size=200)
    | st.text('0123456789.,-einf\n\r" ', max_size=100).map(str.encode)
)
def test_no_table_raises_anything_else(
    tmp_path: Path, project: Project, raw: bytes
) -> None:
    """Whatever the file holds, it is read or refused in words."""
    for head in (b"", b"roll_angle_deg,speed_m_s,name\n"):
        try:
            cases = read(tmp_path, project, head + raw)
        except InputErrors as refused:
            assert str(refused)
        else:
            assert np.isfinite(cases.speed).all()
