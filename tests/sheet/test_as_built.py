"""The car as built: at rest where it was measured, judged by its own wheels, never held without contact."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics.inputs import CASE
from setupopt.project import Project
from setupopt.project.limits_model import Arch, Packaging
from setupopt.project.measured_file import QUANTITIES, WEIGHT, Measured
from setupopt.project.model import Ballast, ClearancePoint
from setupopt.report.readback.fields import as_dict
from setupopt.report.readback.text import text
from setupopt.sheet import deviations
from setupopt.sheet.as_built import built, built_result
from setupopt.sheet.build import as_written
from setupopt.sheet.pad_state import Pad
from setupopt.sheet.readback import ReadBack, read_back
from setupopt.units import BAR, DEG, GRAVITY, MM, N_PER_MM

from .conftest import few


def measured(**values: list[float]) -> Measured:
    """Values in SI by quantity; the rest not measured."""
    found = {key: np.full(4, np.nan) for key in QUANTITIES}
    found |= {key: np.array(four, dtype=float) for key, four in values.items()}
    return Measured(Path("measured.csv"), found, dict.fromkeys(QUANTITIES, 7))


def scales(project: Project, *more: float) -> Measured:
    """What scales under the car's own weights show, and so much more, kg."""
    car = project.car
    front, rear = (
        0.5 * car.mass * car.front_share,
        0.5 * car.mass * (1.0 - car.front_share),
    )
    return measured(
        **{
            WEIGHT: [
                w + by
                for w, by in zip((front, front, rear, rear), more, strict=True)
            ]
        }
    )


def on_the_pad() -> CaseSet:
    """Flat, level, at rest."""
    records = np.zeros(1, CASE)
    for name in ("surface_grip", "lean", "transfer", "crab"):
        records[name] = 1.0
    return CaseSet(records, ("pad",), np.empty(0), ())


def on_plates(project: Project) -> Project:
    """Its wheels stand on plates that slide: neither camber nor toe pushes, as on a wheel that rolls."""
    car, setup = project.car, project.setup
    axles = [
        replace(axle, tyre=replace(axle.tyre, camber_thrust_share=0.0))
        for axle in (car.front, car.rear)
    ]
    straight = replace(
        setup,
        front=replace(setup.front, toe=0.0),
        rear=replace(setup.rear, toe=0.0),
    )
    return replace(
        project, car=replace(car, front=axles[0], rear=axles[1]), setup=straight
    )


WEDGES = [(3, -3, -3, 3), (2.4, 2.4, -2.4, -2.4), (2.6, -2.6, 2.6, -2.6)]


@pytest.mark.parametrize("more", WEDGES)
def test_the_car_rests_where_it_was_measured(
    bore: Project, more: tuple[float, ...]
) -> None:
    """On the pad it neither sinks, pitches nor rolls, whatever the scales are off by; the loads balance
    about the CG. To 0.01 mm, a tenth of what a ruler reads; the off-middle tyre forces leave that."""
    bore = on_plates(bore)
    build = built(bore.setup, scales(bore, *more), bore.car)
    answer = built_result(Model(bore.car), [build], on_the_pad()).answers[0, 0]
    front, rear = bore.setup.front.ride_height, bore.setup.rear.ride_height
    assert answer["ride_gap"] == pytest.approx([front, rear], abs=0.01 * MM)
    assert abs(answer["state"][2]) * bore.car.front.track < 0.01 * MM
    loads = answer["load"]
    assert (loads[0] + loads[1]) / loads.sum() == pytest.approx(
        bore.car.front_share, abs=1e-4
    )


def test_cross_weight_is_the_one_measured(bore: Project) -> None:
    """Front right and rear left over all four, as the scales showed it, to 0.01 %."""
    bore = on_plates(bore)
    more = (3.0, -3.0, -3.0, 3.0)
    weights = scales(bore, *more).get(WEIGHT)
    build = built(bore.setup, scales(bore, *more), bore.car)
    result = built_result(Model(bore.car), [build], on_the_pad())
    loads = result.answers["load"][0, 0]
    shown = (weights[1] + weights[2]) / weights.sum()
    assert (loads[1] + loads[2]) / loads.sum() == pytest.approx(shown, abs=1e-4)


def test_even_weights_are_no_deviation(bore: Project) -> None:
    """Scales that show what they should leave nothing to correct."""
    assert (
        read_back(bore, bore.setup, scales(bore, 0, 0, 0, 0)).deviations == ()
    )


def test_only_what_was_measured_on_all_four_is_held_together(
    bore: Project,
) -> None:
    """A front that leans is no twist while the rear is known on its centre line alone."""
    front = bore.setup.front.ride_height
    leaning = measured(
        ride_height_mm=[front + 2 * MM, front - 2 * MM, 0.055, np.nan]
    )
    heights = [front + 2 * MM, front - 2 * MM, 0.055, 0.055]
    assert built(bore.setup, leaning, bore.car).ride_height == pytest.approx(
        heights
    )
    assert any(
        "higher front left" in caution
        for caution in read_back(bore, bore.setup, leaning).cautions
    )


