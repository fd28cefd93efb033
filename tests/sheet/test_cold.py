"""Cold pressures by the gas law, against the law itself, and on the sheet."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from report.report_folders import example

from setupopt.project import load
from setupopt.project.checksum import project_checksum
from setupopt.sheet.cold import cold_pressure, cold_pressures

R = 8.314462618  # J/(mol K), CODATA 2018
ATMOSPHERE = 101_325.0  # Pa, ISO 2533


def test_the_same_gas_in_the_same_volume() -> None:
    """p V = n R T with absolute pressures and temperatures, at three states; to 1 Pa."""
    volume = 0.02
    for hot, running, cold in (
        (160e3, 80.0, 20.0),
        (120e3, 95.0, 5.0),
        (200e3, 20.0, 20.0),
    ):
        amount = (hot + ATMOSPHERE) * volume / (R * (running + 273.15))
        law = amount * R * (cold + 273.15) / volume - ATMOSPHERE
        assert cold_pressure(hot, running, cold) == pytest.approx(law, abs=1.0)


def test_only_tyres_that_say_how_warm_they_run(tmp_path: Path) -> None:
    """Without the key no cold pressure, and with it no number that decides a margin is another one."""
    folder = example("bore", tmp_path / "bore")
    before = load(folder)
    assert cold_pressures(before, before.setup) == ()
    car = folder / "car.toml"
    car.write_text(
        re.sub(
            r"(?m)^(friction = .*)$",
            r"\1\nrunning_temperature_C = 80",
            car.read_text(),
            count=1,
        )
    )
    after = load(folder)
    assert [row.wheel for row in cold_pressures(after, after.setup)] in (
        ["fl", "fr"],
        ["rl", "rr"],
    )
    assert project_checksum(after) == project_checksum(before)
