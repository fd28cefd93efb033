"""Bodies beside the one of car.toml: reading the folder, putting one on, and what is refused."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from setupopt.errors import InputError, InputErrors, UserError
from setupopt.evaluation.limits_check import broken
from setupopt.evaluation.model import evaluate
from setupopt.project import Project, load, read_setup, with_body
from setupopt.project.checksum import project_checksum, setup_checksum
from setupopt.project.stored_proof import proof_file, stored_proof
from setupopt.units import MM

from .broken_folders import broken_lines, with_line
from .good_folder import CAR, SETUP, VENUE, write_folder

BODY = CAR[CAR.index("[air]") :]  # the car's own numbers
AIR = BODY[: BODY.index("[[clearance]]")]
POINT = '[[clearance]]\nname = "keel"\nstation_mm = 1500\nside_mm = 0\noffset_mm = 2\nleast_gap_mm = 1\n'
FEW = VENUE.replace("to = 180, step = 5", "to = 180, step = 60")


def written(
    folder: Path,
    bodies: dict[str, str],
    worn: str | None = None,
    **changed: str,
) -> Path:
    """The good folder with bodies; `worn`: what its setup names."""
    body = "" if worn is None else f'body = "{worn}"\n'
    setup = SETUP.replace('name = "baseline"\n', f'name = "baseline"\n{body}')
    write_folder(folder, **{"setup": setup, "venue": FEW, **changed})
    (folder / "bodies").mkdir(exist_ok=True)
    for name, text in bodies.items():
        (folder / "bodies" / f"{name}.toml").write_text(text)
    return folder


def errors_of(folder: Path) -> tuple[InputError, ...]:
    """What is wrong with a folder."""
    with pytest.raises(InputErrors) as caught:
        load(folder)
    return caught.value.errors


def scaled(text: str, by: float) -> str:
    """Every area of an air block times so much, written out in full."""
    return re.sub(
        r"^(\w+_area_m2\w*) = (\S+)",
        lambda m: f"{m[1]} = {by * float(m[2])!r}",
        text,
        flags=re.MULTILINE,
    )


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """Two bodies, one of them with floor points of its own; the car stands in its own."""
    return load(
        written(
            tmp_path / "p",
            {"low drag": scaled(AIR, 0.5), "keeled": AIR + POINT},
        )
    )


# --- reading ----------------------------------------------------------------------------------------


def test_bodies_are_read_by_name(project: Project) -> None:
    """Sorted; in SI; floor points of car.toml where the file has none, its own where it has."""
    assert [body.name for body in project.bodies] == ["keeled", "low drag"]
    keeled, low = project.bodies
    assert low.air.drag_area == 0.6
    assert low.clearance == project.car.clearance
    assert [(point.name, point.station) for point in keeled.clearance] == [
        ("keel", 1500 * MM)
    ]
    assert project.setup.body is None
    assert project.cautions == ()


def test_a_body_may_do_without_floor_points(tmp_path: Path) -> None:
    """An empty list is a statement, as everywhere."""
    folder = written(tmp_path, {"bare": "clearance = []\n" + AIR})
    assert load(folder).bodies[0].clearance == ()


def test_only_visible_toml_files_are_bodies(tmp_path: Path) -> None:
    """What editors and file systems leave beside them is not read, and neither are folders."""
    folder = written(tmp_path, {"one": AIR, ".hidden": "junk"})
    for name in ("notes.txt", "one.toml~", "one.toml.bak", "two.TOML"):
        (folder / "bodies" / name).write_text("junk")
    (folder / "bodies" / "old").mkdir()
    (folder / "bodies" / "older.toml").mkdir()
    assert [body.name for body in load(folder).bodies] == ["one"]


def test_without_the_folder_there_are_no_bodies(tmp_path: Path) -> None:
    """An empty folder is none either."""
    assert load(write_folder(tmp_path / "a")).bodies == ()
    assert load(written(tmp_path / "b", {})).bodies == ()


def test_every_mistake_in_a_body_is_named_by_file_line_and_key(
    tmp_path: Path,
) -> None:
    """What car.toml refuses in its air and floor points, a body refuses by its own line."""
    first, tried = CAR[: CAR.index("[air]")].count("\n"), 0
    for wrong, line, key, instead in broken_lines():
        if line.file != "car.toml" or not line.table.startswith(
            ("air", "clearance")
        ):
            continue
        text = with_line(line, instead)
        error = errors_of(
            written(tmp_path, {"broken": text[text.index("[air]") :]})
        )[0]
        assert Path(error.file).parts[-2:] == ("bodies", "broken.toml"), wrong
        assert error.key == key or error.key.startswith(
            (f"{key}[", f"{key}.")
        ), wrong
        if wrong != "missing key":
            assert error.line == line.number - first, wrong
        tried += 1
    assert tried > 200


# --- what is refused --------------------------------------------------------------------------------


def test_ride_heights_are_measured_at_the_same_places(tmp_path: Path) -> None:
    """A body with other stations is refused by line, key, found and expected."""
    other = AIR.replace(
        "front_ride_station_mm = 0", "front_ride_station_mm = 100"
    )
    folder = written(
        tmp_path, {"other": other.replace("= 2600", "= 2500.5"), "right": AIR}
    )
    front, rear = errors_of(folder)
    assert (front.line, front.key, front.found) == (
        7,
        "air.front_ride_station_mm",
        "100",
    )
    assert front.expected.startswith("0 as in car.toml")
    assert (rear.line, rear.key, rear.found) == (
        8,
        "air.rear_ride_station_mm",
        "2500.5",
    )
    assert rear.expected.startswith("2600 as in car.toml")
    assert {Path(error.file).name for error in (front, rear)} == {"other.toml"}


def test_mistakes_of_all_files_are_told_at_once(tmp_path: Path) -> None:
    """Of the other files, of two bodies, of a name, and of the body worn."""
    wrong = AIR.replace("drag_area_m2 = 1.2", "drag_area_m2 = -1")
    folder = written(
        tmp_path, {"a": wrong, "b": AIR.replace("= 2600", "= 2500"), "ä": AIR}, "c",
        venue=FEW.replace("surface_grip = 0.95", "surface_grip = 95"),
    )  # fmt: skip
    found = [(Path(error.file).name, error.key) for error in errors_of(folder)]
    assert found == [
        ("venue.toml", "venue.surface_grip"), ("bodies", ""), ("a.toml", "air.drag_area_m2"),
        ("b.toml", "air.rear_ride_station_mm"), ("setup.toml", "setup.body"),
    ]  # fmt: skip


def test_unknown_body_is_answered_with_those_there_are(tmp_path: Path) -> None:
    """By the line of the setup, the nearest name first; a body with a mistake in it is still one."""
    bodies = {"long floor": "mistake", "high wing": AIR, "low drag": AIR}
    *_, error = errors_of(written(tmp_path / "a", bodies, "low-drag"))
    assert (Path(error.file).name, error.line, error.found) == (
        "setup.toml",
        4,
        '"low-drag"',
    )
    assert error.expected.startswith('one of "low drag", ')
    (error,) = errors_of(written(tmp_path / "b", bodies, "long floor"))
    assert Path(error.file).name == "long floor.toml"
    (error,) = errors_of(written(tmp_path / "c", {}, "low drag"))
    assert "no body" in error.expected


@pytest.mark.parametrize(
    "name",
    ["a" * 41, "Ä", " low", "low ", "a.b", "a,b", "a\tb", "\x1b[2J", "$(a)"],
)
def test_a_name_must_be_plain(tmp_path: Path, name: str) -> None:
    """It stands on sheets, in tables and in file names; nothing in it is read as anything else."""
    (error,) = errors_of(written(tmp_path, {name: AIR}))
    assert Path(error.file).name == "bodies"
    assert "of the name" in error.found
    assert str(error).isprintable()
    assert "1 to 40" in error.expected


@pytest.mark.parametrize("name", ["a" * 40, "-", "Low drag_2-B", "7"])
def test_plain_names_are_taken(tmp_path: Path, name: str) -> None:
    """Letters, digits, spaces, - and _."""
    assert load(written(tmp_path, {name: AIR}, name)).setup.body == name


@pytest.mark.parametrize("kind", ["file", "link to nothing"])
def test_something_else_in_place_of_the_folder(
    tmp_path: Path, kind: str
) -> None:
    """Told as one mistake, together with the others."""
    folder = write_folder(tmp_path, limits="nonsense")
    place = folder / "bodies"
    place.symlink_to("nowhere") if kind != "file" else place.write_text("x")
    limits, error = errors_of(folder)
    assert Path(limits.file).name == "limits.toml"
    assert Path(error.file).name == "bodies"
    assert "a folder" in error.expected


def test_body_that_is_no_file_is_refused(tmp_path: Path) -> None:
    """A link that leads nowhere is not passed over: somebody means that body to be there."""
    folder = written(tmp_path, {})
    (folder / "bodies" / "lost.toml").symlink_to("nowhere")
    (error,) = errors_of(folder)
    assert (Path(error.file).name, error.found) == ("lost.toml", "no such file")


def test_body_that_does_not_fit_the_section_is_refused(tmp_path: Path) -> None:
    """The car may reach round 0.9 of the radius: 4.9 m of width, half of it to each side of a car that points
    straight along, need 2.72 m, worn or not."""
    wide = AIR.replace("span_mm = 1200", "span_mm = 4900")
    venue = FEW.replace("radius_mm = 7500", "radius_mm = 2600").replace(
        "heading_deg = 8", "heading_deg = 0"
    )
    (error,) = errors_of(
        written(tmp_path, {"wide": wide, "narrow": AIR}, venue=venue)
    )
    assert (Path(error.file).name, error.key) == (
        "venue.toml",
        "venue.radius_mm",
    )
    assert "bodies/wide.toml" in error.expected
    assert f"at least {4900 / 2 / 0.9:.0f} mm" in error.expected


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("peak_gap_mm = 60", "peak_gap_mm = 600", "exceeds a tyre's radius"),
        ("offset_mm = 40", "offset_mm = -40", "touches the road at rest"),
        ("least_gap_mm = 1", "least_gap_mm = 60", "clear at rest"),
    ],
)
def test_odd_body_is_said_with_its_file(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    """What is a caution in car.toml is one in a body, worn or not."""
    folder = written(
        tmp_path, {"odd": (AIR + POINT).replace(old, new), "good": AIR}
    )
    (caution,) = load(folder).cautions
    assert caution.startswith("bodies/odd.toml ")
    assert said in caution


def test_floor_points_of_the_car_are_cautioned_once(tmp_path: Path) -> None:
    """Not again for every body that leaves them as they are."""
    folder = written(
        tmp_path,
        {"one": AIR, "two": AIR},
        car=CAR.replace("least_gap_mm = 8", "least_gap_mm = 40"),
    )
    (caution,) = load(folder).cautions
    assert caution.startswith("car.toml clearance")


# --- putting one on ---------------------------------------------------------------------------------


def test_body_on_and_off_again(project: Project) -> None:
    """The car wears what the setup names, whatever it wore before; nothing else changes."""
    low = with_body(project, "low drag")
    assert low.setup.body == "low drag"
    assert low.car == replace(project.car, air=low.bodies[1].air)
    assert with_body(low, None) == project
    assert with_body(with_body(low, "keeled"), None) == project
    assert with_body(with_body(low, "keeled"), "low drag") == low
    assert with_body(project, None) == project


def test_project_is_loaded_in_the_body_of_its_setup(
    project: Project, tmp_path: Path
) -> None:
    """So that nothing that uses its car has to know of bodies."""
    setup = tmp_path / "p" / "proposed.toml"
    setup.write_text(
        SETUP.replace('name = "baseline"', 'name = "baseline"\nbody = "keeled"')
    )
    assert load(tmp_path / "p", "proposed.toml") == with_body(project, "keeled")
    assert read_setup(setup).body == "keeled"


def test_there_is_no_such_body(project: Project) -> None:
    """Said with the names there are."""
    with pytest.raises(
        UserError, match=r'"low-drag".*one of "low drag", "keeled"'
    ):
        with_body(project, "low-drag")


# --- the numbers ------------------------------------------------------------------------------------


def answers(project: Project) -> bytes:
    """Everything that is computed of every case, bit by bit."""
    return evaluate(project).answers.tobytes()


def test_body_with_the_cars_own_numbers_changes_nothing(tmp_path: Path) -> None:
    """The same air block, in car.toml or in a body: the same answers to the last bit."""
    project = load(
        written(tmp_path, {"copy": BODY, "other": scaled(BODY, 0.9)}, "copy")
    )
    assert answers(project) == answers(
        load(write_folder(tmp_path / "plain", venue=FEW))
    )
    assert answers(with_body(project, "other")) != answers(project)


@pytest.mark.parametrize("by", [2.0, 0.5])
def test_body_is_as_good_as_the_same_car_file(
    tmp_path: Path, by: float
) -> None:
    """A body with other areas and points equals a car.toml with them, to the last bit, limits included."""
    air = scaled(AIR, by) + POINT.replace(
        "least_gap_mm = 1", "least_gap_mm = 500"
    )
    car = CAR[: CAR.index("[air]")] + air
    worn = load(written(tmp_path / "worn", {"other": air}, "other"))
    whole = load(write_folder(tmp_path / "whole", car=car, venue=FEW))
    assert worn.car == whole.car
    assert answers(worn) == answers(whole)
    told = [
        broken(project, project.setup, evaluate(project))
        for project in (worn, whole)
    ]
    assert told[0] == told[1]
    assert "keel" in {limit.where for limit in told[0]}


# --- checksums --------------------------------------------------------------------------------------


def test_checksum_of_a_project_does_not_ask_what_is_worn(
    project: Project,
) -> None:
    """But it asks for every body, by name and number."""
    worn = [with_body(project, name) for name in (None, "keeled", "low drag")]
    assert len({project_checksum(one) for one in worn}) == 1
    first, second = project.bodies
    fewer = replace(project, bodies=(first,))
    renamed = replace(project, bodies=(first, replace(second, name="other")))
    slower = replace(
        project,
        bodies=(
            first,
            replace(second, air=replace(second.air, drag_area=0.61)),
        ),
    )
    assert (
        len(
            {project_checksum(one) for one in (project, fewer, renamed, slower)}
        )
        == 4
    )


def test_checksum_of_a_setup_asks_what_it_wears(project: Project) -> None:
    """Three bodies, three checksums, whatever the project's car wears meanwhile; another proof for each."""
    setups = [
        replace(project.setup, body=name)
        for name in (None, "keeled", "low drag")
    ]
    sums = [setup_checksum(project, setup) for setup in setups]
    assert len(set(sums)) == 3
    with_bodywork = with_body(project, "keeled")
    assert [setup_checksum(with_bodywork, setup) for setup in setups] == sums
    assert proof_file(with_bodywork, with_bodywork.setup).stem == sums[1]
    assert stored_proof(with_bodywork, with_bodywork.setup) is None


def test_checksum_without_bodies_stays(tmp_path: Path) -> None:
    """An empty folder of bodies is as good as none: kept proofs go on counting."""
    plain, empty = (
        load(write_folder(tmp_path / "a")),
        load(written(tmp_path / "b", {}, venue=VENUE)),
    )
    assert project_checksum(plain) == project_checksum(empty)
    assert setup_checksum(plain, plain.setup) == setup_checksum(
        empty, empty.setup
    )
