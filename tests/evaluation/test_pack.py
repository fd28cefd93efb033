"""The project's car and setups as records for the kernels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cars import CAR, PLAIN_SETUP, SETUP, SLICK, both_axles, on_tyres
from scipy.special import beta

from setupopt.evaluation import pack, setup_record
from setupopt.project.settings import SETTINGS, Setting

BODY, ELEMENTS, POINTS = pack.vehicle(CAR)
CARS = pack.CarTable(CAR)


def test_wheels_stand_about_the_cg() -> None:
    """45 % on the front axle: it is 55 % of the wheelbase ahead. Left is positive; FL, FR, RL, RR."""
    assert BODY["x"][0] == pytest.approx([1.43, 1.43, -1.17, -1.17], rel=1e-14)
    assert BODY["y"][0] == pytest.approx([0.8, -0.8, 0.79, -0.79], rel=1e-14)
    assert BODY["static_load"][0] @ BODY["x"][0] == pytest.approx(0.0, abs=1e-9)


def test_masses_add_up_to_the_car() -> None:
    """Sprung and unsprung masses make the car's mass, and their heights its CG height."""
    body = BODY[0]
    unsprung = body["unsprung_mass"]
    assert body["sprung_mass"] + unsprung.sum() == pytest.approx(
        780.0, rel=1e-14
    )
    height = (
        body["sprung_mass"] * body["sprung_height"]
        + unsprung @ body["unsprung_height"]
    )
    assert height / 780.0 == pytest.approx(0.28, rel=1e-14)


def test_links_and_anti() -> None:
    """Jacking per lateral force -sigma 2 h_rc / t; anti slope down at the front, up at the rear."""
    assert BODY["link"][0] == pytest.approx(
        [-0.0375, 0.0375, -0.09 / 1.58, 0.09 / 1.58], rel=1e-14
    )
    assert BODY["anti"][0] == pytest.approx(
        [-0.10, -0.10, 0.15, 0.15], rel=1e-14
    )


@pytest.mark.parametrize("exponent", [0.0, 0.15, 0.9])
def test_beta_function_of_the_friction_law(exponent: float) -> None:
    """B(1/2, 2 - n) as scipy has it."""
    car = both_axles(CAR, tyre=replace(SLICK, friction_exponent=exponent))
    expected = beta(0.5, 2.0 - exponent)
    assert pack.vehicle(car)[0]["friction_beta"][0] == pytest.approx(
        [expected] * 4, rel=1e-13
    )


@pytest.mark.parametrize(
    ("driven", "share", "is_open"),
    [("front", 1.0, [1, 0]), ("rear", 0.0, [0, 1]), ("all", 0.3, [1, 1])],
)
def test_differential_is_open_only_where_it_drives(
    driven: str, share: float, is_open: list[int]
) -> None:
    """An axle that is not driven has no differential to slip."""
    car = replace(CAR, driven=driven, drive_front=share, differential="open")
    assert pack.vehicle(car)[0]["is_open"][0].tolist() == is_open
    assert pack.vehicle(replace(car, differential="locked"))[0]["is_open"][
        0
    ].tolist() == [0, 0]


def test_stations_become_places_ahead_of_the_cg() -> None:
    """Stations are measured behind the front axle: the wing at -0.7 m is 2.13 m ahead of the CG."""
    assert ELEMENTS["x"] == pytest.approx([2.13, 0.03, -1.47], abs=1e-14)
    assert BODY["side_x"][0] == pytest.approx(-0.07, abs=1e-14)
    assert BODY["ride_x"][0] == pytest.approx([1.43, -1.17], abs=1e-14)
    assert (POINTS["x"][0], POINTS["least"][0]) == pytest.approx(
        (2.23, 0.008), abs=1e-14
    )


def test_strips_share_an_element() -> None:
    """Three along, five across, equal: spacing and areas of a strip."""
    assert ELEMENTS["along"] == pytest.approx(np.array([0.4, 1.8, 0.4]) / 3)
    assert ELEMENTS["across"] == pytest.approx(np.array([1.5, 1.2, 1.0]) / 5)
    assert ELEMENTS["free"] * 15 == pytest.approx([0.6, 0.4, 1.4])


def test_wheel_rate_and_foundation() -> None:
    """Spring times motion ratio squared; foundation at the set pressure."""
    row = pack.settings(CARS, setup_record.by_wheel(SETUP))[0]
    assert row["wheel_rate"] == pytest.approx(
        [140e3 * 0.81] * 2 + [160e3 * 0.7225] * 2, rel=1e-14
    )
    assert row["foundation"] == pytest.approx(
        [8e6 + 120 * 1.4e5] * 2 + [8e6 + 120 * 1.3e5] * 2, rel=1e-14
    )
    assert row["camber"].tolist() == [-0.044, -0.044, -0.035, -0.035]
    assert (row["anti_roll"].tolist(), row["third"].tolist()) == (
        [4e4, 2e4],
        [6e4, 8e4],
    )


