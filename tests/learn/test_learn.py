"""`setupopt learn`: what it finds in logs of cars with hidden errors, what it writes, and what is next."""

from __future__ import annotations

import json
import shutil
import tomllib
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import setupopt
from setupopt.cli.main import group
from setupopt.errors import InputErrors
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import Model
from setupopt.learn.channels import read_map
from setupopt.learn.corrected import files
from setupopt.learn.log import read_log
from setupopt.learn.model import Predictor
from setupopt.learn.study import _enter_odd_speed
from setupopt.learn.way import way
from setupopt.units import DEG, GRAVITY, MM

from .maker import BORE, FEW_HOLDS, Truth, log_frame, ridden_frame, write

HIDDEN = {
    **{
        f"downforce of {name}": 0.04
        for name in ("front wing", "floor", "rear wing")
    },
    "zero of front_gap": 1.0 * MM,
    "zero of load_rl": 20.0,
}


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    """A log of a car with 4 % more downforce, and two sensors whose zero is wrong."""
    return log_frame(
        setupopt.load(BORE),
        Truth(HIDDEN, seed=11),
        FEW_HOLDS,
        seconds=3,
        rate=20,
    )


@pytest.fixture(scope="module")
def answer(
    frame: pd.DataFrame, tmp_path_factory: pytest.TempPathFactory
) -> tuple[dict[str, Any], Path]:
    """The JSON of one run with all files, and the folder that holds them."""
    home = tmp_path_factory.mktemp("learn")
    log = write(frame, home / "run.csv")
    venue = Path(shutil.copytree(BORE, home / "old")) / "venue.toml"
    venue.write_text(
        "[[attitude]]".join(venue.read_text().split("[[attitude]]")[:2])
    )  # straight alone
    asked = [
        "learn",
        str(home / "old"),
        str(log),
        "--json",
        "--quiet",
        "--out",
        str(home / "out"),
    ]
    done = CliRunner().invoke(group, [*asked, "--corrected", str(home / "new")])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout), home


def value(answer: dict[str, Any], name: str) -> dict[str, Any]:
    """The row of one parameter."""
    return next(row for row in answer["parameters"] if row["parameter"] == name)


def test_zeros_of_sensors_are_found(
    answer: tuple[dict[str, Any], Path],
) -> None:
    """1 mm and 20 N: within three stated errors, these errors small against them, and told from zero."""
    for name, true in (("zero of front_gap", 1.0), ("zero of load_rl", 20.0)):
        row = value(answer[0], name)
        assert abs(row["value"] - true) < 3.0 * row["error"]
        assert row["error"] < 0.5 * true
        assert row["told"]


def test_downforce_is_found_by_axle(
    answer: tuple[dict[str, Any], Path],
) -> None:
    """4 % more on both axles, within three stated errors, which are under half of those before."""
    for row in answer[0]["downforce"]:
        more = 100.0 * (row["after_N"] / row["before_N"] - 1.0)
        assert (
            abs(more - 4.0) < 3.0 * row["error_percent"] + 0.1
        )  # drag and pitch load the axles too
        assert row["error_percent"] < 0.5 * row["error_before_percent"]


def test_what_the_log_cannot_tell_is_said(
    answer: tuple[dict[str, Any], Path],
) -> None:
    """Straight running without coasting says nothing of drag and side force."""
    assert answer[0]["grip"]["slid"] == 0
    assert 0.2 < answer[0]["grip"]["least"] < 1.0
    assert not value(answer[0], "drag")["told"]
    assert not value(answer[0], "side_force")["told"]
    assert {row["input"] for row in answer[0]["spread_percent"]} <= {
        "downforce",
        "mass",
    }


