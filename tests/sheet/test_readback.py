"""The car as built: against the plain evaluation, brute force, and what cannot be."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from setupopt.errors import InputError
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import Model, evaluate
from setupopt.project import Project, Setup, with_body
from setupopt.project.measured_file import QUANTITIES, WEIGHT, Measured
from setupopt.sheet.as_built import built, built_result, with_field
from setupopt.sheet.build import as_written
from setupopt.sheet.readback import read_back
from setupopt.units import BAR, DEG, MM, N_PER_MM

from .conftest import EXAMPLES, few, proposed_like


def measured(**values: list[float]) -> Measured:
    """Values in SI by quantity; the rest not measured."""
    found = {key: np.full(4, np.nan) for key in QUANTITIES}
    found |= {key: np.array(four, dtype=float) for key, four in values.items()}
    return Measured(Path("measured.csv"), found, dict.fromkeys(QUANTITIES, 7))


def camber_off(target: Setup, axle: str, by: float) -> Measured:
    """Both wheels of an axle off by so much."""
    front, rear = target.front.camber, target.rear.camber
    front, rear = (front + by, rear) if axle == "front" else (front, rear + by)
    return measured(camber_deg=[front, front, rear, rear])


def test_nothing_measured_is_the_target(bore: Project) -> None:
    """Every margin as the plain evaluation has it; nothing deviates."""
    target = proposed_like(bore)
    read = read_back(bore, target, measured())
    plain = float(evaluate(bore, target).worst_margin[0])
    assert (read.margin, read.target_margin) == pytest.approx(
        (plain, plain), abs=1e-12
    )
    assert (read.deviations, read.corrections) == ((), ())


def test_even_values_are_a_plain_setup(bore: Project) -> None:
    """Both sides alike: every case's margin equals that of the setup written with these values."""
    target = bore.setup
    front = replace(
        target.front,
        camber=-0.05,
        spring=150e3,
        pressure=1.5 * BAR,
        ride_height=0.043,
        anti_roll=3e4,
        toe=2 * MM,
    )
    other = Setup("", front, target.rear)
    rear = target.rear
    found = measured(
        camber_deg=[-0.05, -0.05, rear.camber, rear.camber],
        spring_N_per_mm=[150 * N_PER_MM, 150 * N_PER_MM, np.nan, np.nan],
        pressure_bar=[1.5 * BAR, 1.5 * BAR, np.nan, np.nan],
        ride_height_mm=[0.043, 0.043, np.nan, np.nan], anti_roll_N_per_mm=[3e4, np.nan, np.nan, np.nan],
        toe_mm=[2 * MM, np.nan, np.nan, np.nan],
    )  # fmt: skip
    cases = sweep_cases(bore.venue)
    result = built_result(
        Model(bore.car), [built(target, found, bore.car)], cases
    )
    assert result.margin[0] == pytest.approx(
        evaluate(bore, other, cases).margin[0], abs=1e-12
    )


@pytest.mark.parametrize("name", EXAMPLES)
def test_half_a_degree_on_one_axle_comes_first(name: str) -> None:
    """On the axle where it costs: named first, outside tolerance, with its correction."""
    project = few(name, EXAMPLES[name])
    target = project.setup
    losses = {}
    for axle in ("front", "rear"):
        for by in (0.5 * DEG, -0.5 * DEG):
            read = read_back(project, target, camber_off(target, axle, by))
            losses[axle, by] = read.deviations[0].cost
    axle, by = max(losses, key=lambda key: losses[key])
    extra = camber_off(target, axle, by)
    extra.values["pressure_bar"][:] = (
        target.front.pressure + 0.01 * BAR,
        *(3 * [np.nan]),
    )
    read = read_back(project, target, extra)
    first = read.deviations[0]
    assert first.name == f"{axle} camber"
    assert first.is_outside
    assert abs(first.found - first.target) == pytest.approx(0.5, abs=1e-6)
    (fix,) = [c for c in read.corrections if c.deviation is first]
    assert "shims" in fix.how
    assert not any(
        c.deviation.name.startswith("pressure") for c in read.corrections
    )


def test_costs_are_differences_of_worst_margins(bore: Project) -> None:
    """A single deviation: what it loses alone is what putting it right gains, by plain evaluations."""
    target = bore.setup
    other = replace(
        target,
        rear=replace(target.rear, ride_height=target.rear.ride_height + 8 * MM),
    )
    found = measured(
        ride_height_mm=[
            np.nan,
            np.nan,
            other.rear.ride_height,
            other.rear.ride_height,
        ]
    )
    read = read_back(bore, target, found)
    before, after = evaluate(bore, [target, other]).worst_margin
    assert read.deviations[0].loss == pytest.approx(before - after, abs=1e-12)
    assert read.deviations[0].gain == pytest.approx(before - after, abs=1e-12)


