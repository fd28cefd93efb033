"""Cold pressures by the gas law, against the law itself, and on the sheet."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from report.report_folders import example

from setupopt.errors import UserError
from setupopt.evaluation.pack import vehicle
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


TABLE = "grip_temperature_C = [60, 80, 110]\ngrip_shares = [0.9, 1.0, 0.94]"


def warm(folder: Path, running: float) -> None:
    """Every tyre gets the table of grip, and runs so warm."""
    car = folder / "car.toml"
    lines = rf"\1\nrunning_temperature_C = {running:g}\n{TABLE}"
    text = re.sub(r"(?m)^(friction = .*)$", lines, car.read_text())
    car.write_text(text)


@pytest.mark.parametrize(
    ("running", "share"), [(60.0, 0.9), (75.0, 0.975), (95.0, 0.97)]
)
def test_grip_is_that_of_the_running_temperature(
    tmp_path: Path, running: float, share: float
) -> None:
    """The friction that kernels take is the file's times the share, linear between rows; by hand, to the bit
    where the share is 1 (left out)."""
    folder = example("bore", tmp_path / "bore")
    before = load(folder)
    warm(folder, running)
    after = load(folder)
    known, warmed = (
        vehicle(project.car)[0]["friction"][0] for project in (before, after)
    )
    tyres = (*before.car.front.tyres, *before.car.rear.tyres)
    assert known.tolist() == [tyre.friction for tyre in tyres]
    assert warmed == pytest.approx(share * known, rel=1e-12)
    assert project_checksum(after) != project_checksum(before)


def test_grip_beyond_the_table_is_refused(tmp_path: Path) -> None:
    """Nothing is extrapolated: the message says how far the table goes."""
    folder = example("bore", tmp_path / "bore")
    warm(folder, 120.0)
    with pytest.raises(UserError, match="from 60 to 110 deg C"):
        load(folder)
