"""`setupopt assess`: every option, exit statuses, JSON and the case table."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import threading
from pathlib import Path
from typing import Any

import pytest
from project.good_folder import LIMITS, SETUP

from setupopt.cli import waiting
from setupopt.evaluation.model import Model, evaluate
from setupopt.physics import sweep
from setupopt.project import load
from setupopt.report.shared.words import CLOSING

from . import folders
from .conftest import Run, installed

# The columns of the case table, in their order; fixed for scripts
COLUMNS = """
case,roll_angle_deg,attitude,speed_m_s,contact,margin,use_front,use_rear,first_axle,
load_fl_N,load_fr_N,load_rl_N,load_rr_N,grip_fl_N,grip_fr_N,grip_rl_N,grip_rr_N,
inclination_fl_deg,inclination_fr_deg,inclination_rl_deg,inclination_rr_deg,
patch_fl_mm2,patch_fr_mm2,patch_rl_mm2,patch_rr_mm2,front_gap_mm,rear_gap_mm,
downforce_N,drag_N,heave_mm,pitch_deg,body_roll_deg,least_clearance_mm,travel_left_mm,wheels_in_air,
sideslip_deg,steer_deg,slip_angle_fl_deg,slip_angle_fr_deg,slip_angle_rl_deg,slip_angle_rr_deg,lambda,balance,
growth_per_s
""".replace("\n", "").split(",")
KEYS = [
    "worst", "by_angle", "cases", "contact_lost", "slides", "wheels_in_air", "limits_broken",
    "would_hold", "cautions",
    "assumed", "losses", "ride_modes", "floor",
]  # fmt: skip
ROW = [
    "roll_angle_deg", "margin", "attitude", "sideslip_deg", "steer_deg", "balance", "wheels_in_air",
]  # fmt: skip


def answer(run: Run, *args: str | Path) -> dict[str, Any]:
    """The JSON of a run; strict, so that NaN would be noticed."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    found: dict[str, Any] = json.loads(
        run("assess", "--json", *args).stdout, parse_constant=refuse
    )
    return found


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


# --- exit status ------------------------------------------------------------------------------------


def test_status_of_a_project_that_holds(run: Run, held: Path) -> None:
    """0, and 1 when the floor asked for lies above the worst margin."""
    margin = answer(run, held)["worst"]["margin"]
    assert run("assess", held).exit_code == 0
    assert run("assess", held, "--floor", f"{margin:.17g}").exit_code == 0
    assert run("assess", held, "--floor", "-1").exit_code == 0
    assert (
        run("assess", held, "--floor", f"{margin + 1e-9:.17g}").exit_code == 1
    )


def test_status_of_lost_contact(run: Run, tmp_path: Path) -> None:
    """1 without any limit or floor: contact lost is never in order."""
    folder = folders.lost(tmp_path)
    (folder / "limits.toml").unlink()
    (folder / "car.toml").write_text(folders.HELD_CAR)
    found = answer(run, folder)
    assert found["contact_lost"] > 0
    assert found["limits_broken"] == []
    assert run("assess", folder).exit_code == 1
    assert run("assess", folder, "--floor", "-5").exit_code == 1


def test_status_of_a_broken_limit(run: Run, tmp_path: Path) -> None:
    """1, however good the margin is."""
    folder = folders.held(tmp_path)
    (folder / "limits.toml").write_text(
        "[packaging]\nwheel_load_least_N = 50000\n"
    )
    found = answer(run, folder)
    assert found["contact_lost"] == 0
    assert [limit["limit"] for limit in found["limits_broken"]] == [
        "packaging.wheel_load_least_N"
    ]
    assert run("assess", folder).exit_code == 1


