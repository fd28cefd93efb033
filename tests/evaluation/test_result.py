"""What comes back: the case table in file units, the worst case, lost cases."""

from __future__ import annotations

import json
from dataclasses import replace
from math import radians

import numpy as np
import pytest
from cars import CAR, SETUP, set_both, solve, venue, with_downforce

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.project.model import Attitude, Sweep

WHEELS = ("fl", "fr", "rl", "rr")
# The design's list of columns, which scripts rely on.
COLUMNS = [
    "case", "roll_angle_deg", "attitude", "speed_m_s", "contact", "margin", "use_front", "use_rear",
    "first_axle", *(f"load_{w}_N" for w in WHEELS), *(f"grip_{w}_N" for w in WHEELS),
    *(f"inclination_{w}_deg" for w in WHEELS), *(f"patch_{w}_mm2" for w in WHEELS), "front_gap_mm",
    "rear_gap_mm", "downforce_N", "drag_N", "heave_mm", "pitch_deg", "body_roll_deg", "least_clearance_mm",
    "travel_left_mm", "wheels_in_air", "sideslip_deg", "steer_deg", *(f"slip_angle_{w}_deg" for w in WHEELS),
    "lambda", "balance", "growth_per_s",
]  # fmt: skip
KEPT = COLUMNS[:5]


def swept() -> Result:
    """Two setups, two attitudes, 0 to 180 deg; too slow to hold near the top."""
    straight = Attitude(
        "straight", 0.0, 0.0, 0.0, 0.0, None, 0.0, 0.0, (0.0,) * 4, None
    )
    gust = replace(straight, name="gust", crosswind=8.0)
    around = Sweep(0.0, np.pi, radians(20.0), 32.0)
    place = replace(venue(1 / 8.0), sweep=around, attitudes=(straight, gust))
    model = Model(CAR)
    return model.run(
        model.settings([SETUP, set_both(SETUP, spring=3e5)]), sweep_cases(place)
    )


RESULT = swept()


def test_columns_and_their_order() -> None:
    """Exactly those that the design lists."""
    assert list(RESULT.columns()) == COLUMNS
    assert list(RESULT.frame(1).columns) == COLUMNS


def test_shapes() -> None:
    """Setups first, then cases."""
    assert (
        RESULT.contact.shape
        == RESULT.margin.shape
        == RESULT.travel_left.shape
        == (2, 20)
    )
    assert RESULT.worst.shape == RESULT.worst_margin.shape == (2,)


def test_table_is_in_file_units() -> None:
    """Degrees, millimetres, square millimetres and newtons of one held case, from its SI record."""
    row, a = RESULT.fields(3), RESULT.answers[0, 3]
    assert row["roll_angle_deg"] == pytest.approx(60.0)
    assert row["heave_mm"] == pytest.approx(1e3 * a["state"][0])
    assert row["pitch_deg"] == pytest.approx(np.degrees(a["state"][1]))
    assert row["body_roll_deg"] == pytest.approx(np.degrees(a["state"][2]))
    assert row["load_rl_N"] == a["load"][2]
    assert row["patch_fr_mm2"] == pytest.approx(1e6 * a["patch"][1])
    assert row["inclination_rr_deg"] == pytest.approx(
        np.degrees(a["inclination"][3])
    )
    assert (row["front_gap_mm"], row["rear_gap_mm"]) == pytest.approx(
        tuple(1e3 * a["ride_gap"])
    )
    assert row["least_clearance_mm"] == pytest.approx(1e3 * a["clearance"])
    assert row["first_axle"] == ("front", "rear")[int(a["limiting"])]
    assert (row["sideslip_deg"], row["steer_deg"]) == pytest.approx(
        tuple(np.degrees(a["state"][7:9]))
    )
    assert row["slip_angle_rl_deg"] == pytest.approx(
        np.degrees(a["slip_angle"][2])
    )
    assert row["margin"] == pytest.approx(1.0 - row["lambda"], abs=1e-15)
    assert row["balance"] == pytest.approx(
        row["use_rear"] - row["use_front"], abs=1e-15
    )


