"""`setupopt sheet`: pages that can be read, a table that can be read back, a log that is only added to."""

from __future__ import annotations

import csv
import json
import shutil
from math import ceil, floor
from pathlib import Path

import pdfplumber
import pytest
from report.report_folders import changed

from setupopt.project import load
from setupopt.project.stored_proof import proof_file, stored_proof

from .conftest import Run, widest
from .test_prove import project

WHEELS = ("fl", "fr", "rl", "rr")
NAME = "An extraordinarily long setup name, 40 l"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bore with few cases and a target with a name of forty letters."""
    home = project(tmp_path_factory.mktemp("sheet") / "project")
    text = (home / "setup.toml").read_text()
    for before, after in (
        ("As last raced on a flat circuit", NAME), ("camber_deg = -1.5", "camber_deg = -4.5"),
        ("spring_N_per_mm = 160", "spring_N_per_mm = 200"), ("ride_height_mm = 45", "ride_height_mm = 40"),
        ("pressure_bar = 1.5", "pressure_bar = 1.4"), ("anti_roll_N_per_mm = 60", "anti_roll_N_per_mm = 20"),
    ):  # fmt: skip
        assert before in text
        text = text.replace(before, after)
    (home / "proposed.toml").write_text(text)
    return home


@pytest.fixture(scope="module")
def made(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the three files."""
    from click.testing import CliRunner

    from setupopt.cli.main import group

    out = tmp_path_factory.mktemp("out")
    done = CliRunner().invoke(group, ["sheet", str(folder), "--out", str(out), "--date", "2026-01-31",
                                      "--by", "A. Nobody"])  # fmt: skip
    assert done.exit_code == 0, done.output
    return out


def one(folder: Path, kind: str) -> Path:
    """The only file of a kind."""
    (path,) = folder.glob(f"*.{kind}")
    return path


@pytest.fixture(scope="module")
def answer(made: Path) -> dict:
    """The JSON."""
    found: dict = json.loads(one(made, "json").read_text())
    return found


def words(page: pdfplumber.page.Page) -> str:
    """All text of a page in the order in which it is written, lines run together."""
    return "".join(char["text"] for char in page.chars)


def pages_in(folder: Path) -> list[str]:
    """The text of each page of the only PDF."""
    with pdfplumber.open(one(folder, "pdf")) as pdf:
        return [words(page) for page in pdf.pages]


@pytest.fixture
def home(folder: Path, tmp_path: Path) -> Path:
    """A copy of the folder, to be changed."""
    return Path(shutil.copytree(folder, tmp_path / "project"))


def test_four_pages_with_their_headers(made: Path, answer: dict) -> None:
    """Target, change list, today, run card; each with car, venue, checksums, revision, date and maker."""
    pages = pages_in(made)
    assert len(pages) == 4
    heads = (
        "SETUP SHEET: TARGET",
        "CHANGE LIST",
        "AS IT STANDS TODAY",
        "RUN CARD",
    )
    for head, page in zip(heads, pages, strict=True):
        for part in (
            head,
            answer["project_checksum"],
            answer["target"]["checksum"],
            "2026-01-31",
            "A. Nobody",
        ):
            assert part in page
    assert NAME in pages[0]
    assert "targetfoundset" in pages[0]
    assert (
        "target" not in pages[2]
    )  # nobody must set the car to what it is to leave
    assert "todayfoundset" in pages[2]


def shown(value: float, digits: int) -> str:
    """A number as the page writes it, by Python's own decimal rounding of halves away from nothing."""
    from decimal import ROUND_HALF_UP, Decimal

    return str(
        Decimal(repr(value)).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)
    )


@pytest.mark.parametrize(("page", "state"), [(0, "target"), (2, "today")])
def test_every_number_of_a_state_is_on_its_page(
    made: Path, answer: dict, page: int, state: str
) -> None:
    """Each target with its unit, each tolerance, each place to measure."""
    text = pages_in(made)[page]
    for line in answer[state]["lines"]:
        for wheel in WHEELS:
            value = line["values"][wheel]
            if value is not None:
                assert f"{shown(value, line['digits'])} {line['unit']}" in text
        assert line["tolerance"] in text
        assert line["where"].replace(" ", "") in text.replace(" ", "")


