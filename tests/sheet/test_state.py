"""A car with different corners on paper: the sheet, the work to another setup, the read-back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setupopt.evaluation.model import evaluate
from setupopt.evaluation.summary import wheels_in_air
from setupopt.project import Project, Setup
from setupopt.project.car_as_set import car_as_set
from setupopt.project.measured_file import WEIGHT
from setupopt.sheet.build import as_written
from setupopt.sheet.card import run_card
from setupopt.sheet.change_list import ChangeList, change_list
from setupopt.sheet.pad_state import Pad
from setupopt.sheet.readback import read_back
from setupopt.sheet.state import Line, state_lines
from setupopt.sheet.steps import apply
from setupopt.units import DEG, GRAVITY, MM, NS_PER_MM, PERCENT

from .conftest import few
from .test_as_built import measured


@pytest.fixture(scope="module")
def oval() -> Project:
    """The car for left turns, two roll angles, two attitudes."""
    return few("oval", 12.0, 2)


def target_of(project: Project) -> Setup:
    """Other camber and springs on the right, another cross weight, wing, ballast, dampers and brakes."""
    today = project.setup
    right = replace(
        today.front.right,
        camber=-3.8 * DEG,
        spring=230e3,
        damper_bump=7.5 * NS_PER_MM,
    )
    front = replace(
        today.front, right=right, ride_height=today.front.ride_height - 0.002
    )
    rear = replace(today.rear, damper_rebound=12.0 * NS_PER_MM)
    balance = replace(today.balance, cross_share=0.53, brake_front=0.58)
    moved = tuple(replace(piece, station=1.15) for piece in today.ballast)
    return Setup(
        "other", front, rear, None, balance, (("rear wing", 7.0 * DEG),), moved
    )


@pytest.fixture(scope="module")
def work(oval: Project) -> ChangeList:
    """The list from today to the target."""
    return change_list(oval, oval.setup, target_of(oval))


def lines_of(project: Project, setup: Setup) -> dict[str, Line]:
    """Lines by quantity."""
    return {line.quantity: line for line in state_lines(project, setup)}


def test_weights_are_those_of_the_solved_pad(oval: Project) -> None:
    """The cross weight of the file, on the sheet and on the solved pad, to 0.1 %; the four weights make
    it, and carry the car, its driver and its ballast on an axle each as the statics share them."""
    lines = lines_of(oval, oval.setup)
    weights = np.array(lines[WEIGHT].values, dtype=float)
    load = Pad(oval, oval.setup).reading(as_written(oval.setup)).load
    wanted = oval.setup.balance.cross_share
    assert lines["cross_weight_percent"].values[0] == pytest.approx(
        100.0 * wanted, abs=0.001 * 50.0
    )
    assert (load[1] + load[2]) / load.sum() == pytest.approx(wanted, rel=1e-3)
    assert (weights[1] + weights[2]) / weights.sum() == pytest.approx(
        wanted, rel=1e-3
    )
    car = car_as_set(oval.car, oval.setup)
    assert car.mass == oval.car.mass + 20.0
    assert weights.sum() == pytest.approx(car.mass, abs=0.01)
    assert weights[:2].sum() == pytest.approx(
        car.mass * car.front_share, rel=2e-3
    )


def test_sides_of_their_own_are_on_the_sheet(oval: Project) -> None:
    """As setup.toml has them, dampers by their click from 0, the rest of the car once."""
    lines = lines_of(oval, oval.setup)
    assert lines["camber_deg"].values == (1.5, -3.0, 1.0, -2.0)
    assert lines["toe_mm"].values == (-0.5, -0.5, 1.0, 1.0)
    assert lines["toe_mm"].tolerance == "0.25 mm"
    assert lines["damper_bump_clicks"].values == (4.0, 6.0, 4.0, 4.0)
    assert lines["brake_front_percent"].values == (56.0, None, None, None)
    assert lines["wings.rear wing"].values[0] == 5.0
    assert lines["ballast.lead, left pod"].values[0] == 1400.0


def test_an_even_car_has_both_sides_alike(bore: Project) -> None:
    """Numbers of the file on both sides, half of each axle's share of the weight, 50 % across."""
    lines = lines_of(bore, bore.setup)
    assert lines["camber_deg"].values == (-1.5, -1.5, -1.0, -1.0)
    assert lines["cross_weight_percent"].values[0] == 50.0
    front = 0.5 * bore.car.mass * bore.car.front_share
    assert lines[WEIGHT].values[:2] == pytest.approx((front, front), abs=1e-3)


