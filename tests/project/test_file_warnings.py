"""What looks like a mistake of units, of sign or of the keyboard is said, with what it looks like."""

from __future__ import annotations

from pathlib import Path

import pytest

from setupopt.errors import InputErrors
from setupopt.project import load
from setupopt.project.csv_read import Column, read_csv
from setupopt.project.field_types import Bounds, is_plain
from setupopt.project.file_warnings import unprintable

from .good_folder import FILES, changed, with_line, write_folder

# file, what is replaced, by what, what the one caution says
ODD = {
    "km/h": ("venue.toml", "speed_m_s = 60", "speed_m_s = 180", "180 m/s looks like km/h, which makes 50"),
    "radians": (
        "venue.toml", "to = 180, step = 5", "to = 3.14, step = 0.5", "3.14 deg looks like radians"
    ),
    "radians of a heading": ("venue.toml", "heading_deg = 8", "heading_deg = 1.5708", "which makes 90 deg"),
    "metres of a station": ("car.toml", "side_station_mm = 1500", "side_station_mm = 1.5", "makes 1500 mm"),
    "metres of a travel": ("car.toml", "bump_travel_mm = 40", "bump_travel_mm = 0.04", "which makes 40 mm"),
    "metres of a bump": ("venue.toml", "[0, 5, 0, -5]", "[0, 0.005, 0, 0]", "which makes 5 mm"),
    "sign of a station": ("car.toml", "\nstation_mm = 1400", "\nstation_mm = -1400", "lies far ahead"),
    "front behind": ("car.toml", "front_ride_station_mm = 0", "front_ride_station_mm = 1900", "far behind"),
    "Chinese": ("setup.toml", '"baseline"', '"\u6c34 a"', 'lacks "\u6c34"'),
}  # fmt: skip


@pytest.mark.parametrize("name", ODD)
def test_odd_entry_is_said(tmp_path: Path, name: str) -> None:
    """With the file and the key; the good folder has no caution."""
    file, old, new, said = ODD[name]
    cautions = load(changed(tmp_path, file, (old, new))).cautions
    found = [caution for caution in cautions if said in caution]
    assert len(found) == 1, cautions
    assert found[0].startswith(f"{file} ")


@pytest.mark.parametrize("top", [90, 180])
def test_angles_that_the_section_lacks_are_said(
    tmp_path: Path, top: int
) -> None:
    """A floor and a quarter of a circle end upright: what was asked for beyond would be taken for swept."""
    parts = "[[section.part]]\nwidth_mm = 12000\n\n[[section.part]]\nradius_mm = 7500\nsweep_deg = 90\n\n"
    folder = changed(
        tmp_path, "venue.toml", ('"circle"\nradius_mm = 7500', '"parts"'),
        ("[sweep]", f"{parts}[sweep]"), ("to = 180", f"to = {top}"),
    )  # fmt: skip
    said = [one for one in load(folder).cautions if "swept to" in one]
    lacks = ["has no 180 deg; it is swept to 90.0 deg" in one for one in said]
    assert any(lacks) == (top == 180), said


@pytest.mark.parametrize("new", ["0", "-1.57", "0.04"])
def test_small_numbers_that_are_meant_are_not_said(
    tmp_path: Path, new: str
) -> None:
    """Camber, toe and a station on the axle may be any small number."""
    folder = with_line(tmp_path, "setup.toml", f"camber_deg = {new}")
    assert not any("looks like" in caution for caution in load(folder).cautions)


# a value outside its range: what the refusal says that it looks like
OUTSIDE = {
    ("setup.toml", "pressure_bar = 140"): "(it looks like kPa: 1.4 bar)",
    ("car.toml", "wheelbase_mm = 2.6"): "(it looks like m: 2600 mm)",
    ("car.toml", "power_kW = 400000"): "(it looks like W: 400 kW)",
    ("car.toml", "stop_rate_N_per_mm = 4e5"): "(it looks like N/m: 400 N/mm)",
    ("venue.toml", "speed_m_s = 216"): "(it looks like km/h: 60 m/s)",
}


@pytest.mark.parametrize(("file", "line"), OUTSIDE)
def test_refusal_says_the_unit(tmp_path: Path, file: str, line: str) -> None:
    """At the end of what is expected."""
    with pytest.raises(InputErrors) as refused:
        load(with_line(tmp_path, file, line))
    assert refused.value.errors[0].expected.endswith(OUTSIDE[file, line])


# what is written where a number with a point and a plain minus belongs: found, expected
MARKS = {
    "roll_angles_deg = { from = 0, to = 180, step = 2,5 }": ("2,5", "a decimal point: 2.5"),
    "roll_angles_deg = { from = 0,5, to = 180, step = 5 }": ("0,5", "a decimal point: 0.5"),
    "heading_deg = \u22128.5": ("\u22128.5", "the keyboard: -8.5"),
    "heading_deg = \u22128,5": ("\u22128,5", "the keyboard: -8.5"),
    "bump_mm = [0, \u20135, 0, -5]": ("\u20135", "the keyboard: -5"),
    "roll_angles_deg = { from = \u221290, to = 180, step = 5 }": ("\u221290", "the keyboard: -90"),
}  # fmt: skip


