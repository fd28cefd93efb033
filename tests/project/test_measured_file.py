"""Reading what was measured: both forms, and every mistake by its place."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from setupopt.errors import InputErrors
from setupopt.project.measured_file import QUANTITIES, read_measured
from setupopt.units import DEG, MM

HEAD = "quantity,unit,fl,fr,rl,rr\n"


def write(folder: Path, text: str, name: str = "measured.csv") -> Path:
    """A file with that text."""
    path = folder / name
    path.write_text(text)
    return path


def test_filled_in_sheet(tmp_path: Path) -> None:
    """Empty cells are not measured; the columns of the sheet are skipped; units become SI."""
    head = (
        HEAD.strip()
        + ",target_fl,target_fr,target_rl,target_rr,tolerance,where,note,initials\n"
    )
    rows = "camber_deg,deg,-4.5,,-3.1,-3,-4,-4,-3,-3,0.1 deg,gauge,ok,AB\ncorner_weight_kg,,130,131,,,,,,,,,,\n"
    found = read_measured(write(tmp_path, head + rows))
    assert found.get("camber_deg") / DEG == pytest.approx(
        [-4.5, np.nan, -3.1, -3.0], nan_ok=True
    )
    assert found.get("corner_weight_kg") == pytest.approx(
        [130, 131, np.nan, np.nan], nan_ok=True
    )
    assert np.isnan(found.get("pressure_bar")).all()


def test_ride_height_of_the_centre_line(tmp_path: Path) -> None:
    """One value an axle stands on the left; the right side is then not measured, and no twist is seen."""
    found = read_measured(write(tmp_path, HEAD + "ride_height_mm,mm,44,,55,\n"))
    assert found.get("ride_height_mm") / MM == pytest.approx(
        [44, np.nan, 55, np.nan], nan_ok=True
    )


def test_toml_says_the_same(tmp_path: Path) -> None:
    """Tables by wheel, and by axle for what an axle has once."""
    text = "[fl]\ncamber_deg = -4.5\n[rr]\ncorner_weight_kg = 140\n"
    text += "[front]\nanti_roll_N_per_mm = 20\nride_height_mm = 44\n"
    found = read_measured(write(tmp_path, text, "measured.toml"))
    assert found.get("camber_deg")[0] / DEG == pytest.approx(-4.5)
    assert found.get("corner_weight_kg")[3] == 140
    assert found.get("anti_roll_N_per_mm")[0] == pytest.approx(20e3)
    assert found.get("ride_height_mm")[0] / MM == pytest.approx(44)


def test_body_that_was_noted(tmp_path: Path) -> None:
    """By its name in the first wheel's column, or on top of a TOML file; empty where nobody noted it."""
    row = "body,,{},,,,target,,,,,the one on the car,,\n"
    head = (
        HEAD.strip()
        + ",target_fl,target_fr,target_rl,target_rr,tolerance,where,note,initials\n"
    )
    for cell, body in (
        ("low drag", "low drag"),
        ("car.toml", "car.toml"),
        ("'-low", "-low"),
        ("", ""),
    ):
        found = read_measured(
            write(
                tmp_path,
                head + row.format(cell) + "camber_deg,deg,-4,,,,,,,,,,,\n",
            )
        )
        assert found.body == body
        assert found.get("camber_deg")[0] / DEG == pytest.approx(-4.0)
    assert (
        read_measured(
            write(
                tmp_path, 'body = "low drag"\n[fl]\ncamber_deg = -4\n', "m.toml"
            )
        ).body
        == "low drag"
    )
    for text in ("body = 3\n", "[body]\nname = 1\n"):
        with pytest.raises(InputErrors, match="name of the body"):
            read_measured(write(tmp_path, text, "m.toml"))