def test_the_corrected_project_stands_beside_the_old_one(
    answer: tuple[dict[str, Any], Path],
) -> None:
    """It loads, has the new numbers, a narrower [spread], comments on both, and its history."""
    found, home = answer
    new, old = setupopt.load(home / "new"), setupopt.load(BORE)
    for one, other in zip(
        new.car.air.elements, old.car.air.elements, strict=True
    ):
        share = value(found, f"downforce of {one.name}")["value"] / 100.0
        assert one.free_area == pytest.approx(
            (1.0 + share) * other.free_area, rel=1e-5
        )  # six digits are written
    assert new.limits is not None and new.limits.spread is not None
    after = next(
        row["after"]
        for row in found["spread_percent"]
        if row["input"] == "downforce"
    )
    assert new.limits.spread.downforce == pytest.approx(after / 100.0)
    assert after < 5.0
    assert "was 5; from a log, " in (home / "new" / "limits.toml").read_text()
    told = json.loads((home / "new" / "learned.json").read_text())
    assert len(told["history"]) == 1
    assert "from a log" not in (BORE / "car.toml").read_text()


def test_a_corrected_project_never_replaces_one(
    answer: tuple[dict[str, Any], Path],
) -> None:
    """A folder that holds anything is refused before any work."""
    home = answer[1]
    for target in (BORE, home / "new", home / "run.csv"):
        asked = [
            "learn",
            str(BORE),
            str(home / "run.csv"),
            "--quiet",
            "--corrected",
            str(target),
        ]
        done = CliRunner().invoke(group, asked)
        assert done.exit_code == 2
        assert "a corrected project is written to a new folder" in done.output


def test_all_files_are_written(answer: tuple[dict[str, Any], Path]) -> None:
    """Text, JSON, two tables and four pictures."""
    names = {path.name for path in (answer[1] / "out").iterdir()}
    pictures = {
        f"learn-{name}.svg"
        for name in ("channels", "residuals", "posterior", "run")
    }
    assert (
        names
        == {"learn.txt", "learn.json", "learn.csv", "learn-way.csv"} | pictures
    )
    text = (answer[1] / "out" / "learn.txt").read_text()
    assert max(map(len, text.split("\n"))) <= 120
    assert "no clearance to drive" in text


def test_every_field_is_explained(answer: tuple[dict[str, Any], Path]) -> None:
    """In the glossary, but for names of columns and of what changes."""
    glossary = (BORE.parents[1] / "docs" / "nomenclature.md").read_text()
    logs = [
        {**log, "used": {}, "transient_seconds": {}}
        for log in answer[0]["logs"]
    ]
    found = keys({**answer[0], "logs": logs}) - {
        "name",
        "checksum",
        "car",
        "venue",
        "setup",
        "unit",
    }
    assert [key for key in sorted(found) if f"`{key}`" not in glossary] == []


def keys(found: object) -> set[str]:
    """Every key of an answer, at any depth."""
    if isinstance(found, dict):
        return set(found) | keys(list(found.values()))
    return set().union(*map(keys, found)) if isinstance(found, list) else set()


def test_where_the_car_was(frame: pd.DataFrame, tmp_path: Path) -> None:
    """Speed and roll angle of the holds, within three stated errors of a second; ramps are transients."""
    venue = setupopt.load(BORE).venue
    found = way(read_log(write(frame, tmp_path / "run.csv"), []), venue)
    for hold, (angle, speed) in enumerate(FEW_HOLDS):
        second = 5 * hold + 1
        row, error = (
            found.table["input"].iloc[second],
            found.table["error"].iloc[second],
        )
        assert found.transient[second] == ""
        assert abs(row["speed"] - speed) < 3.0 * error["speed"]
        assert abs(row["place"] - angle * DEG) < 3.0 * error["place"]
    assert found.transient[5 * 3 - 1] == "place"