def test_what_is_not_taken_as_read_is_said(bore: Project) -> None:
    """Nothing measured, weights scaled, weights missing: a caution each, in words and JSON."""
    some = measured(**{WEIGHT: [130.0, np.nan, np.nan, np.nan]})
    for file, words in (
        (measured(), "Nothing was measured"), (scales(bore, 1, 1, 1, 1), "scaled to the car's"),
        (some, "missing at some wheels"),
    ):  # fmt: skip
        read = read_back(bore, bore.setup, file)
        assert any(words in caution for caution in as_dict(read)["cautions"])
        assert words in text(read, 160)


def test_the_weight_of_the_car_has_its_ballast(bore: Project) -> None:
    """What the scales are scaled to is the car with the lead that its setup puts on it."""
    lead = Ballast("lead", 8.0, 1.2, 0.3, 0.08)
    loaded = replace(bore.setup, ballast=(lead,))
    weights = Pad(bore, loaded).reading(as_written(loaded)).load / GRAVITY
    read = read_back(bore, loaded, measured(**{WEIGHT: list(weights)}))
    whole = f"{bore.car.mass + 8.0:g} kg"
    assert any(f"scaled to the car's {whole}" in one for one in read.cautions)


# ---- contact and limits ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def slow() -> Project:
    """The bore at a walking pace, where nothing holds the car on the roof."""
    project = few("bore", 90.0, 1)
    return replace(
        project,
        venue=replace(
            project.venue, sweep=replace(project.venue.sweep, speed=15.0)
        ),
    )


@pytest.mark.parametrize("floor", [None, -5.0])
def test_a_lost_car_never_holds(slow: Project, floor: float | None) -> None:
    """Target and build lose contact alike: no floor is reached, and the JSON stays valid."""
    read = read_back(slow, slow.setup, measured(), floor)
    assert not read.holds
    answer = json.loads(json.dumps(as_dict(read), allow_nan=False))
    assert answer["contact_lost"] > 0
    assert (answer["margin"], answer["holds"]) == (None, False)


def leaning_left(project: Project) -> ReadBack:
    """A build whose left front wheel stands 2 deg further in."""
    camber = project.setup.front.camber
    return read_back(
        project,
        project.setup,
        measured(camber_deg=[camber - 2 * DEG, np.nan, np.nan, np.nan]),
    )


def test_arch_is_asked_with_the_wheels_own_camber(bore: Project) -> None:
    """Room that would do for the mean of both sides, and for the right one, but not for the left."""
    most = leaning_left(bore).result.answers["travel"][0, :, 0].max()
    own = bore.setup.front.camber - 2 * DEG
    assert bore.limits is not None
    for spare, kept in ((-0.2 * MM, False), (0.2 * MM, True)):
        arch = Arch("front", most + spare - 0.1 * own, 0.1)
        packaging = Packaging(None, None, None, (arch,))
        read = leaning_left(
            replace(bore, limits=replace(bore.limits, packaging=packaging))
        )
        assert any(b.where == "fl" for b in read.broken) != kept


def test_floor_point_is_asked_with_the_build_itself(bore: Project) -> None:
    """The point that the answer of the build says comes too close is named with that very gap."""
    low = replace(bore.setup, front=replace(bore.setup.front, spring=60e3))
    point = ClearancePoint("nose", 0.0, 0.0, 0.0, 0.5)
    car = replace(bore.car, clearance=(point,))
    soft = measured(
        spring_N_per_mm=[50 * N_PER_MM, 120 * N_PER_MM, np.nan, np.nan]
    )
    read = read_back(replace(bore, car=car), low, soft)
    (found,) = [b for b in read.broken if b.limit == "clearance.least_gap_mm"]
    assert found.value * MM == pytest.approx(
        read.result.answers["clearance"].min(), abs=1e-9
    )


# ---- corrections -------------------------------------------------------------------------------------------


def test_a_single_wheel_is_turned_alone(bore: Project) -> None:
    """Its correction names the wheel and never speaks of both sides."""
    (fix,) = leaning_left(bore).corrections
    assert "FL only" in fix.how
    assert "each side" not in fix.how


def test_too_many_deviations_still_reach_a_floor_that_can_be_reached(
    bore: Project, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sixteen deviations have more sets than are tried: one that reaches the floor is told all the same,
    with the word that it need not be the smallest. All of them put right is the target, so one exists."""
    bad = measured(
        camber_deg=[2 * DEG, 1.9 * DEG, 2.2 * DEG, 2.1 * DEG],
        spring_N_per_mm=[90e3, 91e3, 240e3, 241e3],
        pressure_bar=[2.2 * BAR, 2.21 * BAR, 2.3 * BAR, 2.31 * BAR],
        ride_height_mm=[0.06, 0.06, 0.07, 0.07], anti_roll_N_per_mm=[2e4, np.nan, 0.0, np.nan],
    )  # fmt: skip
    monkeypatch.setattr(deviations, "_MOST_SETS", 300)
    project = few("bore", 90.0, 2)
    base = read_back(project, project.setup, bad)
    read = read_back(project, project.setup, bad, base.target_margin - 1e-4)
    assert len(read.deviations) == 16
    assert read.after >= read.floor
    assert not read.is_smallest
    assert "maybe not the smallest" in text(read, 160)