def test_a_car_that_slides_never_passes(run: Run, tmp_path: Path) -> None:
    """1 without any limit, and whatever margin is asked for: the friction that it needs is not there."""
    folder = folders.sliding(tmp_path)
    found = answer(run, folder)
    assert (found["contact_lost"], found["limits_broken"]) == (0, [])
    assert 0 < found["slides"] < found["cases"]
    assert run("assess", folder).exit_code == 1
    assert run("assess", folder, "--floor", "-5").exit_code == 1


def test_a_slide_is_said_with_the_friction_that_it_needs(
    run: Run, tmp_path: Path
) -> None:
    """In the JSON by lambda above 1, without use or loads; on the screen in words that praise no contact."""
    folder = folders.sliding(tmp_path)
    found = answer(run, folder)
    worst = found["worst"]
    assert (
        worst["margin"] == pytest.approx(1.0 - worst["lambda"])
        and worst["margin"] < 0.0
    )
    assert [
        worst[name]
        for name in (
            "use_front",
            "use_rear",
            "load_fl_N",
            "grip_rr_N",
            "balance",
        )
    ] == [None] * 5
    assert worst["sideslip_deg"] is not None and worst["steer_deg"] is not None
    assert [row["balance"] is None for row in found["by_angle"]] == [
        row["margin"] < 0 for row in found["by_angle"]
    ]
    shown = " ".join(run("assess", folder).stdout.split())
    assert (
        f"THE CAR SLIDES in {found['slides']} of {found['cases']} cases"
        in shown
    )
    assert "Contact is kept" not in shown
    more = float(re.search(r"needs ([\d.]+) % more friction", shown)[1])  # type: ignore[index]
    assert more == pytest.approx(
        100.0 * (worst["lambda"] - 1.0), rel=0.05
    )  # two digits are shown


# --- JSON -------------------------------------------------------------------------------------------


def test_json_of_a_project_that_holds(run: Run, held: Path) -> None:
    """Keys in their order, the worst case with every column, one entry an angle."""
    found = answer(run, held, "--floor", "0.1")
    assert list(found) == KEYS
    assert list(found["worst"]) == COLUMNS
    assert (
        found["cases"],
        found["contact_lost"],
        found["slides"],
        found["floor"],
    ) == (8, 0, 0, 0.1)
    assert [
        row["roll_angle_deg"] for row in found["by_angle"]
    ] == pytest.approx([0, 20, 40, 60])
    assert all(list(row) == ROW for row in found["by_angle"])
    assert found["worst"]["margin"] == min(
        row["margin"] for row in found["by_angle"]
    )
    assert found["worst"]["contact"] is True
    assert [row["mode"] for row in found["ride_modes"]][:4] == [
        "heave",
        "pitch",
        "roll",
        "warp",
    ]
    assert all(row["frequency_hz"] > 0.0 for row in found["ride_modes"])


def test_json_is_what_the_library_gives(run: Run, held: Path) -> None:
    """The command adds nothing to the numbers."""
    result = evaluate(load(held))
    assert answer(run, held)["worst"] == result.fields(int(result.worst[0]))


def test_json_of_lost_contact(run: Run, lost: Path) -> None:
    """A lost case has no number: null, in the worst case and at its angle."""
    found = answer(run, lost)
    assert found["worst"]["contact"] is False
    assert found["worst"]["margin"] is None
    result = evaluate(load(lost))
    assert found["contact_lost"] == result.lost() > 0
    assert found["by_angle"] == result.by_angle()
    assert None in [row["margin"] for row in found["by_angle"]]
    assert found["by_angle"][0]["margin"] > 0
    first = found["limits_broken"][0]
    assert set(first) == {
        "limit", "where", "value", "sense", "required", "unit", "case", "roll_angle_deg", "attitude",
        "along_mm",
    }  # fmt: skip
    assert {loss["cause"] for loss in found["losses"]} >= {
        "wind",
        "camber mismatch",
        "stops",
    }


