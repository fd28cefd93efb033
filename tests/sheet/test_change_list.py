"""The change list: done step by step on the pad it lands on the target."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from setupopt.evaluation.model import evaluate
from setupopt.project import Project, with_body
from setupopt.project.limits_model import Tolerance
from setupopt.project.model import Setup
from setupopt.sheet.build import as_written
from setupopt.sheet.change_list import ChangeList, change_list
from setupopt.sheet.pad_state import Pad
from setupopt.sheet.steps import apply
from setupopt.units import DEG, MM

from .conftest import EXAMPLES, few, proposed_like


@pytest.fixture(scope="module", params=EXAMPLES)
def made(request: pytest.FixtureRequest) -> tuple[Project, ChangeList]:
    """Each example, from today to a target that differs in nearly everything."""
    project = few(request.param, EXAMPLES[request.param])
    return project, change_list(project, project.setup, proposed_like(project))


def test_steps_done_one_by_one_land_on_the_target(
    made: tuple[Project, ChangeList],
) -> None:
    """Within the tolerance that limits.toml prints, on the pad's own reading; every reading told is met."""
    project, found = made
    pad, stance = Pad(project, found.today), as_written(found.today)
    for step in found.steps:
        stance = apply(pad, step, stance)
        reading = pad.reading(stance)
        assert reading.ride_height == pytest.approx(
            step.reading.ride_height, abs=1e-9
        )
        assert reading.camber == pytest.approx(step.reading.camber, abs=1e-9)
        assert reading.load == pytest.approx(step.reading.load, abs=1e-3)
    assert project.limits is not None
    held = project.limits.tolerance
    assert isinstance(held, Tolerance)
    for axle, target in enumerate((found.target.front, found.target.rear)):
        assert (
            abs(reading.ride_height[axle] - target.ride_height)
            <= held.ride_height
        )
        assert (
            np.abs(
                reading.camber[2 * axle : 2 * axle + 2] - target.camber
            ).max()
            <= held.camber
        )
        assert stance.spring[2 * axle] == target.spring
        assert abs(stance.pressure[2 * axle] - target.pressure) <= 1e-3
    assert reading.cross_share == pytest.approx(0.5, abs=1e-6)


def test_camber_comes_as_near_as_the_shims_allow(
    made: tuple[Project, ChangeList],
) -> None:
    """At the end, when the last ride height has moved it too: to half of the thinnest shim, and 0.01 deg for
    the flat that the height was rounded to (0.025 deg/mm at 0.2 mm are half of that)."""
    project, found = made
    assert project.limits is not None
    for axle in ("front", "rear"):
        adjuster = getattr(project.limits, f"adjuster_{axle}")
        half = 0.5 * min(adjuster.shims) * adjuster.camber_per_shim
        off = (
            getattr(found.landed, axle).camber
            - getattr(found.target, axle).camber
        )
        assert abs(off) <= half + 0.01 * DEG


def test_landed_is_what_was_read(made: tuple[Project, ChangeList]) -> None:
    """The margins told are those of plain evaluations of today, target and landed."""
    project, found = made
    margins = evaluate(
        project, [found.today, found.target, found.landed]
    ).worst_margin
    told = [found.margin_today, found.margin_target, found.margin_landed]
    assert told == pytest.approx(margins.tolist(), abs=1e-12)
    assert found.landed.front.ride_height == pytest.approx(
        found.steps[-1].reading.ride_height[0]
    )


def test_shims_are_real_and_their_sum_is_the_amount(
    made: tuple[Project, ChangeList],
) -> None:
    """Only sizes from limits.toml; the amount told is what they make together."""
    project, found = made
    assert project.limits is not None
    adjusters = {
        "front": project.limits.adjuster_front,
        "rear": project.limits.adjuster_rear,
    }
    steps = [step for step in found.steps if step.job == "camber"]
    assert steps
    for step in steps:
        adjuster = adjusters[step.where]
        assert adjuster is not None
        assert step.amount is not None
        sizes = [size / MM for size in adjuster.shims]
        assert all(
            min(abs(size - one) for one in sizes) < 1e-9
            for size, _ in step.shims
        )
        assert abs(step.amount) == pytest.approx(
            sum(size * count for size, count in step.shims)
        )
        assert f"{abs(step.amount):.2f} mm" in step.what