def test_a_banked_turn_is_the_case_of_the_sweep() -> None:
    """On a plane: speed, bank and the yaw rate of a horizontal turn give the trim that `assess` has there."""
    project = setupopt.load(BORE.parent / "bank")
    model = Model(project.car)
    result = model.run(
        model.settings(project.setup), sweep_cases(project.venue)
    )
    records = result.cases.records
    low = np.where(np.sin(records["roll_angle"]) < 0.0, -1.0, 1.0)
    is_plain = (
        (records["headwind"] == 0.0)
        & (records["crosswind"] == 0.0)
        & (records["bump"] == 0.0).all(axis=1)
    )
    rows = np.flatnonzero(
        is_plain
        & (records["turn_curvature"] > 0.0)
        & ~result.answers["slides"][0]
    )
    inputs = {
        "speed": records["speed"], "place": records["roll_angle"], "course": records["heading"],
        "curvature": -low * records["turn_curvature"] * np.cos(records["roll_angle"]),
        "acceleration": records["acceleration"],
    }  # fmt: skip
    table = pd.DataFrame(inputs).iloc[rows]
    more = pd.DataFrame(0.0, table.index, ["headwind", "crosswind"])
    more["yaw_acceleration"] = records["yaw_acceleration"][rows]
    log = pd.DataFrame(
        0.0,
        table.index,
        ["load_fl", "load_rr", "acceleration_y", "acceleration_z"],
    )
    whole = pd.concat(
        {"input": table, "error": 0.0 * table, "more": more, "log": log}, axis=1
    )
    predict = Predictor(project, pd.DataFrame({"kind": [], "prior": []}), whole)
    assert rows.size > 3 and not predict.unheld
    found = predict(np.zeros(0))
    answers = result.answers[0][rows]
    np.testing.assert_allclose(
        found[:, 0], answers["load"][:, 0], atol=0.1
    )  # N; two starts of one trim
    np.testing.assert_allclose(found[:, 1], answers["load"][:, 3], atol=0.1)
    # An accelerometer in a horizontal turn, in closed form; the body leans by up to 2 deg against the
    # surface, at up to 3 g
    bank, pull = (
        table["place"],
        table["speed"] ** 2 * records["turn_curvature"][rows],
    )
    is_straight = (table["course"] == 0.0) & (table["acceleration"] == 0.0)
    across = GRAVITY * np.sin(bank) - low[rows] * pull * np.cos(bank)
    press = GRAVITY * np.cos(bank) + low[rows] * pull * np.sin(bank)
    assert is_straight.sum() > 2
    np.testing.assert_allclose(
        found[is_straight, 2], across[is_straight], atol=1.0
    )
    np.testing.assert_allclose(
        found[is_straight, 3], press[is_straight], atol=0.3
    )


@pytest.mark.parametrize("kind", ["mat", "xlsx", "ods", "mf4", "tdms"])
def test_other_files_give_the_same_blocks(
    kind: str, frame: pd.DataFrame, tmp_path: Path
) -> None:
    """MAT, sheet, MDF and TDMS files with the numbers of a CSV."""
    few = frame.iloc[:250].round(6)
    path = tmp_path / f"run.{kind}"
    MAKERS[kind](few, path)
    one = read_log(write(few, tmp_path / "run.csv"), [])
    other = read_log(path, [])
    assert set(other.used) == set(one.used)
    np.testing.assert_allclose(
        other.mean[one.mean.columns], one.mean, rtol=1e-6, atol=1e-7
    )  # seven digits are written


def _mat(frame: pd.DataFrame, path: Path) -> None:
    from scipy.io import savemat

    savemat(path, {name: frame[name].to_numpy() for name in frame})


def _xlsx(frame: pd.DataFrame, path: Path) -> None:
    """The smallest workbook of one sheet, by its published parts (ECMA-376)."""
    pytest.importorskip("python_calamine")
    names = "".join(
        f'<c t="inlineStr"><is><t>{name}</t></is></c>' for name in frame
    )
    rows = "".join(
        f"<row>{''.join(f'<c><v>{v!r}</v></c>' for v in row)}</row>"
        for row in frame.to_numpy().tolist()
    )
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    relations = (
        "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    )
    package = "http://schemas.openxmlformats.org/package/2006"
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{kind}.sheet.main+xml"/>'
        f'<Override PartName="/xl/s.xml" ContentType="{kind}.worksheet+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="r1" '
        f'Type="{relations}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{relations}"><sheets>'
        '<sheet name="run" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="r1" '
        f'Type="{relations}/worksheet" Target="s.xml"/></Relationships>',
        "xl/s.xml": f'<worksheet xmlns="{main}"><sheetData><row>{names}</row>{rows}</sheetData></worksheet>',
    }
    with zipfile.ZipFile(path, "w") as book:
        for name, text in parts.items():
            book.writestr(name, text)