BROKEN = [
    ("body,,a,,,\nbody,,a,,,", "quantity", "second time"),
    ("camber_deg,deg,x,,,", "fl", "'x'|\"x\""),
    ('camber_deg,deg,"-4,5",,,', "fl", "decimal point"),
    ("camber_deg,deg,-40,,,", "fl", "from -15"),
    ("camber_deg,mm,-4,,,", "unit", "deg, or nothing"),
    ("cambre_deg,,-4,,,", "quantity", "one of"),
    ("camber_deg,,-4,,,\ncamber_deg,,-4,,,", "quantity", "second time"),
    ("third_N_per_mm,N/mm,1,1,,", "fr", "an axle's value"),
    ("cross_weight_percent,%,51,51,,", "fr", "the car's value"),
    ("wings.,deg,4,,,", "quantity", "wings.NAME"),
    ("pressure_bar,bar,nan,,,", "fl", "a number"),
    ("pressure_bar,bar,1_5,,,", "fl", "a number"),
    ("corner_weight_kg,kg,-5,,,", "fl", "a number"),
    ("camber_deg,deg,1,2,3", "", "cells"),
    ("camber_deg,deg,-1,5,-1,5,,", "", "decimal comma"),
]


@pytest.mark.parametrize(("row", "key", "words"), BROKEN)
def test_each_mistake_is_named(
    tmp_path: Path, row: str, key: str, words: str
) -> None:
    """With file, line, column, what was found and what is expected."""
    path = write(tmp_path, f"{HEAD}{row}\n")
    with pytest.raises(InputErrors, match=words) as refused:
        read_measured(path)
    error = refused.value.errors[0]
    assert error.file == str(path)
    assert error.key == key
    assert error.line == (3 if "\n" in row else 2)


def test_all_mistakes_at_once(tmp_path: Path) -> None:
    """Three bad cells, three messages."""
    with pytest.raises(InputErrors) as refused:
        read_measured(
            write(
                tmp_path, HEAD + "camber_deg,deg,x,y,,\npressure_bar,bar,,,z,\n"
            )
        )
    assert len(refused.value.errors) == 3


@pytest.mark.parametrize(
    "text",
    [
        "",
        "quantity,unit\n",
        HEAD,
        "a;b;c\n1;2;3\n",
        "quantity,fl,fr,rl,rr,colour\n",
    ],
)
def test_tables_that_are_none(tmp_path: Path, text: str) -> None:
    """Empty, without wheels, without rows, with other marks between the cells, with an unknown column."""
    with pytest.raises(InputErrors):
        read_measured(write(tmp_path, text))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[left]\ncamber_deg = 1\n", "one of body, fl"),
        ("[fl]\ncamber = 1\n", "camber_deg"),
        ("[fl]\ncamber_deg = '1'\n", "a number"),
        ("[fl]\ncamber_deg = true\n", "a number"),
        ("[fl]\ncamber_deg = 99\n", "from -15"),
        ("[front]\ncamber_deg = 1\n", "toe_mm"),
        ("camber_deg = 1\n", "one of body, fl"),
        ("[fl\n", "TOML|\\]"),
        ("[fl]\ncamber_deg = -2,3\n", "decimal point: -2.3"),
        (f"[fl]\ncamber_deg = 1{400 * '0'}\n", "from -15"),
        (
            "[fl]\nride_height_mm = 45\n[front]\nride_height_mm = 40\n",
            "a second time",
        ),
    ],
)
def test_broken_toml(tmp_path: Path, text: str, words: str) -> None:
    """Each by its key."""
    with pytest.raises(InputErrors, match=words):
        read_measured(write(tmp_path, text, "measured.toml"))


def test_missing_file(tmp_path: Path) -> None:
    """Named, not a traceback."""
    for name in ("none.csv", "none.toml"):
        with pytest.raises(InputErrors, match=name):
            read_measured(tmp_path / name)


def test_every_setting_can_be_measured() -> None:
    """All keys of a setup's axle, and the scales."""
    assert {
        "camber_deg",
        "ride_height_mm",
        "spring_N_per_mm",
        "pressure_bar",
        "corner_weight_kg",
    } <= set(QUANTITIES)


def test_what_a_spreadsheet_leaves(tmp_path: Path) -> None:
    """Rows of commas, cells of blanks and long notes are no mistakes."""
    text = f'quantity,unit,fl,fr,rl,rr,note\ncamber_deg,deg,-1, ,,,"{"rubbed, " * 20}"\n,,,,,,\n'
    found = read_measured(write(tmp_path, text)).get("camber_deg")
    assert found / DEG == pytest.approx(
        [-1, np.nan, np.nan, np.nan], nan_ok=True
    )