def test_order_of_the_trade(made: tuple[Project, ChangeList]) -> None:
    """Bars off before anything is set, camber before the heights that it moves, which are set once; the driver
    gets in for heights and scales only; scales before the bars are on (common practice)."""
    steps = made[1].steps
    jobs = [step.job for step in steps]
    order = [
        "prepare", "pressure", "spring", "anti-roll bar", "camber", "ride height", "finish"
    ]  # fmt: skip
    places = [jobs.index(job) for job in order if job in jobs]
    assert places == sorted(places)
    axles = [step.where for step in steps if step.job == "ride height"]
    assert len(axles) == len(set(axles))
    assert [step.number for step in steps] == list(range(1, len(jobs) + 1))
    assert any("Disconnect" in point for point in steps[0].points)
    driver = [
        step.job
        for step in steps
        for point in step.points
        if "river or ballast" in point
    ]
    assert driver == ["ride height"]
    last = [point.split()[0] for point in steps[-1].points]
    assert last.index("Weigh:") < last.index("Connect") < last.index("Bounce")


def test_a_row_is_something_to_turn(made: tuple[Project, ChangeList]) -> None:
    """Between the first row and the last every one moves something, an axle with both sides alike in one;
    readings are printed only where the driver is aboard."""
    steps = made[1].steps
    assert [step.job for step in steps if not step.amount] == [
        "prepare",
        "finish",
    ]
    turned = [(step.job, step.where) for step in steps]
    assert len(turned) == len(set(turned))
    assert {step.where for step in steps} == {"", "front", "rear"}
    assert {step.job for step in steps if step.is_read} == {
        "ride height",
        "finish",
    }


def test_five_settings_are_seven_rows(bore: Project) -> None:
    """Pressure, and camber and height of both axles: a row each, one before and one after."""
    today = bore.setup
    front = replace(
        today.front,
        pressure=today.front.pressure + 1e4,
        camber=today.front.camber - DEG,
        ride_height=today.front.ride_height - 0.004,
    )
    rear = replace(
        today.rear,
        camber=today.rear.camber - DEG,
        ride_height=today.rear.ride_height - 0.004,
    )
    found = change_list(bore, today, Setup("a target", front, rear))
    assert [step.job for step in found.steps] == [
        "prepare",
        "pressure",
        *["camber"] * 2,
        *["ride height"] * 2,
        "finish",
    ]
    said = " ".join(found.steps[-1].points)
    for words in (
        f"front anti-roll bar to position {_position(bore, 'front')}",
        f"rear anti-roll bar to position {_position(bore, 'rear')}",
    ):
        assert words in said


def _position(project: Project, axle: str) -> int:
    """Of the bar as it is today, counted from 1."""
    adjuster = getattr(project.limits, f"adjuster_{axle}")
    rates = list(adjuster.anti_roll_positions)
    return rates.index(getattr(project.setup, axle).anti_roll) + 1


def test_nothing_to_change_is_only_checked(bore: Project) -> None:
    """Bars come off and on again, the driver gets in for the scales; the car lands where it stood."""
    found = change_list(bore, bore.setup, bore.setup)
    assert [step.job for step in found.steps] == ["prepare", "finish"]
    assert "river or ballast" in found.steps[-1].points[0]
    assert found.landed.front.anti_roll == bore.setup.front.anti_roll
    assert found.landed.front.ride_height == pytest.approx(
        bore.setup.front.ride_height, abs=1e-9
    )
    assert found.margin_landed == pytest.approx(found.margin_today, abs=1e-9)
    assert found.left_alone == ()


def test_a_bar_that_comes_off_stays_off(bore: Project) -> None:
    """It is a row of its own, as any change, and is not connected in the end."""
    front = replace(bore.setup.front, anti_roll=0.0)
    found = change_list(bore, bore.setup, replace(bore.setup, front=front))
    (step,) = (one for one in found.steps if one.job == "anti-roll bar")
    assert step.amount == -bore.setup.front.anti_roll * MM
    assert "stays disconnected" in step.what
    assert "front anti-roll bar" not in " ".join(found.steps[-1].points)
    assert found.landed.front.anti_roll == 0.0