def test_json_stands_alone_on_standard_output(run: Run, tmp_path: Path) -> None:
    """Cautions go inside, and to standard error unless it is to be quiet."""
    folder = folders.odd(tmp_path)
    loud, quiet = (
        run("assess", folder, "--json"),
        run("assess", folder, "--json", "--quiet"),
    )
    assert loud.stdout == quiet.stdout
    assert "cg_height_mm" in json.loads(loud.stdout)["cautions"][0]
    assert "CAUTIONS (" in loud.stderr
    assert "cg_height_mm" in loud.stderr
    assert quiet.stderr == ""


# --- case table -------------------------------------------------------------------------------------


def test_case_table_has_its_columns_and_full_numbers(
    run: Run, lost: Path, tmp_path: Path
) -> None:
    """Order exact, floats that read back as they were, true or false, nothing for a lost case."""
    path = tmp_path / "cases.csv"
    assert run("assess", lost, "--cases-out", path).exit_code == 1
    found = rows(path)
    assert list(found[0]) == COLUMNS
    result = evaluate(load(lost))
    assert [
        float(row["margin"]) for row in found if row["contact"] == "true"
    ] == [float(margin) for margin in result.margin[0][result.contact[0]]]
    gone = [row for row in found if row["contact"] == "false"]
    assert len(gone) == result.lost()
    assert all(set(list(row.values())[5:]) == {""} for row in gone)
    assert [row["case"] for row in found] == [
        str(number) for number in range(1, 75)
    ]


def test_case_table_keeps_awkward_names(run: Run, tmp_path: Path) -> None:
    """Commas, quotes and other scripts in the name of an attitude."""
    folder = folders.held(tmp_path)
    venue = folders.HELD_VENUE.replace('"steady"', "'a, \"b\" 車 nan'")
    (folder / "venue.toml").write_text(venue)
    run("assess", folder, "--cases-out", tmp_path / "c.csv")
    assert rows(tmp_path / "c.csv")[0]["attitude"] == 'a, "b" 車 nan'


def test_cases_from_a_file(run: Run, held: Path, tmp_path: Path) -> None:
    """Cases instead of the sweep; grouped by the angles that are given; their names kept."""
    path = tmp_path / "in.csv"
    path.write_text(
        "name,roll_angle_deg,speed_m_s,acceleration_m_s2,radius_mm\na,30,50,0,8000\nb,0,40,-2,inf\nc,30,60,0,\n"
    )
    found = answer(
        run, held, "--cases", path, "--cases-out", tmp_path / "out.csv"
    )
    assert found["cases"] == 3
    assert [row["roll_angle_deg"] for row in found["by_angle"]] == [0, 30]
    table = rows(tmp_path / "out.csv")
    assert [(row["case"], row["attitude"]) for row in table] == [
        ("1", "a"),
        ("2", "b"),
        ("3", "c"),
    ]
    at_30 = min(
        (row for row in table if row["attitude"] != "b"),
        key=lambda row: float(row["margin"]),
    )
    assert found["by_angle"][1]["attitude"] == at_30["attitude"]
    assert found["by_angle"][1]["margin"] == float(at_30["margin"])