def test_a_case_that_slides_has_no_use_loads_or_grip() -> None:
    """They would be those of the trim at lambda; what is left of it, and the margin, is told."""
    result = solve(CAR, SETUP, speed=20.0, acceleration=-25.0)
    row = result.fields(0)
    assert result.sliding() == 1
    assert row["contact"] is True
    assert row["margin"] < 0.0
    assert row["lambda"] > 1.0
    empty = {"use_front", "use_rear", "balance"}
    empty |= {name for name in COLUMNS if name.startswith(("load_", "grip_"))}
    assert {row[name] for name in empty} == {None}
    told = set(COLUMNS) - empty - {"growth_per_s"}
    assert all(row[name] is not None for name in told)


def test_travel_left_is_the_least_to_any_stop() -> None:
    """Bump travel minus travel, travel plus droop travel, least of four wheels; negative on a stop."""
    travel = RESULT.answers["travel"][0, 3]
    bump, droop = (
        np.array([0.04, 0.04, 0.045, 0.045]),
        np.array([0.03, 0.03, 0.035, 0.035]),
    )
    expected = min((bump - travel).min(), (travel + droop).min())
    assert RESULT.travel_left[0, 3] == pytest.approx(expected, abs=1e-15)
    hard = solve(CAR, set_both(SETUP, spring=2e4), speed=80.0)
    assert hard.travel_left[0, 0] < 0.0


def test_lost_cases_answer_nothing() -> None:
    """Only what was asked, and that contact is lost; nothing that looks like an answer."""
    lost = np.flatnonzero(~RESULT.contact[0])
    assert RESULT.lost() == lost.size > 1
    for case in lost:
        row = RESULT.fields(int(case))
        assert row["contact"] is False
        assert {row[name] for name in COLUMNS if name not in KEPT} == {None}
    assert RESULT.frame().loc[lost, "margin"].isna().all()


def test_fields_are_plain_values() -> None:
    """Ready for JSON: no NumPy scalars, no NaN."""
    for case in range(20):
        text = json.dumps(RESULT.fields(case), allow_nan=False)
        assert json.loads(text)["case"] == case + 1


def test_worst_case_is_a_lost_one_where_there_is_one() -> None:
    """A lost case is worse than any margin; its worst margin is minus infinity."""
    assert not RESULT.contact[0, RESULT.worst[0]]
    assert RESULT.worst_margin[0] == -np.inf


def test_worst_case_of_held_cases_is_the_least_margin() -> None:
    """Without lost cases: the least margin, and where it is."""
    held = solve(
        CAR,
        SETUP,
        venue(1 / 8.0),
        roll_angle=np.radians(np.arange(0.0, 181.0, 15.0)),
        speed=65.0,
    )
    assert held.contact.all()
    assert (
        held.worst_margin[0]
        == held.margin[0].min()
        == held.margin[0, held.worst[0]]
    )
    assert 0 < held.worst[0] < 12


def test_worst_attitude_by_angle() -> None:
    """Ten angles; the lesser margin of both attitudes with its name; None where either lets go."""
    rows = RESULT.by_angle()
    assert [row["roll_angle_deg"] for row in rows] == pytest.approx(
        [20.0 * i for i in range(10)]
    )
    margins = RESULT.margin[0].reshape(2, 10)
    for i, row in enumerate(rows):
        if np.isnan(margins[:, i]).any():
            assert row["margin"] is None
        else:
            assert row["margin"] == margins[:, i].min()
            assert (
                row["attitude"]
                == ("straight", "gust")[int(margins[:, i].argmin())]
            )


def test_car_without_named_points_has_no_clearance() -> None:
    """Nothing may touch, nothing is reported; a nan in the table, None in a field."""
    bare = replace(CAR, clearance=())
    result = solve(bare, SETUP, speed=50.0)
    assert result.fields(0)["least_clearance_mm"] is None
    assert np.isnan(result.columns()["least_clearance_mm"]).all()


def test_a_lost_case_is_worse_than_any_slide() -> None:
    """`worst` picks a lost case before one that slides far, whatever their steering values are."""
    car = with_downforce(CAR, 0.25)
    driven = {"roll_angle": [radians(90.0), 0.0], "acceleration": [0.0, -30.0]}
    result = solve(car, SETUP, venue(1 / 7.5), speed=60.0, **driven)
    assert result.contact[0].tolist() == [False, True]
    assert result.margin[0, 1] < -0.3
    assert result.worst[0] == 0
    assert result.worst_margin[0] == -np.inf