def test_what_is_too_small_is_named(bore: Project) -> None:
    """A hundredth of a degree is less than half of a shim; a bar between positions is no position."""
    front = replace(
        bore.setup.front,
        camber=bore.setup.front.camber - 0.01 * DEG,
        anti_roll=33e3,
    )
    found = change_list(bore, bore.setup, replace(bore.setup, front=front))
    said = "; ".join(found.left_alone)
    assert "front camber" in said
    assert "33 N/mm is no position of the bar" in said
    assert found.landed.front.anti_roll == pytest.approx(30e3)


def test_springs_that_are_not_on_the_shelf_are_named(bore: Project) -> None:
    """They are told as wanted, and that they are not there."""
    rear = replace(bore.setup.rear, spring=155e3)
    found = change_list(bore, bore.setup, replace(bore.setup, rear=rear))
    assert any(
        "155 N/mm is none of those on the shelf" in words
        for words in found.left_alone
    )


def test_without_adjusters_plain_units_are_told(bore: Project) -> None:
    """Degrees and tenths of a millimetre where limits.toml tells nothing of shims and turns."""
    assert bore.limits is not None
    bare = replace(
        bore,
        limits=replace(bore.limits, adjuster_front=None, adjuster_rear=None),
    )
    found = change_list(bare, bare.setup, proposed_like(bare))
    units = {
        step.job: step.unit for step in found.steps if step.amount is not None
    }
    assert (units["camber"], units["ride height"]) == ("deg", "mm")
    assert found.landed.front.camber == pytest.approx(
        found.target.front.camber, abs=0.1 * DEG
    )


def test_turns_after_a_spring_by_hand(bore: Project) -> None:
    """A harder front spring in the old seat stands S0 (1 / k_old - 1 / k_new) higher at the wheel; the turns
    take it back. 3 %, and what is turned is the nearest flat, a sixth of a turn."""
    front = replace(bore.setup.front, spring=bore.setup.front.spring + 60e3)
    found = change_list(bore, bore.setup, replace(bore.setup, front=front))
    car = bore.car
    load = (
        car.mass * car.front_share / 2.0 * 9.80665
        - car.front.unsprung_mass * 9.80665
    )
    rates = [
        spring * car.front.motion_ratio**2
        for spring in (bore.setup.front.spring, front.spring)
    ]
    rise = load * (1.0 / rates[0] - 1.0 / rates[1])
    assert bore.limits is not None
    assert bore.limits.adjuster_front is not None
    per_turn = bore.limits.adjuster_front.ride_height_per_turn
    assert per_turn is not None
    step = next(
        step
        for step in found.steps
        if step.job == "ride height" and step.where == "front"
    )
    assert step.exact == pytest.approx(-rise / per_turn, rel=0.03)
    assert step.amount is not None
    assert abs(step.amount - step.exact) <= 1.0 / 12.0 + 1e-9


@pytest.mark.parametrize("by", [2.0, -2.0])
def test_shims_go_the_right_way(bore: Project, by: float) -> None:
    """Camber raised needs shims in where shims raise it, out where it falls; the gauge ends where wanted."""
    front = replace(bore.setup.front, camber=bore.setup.front.camber + by * DEG)
    found = change_list(bore, bore.setup, replace(bore.setup, front=front))
    step = next(step for step in found.steps if step.job == "camber")
    assert ("add" if by > 0.0 else "take out") in step.what
    assert found.landed.front.camber == pytest.approx(
        front.camber, abs=0.05 * DEG
    )


def adjusted(project: Project, **tools: Any) -> Project:
    """The project with other adjusters in front."""
    assert project.limits is not None
    assert project.limits.adjuster_front is not None
    front = replace(project.limits.adjuster_front, **tools)
    return replace(
        project, limits=replace(project.limits, adjuster_front=front)
    )