def test_a_long_list_that_is_stopped_leaves_nothing(
    run: Run, held: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Control-C after some pieces: their rows are on the disk by then, and are taken away."""
    path = tmp_path / "in.csv"
    path.write_text("roll_angle_deg,speed_m_s\n" + "10,50\n20,50\n30,50\n")
    monkeypatch.setattr(sweep, "at_a_time", lambda: 1)
    solved = Model.run
    left = [2]

    def some(*given: Any, **options: Any) -> Any:
        if not left[0]:
            assert any(p.stat().st_size for p in tmp_path.glob(".out*.tmp"))
            raise KeyboardInterrupt
        left[0] -= 1
        return solved(*given, **options)

    before = sorted(tmp_path.iterdir())
    with monkeypatch.context() as stopping:
        stopping.setattr(Model, "run", some)
        done = run(
            "assess", held, "--cases", path, "--cases-out", tmp_path / "out.csv"
        )
    assert (done.exit_code, done.stderr) == (
        130,
        "stopped; nothing was written\n",
    )
    assert sorted(tmp_path.iterdir()) == before
    run("assess", held, "--cases", path, "--cases-out", tmp_path / "out.csv")
    assert [row["case"] for row in rows(tmp_path / "out.csv")] == list("123")


def test_a_list_that_no_workbook_holds_is_refused(
    run: Run, held: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before it is solved; without --excel it is taken."""
    monkeypatch.setattr("setupopt.cli.assess._MOST_IN_EXCEL", 2)
    path = tmp_path / "in.csv"
    path.write_text("roll_angle_deg,speed_m_s\n" + "10,50\n" * 3)
    out = tmp_path / "out"
    args = ("assess", held, "--cases", path, "--out", out)
    done = run(*args, "--excel")
    assert done.exit_code == 2
    assert f"{path}: found 3 rows, expected at most 2" in done.stderr
    assert not out.exists()
    assert run(*args).exit_code == 0


def test_cases_of_the_sweep_give_the_sweep(
    run: Run, held: Path, tmp_path: Path
) -> None:
    """The same cases by list and by sweep have the same numbers."""
    path = tmp_path / "in.csv"
    listed = [
        f"{name},{angle},60,{a}"
        for name, a in (("steady", 0), ("braking", -3))
        for angle in (0, 20, 40, 60)
    ]
    path.write_text(
        "\n".join(
            ["attitude,roll_angle_deg,speed_m_s,acceleration_m_s2", *listed]
        )
        + "\n"
    )
    by_list, by_sweep = answer(run, held, "--cases", path), answer(run, held)
    angles = [found.pop("by_angle") for found in (by_list, by_sweep)]
    assert by_list == by_sweep
    for one, other in zip(*angles, strict=True):
        assert one == other | {
            "roll_angle_deg": pytest.approx(other["roll_angle_deg"])
        }


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "roll_angle_deg,speed_m_s\n0,fast\n",
            'line 2, speed_m_s: found "fast"',
        ),
        ("roll_angle_deg\n0\n", "speed_m_s: found no such column"),
        (
            "roll_angle_deg,speed_m_s,heading_deg,radius_mm\n0,50,60,1200\n",
            "line 2, radius_mm",
        ),
        ("", "an empty file"),
    ],
)
def test_bad_cases_are_refused(
    run: Run, held: Path, tmp_path: Path, text: str, said: str
) -> None:
    """File, line and column; nothing is written."""
    (tmp_path / "in.csv").write_text(text)
    result = run(
        "assess",
        held,
        "--cases",
        tmp_path / "in.csv",
        "--cases-out",
        tmp_path / "out.csv",
    )
    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr
    assert not (tmp_path / "out.csv").exists()


# --- files ------------------------------------------------------------------------------------------


def test_files_that_are_read_are_never_overwritten(
    run: Run, tmp_path: Path
) -> None:
    """Not the cases, not the project, not the setup, by whatever name they are called."""
    folder = folders.held(tmp_path / "p")
    cases = tmp_path / "in.csv"
    cases.write_text("roll_angle_deg,speed_m_s\n0,50\n")
    (folder / "other.toml").write_text(SETUP)
    (tmp_path / "link.csv").symlink_to(cases)
    for target in (
        cases,
        folder / "car.toml",
        folder / "other.toml",
        tmp_path / "link.csv",
    ):
        before = target.read_bytes()
        args = (
            "--setup",
            "other.toml",
            "--cases",
            cases,
            "--cases-out",
            target,
        )
        result = run("assess", folder, *args)
        assert (result.exit_code, result.stdout) == (2, "")
        assert "one of the files that are read" in result.stderr
        assert target.read_bytes() == before