def _ods(frame: pd.DataFrame, path: Path) -> None:
    """The smallest sheet of an OpenDocument file (ISO/IEC 26300)."""
    pytest.importorskip("python_calamine")
    space = "urn:oasis:names:tc:opendocument:xmlns:"
    cell = '<table:table-cell office:value-type="{}"{}>{}</table:table-cell>'
    names = "".join(
        cell.format("string", "", f"<text:p>{name}</text:p>") for name in frame
    )
    rows = "".join(
        "<table:table-row>"
        + "".join(
            cell.format(
                "float", f' office:value="{v!r}"', f"<text:p>{v!r}</text:p>"
            )
            for v in row
        )
        + "</table:table-row>"
        for row in frame.to_numpy().tolist()
    )
    spaces = "".join(
        f' xmlns:{name}="{space}{name}:1.0"'
        for name in ("office", "table", "text")
    )
    content = (
        f"<office:document-content{spaces}><office:body><office:spreadsheet>"
        f'<table:table table:name="run"><table:table-row>{names}</table:table-row>{rows}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    with zipfile.ZipFile(path, "w") as book:
        book.writestr(
            "mimetype", "application/vnd.oasis.opendocument.spreadsheet"
        )
        book.writestr(
            "META-INF/manifest.xml",
            f'<manifest:manifest xmlns:manifest="{space}manifest:1.0"/>',
        )
        book.writestr("content.xml", content)


def _mf4(frame: pd.DataFrame, path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    file = asammdf.MDF(version="4.10")
    time = frame["time_s"].to_numpy()
    file.append(
        [
            asammdf.Signal(frame[name].to_numpy(), time, name=name)
            for name in frame
            if name != "time_s"
        ]
    )
    file.save(path)


def _tdms(frame: pd.DataFrame, path: Path) -> None:
    nptdms = pytest.importorskip("nptdms")
    with nptdms.TdmsWriter(str(path)) as writer:
        writer.write_segment(
            [
                nptdms.ChannelObject("run", name, frame[name].to_numpy())
                for name in frame
            ]
        )


MAKERS = {"mat": _mat, "xlsx": _xlsx, "ods": _ods, "mf4": _mf4, "tdms": _tdms}


def test_a_map_renames_turns_and_shifts(
    frame: pd.DataFrame, tmp_path: Path
) -> None:
    """Another name and unit, another sign, another clock: the same blocks."""
    odd = frame.rename(
        columns={
            "speed_m_s": "vCar",
            "steer_deg": "Steer",
            "yaw_rate_deg_s": "Yaw",
        }
    )
    odd["vCar"] *= 3.6
    odd["Steer"] *= -np.pi / 180.0
    (tmp_path / "map.toml").write_text(
        '[channels]\nspeed_km_h = "vCar"\nsteer_rad = { column = "Steer", sign = -1 }\n'
        'yaw_rate_deg_s = { column = "Yaw", shift_s = 0.5 }\n'
    )
    one = read_log(write(frame, tmp_path / "a.csv"), [])
    other = read_log(
        write(odd, tmp_path / "b.csv"), read_map(str(tmp_path / "map.toml"))
    )
    np.testing.assert_allclose(
        other.mean["speed"], one.mean["speed"], rtol=1e-6
    )
    np.testing.assert_allclose(
        other.mean["steer"], one.mean["steer"], atol=1e-7
    )
    np.testing.assert_allclose(
        other.mean["yaw_rate"][5:], one.mean["yaw_rate"][:-5]
    )


def test_km_h_in_a_column_of_m_s_are_said(
    frame: pd.DataFrame, tmp_path: Path
) -> None:
    """2.6 times the venue's speed can be m/s, so that it is no refusal; nobody drives there."""
    fast = frame.assign(speed_m_s=2.6 * frame["speed_m_s"])
    run = read_log(write(fast, tmp_path / "run.csv"), [])
    _enter_odd_speed(setupopt.load(BORE), run)
    assert "54 m/s" in run.findings[-1].found
    assert "unit" in run.findings[-1].done


def test_a_frozen_speed_is_said(frame: pd.DataFrame, tmp_path: Path) -> None:
    """No run without it, so that it stays; but all loads are then laid on downforce, on the safe side or not."""
    rows = len(frame)
    odd = frame.assign(
        speed_m_s=[
            *frame["speed_m_s"][: rows // 3],
            *(rows - rows // 3) * [40.0],
        ]
    )
    (said,) = read_log(write(odd, tmp_path / "run.csv"), []).findings
    assert said.column == "speed_m_s"
    assert "one value" in said.found
    assert "stuck?" in said.done


def test_gaps_jumps_and_stuck_sensors_are_named_and_left_out(
    frame: pd.DataFrame, tmp_path: Path
) -> None:
    """Each by line and column; the other channels keep their values."""
    odd = frame.copy()
    odd.loc[100, "front_gap_mm"] += 40.0
    odd.loc[200:259, "travel_fl_mm"] = 7.25
    odd.loc[300:320, "load_rr_N"] = np.nan
    odd = odd.drop(index=range(400, 440))
    found = read_log(write(odd, tmp_path / "run.csv"), [])
    said = {one.column: one for one in found.findings}
    assert (
        said["front_gap_mm"].line == 102
        and "1 jumps" in said["front_gap_mm"].found
    )
    assert (
        said["travel_fl_mm"].line in range(202, 206)
        and "stuck" in said["travel_fl_mm"].found
    )
    assert (
        said["load_rr_N"].line == 302 and "no value" in said["load_rr_N"].found
    )
    assert said["time_s"].line == 402 and "2.05 s" in said["time_s"].found
    assert set(said) == {"front_gap_mm", "travel_fl_mm", "load_rr_N", "time_s"}
    assert found.mean["travel_fl"][102:125].isna().all()
    assert (
        found.mean["front_gap"][50] < 0.1
    )  # of the row that is left, without the jump


def test_two_logs_count_together(
    frame: pd.DataFrame, tmp_path: Path, recwarn: pytest.WarningsRecorder
) -> None:
    """Runs with other channels: each is predicted by the other, and nothing warns."""
    project = setupopt.load(BORE)
    venue = replace(project.venue, attitudes=project.venue.attitudes[:1])
    half = frame.iloc[300:].drop(
        columns=["load_fl_N", "front_gap_mm", "yaw_rate_deg_s"]
    )
    logs = [
        write(frame.iloc[:480], tmp_path / "one.csv"),
        write(half, tmp_path / "two.csv"),
    ]
    found = setupopt.learn(replace(project, venue=venue), logs)
    assert list(found.left_out.index) == ["one.csv", "two.csv"]
    assert found.agrees
    assert (
        abs(found.found.those["value"]["zero of load_rl"] - 20.0)
        < 3.0 * found.found.those["error"]["zero of load_rl"]
    )
    assert [str(one.message) for one in recwarn] == []
    odd = half.rename(
        columns={"load_fr_N": "load_rl_N", "load_rl_N": "load_fr_N"}
    )
    with pytest.raises(
        InputErrors,
        match=r"two\.csv, line 2, load_fr_N: found what reads like load_rl",
    ):
        setupopt.learn(
            replace(project, venue=venue),
            [logs[0], write(odd, tmp_path / "two.csv")],
        )


def test_an_axle_that_slides_tells_the_grip(
    frame: pd.DataFrame, tmp_path: Path
) -> None:
    """Steer far past the largest slip angle of the model's axle, for two seconds of a hold at 60 deg."""
    project = setupopt.load(BORE)
    venue = replace(project.venue, attitudes=project.venue.attitudes[:1])
    odd = frame.copy()
    odd.loc[420:459, "steer_deg"] += 20.0
    found = setupopt.learn(
        replace(project, venue=venue), [write(odd, tmp_path / "run.csv")]
    )
    assert found.grip.slid == 2
    assert found.grip.value is not None and found.grip.error is not None
    assert 0.0 < found.grip.value <= found.grip.least
    new = files(
        found.correction, found.grip, project, ["run.csv"], "2026-01-01"
    )
    grip = tomllib.loads(new["venue.toml"].decode())["venue"]["surface_grip"]
    assert grip == pytest.approx(0.92 * found.grip.value, rel=1e-5)


def test_a_log_of_the_ride_tells_zeros(tmp_path: Path) -> None:
    """A car that moves over waves, with a driver: what is no trim in it does not hide wrong zeros."""
    project = setupopt.load(BORE)
    venue = replace(project.venue, attitudes=project.venue.attitudes[:1])
    frame = ridden_frame(project, ((0, 40), (30, 50), (60, 54), (75, 54)))
    rng = np.random.default_rng(7)
    for name, zero in (("steer_deg", 0.20), ("sideslip_deg", -0.15)):
        frame[name] += zero + rng.normal(0.0, 0.1, len(frame))
    found = setupopt.learn(
        replace(project, venue=venue), [write(frame, tmp_path / "run.csv")]
    )
    those = found.found.those
    for name, zero in (("steer", 0.20), ("sideslip", -0.15)):
        error = those["error"][f"zero of {name}"] / DEG
        assert error < 0.1
        assert abs(those["value"][f"zero of {name}"] / DEG - zero) < 3.0 * error
    assert any(
        "4 gaps" in one.found or "3 gaps" in one.found
        for one in found.ways[0].run.findings
    )


def test_coasting_tells_the_drag(tmp_path: Path) -> None:
    """A run-down without drive on the level of a car with 8 % more drag: m v' = -q A, closed form."""
    project = setupopt.load(BORE)
    car = project.car
    time = np.arange(0.0, 40.0, 0.05)
    k = 0.5 * project.venue.air_density * 1.08 * car.air.drag_area / car.mass
    speed = 54.0 / (1.0 + k * 54.0 * time)
    columns: dict[str, Any] = {
        "time_s": time,
        "speed_m_s": speed,
        "roll_angle_deg": 0.0 * time,
    }
    noise = np.random.default_rng(3).normal(0.0, 0.05, time.size)
    columns |= {
        "brake": 0.0,
        "throttle": 0.0,
        "acceleration_z_m_s2": 9.80665 + noise,
    }
    log = write(pd.DataFrame(columns), tmp_path / "run.csv")
    venue = replace(project.venue, attitudes=project.venue.attitudes[:1])
    found = setupopt.learn(replace(project, venue=venue), [log]).found.those
    assert abs(found["value"]["drag"] - 0.08) < 3.0 * found["error"]["drag"]
    assert found["error"]["drag"] < 0.01


def test_three_runs_narrow_the_downforce_and_raise_the_next_angle(
    tmp_path: Path,
) -> None:
    """Each run on the project that the one before corrected: spread to a third, a higher safe angle."""
    project = setupopt.load(BORE)
    steps = (
        ((0, 20), (0, 40), (0, 54), (15, 54)),
        ((0, 30), (30, 54), (30, 40), (45, 54)),
        ((30, 54), (60, 54), (75, 54), (60, 46)),
    )
    options = setupopt.LearnOptions(floor=0.17, chance=0.01)
    told = []
    for number, holds in enumerate(steps):
        truth = Truth(
            {name: 0.03 for name in HIDDEN if name.startswith("downforce")},
            seed=20 + number,
        )
        log = write(
            log_frame(setupopt.load(BORE), truth, holds, seconds=4, rate=20),
            tmp_path / f"run{number}.csv",
        )
        found = setupopt.learn(project, [log], options)
        reach = -1.0 if found.next.reach is None else found.next.reach / DEG
        before, after = found.correction.downforce.loc[
            "both", ["error_before", "error"]
        ]
        first = -1.0 if found.before.reach is None else found.before.reach / DEG
        told.append((before, after, first, reach))
        print(
            f"run {number + 1}: downforce +- {200 * before:.2f} -> {200 * after:.2f} %",
            end="; ",
        )
        print(f"safe up to {first:.0f} -> {reach:.0f} deg")
        new = tmp_path / f"project{number}"
        for name, content in files(
            found.correction, found.grip, project, [str(log)], "2026-01-01"
        ).items():
            (new / name).parent.mkdir(parents=True, exist_ok=True)
            (new / name).write_bytes(content)
        project = setupopt.load(new)
    assert told[-1][1] <= told[0][0] / 3.0
    assert told[0][1] > told[1][1] > told[2][1]
    assert told[-1][3] > told[0][2]
