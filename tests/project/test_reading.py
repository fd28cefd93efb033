"""Reading a folder: what comes back, what is said when it cannot be read."""

from __future__ import annotations

from pathlib import Path

import pytest
from fuzzed import FUZZED
from hypothesis import given, settings
from hypothesis import strategies as st

from setupopt.errors import InputError, InputErrors
from setupopt.project import load, read_setup

from .good_folder import CAR, FILES, LIMITS, SETUP, VENUE, write_folder


def errors_of(
    folder: Path, setup: str | Path | None = None
) -> tuple[InputError, ...]:
    with pytest.raises(InputErrors) as caught:
        load(folder, setup)
    return caught.value.errors


def test_good_folder_loads(tmp_path: Path) -> None:
    """A folder without a mistake gives all its parts and no caution."""
    project = load(write_folder(tmp_path))
    assert project.car.name == "Test car"
    assert [attitude.name for attitude in project.venue.attitudes] == [
        "steady",
        "climbing",
    ]
    assert project.limits is not None
    assert project.cautions == ()


def test_mistakes_of_all_files_are_reported_at_once(tmp_path: Path) -> None:
    """Nobody has to run the command once per mistake."""
    car = CAR.replace("mass_kg = 780", "mass_kg = 0.78").replace(
        "cg_height_mm = 280\n", ""
    )
    setup = SETUP.replace("toe_mm = 1.0", 'toe_mm = "1"')
    folder = write_folder(
        tmp_path, car=car, setup=setup, venue=None, limits=b"\xff"
    )
    found = [
        (Path(error.file).name, error.line, error.key)
        for error in errors_of(folder)
    ]
    assert found == [
        ("car.toml", 2, "car.cg_height_mm"),
        ("car.toml", 4, "car.mass_kg"),
        ("venue.toml", None, ""),
        ("setup.toml", 12, "front.toe_mm"),
        ("limits.toml", 1, ""),
    ]


def test_message_says_place_found_and_expected(tmp_path: Path) -> None:
    """A wheelbase in metres is answered with the range in millimetres."""
    folder = write_folder(
        tmp_path, car=CAR.replace("wheelbase_mm = 2600", "wheelbase_mm = 2.6")
    )
    (error,) = errors_of(folder)
    assert str(error) == (
        f"{folder / 'car.toml'}, line 5, car.wheelbase_mm: found 2.6, expected a number from 500 to 6000 mm "
        "(it looks like m: 2600 mm)"
    )


def test_misspelt_key_is_answered_once_with_the_right_one(
    tmp_path: Path,
) -> None:
    """The nearest key is offered, and is not reported missing as well."""
    (error,) = errors_of(
        write_folder(tmp_path, car=CAR.replace("wheelbase_mm", "wheelbas_mm"))
    )
    assert (error.key, error.expected) == ("car.wheelbas_mm", "wheelbase_mm")


def test_key_that_resembles_nothing_gets_the_list(tmp_path: Path) -> None:
    """Without a near key all keys of the table are named."""
    (error,) = errors_of(
        write_folder(
            tmp_path, setup=SETUP.replace("[front]", "[front]\nxyz = 1")
        )
    )
    assert error.expected.startswith("one of camber_deg, ride_height_mm")


def test_unknown_tyre_names_the_known_ones(tmp_path: Path) -> None:
    """A tyre that is not described is refused at the axle."""
    (error,) = errors_of(
        write_folder(
            tmp_path, car=CAR.replace('tyre = "slick"', 'tyre = "wet"', 1)
        )
    )
    assert (error.line, error.key, error.found) == (35, "front.tyre", '"wet"')
    assert '"slick"' in error.expected


def test_tyre_name_without_its_table_is_explained(tmp_path: Path) -> None:
    """`[tyre]` instead of `[tyre.NAME]`."""
    errors = errors_of(
        write_folder(tmp_path, car=CAR.replace("[tyre.slick]", "[tyre]"))
    )
    assert errors[0].key == "tyre.radius_mm"
    assert errors[0].expected == "a table [tyre.NAME]"