def test_smallest_set_against_every_subset(bore: Project) -> None:
    """Five deviations, a floor that needs some: no smaller subset reaches it, the one told is the best."""
    target = proposed_like(bore)
    c, p, s = target.front.camber, target.front.pressure, target.rear.spring
    found = measured(
        camber_deg=[c + 0.03, c + 0.02, target.rear.camber + 0.03, target.rear.camber + 0.03],
        pressure_bar=[p, p, target.rear.pressure + 2e4, target.rear.pressure + 2e4],
        spring_N_per_mm=[np.nan, np.nan, s * 0.85, s * 0.85],
    )  # fmt: skip
    base = read_back(bore, target, found)
    floor = 0.5 * (base.margin + base.target_margin)
    read = read_back(bore, target, found, floor)
    model, cases = Model(bore.car), sweep_cases(bore.venue)
    goal, start = as_written(target), built(target, found, bore.car)

    def margin(chosen: tuple) -> float:
        build = start
        for deviation in chosen:
            build = with_field(build, deviation.field, deviation.places, goal)
        return float(built_result(model, [build], cases).worst_margin[0])

    needed = [c.deviation for c in read.corrections if c.for_floor]
    assert needed
    by_size = {
        n: max(margin(one) for one in combinations(read.deviations, n))
        for n in range(len(needed) + 1)
    }
    assert all(by_size[n] < floor for n in range(len(needed)))
    assert read.after == pytest.approx(by_size[len(needed)], abs=1e-12)
    assert read.after >= floor


def test_even_weights_change_nothing_and_a_wedge_does(bore: Project) -> None:
    """Scales that show the car's own shares are the target; more on one diagonal loads it more at speed."""
    target, car = bore.setup, bore.car
    front, rear = (
        car.mass * car.front_share / 2.0,
        car.mass * (1.0 - car.front_share) / 2.0,
    )
    even = built(target, measured(**{WEIGHT: [front, front, rear, rear]}), car)
    wedge = built(
        target,
        measured(**{WEIGHT: [front - 8, front + 8, rear + 8, rear - 8]}),
        car,
    )
    cases = sweep_cases(bore.venue, np.array([0.0])).pick([0])
    builds = [as_written(target), even, wedge]
    loads = built_result(Model(car), builds, cases).answers["load"][:, 0]
    assert loads[1] == pytest.approx(loads[0], abs=1e-6)
    assert np.sign(loads[2] - loads[0]).tolist() == [-1.0, 1.0, 1.0, -1.0]


def test_mirrored_deviations_on_mirrored_attitudes() -> None:
    """A soft left at roll angle +60 and heading +8 is a soft right at -60 and -8."""
    bore = few("bore", 60.0)
    target = bore.setup
    cases = sweep_cases(bore.venue, np.radians([60.0])).pick([1])
    other = sweep_cases(bore.venue, np.radians([-60.0])).pick([2])
    low = target.front.pressure - 0.2 * BAR
    left, right = (
        built(target, measured(pressure_bar=four), bore.car)
        for four in (
            [low, np.nan, np.nan, np.nan],
            [np.nan, low, np.nan, np.nan],
        )
    )
    model = Model(bore.car)
    one, two = (
        built_result(model, [left], cases).margin[0, 0],
        built_result(model, [right], other).margin[0, 0],
    )
    assert one == pytest.approx(two, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ([15, 15, 15, 15], "in all"),
        ([12, 12, -12, -12], "on the front axle"),
        ([9, -9, 9, -9], "left side"),
    ],
)
def test_scales_that_do_not_fit_the_car(
    bore: Project, change: list[float], reason: str
) -> None:
    """Too heavy, too much in front, too much on the left: refused with the numbers, file and line."""
    car = bore.car
    front, rear = (
        car.mass * car.front_share / 2.0,
        car.mass * (1.0 - car.front_share) / 2.0,
    )
    weights = (np.array([front, front, rear, rear]) + change).tolist()
    with pytest.raises(InputError, match=reason) as refused:
        read_back(bore, bore.setup, measured(**{WEIGHT: weights}))
    assert (refused.value.key, refused.value.line) == (WEIGHT, 7)


def test_heights_that_twist_the_floor(bore: Project) -> None:
    """No rigid floor is rolled one way in front and the other way behind; rolled as a whole it may be."""
    front, rear = bore.setup.front.ride_height, bore.setup.rear.ride_height
    twisted = [front + 2 * MM, front - 2 * MM, rear - 2 * MM, rear + 2 * MM]
    with pytest.raises(InputError, match="twist the floor"):
        read_back(bore, bore.setup, measured(ride_height_mm=twisted))
    rolled = [front + 2 * MM, front - 2 * MM, rear + 2 * MM, rear - 2 * MM]
    found = read_back(
        bore, bore.setup, measured(ride_height_mm=rolled)
    ).deviations
    assert {deviation.field for deviation in found} == {"ride_height"}
    assert len(found) == 4


def test_measured_car_wears_the_targets_body(bore: Project) -> None:
    """Whatever the project's car wears: the margin as built is the target's own where nothing deviates."""
    target = replace(proposed_like(bore), body="low-drag")
    plain = float(evaluate(with_body(bore, "low-drag"), target).worst_margin[0])
    assert plain != pytest.approx(
        float(evaluate(bore, proposed_like(bore)).worst_margin[0]), abs=1e-3
    )
    for project in (bore, with_body(bore, "long-floor")):
        read = read_back(project, target, measured())
        assert (read.margin, read.target_margin) == pytest.approx(
            (plain, plain), abs=1e-12
        )


def test_another_body_than_the_targets_is_refused(bore: Project) -> None:
    """What was noted must be what the margin is told for; not noted, it is taken as wanted."""
    target = replace(bore.setup, body="low-drag")
    for body in ("long-floor", "car.toml"):
        with pytest.raises(
            InputError, match=f'found "{body}", expected "low-drag"'
        ):
            read_back(bore, target, replace(measured(), body=body))
    noted = read_back(bore, target, replace(measured(), body="low-drag"))
    assert noted.margin == read_back(bore, target, measured()).margin
    with pytest.raises(InputError, match=r'expected "car\.toml"'):
        read_back(bore, bore.setup, replace(measured(), body="low-drag"))