def test_places_that_cannot_be_written_are_refused_before_the_work(
    run: Run, held: Path, tmp_path: Path
) -> None:
    """A folder that is not there, a folder in place of a file, a file in place of a folder."""
    (tmp_path / "file").write_text("x")
    (tmp_path / "folder").mkdir()
    for args in (
        ("--cases-out", tmp_path / "none" / "c.csv"),
        ("--cases-out", tmp_path / "folder"),
        ("--out", tmp_path / "file"),
    ):
        result = run("assess", held, *args)
        assert (result.exit_code, result.stdout) == (2, "")
        assert "could not be written" in result.stderr
    assert sorted(path.name for path in tmp_path.rglob("*")) == [
        "file",
        "folder",
    ]


def test_out_takes_text_json_and_table(
    run: Run, held: Path, tmp_path: Path
) -> None:
    """Made if missing; --cases-out still goes where it says."""
    out = tmp_path / "a" / "b"
    shown = run("assess", held, "--out", out, "--json").stdout
    written = sorted(path.name for path in out.iterdir())
    assert written == ["assess.json", "assess.svg", "assess.txt", "cases.csv"]
    assert (out / "assess.json").read_text() == shown
    assert len(rows(out / "cases.csv")) == 8
    assert "Worst margin" in (out / "assess.txt").read_text()
    run(
        "assess",
        held,
        "--out",
        tmp_path / "c",
        "--cases-out",
        tmp_path / "own.csv",
    )
    left = sorted(path.name for path in (tmp_path / "c").iterdir())
    assert left == ["assess.json", "assess.svg", "assess.txt"]
    assert len(rows(tmp_path / "own.csv")) == 8


def test_another_setup_changes_the_numbers(
    run: Run, held: Path, tmp_path: Path
) -> None:
    """--setup stands the car on another file, which may lie anywhere."""
    other = tmp_path / "other.toml"
    other.write_text(
        SETUP.replace("baseline", "softer").replace(
            "spring_N_per_mm = 140", "spring_N_per_mm = 90"
        )
    )
    assert (
        answer(run, held, "--setup", other)["worst"]
        != answer(run, held)["worst"]
    )
    assert '"softer"' in run("assess", held, "--setup", other).stdout
    assert run("assess", held, "--setup", tmp_path / "none.toml").exit_code == 2