def test_tyre_called_like_anything_is_followed(tmp_path: Path) -> None:
    """Names of the user's own do not confuse the place of a mistake."""
    car = CAR.replace("[tyre.slick]", '[tyre."list"]').replace(
        '"slick"', '"list"'
    )
    assert load(write_folder(tmp_path, car=car)).car.front.tyre.name == "list"
    (error,) = errors_of(
        write_folder(
            tmp_path, car=car.replace("radius_mm = 330", "radius_mm = 33")
        )
    )
    assert (error.line, error.key) == (55, "tyre.list.radius_mm")


def test_limits_may_be_left_out(tmp_path: Path) -> None:
    """limits.toml is for the commands that change the setup."""
    assert load(write_folder(tmp_path, limits=None)).limits is None


def test_optional_tables_may_be_left_out(tmp_path: Path) -> None:
    """A setting without a range stays as it is; no arch, tolerance, adjuster or clearance is needed."""
    folder = write_folder(
        tmp_path, limits="[front]\n", car=CAR[: CAR.index("[[clearance]]")]
    )
    project = load(folder)
    assert project.limits is not None
    assert project.limits.front.camber is None
    assert project.limits.packaging.arches == ()
    assert project.limits.tolerance is None
    assert project.car.clearance == ()


def test_car_without_downforce_says_so(tmp_path: Path) -> None:
    """No [[air.element]] is a mistake, an empty list is a statement."""
    start, end = CAR.index("[[air.element]]"), CAR.index("[[clearance]]")
    bare = CAR[:start] + CAR[end:]
    (error,) = errors_of(write_folder(tmp_path, car=bare))
    assert (error.key, error.expected) == (
        "air.element",
        "[[air.element]] tables, or element = [] for none",
    )
    folder = write_folder(
        tmp_path, car=bare.replace("[air]", "[air]\nelement = []")
    )
    assert load(folder).car.air.elements == ()


def test_missing_folder_is_one_message(tmp_path: Path) -> None:
    """A folder that is not there is not four missing files."""
    for place in (tmp_path / "none", tmp_path / ("x" * 5000), Path("a\0b")):
        (error,) = errors_of(place)
        assert error.found == "no such folder"
    (tmp_path / "file").write_text("x")
    assert errors_of(tmp_path / "file")[0].found == "a file"


def test_another_setup_is_read_from_here_or_from_the_folder(
    tmp_path: Path,
) -> None:
    """`--setup proposed.toml` means the one in the folder unless one lies where the user stands."""
    folder = write_folder(tmp_path / "p")
    (folder / "proposed.toml").write_text(SETUP.replace("baseline", "proposed"))
    assert load(folder, "proposed.toml").setup.name == "proposed"
    assert load(folder, folder / "proposed.toml").setup.name == "proposed"
    (error,) = errors_of(folder, "nowhere.toml")
    assert (error.file, error.found) == ("nowhere.toml", "no such file")


def test_setup_is_read_alone(tmp_path: Path) -> None:
    """A setup file does not need its project."""
    folder = write_folder(tmp_path)
    assert read_setup(folder / "setup.toml") == load(folder).setup
    (folder / "setup.toml").write_text("[setup]\n")
    with pytest.raises(InputErrors):
        read_setup(folder / "setup.toml")


def test_files_of_other_systems_are_read(tmp_path: Path) -> None:
    """A byte order mark and Windows line ends are no mistakes."""
    raw = b"\xef\xbb\xbf" + SETUP.replace("\n", "\r\n").encode()
    assert (
        load(write_folder(tmp_path, setup=raw)).setup
        == load(write_folder(tmp_path)).setup
    )


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("a = " + "[" * 5000, "lists or tables nested too deep"),
        ("[setup]\nname = " + "9" * 5000, "a mistake of syntax (Exceeds"),
        ("[setup]\nname = 0x" + "f" * 9000, "a huge integer"),
        (
            "# " + "x" * 5_000_001,
            "that it cannot be read (it has more than 300000 bytes)",
        ),
        ("[setup]\nname = 'x", "a mistake of syntax"),
        ("[setup]\nname = 3 4", "a mistake of syntax"),
    ],
)
def test_extreme_files_are_refused(
    tmp_path: Path, text: str, found: str
) -> None:
    """Depth, digits and size have an end, and it is said."""
    errors = errors_of(write_folder(tmp_path, setup=text))
    assert any(error.found.startswith(found) for error in errors)