def test_steps_land_on_four_corners(oval: Project, work: ChangeList) -> None:
    """Done one by one: cambers to half a shim, heights to a flat, cross weight to what flats leave (0.2
    points), and all that is set by number exactly."""
    pad, stance = Pad(oval, work.today), as_written(work.today)
    for step in work.steps:
        stance = apply(pad, step, stance)
    target = work.target
    reading = pad.reading(stance)
    wanted = [
        v for axle in (target.front, target.rear) for v in axle.sides("camber")
    ]
    assert reading.camber == pytest.approx(np.array(wanted), abs=0.05 * DEG)
    assert reading.ride_height == pytest.approx(
        target.ride_heights, abs=0.25 * MM
    )
    assert reading.cross_share == pytest.approx(0.53, abs=0.002)
    assert reading.load.sum() == pytest.approx((oval.car.mass + 20.0) * GRAVITY)
    assert stance["brake_front"] == pytest.approx(0.58)
    assert stance["wing"][0] == pytest.approx(7.0 * DEG)
    assert stance["station"][0] == pytest.approx(1.15)
    assert stance["spring"].tolist() == [175e3, 230e3, 170e3, 170e3]
    assert stance["damper_bump"][:2] == pytest.approx([6000.0, 7500.0])
    assert stance["damper_rebound"][2:] == pytest.approx([12000.0, 12000.0])
    assert work.landed.balance.cross_share == pytest.approx(
        reading.cross_share, abs=1e-9
    )


def test_words_of_the_steps(work: ChangeList) -> None:
    """In the units of the adjusters, side by side; the stack that is fitted; heights of a corner once."""
    said = "\n".join(step.what for step in work.steps)
    assert "Front right damper bump 6 -> 7 clicks" in said
    assert "Rear damper rebound 3 -> 4 clicks" in said
    assert "the stack goes from 9.50 to" in said
    assert "Brake balance 56 -> 58 % front" in said
    heights = [step.where for step in work.steps if step.job == "ride height"]
    assert len(heights) == len(set(heights))
    jobs = [step.job for step in work.steps]
    heights_begin = jobs.index("ride height")
    assert jobs.index("camber") < heights_begin
    assert not any(step.is_read for step in work.steps[:heights_begin])
    assert "river or ballast" in work.steps[heights_begin].points[0]


def test_what_was_set_is_read_back(oval: Project) -> None:
    """As wanted nothing deviates; a click, an angle, a share and a wedge are found, the click put right."""
    setup = oval.setup
    as_set = {
        "wings.rear wing": [5.0 * DEG, *[np.nan] * 3],
        "brake_front_percent": [0.56, *[np.nan] * 3],
    }
    clicks = {"damper_bump_clicks": [4.0, 6.0, 4.0, 4.0]}
    assert (
        read_back(oval, setup, measured(**as_set, **clicks), 0.0).deviations
        == ()
    )
    as_set["wings.rear wing"][0] = 6.0 * DEG
    as_set["cross_weight_percent"] = [0.52, *[np.nan] * 3]
    clicks["damper_bump_clicks"][1] = 5.0
    found = read_back(oval, setup, measured(**as_set, **clicks), 0.0)
    by_name = {deviation.name: deviation for deviation in found.deviations}
    assert set(by_name) == {
        "damper bump FR",
        "wing rear wing",
        "corner weights",
    }
    assert by_name["wing rear wing"].found == pytest.approx(6.0)
    assert by_name["corner weights"].found == pytest.approx(0.52 / PERCENT)
    assert [one.how for one in found.corrections] == ["to 6 clicks"]


def test_the_card_stops_no_run_for_wheels_that_lift_as_computed(
    bore: Project,
) -> None:
    """Where cases with a wheel in the air are named, only another one stops the run."""
    assert wheels_in_air(evaluate(bore, bore.setup))
    rules = " ".join(run_card(bore, bore.setup).stop_rules())
    assert (
        "a wheel was seen in the air in a case that is not named above" in rules
    )


def test_no_more_shims_come_out_than_are_in(oval: Project) -> None:
    """9.5 mm are in, 0.28 deg each mm: 4 deg less would need 14 mm out. All of 9.5 go, and the rest is named."""
    today = oval.setup.front
    left = replace(today.left, camber=today.of("camber", "left") - 4.0 * DEG)
    front = replace(today, left=left)
    found = change_list(oval, oval.setup, replace(oval.setup, front=front))
    step = next(step for step in found.steps if step.job == "camber")
    assert (step.where, step.amount) == ("fl", -9.5)
    assert "the stack goes from 9.50 to 0.00 mm" in step.what
    assert any(
        "more to take out than are fitted" in one for one in found.left_alone
    )
