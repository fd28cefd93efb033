"""Broken logs are refused by file, line and channel, with status 2, and nothing is written."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import setupopt
from setupopt.cli.main import group

from .maker import BORE, FEW_HOLDS, Truth, log_frame

Frame = pd.DataFrame


@pytest.fixture(scope="module")
def frame() -> Frame:
    """A sound log."""
    return log_frame(
        setupopt.load(BORE), Truth(seed=5), FEW_HOLDS, seconds=3, rate=20
    )


def cell(row: int, column: str, value: Any) -> Callable[[Frame], Frame]:
    """The log with one other cell."""

    def changed(frame: Frame) -> Frame:
        texts = frame.astype(object)
        texts.loc[row, column] = value
        return texts

    return changed


def swapped(one: str, other: str) -> Callable[[Frame], Frame]:
    """The log with two columns exchanged."""
    return lambda frame: frame.rename(columns={one: other, other: one})


def late(column: str, rows: int) -> Callable[[Frame], Frame]:
    """The log with a channel on another clock."""
    return lambda frame: frame.assign(**{column: np.roll(frame[column], rows)})


TEXT: dict[str, tuple[Callable[[str], str], list[str]]] = {
    "empty": (
        lambda text: "",
        ["that it cannot be read", "expected a whole .csv"],
    ),
    "header alone": (
        lambda text: text.split("\n")[0] + "\n",
        ["that it cannot be read (no rows)"],
    ),
    "semicolons": (
        lambda text: text.replace(",", ";"),
        ["line 1", "time_s", "none among time_s;"],
    ),
    "decimal comma": (
        lambda text: text.replace("\n0.05,", "\n0,05,"),
        ["line 3", "cannot be read"],
    ),
    "a cell too many": (
        lambda text: text.replace("\n0.5,", "\n0.5,1,"),
        ["line 12", "Expected 19 fields"],
    ),
    "not UTF-8": (
        lambda text: text.replace("time_s", "zeit_\udcff,time_s"),
        ["can't decode byte 0xff"],
    ),
}
ROWS: dict[str, tuple[Callable[[Frame], Frame], list[str]]] = {
    "no time": (lambda f: f.drop(columns="time_s"), ["line 1", "time_s", "found none among"]),
    "no speed": (lambda f: f.drop(columns="speed_m_s"), ["line 1", "speed_m_s", "distance_m"]),
    "no place": (
        lambda f: f.drop(columns=["roll_angle_deg", "acceleration_y_m_s2"]), ["roll_angle_deg", "no value"],
    ),
    "nothing to compare": (lambda f: f[["time_s", "speed_m_s", "roll_angle_deg"]], ["front_gap_mm"]),
    "a word": (cell(7, "load_fl_N", "n/a?"), ["line 9", "load_fl_N", '"n/a?"', "a number"]),
    "a comma in quotes": (cell(7, "load_fl_N", "12,5"), ["line 9", "load_fl_N", "decimal point: 12.5"]),
    "infinite": (cell(3, "steer_deg", "inf"), ["line 5", "steer_deg", '"inf"']),
    "time back": (cell(9, "time_s", 0.1), ["line 11", "time_s", "found the time 0.1"]),
    "time missing": (cell(9, "time_s", ""), ["line 11", "time_s", "found the time nan"]),
    "milliseconds as s": (lambda f: f.assign(time_s=1e6 * f["time_s"]), ["time_s", "is the unit right?"]),
    "km/h as m/s": (lambda f: f.assign(speed_m_s=3.6 * f["speed_m_s"]), ["speed_m_s", "from -1 to 150"]),
    "rad as deg": (lambda f: f.assign(steer_deg=f["steer_deg"] * 1e4), ["steer_deg", "from -60 to 60"]),
    "one second": (lambda f: f.iloc[:30], ["time_s", "found 1.5 s of rows", "ten seconds and more"]),
    "twice": (lambda f: pd.concat([f, f[["steer_deg"]]], axis=1), ["line 1", "steer_deg", "2 such columns"]),
    "at rest": (lambda f: f.assign(speed_m_s=0.1 + 1e-3 * f["time_s"]), ["speed_m_s", "no second with a"]),
    "all stuck": (
        lambda f: f.assign(**dict.fromkeys(set(f) - {"time_s", "speed_m_s", "roll_angle_deg"}, 1.0)),
        ["front_gap_mm", "no channel with values"],
    ),
    "exchanged": (swapped("load_fl_N", "load_rr_N"), ["load_fl_N", "what reads like load_rr"]),
    "reversed": (lambda f: f.assign(travel_fl_mm=-f["travel_fl_mm"]), ["travel_fl_mm", "minus travel_fl"]),
    "clock": (late("load_rl_N", 16), ["load_rl_N", "a clock 0.8 s behind", "shift_s = -0.8"]),
}  # fmt: skip


def refused(path: Path, tmp_path: Path, words: list[str]) -> None:
    """The command ends with 2 and these words, and writes nothing."""
    out, new = tmp_path / "out", tmp_path / "new"
    asked = [
        "learn",
        str(BORE),
        str(path),
        "--quiet",
        "--out",
        str(out),
        "--corrected",
        str(new),
    ]
    done = CliRunner().invoke(group, asked)
    assert done.exit_code == 2, done.output
    assert str(path) in done.output
    for word in words:
        assert word in done.output, done.output
    assert not out.exists() and not new.exists()


@pytest.mark.parametrize("name", TEXT)
def test_text_that_is_no_log(name: str, frame: Frame, tmp_path: Path) -> None:
    """Faults of form."""
    change, words = TEXT[name]
    path = tmp_path / "run.csv"
    text = change(frame.iloc[:40].to_csv(index=False, float_format="%.6g"))
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    refused(path, tmp_path, words)


@pytest.mark.parametrize("name", ROWS)
def test_rows_that_are_no_run(name: str, frame: Frame, tmp_path: Path) -> None:
    """Faults of content, sensors that are connected wrongly among them."""
    change, words = ROWS[name]
    path = tmp_path / "run.csv"
    change(frame).to_csv(path, index=False)
    refused(path, tmp_path, words)


@pytest.mark.parametrize(
    "end", [".mat", ".xlsx", ".ods", ".mf4", ".tdms", ".xyz"]
)
def test_files_of_another_kind(end: str, tmp_path: Path) -> None:
    """A file that is not what its name says, or of no known kind."""
    path = tmp_path / f"run{end}"
    path.write_bytes(b"no such thing" * 40)
    refused(path, tmp_path, ["that it cannot be read", "expected a whole"])


def test_a_map_must_name_channels_and_columns(
    frame: Frame, tmp_path: Path
) -> None:
    """A map with an unknown quantity, and one with a column that the log does not have."""
    path, channels = tmp_path / "run.csv", tmp_path / "map.toml"
    frame.iloc[:40].to_csv(path, index=False)
    for text, words in (
        (
            '[channels]\nspeed_kmph = "v"\n',
            ["map.toml, line 2, channels.speed_kmph"],
        ),
        (
            '[channels]\nspeed_km_h = "v"\n',
            ["run.csv, line 1, v: found 0 such columns"],
        ),
    ):
        channels.write_text(text)
        done = CliRunner().invoke(
            group,
            [
                "learn",
                str(BORE),
                str(path),
                "--quiet",
                "--channels",
                str(channels),
                "--out",
                str(tmp_path / "out"),
                "--corrected",
                str(tmp_path / "new"),
            ],
        )
        assert done.exit_code == 2
        assert sorted(tmp_path.iterdir()) == [channels, path], "it wrote"
        assert all(word in done.output for word in words), done.output