def test_folder_in_place_of_a_file_is_refused(tmp_path: Path) -> None:
    """A directory called setup.toml is no file."""
    (write_folder(tmp_path, setup=None) / "setup.toml").mkdir()
    assert (
        errors_of(tmp_path)[0].found
        == "that it cannot be read (it is not a file)"
    )


def test_thousands_of_mistakes_are_cut_short(tmp_path: Path) -> None:
    """A file of the wrong kind does not flood the screen."""
    junk = "".join(f"key{n} = {n}\n" for n in range(500))
    with pytest.raises(InputErrors) as caught:
        load(write_folder(tmp_path, setup=junk + SETUP))
    assert str(caught.value).endswith("and 480 more mistakes")


@st.composite
def _mutilated(draw: st.DrawFn) -> tuple[str, bytes]:
    """One of the good files with a piece cut out and another put in."""
    name = draw(st.sampled_from(sorted(FILES)))
    text = FILES[name]
    start = draw(st.integers(0, len(text)))
    end = draw(st.integers(start, min(len(text), start + 40)))
    piece = draw(
        st.one_of(
            st.text(max_size=30),
            st.text("[]{}=.,#\"'\n -+_019einfxa\\", max_size=30),
        )
    )
    return name, (text[:start] + piece + text[end:]).encode(
        "utf-8", "surrogatepass"
    )


@settings(FUZZED, max_examples=150)
@given(
    _mutilated()
    | st.tuples(st.sampled_from(sorted(FILES)), st.binary(max_size=200))
)
def test_no_text_raises_anything_else(
    tmp_path: Path, broken: tuple[str, bytes]
) -> None:
    """Whatever a file holds, it is read or refused in words."""
    name, raw = broken
    folder = write_folder(tmp_path, **{name.removesuffix(".toml"): raw})
    try:
        assert load(folder).car.mass > 0
    except InputErrors as refused:
        assert all(
            Path(error.file).name in FILES and error.expected
            for error in refused.errors
        )
        assert str(refused).isprintable() or "\n" in str(refused)


SECTION = {
    "start_deg",
    "part",
    "survey",
    "survey_error_mm",
    "sweep_deg",
    "width_mm",
}


# tests/project/test_four_corners.py says these and breaks them
SIDES_OF_CAR = (
    "left_weight_percent tyre_left tyre_right setting angle_deg running_temperature_C cold_temperature_C "
    "grip_temperature_C grip_shares radius_growth_speed_m_s radius_growth_mm"
)
SIDES_OF_SETUP = (
    "left right balance brake_front_percent drive_front_percent cross_weight_percent wings ballast mass_kg "
    "station_mm side_mm damper_bump_Ns_per_mm damper_rebound_Ns_per_mm"
)
SIDES_OF_LIMITS = (
    "name return right balance brake_front_percent drive_front_percent cross_weight_percent wings ballast "
    "station_mm damper_bump_Ns_per_mm damper_rebound_Ns_per_mm damper_clicks_bump damper_clicks_rebound "
    "shims_fitted_mm"
)


def test_fixtures_are_complete() -> None:
    """The good folder says every key there is, so that every key gets broken."""
    from setupopt.project.car_schema import CarFile
    from setupopt.project.field_types import Table
    from setupopt.project.limits_schema import LimitsFile
    from setupopt.project.setup_schema import SetupFile
    from setupopt.project.validation_errors import alias, table_in
    from setupopt.project.venue_schema import VenueFile

    def keys(table: type[Table]) -> set[str]:
        inner = [
            table_in(field.annotation) for field in table.model_fields.values()
        ]
        own = {alias(name, field) for name, field in table.model_fields.items()}
        return own.union(*(keys(found) for found in inner if found))

    for text, schema in (
        (CAR, CarFile),
        (VENUE, VenueFile),
        (SETUP, SetupFile),
        (LIMITS, LimitsFile),
    ):
        # what goes without, or needs another section or file; tests/test_sections.py breaks sections
        left_out = {
            VENUE: {"roughness_1e-6m3", "along_mm", *SECTION},
            CAR: set(SIDES_OF_CAR.split()),
            SETUP: {"body", *SIDES_OF_SETUP.split()},
            LIMITS: set(SIDES_OF_LIMITS.split()),
        }
        assert {key for key in keys(schema) if key not in text} == left_out.get(
            text, set()
        )
