"""What is taken for an entry that is left out, and what follows from it, is said and never silent."""

from __future__ import annotations

from pathlib import Path

import pytest

from setupopt.project import load

from .good_folder import CAR, write_folder

OPTIONAL = [
    ("pitch_inertia_kgm2 = 900\n", "car.pitch_inertia_kgm2: no inertia"),
    ("roll_inertia_kgm2 = 220\n", "car.roll_inertia_kgm2: no inertia"),
    ("yaw_inertia_kgm2 = 980\n", "car.yaw_inertia_kgm2: no inertia"),
    ("wheel_inertia_kgm2 = 0.9\n", "front.wheel_inertia_kgm2: no inertia"),
    ("wheel_inertia_kgm2 = 1.1\n", "rear.wheel_inertia_kgm2: no inertia"),
    ("toe_over_mm = 380\n", "front.toe_over_mm: 330 mm"),
    ("camber_thrust_share = 0.5\n", "tyre.slick.camber_thrust_share: 0.5"),
    (
        "friction_least_pressure_kPa = 60\n",
        "tyre.slick.friction_least_pressure_kPa: 0 kPa",
    ),
    (
        "carcass_N_per_mm = 90\ncarcass_per_bar_N_per_mm = 120\n",
        "tyre.slick.carcass_N_per_mm: a rigid carcass",
    ),
]


@pytest.mark.parametrize(("left_out", "said"), OPTIONAL)
def test_default_of_a_missing_entry_is_said(
    tmp_path: Path, left_out: str, said: str
) -> None:
    """One entry left out makes one line, once for a tyre that both axles stand on."""
    assert left_out in CAR
    (line,) = load(
        write_folder(tmp_path, car=CAR.replace(left_out, "", 1))
    ).assumed
    assert line.startswith(f"car.toml {said}")


def test_the_tyre_of_a_side_is_looked_at_too(tmp_path: Path) -> None:
    """One on the right alone: what it leaves out was taken in silence."""
    head, _, tyre = CAR.partition("[tyre.slick]\n")
    table, _, rest = tyre.partition("\n[")
    least = "friction_least_pressure_kPa = 60\n"
    other = table.replace(least, "")
    assert other != table
    head = head.replace(
        'tyre = "slick"\n', 'tyre = "slick"\ntyre_right = "other"\n', 1
    )
    car = f"{head}[tyre.other]\n{other}\n[tyre.slick]\n{table}\n[{rest}"
    (said,) = load(write_folder(tmp_path, car=car)).assumed
    assert said.startswith("car.toml tyre.other.friction_least_pressure_kPa")


def test_nothing_is_assumed_where_all_is_given(tmp_path: Path) -> None:
    """Half a carcass is a carcass: what it lacks is zero in the file's own words."""
    assert load(write_folder(tmp_path / "a")).assumed == ()
    half = CAR.replace("carcass_per_bar_N_per_mm = 120\n", "")
    assert load(write_folder(tmp_path / "b", car=half)).assumed == ()


def test_turning_a_car_without_inertia_is_a_caution(tmp_path: Path) -> None:
    """Of the attitude that turns, by the keys that are missing; the one that goes straight on is quiet."""
    car = CAR.replace("yaw_inertia_kgm2 = 980\n", "").replace(
        "wheel_inertia_kgm2 = 0.9\n", ""
    )
    (said,) = load(write_folder(tmp_path, car=car)).cautions
    assert "attitude 'climbing'" in said
    assert "car.yaw_inertia_kgm2, front.wheel_inertia_kgm2;" in said


def test_pressure_that_does_nothing_is_a_caution(tmp_path: Path) -> None:
    """Neither foundation nor carcass knows the pressure, and limits.toml lets a search choose it."""
    car = CAR.replace("per_bar_N_per_mm3 = 0.012", "per_bar_N_per_mm3 = 0")
    car = car.replace(
        "foundation_N_per_mm3 = 0.008", "foundation_N_per_mm3 = 0.025"
    )
    assert load(write_folder(tmp_path / "a", car=car)).cautions == (), (
        "the carcass knows it"
    )
    car = car.replace(
        "carcass_per_bar_N_per_mm = 120", "carcass_per_bar_N_per_mm = 0"
    )
    said = load(write_folder(tmp_path / "b", car=car)).cautions
    assert ["pressure changes nothing" in line for line in said] == [True, True]
    assert said[0].startswith("limits.toml front.pressure_bar: tyre 'slick'")
    assert (
        load(write_folder(tmp_path / "c", car=car, limits=None)).cautions == ()
    )


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ("", "does not say at which pressures it was measured"),
        (
            "measured_pressure_bar = { from = 1.4, to = 1.4 }\n",
            "was measured from 1.4 to 1.4 bar only",
        ),
        (
            "measured_pressure_bar = { from = 1.0, to = 1.8 }\n",
            "was measured from 1 to 1.8 bar only",
        ),
    ],
)
def test_searching_a_pressure_that_was_not_measured_is_a_caution(
    tmp_path: Path, told: str, expected: str
) -> None:
    """limits.toml lets a search go from 1 to 2 bar; a tyre measured over all of that is quiet."""
    key = "measured_pressure_bar = { from = 1.0, to = 2.0 }\n"
    assert load(write_folder(tmp_path / "a")).cautions == ()
    folder = write_folder(tmp_path / "b", car=CAR.replace(key, told))
    assert [expected in line for line in load(folder).cautions] == [True, True]