def test_turns_say_raise_and_lower_as_the_car_goes(bore: Project) -> None:
    """Also where a turn lowers the car."""
    other = adjusted(bore, ride_height_per_turn=-0.0016)
    front = replace(
        bore.setup.front, ride_height=bore.setup.front.ride_height + 0.005
    )
    for project, sign in ((bore, 1.0), (other, -1.0)):
        found = change_list(
            project, project.setup, replace(project.setup, front=front)
        )
        step = next(
            step
            for step in found.steps
            if step.job == "ride height" and step.where == "front"
        )
        assert step.what.startswith("Raise the front")
        assert step.amount is not None
        assert np.sign(step.amount) == sign
        assert found.landed.front.ride_height == pytest.approx(
            front.ride_height, abs=0.3 * MM
        )


def test_tools_too_coarse_for_the_tolerance_are_named(bore: Project) -> None:
    """Two-millimetre shims and 12 mm a turn: what misses the tolerance is told with its miss."""
    project = adjusted(bore, shims=(0.002,), ride_height_per_turn=0.012)
    front = replace(
        bore.setup.front,
        camber=bore.setup.front.camber - 0.9 * DEG,
        ride_height=0.0424,
    )
    found = change_list(
        project, project.setup, replace(project.setup, front=front)
    )
    said = "; ".join(found.left_alone)
    assert "front camber: lands" in said
    assert "front ride height: lands" in said


def test_pressures_land_on_values_a_gauge_shows(bore: Project) -> None:
    """From 1.604 to 1.66 bar it is the end that is rounded, not the change."""
    odd = replace(bore.setup, front=replace(bore.setup.front, pressure=1.604e5))
    target = replace(odd, front=replace(odd.front, pressure=1.66e5))
    assert change_list(
        bore, odd, target
    ).landed.front.pressure == pytest.approx(1.66e5, abs=1.0)


def test_a_height_less_than_half_a_flat_is_named(bore: Project) -> None:
    """0.1 mm where a flat is 0.27 mm: no step, but said; and camber, which is as wanted, is not spoken of."""
    front = replace(
        bore.setup.front, ride_height=bore.setup.front.ride_height + 0.1 * MM
    )
    found = change_list(bore, bore.setup, replace(bore.setup, front=front))
    assert found.left_alone == (
        "front ride height: +0.10 mm wanted, less than half of a flat",
    )
    assert [step.job for step in found.steps] == ["prepare", "finish"]


def test_toe_is_checked_where_shims_or_turns_may_move_it(
    made: tuple[Project, ChangeList],
) -> None:
    """The model does not say how shims move it: after camber and heights it is measured (common practice)."""
    project, found = made
    assert any(point.startswith("Toe ") for point in found.steps[-1].points)
    idle = change_list(project, project.setup, project.setup)
    assert not any(point.startswith("Toe") for point in idle.steps[-1].points)


@pytest.mark.parametrize(
    ("off", "on"),
    [(None, "low-drag"), ("low-drag", "long-floor"), ("long-floor", None)],
)
def test_another_body_is_fitted_first(
    bore: Project, off: str | None, on: str | None
) -> None:
    """Before anything is measured; every margin is that of the setup in its own body."""
    today, target = (
        replace(bore.setup, body=off),
        replace(proposed_like(bore), body=on),
    )
    found = change_list(with_body(bore, on), today, target)
    assert found.steps[0].job == "body"
    for name in (on or "car.toml", off or "car.toml"):
        assert name in found.steps[0].what
    assert found.steps[0].what.index(on or "car.toml") < found.steps[
        0
    ].what.index(off or "car.toml")
    assert found.landed.body == on
    states = ((today, off), (target, on), (found.landed, on))
    margins = [
        float(evaluate(with_body(bore, body), setup).worst_margin[0])
        for setup, body in states
    ]
    assert [
        found.margin_today,
        found.margin_target,
        found.margin_landed,
    ] == pytest.approx(margins, abs=1e-12)
    assert len({round(margin, 6) for margin in margins[:2]}) == 2
    assert [step.job for step in found.steps[1:]] == [
        step.job
        for step in change_list(bore, bore.setup, proposed_like(bore)).steps
    ]


def test_no_body_is_fitted_where_it_stays(bore: Project) -> None:
    """In whatever body the car stands."""
    worn = with_body(bore, "low-drag")
    found = change_list(
        worn, worn.setup, replace(proposed_like(bore), body="low-drag")
    )
    assert "body" not in {step.job for step in found.steps}
