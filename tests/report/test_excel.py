"""Tables as workbooks, read back by another library: numbers, text that stays text, frozen panes."""

from __future__ import annotations

import zipfile
from io import BytesIO
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from setupopt.cli.main import group
from setupopt.report.shared.excel import workbook

from .report_folders import example

TABLE = 'name,load_fl_N,contact\n"=1+1",12.5,true\n@SUM(A1),,false\nhttp://x.example,-1e-3,true\n'


def test_numbers_are_numbers_and_text_is_text() -> None:
    """What begins like a formula or an address is the text that it was, and nothing is to be computed."""
    made = workbook(TABLE)
    read = pd.read_excel(BytesIO(made), engine="calamine")
    assert list(read.columns) == ["name", "load_fl_N", "contact"]
    assert read["name"].tolist() == ["=1+1", "@SUM(A1)", "http://x.example"]
    assert read["load_fl_N"].tolist() == pytest.approx(
        [12.5, float("nan"), -1e-3], nan_ok=True
    )
    assert read["contact"].tolist() == [True, False, True]
    with zipfile.ZipFile(BytesIO(made)) as parts:
        sheet = parts.read("xl/worksheets/sheet1.xml").decode()
    assert "<f>" not in sheet and "hyperlink" not in sheet
    assert 'xSplit="1" ySplit="1"' in sheet and 'state="frozen"' in sheet


def test_the_same_table_gives_the_same_bytes() -> None:
    """No date of today in it."""
    assert workbook(TABLE) == workbook(TABLE)


def test_commands_write_them_beside_their_tables(tmp_path: Path) -> None:
    """With --excel one for every CSV, with the same rows; without it none."""
    folder = example("hill", tmp_path / "hill")
    out = tmp_path / "out"
    for more, suffixes in (((), {".csv"}), (("--excel",), {".csv", ".xlsx"})):
        done = CliRunner().invoke(
            group, ["assess", str(folder), "--out", str(out), "--quiet", *more]
        )
        assert done.exit_code in (0, 1), done.output
        assert {path.suffix for path in out.glob("cases.*")} == suffixes
    table = pd.read_csv(out / "cases.csv")
    book = pd.read_excel(out / "cases.xlsx", engine="calamine")
    assert list(book.columns) == list(table.columns) and len(book) == len(table)
    assert book["margin"].tolist() == pytest.approx(
        table["margin"].tolist(), rel=1e-14
    )
