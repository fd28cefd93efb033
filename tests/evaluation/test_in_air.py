"""Wheels in the air: a car that keeps contact on three wheels is not said to stand on four."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cars import GRAVITY, SETUP, plain_car, set_both, solve

import setupopt
from setupopt.evaluation.assessment import assess
from setupopt.evaluation.result import Result
from setupopt.evaluation.summary import WheelsInAir, wheels_in_air
from setupopt.report.assess.text import text

EXAMPLE = Path(__file__).resolve().parents[2] / "setups" / "bore"


def cornering(across: np.ndarray, bump: object = (0.0,) * 4) -> Result:
    """A car that corners left at lateral accelerations, on a bar that carries all its roll at the rear.

    The inside rear wheel unloads first: it is the lateral acceleration that lifts it.
    """
    setup = set_both(SETUP, third=0.0)
    front = replace(setup.front, anti_roll=0.0, spring=60e3)
    rear = replace(setup.rear, anti_roll=400e3)
    car = plain_car(cg_height=0.5, friction=3.0, area=0.0)
    return solve(
        car,
        replace(setup, front=front, rear=rear),
        speed=20.0,
        path_curvature=across / 400.0,
        bump=bump,
    )


@pytest.fixture(scope="module")
def turning() -> Result:
    """Harder and harder."""
    return cornering(np.linspace(0.0, 2.0, 41) * GRAVITY)


def test_a_hanging_wheel_tells_how_far_it_hangs() -> None:
    """A bump as high as the gap under it just reaches the tread; a tenth of a millimetre more, and it carries."""
    across = np.array([2.0 * GRAVITY])
    hanging = cornering(across).answers[0, 0]
    lift = float(hanging["lift"][2])
    assert lift > 0.002
    assert hanging["lift"][[0, 1, 3]].max() == 0.0
    for more, carries in ((-1e-4, False), (1e-4, True)):
        bump = (0.0, 0.0, lift + more, 0.0)
        found = cornering(across, bump).answers[0, 0]
        assert (found["load"][2] > 0.0) == carries
        assert (found["lift"][2] == 0.0) == carries


def test_a_wheel_is_in_the_air_under_a_hundredth_of_the_quarter_weight(
    turning: Result,
) -> None:
    """1000 kg: under 24.5 N, where contact is kept; the rear left wheel and no other at first."""
    load = turning.answers["load"]
    expected = (load < 0.01 * 1000.0 * GRAVITY / 4.0) & turning.contact[
        ..., None
    ]
    np.testing.assert_array_equal(turning.in_air, expected)
    first = int(expected.any(axis=-1)[0].argmax())
    assert first > 0
    assert turning.fields(first)["wheels_in_air"] == "rl"
    assert turning.fields(0)["wheels_in_air"] == ""


def test_a_lost_case_has_no_wheels_to_count(turning: Result) -> None:
    """Its loads are no answers: the field is missing, and no wheel counts."""
    answers = turning.answers.copy()
    answers["contact"] = False
    lost = replace(turning, answers=answers)
    assert lost.fields(40)["wheels_in_air"] is None
    assert wheels_in_air(lost) == ()


def test_summary_names_attitude_wheels_and_angles() -> None:
    """The rows of the bore example add up to the cases of its table, each with its own ends."""
    found = setupopt.evaluate(setupopt.load(EXAMPLE))
    table = found.frame()
    lifted = table[table["wheels_in_air"].fillna("") != ""]
    rows = wheels_in_air(found)
    assert sum(row.cases for row in rows) == len(lifted) > 0
    for row in rows:
        own = lifted[lifted["attitude"] == row.attitude]
        names = set(" ".join(own["wheels_in_air"]).split())
        ends = own["roll_angle_deg"].min(), own["roll_angle_deg"].max()
        assert (row.cases, set(row.wheels), row.from_deg, row.to_deg) == (
            len(own),
            names,
            *ends,
        )
        assert isinstance(row, WheelsInAir)


def test_assess_does_not_print_contact_alone_where_a_wheel_is_in_the_air() -> (
    None
):
    """The screen counts the cases, and names attitude, wheels and angles."""
    assessment = assess(setupopt.load(EXAMPLE))
    words = " ".join(text(assessment, 200).split())
    rows = wheels_in_air(assessment.result)
    count = sum(row.cases for row in rows)
    assert f"in {count} of {len(assessment.result.cases)} cases:" in words
    assert all(
        f"{row.attitude}: {row.wheels[0].upper()}" in words for row in rows
    )
    assert assessment.as_dict()["wheels_in_air"][0]["wheels"] == rows[0].wheels
