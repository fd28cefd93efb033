"""Measured tables: every mistake by line and column, oddities told, nothing dropped in silence."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from fuzzed import FUZZED
from hypothesis import given, settings
from hypothesis import strategies as st

from setupopt.errors import InputErrors
from setupopt.fit.table import (
    Measurements,
    lines_text,
    measured,
    read_measurements,
)
from setupopt.project.csv_read import Column
from setupopt.project.field_types import Bounds

COLUMNS = {
    "load_N": Column(Bounds(50, 200_000, "N"), required=True),
    "radius_mm": Column(Bounds(1000, 1_000_000, "mm"), empty=np.inf),
    "depth_mm": measured(Bounds(0.1, 300, "mm")),
    "force_N": measured(Bounds(-1e5, 1e5, "N")),
}


def read(folder: Path, text: str | bytes) -> Measurements:
    """The table of a text."""
    path = folder / "table.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_measurements(path, COLUMNS, ("who",))


def test_values_in_si_and_blanks(tmp_path: Path) -> None:
    """Any order of columns; what is empty means what its column says; rows of commas are none."""
    table = read(
        tmp_path,
        "depth_mm,who,load_N,radius_mm\n12, me ,3000,8000\n,,,\n,you,4e3,\n0.5,,50,\n",
    )
    assert table.values["load_N"] == pytest.approx([3000, 4000, 50])
    assert table.values["depth_mm"] == pytest.approx(
        [0.012, np.nan, 0.0005], nan_ok=True
    )
    assert table.values["radius_mm"] == pytest.approx([8.0, np.inf, np.inf])
    assert np.isnan(table.values["force_N"]).all()
    assert table.names["who"] == ["me", "you", ""]
    assert list(table.lines) == [2, 4, 5]
    assert list(table.is_measured("depth_mm")) == [True, False, True]


REFUSED = [
    ("load_N,depth_mm\n3000,abc\n", 2, "depth_mm", '"abc"', "or nothing"),
    ('load_N,depth_mm\n3000,"12,5"\n', 2, "depth_mm", '"12,5"', "with a decimal point: 12.5"),
    ("load_N,depth_mm\n3000,12,5\n", 2, "", "3 cells", "a decimal comma starts a new cell"),
    ("load_N,depth_mm\n3000,12\n3000,0.012\n", 3, "depth_mm", '"0.012"', "it looks like m: 12 mm"),
    ("load_N,depth_mm\n3.1,12\n", 2, "load_N", '"3.1"', "it looks like kN: 3100 N"),
    ("load_N,depth_mm\n,12\n", 2, "load_N", "an empty cell", "from 50 to 200000 N"),
    ("load_N,depth_mm\n1_000,12\n", 2, "load_N", '"1_000"', "a number"),
    ("load_N,depth_mm\ninf,12\n", 2, "load_N", '"inf"', "a number"),
    ("load_N,depth_mm\n3000,nan\n", 2, "depth_mm", '"nan"', "a number"),
    ("load_N,depth_mm\n-3000,12\n", 2, "load_N", '"-3000"', "a number"),
    ("depth_mm\n12\n", 1, "load_N", "no such column", "a number from 50"),
    ("load_N,dept_mm\n3000,12\n", 1, "dept_mm", "an unknown column", "depth_mm"),
    ("load_N,depth_mm\n3000,\n", 1, "", "nothing measured", "depth_mm, force_N"),
    ("load_N\n3000\n", 1, "", "nothing measured", "depth_mm, force_N"),
    ("load_N,depth_mm\n,\n", 2, "", "no rows", "at least one row"),
    ("load_N,depth_mm\n", 1, "", "no rows", "at least one row"),
    ("load_N;depth_mm\n3000;12\n", 1, "", "semicolons", "commas"),
    ("", None, "", "an empty file", "load_N"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "key", "found", "expected"), REFUSED)
def test_mistakes_by_line_and_column(
    tmp_path: Path,
    text: str,
    line: int | None,
    key: str,
    found: str,
    expected: str,
) -> None:
    """Each says where it stands, what was found and what is wanted instead."""
    with pytest.raises(InputErrors) as refused:
        read(tmp_path, text)
    error = refused.value.errors[0]
    assert (error.line, error.key, error.found) == (line, key, found)
    assert expected in error.expected


def test_all_mistakes_at_once_in_the_order_of_lines(tmp_path: Path) -> None:
    """Nobody wants to be sent back three times."""
    with pytest.raises(InputErrors) as refused:
        read(tmp_path, "load_N,depth_mm\n3000,x\ny,12\n1,0.001\n")
    assert [(e.line, e.key) for e in refused.value.errors] == [
        (2, "depth_mm"), (3, "load_N"), (4, "load_N"), (4, "depth_mm")
    ]  # fmt: skip


def test_oddities_are_told_and_kept(tmp_path: Path) -> None:
    """Rows without a measured value and identical rows stay, and are named; plain repeats are no oddity."""
    table = read(
        tmp_path,
        "load_N,depth_mm\n3000,12\n3000,12.1\n4000,\n3000,12\n5000,20\n3000,12\n",
    )
    assert len(table) == 6
    bare, same = table.notes
    assert bare.startswith("nothing measured on line 4:")
    assert same.startswith("lines 2, 5 and 7 are the same")


def test_many_lines_are_cut() -> None:
    """A note does not list a thousand of them."""
    assert lines_text(np.arange(2, 1002)).endswith(", 20, 21 and 980 more")


def test_many_copies_are_counted(tmp_path: Path) -> None:
    """Twenty are named one by one, the rest by their number."""
    rows = [f"{1000 + row},{5 + row}" for row in range(33)]
    notes = read(
        tmp_path, "\n".join(["load_N,depth_mm", *rows, *rows]) + "\n"
    ).notes
    assert len(notes) == 21
    assert notes[0].startswith("lines 2 and 35 are the same")
    assert notes[-1].startswith("13 more rows stand there again")


@settings(FUZZED, max_examples=150)
@given(
    st.one_of(
        st.text(max_size=120),
        st.lists(st.text(max_size=12), min_size=2, max_size=8).map(",".join),
    )
)
def test_broken_tables_are_refused_not_crashed(
    tmp_path: Path, text: str
) -> None:
    """Whatever stands in the cells: a table, or a refusal that names something."""
    try:
        table = read(
            tmp_path,
            f"load_N,depth_mm\n{text}\n".encode("utf-8", "surrogatepass"),
        )
    except InputErrors as refused:
        assert str(refused)
    else:
        assert np.isfinite(table.values["load_N"]).all()


def test_broken_bytes_are_refused(tmp_path: Path) -> None:
    """No text, no table."""
    with pytest.raises(InputErrors, match="UTF-8"):
        read(tmp_path, b"load_N,depth_mm\n3000,\xff\n")