def test_toe_is_an_angle_over_its_length() -> None:
    """1 mm over 330 mm in front, -0.5 mm behind: 3.0303 and -1.5152 mrad, toe-in positive at every wheel."""
    row = pack.settings(CARS, setup_record.by_wheel(SETUP))[0]
    assert row["toe"] == pytest.approx(
        [3.0303077e-3] * 2 + [-1.5151521e-3] * 2, rel=1e-6
    )


def test_carcass_carries_in_series_with_the_tread() -> None:
    """60 N/mm and 112 N/mm per bar, at 1.4 and 1.3 bar; the pad presses it in by load over carcass."""
    car = on_tyres(CAR, carcass=60e3, carcass_per_pressure=1.12)
    rigid = pack.settings(CARS, setup_record.by_wheel(SETUP))[0]
    row = pack.settings(pack.CarTable(car), setup_record.by_wheel(SETUP))[0]
    stiffness = np.array([216.8e3, 216.8e3, 205.6e3, 205.6e3])
    assert row["carcass"] == pytest.approx(stiffness, rel=1e-14)
    assert rigid["carcass"].tolist() == [0.0] * 4
    more = row["penetration"] - rigid["penetration"]
    assert more == pytest.approx(BODY["static_load"][0] / stiffness, rel=1e-9)


def test_least_pressure_counts_in_the_middle_of_the_patch() -> None:
    """Under a parabola the middle has 1.5 times the mean: 60 kPa measured are 90 kPa there."""
    car = on_tyres(CAR, friction_least_pressure=60e3)
    assert pack.vehicle(car)[0]["friction_floor"][0] == pytest.approx(
        [90e3] * 4, rel=1e-14
    )


def test_inertias_count_together_or_not_at_all() -> None:
    """Roll, pitch, yaw; of the wheels over their radius, 2 (0.9 + 1.1) / 0.33. One of three missing: none."""
    whole = replace(
        CAR, roll_inertia=220.0, pitch_inertia=900.0, yaw_inertia=980.0
    )
    front, rear = (
        replace(CAR.front, wheel_inertia=0.9),
        replace(CAR.rear, wheel_inertia=1.1),
    )
    body = pack.vehicle(replace(whole, front=front, rear=rear))[0]
    assert body["inertia"][0].tolist() == [220.0, 900.0, 980.0]
    assert body["spin_inertia"][0] == pytest.approx(4.0 / 0.33, rel=1e-14)
    assert pack.vehicle(replace(whole, yaw_inertia=None))[0]["inertia"][
        0
    ].tolist() == [0.0, 0.0, 0.0]


def test_stacked_setups_are_the_single_ones() -> None:
    """A stack gives the rows that each setup gives alone, bit for bit."""
    rows = pack.settings(CARS, setup_record.by_wheel([SETUP, PLAIN_SETUP]))
    alone = [
        pack.settings(CARS, setup_record.by_wheel(setup))
        for setup in (SETUP, PLAIN_SETUP)
    ]
    assert rows.tobytes() == np.concatenate(alone).tobytes()


def test_setups_of_two_bodies_are_not_taken_together() -> None:
    """They are solved on one car, which wears one body."""
    worn = replace(PLAIN_SETUP, body="low drag")
    with pytest.raises(ValueError, match="same body"):
        setup_record.by_wheel([SETUP, worn])


def test_a_setup_comes_back_from_its_wheels() -> None:
    """Every setting, bit for bit; where sides differ each has its own, beside the mean of both."""
    record = setup_record.by_wheel(SETUP)[0]
    assert setup_record.as_setup(record, SETUP) == SETUP
    record["camber"] = [-0.05, -0.03, -0.02, -0.02]
    front = setup_record.as_setup(record, SETUP).front
    assert (front.camber, *front.sides("camber")) == pytest.approx(
        (-0.04, -0.05, -0.03), rel=1e-15
    )
    assert (
        setup_record.by_wheel(setup_record.as_setup(record, SETUP))[0].tobytes()
        == record.tobytes()
    )


@pytest.mark.parametrize("setting", SETTINGS, ids=lambda setting: setting.field)
def test_each_wheel_or_axle_reaches_its_own_place(setting: Setting) -> None:
    """A setting of one wheel changes the kernels' record at that wheel alone; dampers are for rides.

    Ride heights of the sides count by their mean on the axle, and by the roll of the floor.
    """
    if setting.is_optional:
        return
    record = setup_record.by_wheel(SETUP)
    before = pack.settings(CARS, record)[0]
    for place in range(record[setting.field].shape[1]):
        changed = record.copy()
        changed[setting.field][0, place] *= 1.01
        after = pack.settings(CARS, changed)[0]
        moved = {
            n: np.flatnonzero(after[n] != before[n]).tolist()
            for n in before.dtype.names
        }
        touched = {n: where for n, where in moved.items() if where}
        own = place // 2 if setting.field == "ride_height" else place
        assert touched
        assert all(
            where == [own]
            for name, where in touched.items()
            if name != "floor_roll"
        )
        assert ("floor_roll" in touched) == (setting.field == "ride_height")