def test_every_step_is_on_the_change_list(made: Path, answer: dict) -> None:
    """What to do, and word for word what the pad then reads, from where the driver is aboard."""
    text = pages_in(made)[1].replace(" ", "")
    assert answer["steps"]
    assert [step["is_read"] for step in answer["steps"]].count(True) >= 3
    for step in answer["steps"]:
        for said in (step["what"], *step["points"]):
            assert said.replace(" ", "") in text
        if not step["is_read"]:
            continue
        reading = step["reading"]
        heights = " / ".join(
            shown(reading["ride_height_mm"][axle], 1)
            for axle in ("front", "rear")
        )
        cross = shown(reading["cross_weight_percent"], 1)
        assert f"rideheight{heights}mm,cross{cross}%".replace(" ", "") in text
        for words_, key, digits, unit in (
            ("camber", "camber_deg", 2, "deg"), ("weight", "corner_weight_kg", 1, "kg")
        ):  # fmt: skip
            four = "".join(
                shown(reading[key][wheel], digits) for wheel in WHEELS
            )
            assert f"{words_}{four}{unit}" in text


def test_every_number_of_the_run_card_is_on_it(
    made: Path, answer: dict
) -> None:
    """Margin, speeds, every row by roll angle, every rule and attitude."""
    card = answer["run_card"]
    _, margins, _, text = (page.replace(" ", "") for page in pages_in(made))
    assert shown(card["margin"], 3) in text
    low, high = card["speeds_m_s"]
    assert (
        f"{low:g}m/s,{ceil(3.6 * low)}km/hto{high:g}m/s,{floor(3.6 * high)}km/h"
        in text
    )
    for row in card["by_angle"]:
        turned = "".join(
            shown(round(row[name], 1) + 0.0, 1)
            for name in ("sideslip_deg", "steer_deg")
        )
        assert (
            f"{row['roll_angle_deg']:g}{shown(row['margin'], 3)}{turned}"
            in text
        )
    for part in (*card["stop_rules"], *card["attitudes"]):
        assert part.replace(" ", "") in text
    for name in ("today", "target", "as_set"):
        assert shown(answer["margins"][name], 3) in margins


def test_nothing_lies_off_the_page_or_on_top_of_something(made: Path) -> None:
    """Every word inside the margins; no two words overlap by more than a point."""
    with pdfplumber.open(one(made, "pdf")) as pdf:
        for page in pdf.pages:
            found = page.extract_words(x_tolerance=1.5)
            assert min(word["x0"] for word in found) >= 28.0
            assert max(word["x1"] for word in found) <= float(page.width) - 28.0
            assert (
                max(word["bottom"] for word in found)
                <= float(page.height) - 10.0
            )
            for i, a in enumerate(found):
                for b in found[i + 1 :]:
                    across = min(a["x1"], b["x1"]) - max(a["x0"], b["x0"])
                    down = min(a["bottom"], b["bottom"]) - max(
                        a["top"], b["top"]
                    )
                    assert across <= 1.0 or down <= 3.0, (a["text"], b["text"])


def test_letters_are_large_enough(made: Path) -> None:
    """At arm's length: nothing on any page is under 9 points (common practice, no source)."""
    with pdfplumber.open(one(made, "pdf")) as pdf:
        assert (
            min(char["size"] for page in pdf.pages for char in page.chars)
            >= 8.99
        )


def test_long_names_and_extreme_values_keep_the_pages(
    home: Path, tmp_path: Path, run: Run
) -> None:
    """Forty wide letters of car and venue, four digits of spring: still a page for each state and card."""
    names = {
        "car.toml": ("Example car for a circular bore (invented)", "W" * 40),
        "venue.toml": ("Example bore, 8 m radius (invented)", "Ag" * 20),
        "proposed.toml": ("spring_N_per_mm = 180", "spring_N_per_mm = 1999.5"),
    }
    for file, texts in names.items():
        changed(home, file, *texts)
    # as an angle of a surveyed section has them
    sweep = "{ from = 0, to = 180, step = 180 }"
    other = "{ from = 19.485048338, to = 139.485048338, step = 120 }"
    changed(home, "venue.toml", sweep, other)
    assert run("sheet", home, "--out", tmp_path / "out").exit_code in (0, 1)
    pages = pages_in(tmp_path / "out")
    assert len(pages) == 4
    with pdfplumber.open(one(tmp_path / "out", "pdf")) as pdf:
        assert all(
            min(w["x0"] for w in page.extract_words()) >= 28.0
            and max(w["x1"] for w in page.extract_words())
            <= float(page.width) - 28.0
            for page in pdf.pages
        )
    assert "W" * 40 in pages[0]
    assert "Ag" * 20 in pages[0]