@pytest.mark.parametrize("line", MARKS)
def test_comma_and_minus_of_word_processors(tmp_path: Path, line: str) -> None:
    """With file, line and key, and the number as it should be written."""
    found, expected = MARKS[line]
    folder = with_line(tmp_path, "venue.toml", line)
    with pytest.raises(InputErrors) as refused:
        load(folder)
    (error,) = refused.value.errors
    text = (folder / "venue.toml").read_text().splitlines()
    assert error.found == found
    assert error.expected.endswith(expected)
    assert error.line is not None
    assert found in text[error.line - 1]


def test_minus_in_a_table(tmp_path: Path) -> None:
    """A CSV cell with the minus sign of a word processor, and one in km/h."""
    (tmp_path / "t.csv").write_text("heading_deg,speed_m_s\n\u22122.5,216\n")
    columns = {
        "heading_deg": Column(Bounds(-180, 180, "deg")),
        "speed_m_s": Column(Bounds(0, 200, "m/s")),
    }
    with pytest.raises(InputErrors) as refused:
        read_csv(tmp_path / "t.csv", columns)
    assert [error.expected.partition(", with ")[2] for error in refused.value.errors] == [
        "the minus sign of the keyboard: -2.5", "",
    ]  # fmt: skip
    assert refused.value.errors[1].expected.endswith(
        "(it looks like km/h: 60 m/s)"
    )


@pytest.mark.parametrize(
    ("key", "meant"),
    [("caster_deg", None), ("cambre_deg", "camber_deg"), ("camber", "camber_deg"),
     ("camber_grad", "camber_deg"),
     ("pressure_kPa", "pressure_bar"), ("spring_rate_N_per_mm", "spring_N_per_mm"), ("damping_mm", None)],
)  # fmt: skip
def test_only_a_near_key_is_offered(
    tmp_path: Path, key: str, meant: str | None
) -> None:
    """The unit at the end makes no two keys alike; a key that is not near gets the list of all."""
    more = ("[front]\n", f"[front]\n{key} = 1\n")
    folder = changed(tmp_path, "setup.toml", more)
    with pytest.raises(InputErrors) as refused:
        load(folder)
    (error,) = refused.value.errors
    assert error.expected == meant or (
        meant is None and error.expected.startswith("one of camber_deg, ")
    )


def test_a_wing_without_ground_area_has_no_peak_gap(tmp_path: Path) -> None:
    """Its peak gap does nothing, so that no value of it is odd; with a ground area it is."""
    text = FILES["car.toml"]
    start = text.index("ground_area_m2")
    line = text[start : text.index("\n", start)]
    gap = text[(at := text.index("peak_gap_mm", start)) : text.index("\n", at)]
    high = text.replace(gap, "peak_gap_mm = 900", 1)
    assert any(
        "peak gap" in caution
        for caution in load(write_folder(tmp_path / "a", car=high)).cautions
    )
    free = high.replace(line, "ground_area_m2 = 0", 1)
    assert not any(
        "peak gap" in caution
        for caution in load(write_folder(tmp_path / "b", car=free)).cautions
    )


def test_a_long_list_makes_a_short_caution(tmp_path: Path) -> None:
    """Ten thousand springs, none of them fitted: once 158 kB."""
    springs = ", ".join(f"{200 + number / 100:.2f}" for number in range(10_000))
    line = f"springs_N_per_mm = [{springs}]"
    folder = with_line(tmp_path, "limits.toml", line)
    (caution,) = [
        caution
        for caution in load(folder).cautions
        if "spring_N_per_mm" in caution
    ]
    assert "10000 values from 200 to 299.99 N/mm" in caution
    assert len(caution) < 200


@pytest.mark.parametrize(
    "letter",
    [
        "\u202e",
        "\u2066",
        "\u200b",
        "\u200d",
        "\ufeff",
        "\u00ad",
        "\u3164",
        "\u0007",
        "\ufe0f",
        "\u180b",
    ],
)
def test_names_that_hide_something_are_refused(
    tmp_path: Path, letter: str
) -> None:
    """Marks of the writing direction and letters without a width: two names would look the same."""
    assert not is_plain(f"a{letter}b")
    assert is_plain("Přehrada, Δ, Мост, \u6c34")
    line = f'name = "a\\u{ord(letter):04x}b"'
    folder = with_line(tmp_path, "setup.toml", line)
    with pytest.raises(InputErrors) as refused:
        load(folder)
    assert "invisible characters" in str(refused.value)
    assert letter.isprintable() or letter not in str(refused.value)


def test_letters_of_the_font() -> None:
    """Latin, Greek, Cyrillic are there; scripts that DejaVu Sans lacks are named once each."""
    assert unprintable("Café Přehrada Δ Мост") == ""
    assert unprintable("\u6c34\u6c34 \u0e01") == "\u0e01\u6c34"


def test_an_unreadable_survey_says_nothing_of_the_file(tmp_path: Path) -> None:
    """A file that is no table of points may be anybody's: its first line is not shown."""
    from setupopt.project.survey import read_survey

    for text in (
        "root:x:0:0:secret\n",
        "secret,other\n1,2\n",
        "secret;other\n1;2\n",
    ):
        (tmp_path / "s.csv").write_text(text)
        with pytest.raises(InputErrors) as refused:
            read_survey(tmp_path / "s.csv", 1e-3)
        assert "secret" not in str(refused.value)
        assert "y_mm" in str(refused.value) or "commas" in str(refused.value)