def test_a_setup_by_its_name_is_that_of_the_project(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file of the same name in the current folder is another car's; the file that was read is printed."""
    folder = folders.held(tmp_path / "project")
    (folder / "other.toml").write_text(
        SETUP.replace("baseline", "of the project")
    )
    (tmp_path / "other.toml").write_text(
        SETUP.replace("baseline", "of the current folder")
    )
    monkeypatch.chdir(tmp_path)
    shown = run("assess", "project", "--setup", "other.toml").stdout
    assert shown.startswith("Setup: of the project (project/other.toml)\n")
    assert "of the current folder" not in shown
    (folder / "other.toml").unlink()
    shown = run("assess", "project", "--setup", "other.toml").stdout
    assert shown.startswith("Setup: of the current folder (other.toml)\n")


# --- the text ---------------------------------------------------------------------------------------


def test_text_of_a_project_that_holds(run: Run, held: Path) -> None:
    """Verdict, tables and the standing caution at the end."""
    shown = run("assess", held, "--floor", "0.9").stdout
    assert "Contact is kept in all 8 cases." in shown
    assert "Minimum margin 0.9: FAIL" in shown
    assert "LIMITS BROKEN" not in shown
    assert "axle reaches its grip first" in " ".join(shown.split())
    assert "camber mismatch" in shown
    assert " ".join(shown.split()).endswith(CLOSING)


def test_text_of_lost_contact(run: Run, lost: Path) -> None:
    """In plain words, with a count, and never a margin in its place."""
    shown = run("assess", lost).stdout
    count = evaluate(load(lost)).lost()
    assert (
        f"CONTACT LOST in {count} of 74 cases: there the car comes off the surface."
        in shown
    )
    assert "Worst margin: none, contact is lost (at " in shown
    assert "more press towards the surface would be needed" in shown
    assert "regain" in shown
    assert "packaging.arch[1]" in shown


def test_cautions_come_first_and_are_never_hidden(
    run: Run, tmp_path: Path
) -> None:
    """Before any number, also when it is to be quiet."""
    folder = folders.odd(tmp_path)
    for args in ((), ("--quiet",)):
        shown = run("assess", folder, *args).stdout
        assert shown.index("car.toml car.cg_height_mm") < shown.index(
            "Worst margin"
        )


def test_quiet_keeps_the_verdict_only(run: Run, lost: Path) -> None:
    """Verdict, broken limits and the standing caution; no tables of cases."""
    shown = run("assess", lost, "--quiet").stdout
    assert "CONTACT LOST in" in shown
    assert "LIMITS BROKEN (" in shown
    assert "worst attitude" not in shown
    assert " ".join(shown.split()).endswith(CLOSING)


@pytest.mark.parametrize(
    ("columns", "widest"), [("20", 80), ("80", 80), ("160", 160), ("500", 160)]
)
@pytest.mark.parametrize("make", [folders.held, folders.lost, folders.odd])
def test_text_fits_the_terminal(
    run: Run,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    columns: str,
    widest: int,
    make: Any,
) -> None:
    """Plain letters, no line too long, none with blanks at its end; long names are cut."""
    monkeypatch.setenv("COLUMNS", columns)
    folder = make(tmp_path)
    venue = (folder / "venue.toml").read_text()
    name = "long name " * 7
    (folder / "venue.toml").write_text(
        venue.replace('name = "steady"', f'name = "{name}"')
    )
    (folder / "limits.toml").write_text(
        LIMITS.replace('attitude = "steady"', f'attitude = "{name}"')
    )
    shown = run("assess", folder).stdout
    assert shown.isascii()
    assert max(map(len, shown.splitlines())) <= widest
    assert all(line == line.rstrip() for line in shown.splitlines())


def test_narrow_terminal_shows_as_much(
    run: Run, lost: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Limits are told whole, with the place where they break: in more lines, but nothing is left out."""
    narrow = run("assess", lost).stdout
    monkeypatch.setenv("COLUMNS", "160")
    wide = run("assess", lost).stdout
    assert "packaging.travel_left_least_mm  " in wide
    assert "packaging.travel_left_  " in narrow and "  least_mm\n" in narrow
    counts = [
        shown[shown.index("LIMITS BROKEN") :].split().count("climbing")
        for shown in (wide, narrow)
    ]
    assert counts[0] == counts[1] > 2


def test_dense_sweep_is_thinned_to_a_page(run: Run, tmp_path: Path) -> None:
    """The worst of neighbours stands for them; the worst of all is always shown."""
    folder = folders.held(tmp_path)
    (folder / "venue.toml").write_text(
        folders.HELD_VENUE.replace("step = 20", "step = 0.5")
    )
    shown = run("assess", folder).stdout
    assert "of every 4 neighbouring angles the worst" in " ".join(shown.split())
    margins = shown[
        shown.index("worst attitude\n") : shown.index("  Sideslip in deg")
    ]
    assert len(margins.splitlines()) <= 40
    assert f"{answer(run, folder)['worst']['margin']:.3f}" in margins


# --- waiting ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("terminal", "compiled", "args", "said"),
    [
        (True, False, (), "compiling the model once, about 20 seconds\n"),
        (True, True, (), ""),
        (False, False, (), ""),
        (True, False, ("--quiet",), ""),
    ],
)
def test_compiling_is_announced_on_a_terminal(
    run: Run, held: Path, monkeypatch: pytest.MonkeyPatch, terminal: bool, compiled: bool,
    args: tuple[str, ...], said: str,
) -> None:  # fmt: skip
    """Only where somebody is waiting, and only when there is something to wait for."""
    monkeypatch.setattr(waiting, "is_terminal", lambda: terminal)
    monkeypatch.setattr(
        "setupopt.physics.kept_kernels.is_compiled_already", lambda: compiled
    )
    assert run("assess", held, *args).stderr == said


def test_without_a_card_the_processor_does_the_work(
    run: Run, held: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """--gpu says why, and the answer is the same to the last digit."""
    monkeypatch.setattr("setupopt.physics.gpu.missing", lambda: "no card")
    asked = run("assess", held, "--json", "--gpu")
    assert "--gpu: no card; the processor does the work" in asked.stderr
    assert asked.stdout == run("assess", held, "--json").stdout


@pytest.mark.parametrize(
    ("terminal", "quiet", "term", "shown"),
    [(True, False, "xterm", True), (True, True, "xterm", False), (False, False, "xterm", False),
     (True, False, "dumb", False)],
)  # fmt: skip
def test_progress_is_for_terminals(
    monkeypatch: pytest.MonkeyPatch,
    terminal: bool,
    quiet: bool,
    term: str,
    shown: bool,
) -> None:
    """A line after a moment's wait, taken away at the end; none where it would be litter."""
    seen = io.StringIO()
    drawn = threading.Event()
    monkeypatch.setattr(
        waiting, "_put", lambda text: (seen.write(text), drawn.set())
    )
    monkeypatch.setattr(waiting, "is_terminal", lambda: terminal)
    monkeypatch.setattr(waiting, "_PATIENCE", 0.0)
    monkeypatch.setenv("TERM", term)
    progress = waiting.Progress(10, quiet)
    progress(4)
    with progress:
        assert drawn.wait(10.0 if shown else 0.1) == shown
    assert ("4 of 10" in seen.getvalue()) == shown
    assert seen.getvalue().rpartition("\r")[2] == ""


def test_real_run(held: Path, tmp_path: Path) -> None:
    """The whole way in a process of its own: JSON out, table written; --quiet leaves out the cautions."""
    table = tmp_path / "c.csv"
    done = installed("assess", held, "--json", "--quiet", "--cases-out", table)
    assert (done.returncode, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    assert math.isfinite(found["worst"]["margin"])
    worst = rows(table)[found["worst"]["case"] - 1]
    assert worst["margin"] == repr(found["worst"]["margin"])


# --- bodies -----------------------------------------------------------------------------------------


def test_body_is_told_where_there_are_several(run: Run, tmp_path: Path) -> None:
    """In the head, by its name; a project with one body says nothing. The margin is that of the body worn."""
    folder = folders.held(tmp_path)
    air = folders.HELD_CAR[folders.HELD_CAR.index("[air]") :]
    assert "in the body" not in run("assess", folder).stdout
    margin = answer(run, folder)["worst"]["margin"]
    (folder / "bodies").mkdir()
    (folder / "bodies" / "half floor.toml").write_text(
        air.replace("ground_area_m2 = 2.0", "ground_area_m2 = 1.0")
    )
    assert "in the body of car.toml" in run("assess", folder).stdout.replace(
        "\n", " "
    )
    assert answer(run, folder)["worst"]["margin"] == margin
    (folder / "half.toml").write_text(
        SETUP.replace("[setup]", '[setup]\nbody = "half floor"')
    )
    told = run("assess", folder, "--setup", "half.toml").stdout.replace(
        "\n", " "
    )
    assert 'in the body "half floor", setup "baseline"' in told
    assert (
        answer(run, folder, "--setup", "half.toml")["worst"]["margin"] < margin
    )


def test_unknown_body_is_refused(run: Run, tmp_path: Path) -> None:
    """Status 2 with file, line, key, found and expected."""
    folder = folders.held(tmp_path)
    (folder / "setup.toml").write_text(
        SETUP.replace("[setup]", '[setup]\nbody = "half floor"')
    )
    result = run("assess", folder)
    assert result.exit_code == 2
    assert (
        'setup.toml, line 3, setup.body: found "half floor", expected none'
        in result.stderr
    )