def test_a_setup_that_must_not_run_says_so_on_every_page(
    home: Path, run: Run, tmp_path: Path
) -> None:
    """Contact lost at low speed: the reason on top of each page and in the terminal, status 1."""
    changed(home, "venue.toml", "speed_m_s = 54", "speed_m_s = 30")
    done = run("sheet", home, "--out", tmp_path / "out", "--quiet")
    assert done.exit_code == 1
    assert "DO NOT RUN" in done.stdout
    reasons = json.loads(one(tmp_path / "out", "json").read_text())[
        "do_not_run"
    ]
    assert reasons[-2].startswith("Contact lost in")
    assert reasons[-1].startswith("No safe speed")
    pages = pages_in(tmp_path / "out")
    assert len(pages) >= 4
    for page in pages:
        assert page.startswith("DO NOT RUN")
    for reason in reasons:
        assert reason.replace(" ", "") in pages[-1].replace(" ", "")


def test_the_margin_is_not_the_largest_thing_without_a_proof(
    made: Path, answer: dict
) -> None:
    """The words NOT PROVED are read first; the margin is set no larger than the text."""
    with pdfplumber.open(one(made, "pdf")) as pdf:
        found = pdf.pages[3].extract_words(extra_attrs=["size"])
    margin = [
        word["size"]
        for word in found
        if word["text"] == shown(answer["run_card"]["margin"], 3)
    ]
    assert margin
    assert (
        max(margin)
        < 12.0
        < max(word["size"] for word in found if word["text"] == "PROVED")
    )


def test_unproved_setup_says_so_in_large_letters(
    made: Path, answer: dict
) -> None:
    """No figure for bump, gust or wind is invented."""
    with pdfplumber.open(one(made, "pdf")) as pdf:
        page = pdf.pages[3]
        large = "".join(
            char["text"] for char in page.chars if char["size"] > 19.0
        )
    assert "NOT PROVED" in large
    card = answer["run_card"]
    assert (card["proved"], card["bump"], card["gust"], card["wind"]) == (
        False,
        None,
        None,
        None,
    )


def test_proved_setup_shows_the_figures_of_its_proof(
    folder: Path, run: Run, tmp_path: Path
) -> None:
    """A kept proof of exactly this setup is used; one of another setup, or a damaged one, is not."""
    loaded = load(folder, "proposed.toml")
    file = proof_file(loaded, loaded.setup)
    case = {"case": 1, "roll_angle_deg": 90.0, "attitude": "straight", "bump_mm": 4.259, "bump_length_m": 1.0,
            "bump_track": "both"}  # fmt: skip
    wind = {
        "from_deg": 135.0,
        "gust_m_s": 3.48,
        "steady_m_s": 5.69,
        "roll_angle_deg": 90.0,
        "attitude": "straight",
    }
    proof = {"holds": True, "floor": 0.0, "verdicts": [], "cases": [case], "wind": [wind],
             "setup": {"checksum": file.stem}}  # fmt: skip
    file.parent.mkdir()
    file.write_text(json.dumps(proof))
    run("sheet", folder, "--out", tmp_path)
    text = pages_in(tmp_path)[3]
    # Highest values that may be met: none is rounded up, in any unit
    for part in (
        "4.25 mm", "3.4 m/s, 12 km/h", "5.6 m/s, 20 km/h", "from 135 deg",
        "Anything higher than 4.25 mm", "gusts over 3.4 m/s, 12 km/h",
    ):  # fmt: skip
        assert part in text
    assert "NOT PROVED" not in text
    file.write_text(json.dumps(proof | {"setup": {"checksum": "0" * 12}}))
    assert stored_proof(loaded, loaded.setup) is None
    file.write_text(json.dumps(proof)[:-9])
    assert stored_proof(loaded, loaded.setup) is None
    shutil.rmtree(file.parent)


def test_table_has_room_for_what_was_found(made: Path, answer: dict) -> None:
    """Empty cells at the wheels, targets beside them, in the units of the files."""
    body, *rows = csv.DictReader(one(made, "csv").read_text().splitlines())
    assert (body["quantity"], body["fl"], body["target_fl"]) == (
        "body",
        "",
        "car.toml",
    )
    assert [row["quantity"] for row in rows] == [
        line["quantity"] for line in answer["target"]["lines"]
    ]
    for row, line in zip(rows, answer["target"]["lines"], strict=True):
        assert [row[wheel] for wheel in WHEELS] == ["", "", "", ""]
        assert row["unit"] == line["unit"]
        for wheel in WHEELS:
            value = line["values"][wheel]
            assert row[f"target_{wheel}"] == (
                "" if value is None else f"{value:g}"
            )


def test_same_input_same_bytes(
    folder: Path, made: Path, tmp_path: Path, run: Run
) -> None:
    """Printed again on the same date, all three files are the same, and no line is logged."""
    log = (folder / "revisions.csv").read_bytes()
    run(
        "sheet",
        folder,
        "--out",
        tmp_path,
        "--date",
        "2026-01-31",
        "--by",
        "A. Nobody",
    )
    for kind in ("pdf", "csv", "json"):
        assert one(tmp_path, kind).read_bytes() == one(made, kind).read_bytes()
    assert (folder / "revisions.csv").read_bytes() == log


def test_new_target_is_a_new_revision(
    home: Path, tmp_path: Path, run: Run
) -> None:
    """Another setup gets the next number and a line that says what was changed."""
    run("sheet", home, "--out", tmp_path / "one")
    run(
        "sheet",
        home,
        "--setup",
        "setup.toml",
        "--out",
        tmp_path / "two",
        "--date",
        "2026-02-01",
    )
    rows = list(
        csv.DictReader((home / "revisions.csv").read_text().splitlines())
    )
    assert [row["revision"] for row in rows] == ["1", "2"]
    assert "camber front -1.5 -> -4.5 deg" in rows[0]["changes"]
    assert rows[1]["date"] == "2026-02-01"


def test_another_body_is_on_every_kind_of_sheet(
    home: Path, tmp_path: Path, run: Run
) -> None:
    """The first line of the work; on the head of every page the body of its state; in table, JSON and log."""
    worn = '[setup]\nbody = "low-drag"'
    changed(home, "proposed.toml", "[setup]", worn)
    done = run("sheet", home, "--out", tmp_path / "out", "--quiet")
    assert 'in the body "low-drag"' in done.stdout
    step = 'Fit the body "low-drag" in place of the body of car.toml'
    assert f"1  {step}" in run("sheet", home, "--out", tmp_path / "out").stdout
    answer = json.loads(one(tmp_path / "out", "json").read_text())
    assert answer["bodies"] == ["long-floor", "low-drag"]
    assert (answer["today"]["body"], answer["target"]["body"]) == (
        None,
        "low-drag",
    )
    assert (answer["steps"][0]["what"], answer["steps"][0]["job"]) == (
        step,
        "body",
    )
    pages = pages_in(tmp_path / "out")
    heads = [
        page[:80]
        for page in pages
        if page.startswith(("SETUP SHEET", "CHANGE LIST", "RUN CARD"))
    ]
    assert ["body low-drag" in head for head in heads] == [
        True,
        True,
        False,
        True,
    ]
    assert "body of car.toml" in heads[2]
    assert step.replace(" ", "") in pages[1].replace(" ", "")
    first, *_ = csv.DictReader(
        one(tmp_path / "out", "csv").read_text().splitlines()
    )
    assert (first["quantity"], first["target_fl"]) == ("body", "low-drag")
    *_, logged = csv.DictReader(
        (home / "revisions.csv").read_text().splitlines()
    )
    assert logged["changes"].startswith('body of car.toml -> body "low-drag"; ')


def test_nothing_is_said_of_bodies_where_there_is_one(
    folder: Path, tmp_path: Path, run: Run
) -> None:
    """A project without other bodies has the sheets that it always had."""
    home = tmp_path / "project"
    shutil.copytree(folder, home, ignore=shutil.ignore_patterns("bodies"))
    assert (
        "body"
        not in run("sheet", home, "--out", tmp_path / "out", "--quiet").stdout
    )
    assert "body" not in one(tmp_path / "out", "csv").read_text()
    assert not any("body of" in page for page in pages_in(tmp_path / "out"))


@pytest.mark.parametrize("text", ["2026-13-01", "yesterday", "01.02.2026"])
def test_a_date_that_is_none(folder: Path, run: Run, text: str) -> None:
    """Refused with what was found, exit status 2."""
    done = run("sheet", folder, "--date", text)
    assert done.exit_code == 2
    assert text in done.output


def test_a_name_is_content_not_markup(
    home: Path, tmp_path: Path, run: Run
) -> None:
    """Letters that mean something to the typesetter come out as they are."""
    changed(home, "proposed.toml", NAME, "#eval *a* $x$ @b <c> _d_ \\\\e")
    assert run("sheet", home, "--out", tmp_path / "out").exit_code == 0
    assert "#eval *a* $x$ @b <c> _d_ \\e" in pages_in(tmp_path / "out")[0]
    assert one(tmp_path / "out", "pdf").name.startswith(
        "sheet-001-eval-a-x-b-c-d-e-"
    )


@pytest.mark.parametrize("width", ["80", "160"])
def test_text_fits_the_terminal(
    folder: Path,
    tmp_path: Path,
    run: Run,
    width: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No line of steps or readings is wider than the screen."""
    monkeypatch.setenv("COLUMNS", width)
    text = run("sheet", folder, "--out", tmp_path).stdout
    assert widest(text) <= int(width)
