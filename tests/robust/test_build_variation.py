"""Build error and uncertain inputs: what an error does, the worst build, how large a box is stood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from cars import (
    GRAVITY,
    STIFF_SETUP,
    load_cases,
    plain_car,
    venue,
    with_downforce,
)
from project.good_folder import CAR, LIMITS, write_folder

import setupopt
from setupopt.errors import InputError
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.project import Project
from setupopt.project.limits_model import Spread, Tolerance
from setupopt.project.model import Car, Setup
from setupopt.robust.builds.build_variation import (
    INPUTS,
    NAMES,
    BuildErrors,
    build_errors,
)
from setupopt.robust.builds.varied_car import varied_car
from setupopt.robust.builds.worst_build import WorstMargin, stands, worst_build

EXACT = Spread(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
RIDE_HEIGHT = Tolerance(
    0.0, 0.002, 0.0, 0.0
)  # of the ride heights alone: a build is then a setup
NOISE = 2e-6  # of margins: the least friction factor is found to 1e-6


@pytest.fixture(scope="module")
def cases(bore: Project) -> CaseSet:
    """Few angles, three attitudes."""
    few = tuple(bore.venue.attitudes[number] for number in (0, 1, 4))
    return sweep_cases(
        replace(bore.venue, attitudes=few), np.radians([90.0, 150.0, 180.0])
    )


@pytest.fixture(scope="module")
def build(bore: Project) -> BuildErrors:
    """Today's setup with its tolerances and uncertain inputs."""
    found = build_errors(bore)
    assert found is not None
    return found


def worst_margin(project: Project, setup: Setup, cases: CaseSet) -> float:
    """Worst margin of a setup by plain evaluation."""
    return float(setupopt.evaluate(project, setup, cases).worst_margin[0])


def with_ride_heights(setup: Setup, front: float, rear: float) -> Setup:
    """A setup with its ride heights moved by so much, m."""
    return replace(
        setup,
        front=replace(setup.front, ride_height=setup.front.ride_height + front),
        rear=replace(setup.rear, ride_height=setup.rear.ride_height + rear),
    )


# ---- what an error does ------------------------------------------------------------------------------------


def test_no_error_is_the_setup(
    bore: Project, build: BuildErrors, cases: CaseSet
) -> None:
    """A build without error answers what the setup answers, to the last digit."""
    exact = setupopt.evaluate(bore, cases=cases)
    assert np.array_equal(
        build.result(np.zeros(len(build.names)), cases).margin, exact.margin
    )


def test_inputs_without_spread_change_nothing(
    build: BuildErrors, cases: CaseSet
) -> None:
    """Spreads of 0 % give the builds' own margins to the last digit, whatever their errors."""
    errors = np.random.default_rng(0).uniform(
        -1.0, 1.0, (5, len(NAMES) + len(INPUTS))
    )
    unsure = replace(build, spread=EXACT).result(errors, cases).margin
    assert np.array_equal(
        unsure,
        build.build_alone().result(errors[:, : len(NAMES)], cases).margin,
    )


def test_sides_err_on_their_own(build: BuildErrors) -> None:
    """An error of one wheel changes that wheel alone, and its static penetration with it."""
    errors = np.zeros((1, len(NAMES)))
    errors[0, NAMES.index("camber rl")] = 1.0
    rows, exact = (
        build.settings(errors)[0],
        build.settings(np.zeros_like(errors))[0],
    )
    assert (rows["camber"] != exact["camber"]).tolist() == [
        False,
        False,
        True,
        False,
    ]
    assert rows["penetration"][2] != exact["penetration"][2]
    assert rows["penetration"][3] == exact["penetration"][3]


def test_pressure_error_moves_the_carcass(
    bore: Project, build: BuildErrors
) -> None:
    """A tyre with too much air is stiffer in tread bed and carcass: K = K0 + K1 p."""
    assert build.tolerance is not None
    errors = np.zeros((1, len(NAMES)))
    errors[0, NAMES.index("pressure fr")] = 1.0
    rows, exact = (
        build.settings(errors)[0],
        build.settings(np.zeros_like(errors))[0],
    )
    tyre = bore.car.front.tyre
    assert tyre.carcass_per_pressure > 0.0
    expected = np.array(
        [0.0, tyre.carcass_per_pressure * build.tolerance.pressure, 0.0, 0.0]
    )
    assert rows["carcass"] - exact["carcass"] == pytest.approx(
        expected, abs=1e-6
    )  # N/m of 2e5
    bed = np.array(
        [0.0, tyre.foundation_per_pressure * build.tolerance.pressure, 0.0, 0.0]
    )
    assert rows["foundation"] - exact["foundation"] == pytest.approx(
        bed, rel=1e-9, abs=1e-3
    )


def test_worst_margins_are_those_of_all_cases(
    build: BuildErrors, cases: CaseSet
) -> None:
    """Slopes choose which cases are solved: the worst margin is that of a solution of every case."""
    drawn = np.random.default_rng(5).uniform(-1.0, 1.0, (6, len(build.names)))
    for scale in (1.0, 4.0):
        box = replace(build, scale=scale)
        plain = box.result(drawn, cases).worst_margin
        assert WorstMargin.of(box, cases)(drawn) == pytest.approx(
            plain, abs=NOISE
        )


def test_errors_of_both_wheels_are_another_setup(
    bore: Project, build: BuildErrors, cases: CaseSet
) -> None:
    """Errors that are alike on both wheels of an axle answer as the setup that has them on purpose."""
    assert build.tolerance is not None
    t, front, rear = build.tolerance, bore.setup.front, bore.setup.rear
    meant = Setup(
        "meant",
        replace(
            front,
            camber=front.camber + t.camber,
            pressure=front.pressure - t.pressure,
        ),
        replace(
            rear,
            spring=rear.spring * (1 + t.spring_share),
            ride_height=rear.ride_height - t.ride_height,
        ),
    )
    errors = np.zeros(len(NAMES))
    errors[[0, 1, 6, 7, 8, 9, 13]] = [1, 1, 1, 1, -1, -1, -1]
    found = build.build_alone().result(errors, cases).margin
    assert found == pytest.approx(
        setupopt.evaluate(bore, meant, cases).margin, abs=NOISE
    )


def with_air(car: Car, **changes: float) -> Car:
    """The car with entries of its air loads multiplied."""
    return replace(
        car,
        air=replace(
            car.air, **{k: f * getattr(car.air, k) for k, f in changes.items()}
        ),
    )


def with_friction(car: Car, factor: float) -> Car:
    """The car on tyres of other friction, each axle on its own."""
    front, rear = (
        replace(a.tyre, friction=factor * a.tyre.friction)
        for a in (car.front, car.rear)
    )
    return replace(
        car,
        front=replace(car.front, tyre=front),
        rear=replace(car.rear, tyre=rear),
    )


VARIED: dict[str, Callable[[Car, float], Car]] = {
    "downforce": with_downforce,
    "drag": lambda car, f: with_air(car, drag_area=f),
    "side force": lambda car, f: with_air(car, side_area=f),
    "mass": lambda car, f: replace(car, mass=f * car.mass),
    "tyre friction": with_friction,
}


@pytest.mark.parametrize(("name", "error"), [*product(VARIED, (-0.5, 1.0))])
def test_uncertain_input_is_another_car(
    bore: Project, cases: CaseSet, name: str, error: float
) -> None:
    """An error of an input answers as the car made ready anew with that input; each moves some margin."""
    build = BuildErrors(bore.car, bore.setup, None, Spread(*[0.04] * 6))
    errors = np.array([error if name == n else 0.0 for n in build.names])
    other = replace(bore, car=VARIED[name](bore.car, 1.0 + 0.04 * error))
    found = build.result(errors, cases).margin
    assert found == pytest.approx(
        setupopt.evaluate(other, cases=cases).margin, abs=NOISE
    )
    assert (
        np.abs(found - setupopt.evaluate(bore, cases=cases).margin).max() > 1e-4
    )


def test_surface_grip_is_the_venues(bore: Project, cases: CaseSet) -> None:
    """With friction times f the least factor lambda becomes lambda / f: nothing else follows the grip."""
    build = BuildErrors(
        bore.car, bore.setup, None, replace(EXACT, surface_grip=0.10)
    )
    # not overhead: there the flat end of a straight path is found to 7e-5 only, on the safe side
    upright = cases.pick(np.flatnonzero(cases.records["roll_angle"] < 3.0))
    exact = setupopt.evaluate(bore, cases=upright).margin
    found = build.result([-1.0, 0.0, 0.0, 0.0, 0.0, 0.0], upright).margin
    # an end whose last step is not refined to 1e-6 may be 1e-5 off
    assert found == pytest.approx(1.0 - (1.0 - exact) / 0.9, abs=2e-5)


def test_mass_error_is_the_car_of_the_file(tmp_path: Path) -> None:
    """One per cent of mass is a car.toml with that mass: pad, penetration and sprung mass stand anew."""
    light = setupopt.load(write_folder(tmp_path / "light"))
    heavy = setupopt.load(
        write_folder(
            tmp_path / "heavy",
            car=CAR.replace("mass_kg = 780", "mass_kg = 787.8"),
        )
    )
    build = BuildErrors(light.car, light.setup, None, replace(EXACT, mass=0.01))
    cases = sweep_cases(light.venue, np.radians([0.0, 30.0, 60.0]))
    found = build.result([0.0, 0.0, 0.0, 0.0, 1.0, 0.0], cases)
    assert found.margin == pytest.approx(
        setupopt.evaluate(heavy, cases=cases).margin, abs=NOISE
    )
    loads = (
        found.answers["load"][0],
        setupopt.evaluate(light, cases=cases).answers["load"][0],
    )
    assert (
        np.abs(loads[0] - loads[1]).max() > 10.0
    )  # N; a per cent of a corner is 20 N


def test_unstated_errors_are_left_out(
    bore: Project, build: BuildErrors
) -> None:
    """Names are those of the tolerance and of the inputs that limits.toml names; without any, no box."""
    assert bore.limits is not None
    assert build.names == (*NAMES, "surface grip", "downforce", "drag", "mass")
    assert build.inputs_alone().names == build.names[len(NAMES) :]
    nothing = Spread(None, None, None, None, None, None)
    assert build_errors(replace(bore, limits=None)) is None
    assert (
        build_errors(
            replace(
                bore,
                limits=replace(bore.limits, tolerance=None, spread=nothing),
            )
        )
        is None
    )


def test_mass_that_leaves_no_car_is_refused(tmp_path: Path) -> None:
    """Wheels of 600 kg under 780 kg: 30 % less is no car, and the entry that says so is named."""
    car = CAR.replace("mass_kg = 22", "mass_kg = 150").replace(
        "mass_kg = 25", "mass_kg = 150"
    )
    car = car.replace("cg_height_mm = 280", "cg_height_mm = 480")
    heavy = setupopt.load(
        write_folder(
            tmp_path,
            car=car,
            limits=LIMITS.replace("mass_percent = 0.5", "mass_percent = 30"),
        )
    )
    with pytest.raises(
        InputError,
        match=r"limits\.toml, spread\.mass_percent: found 30.*546 kg.*600 kg",
    ):
        build_errors(heavy)


def test_a_box_of_any_size_holds_cars(bore: Project, cases: CaseSet) -> None:
    """Blown up a hundredfold, springs, pressures and masses stay above nothing; every case is answered."""
    build = BuildErrors(
        bore.car,
        bore.setup,
        Tolerance(0.0, 0.0, 0.5, 1e5),
        Spread(*[0.4] * 6),
        100.0,
    )
    rows = build.settings(np.full((1, len(NAMES)), -1.0))[0]
    assert (rows["wheel_rate"] > 0).all()
    assert (rows["foundation"] > 0).all()
    sprung = varied_car(bore.car, {"mass": 0.1}).mass - 2 * (
        13.5 + 15.0
    )  # kg; wheels of the example
    assert 0.0 < sprung < 10.0
    answers = build.result(
        np.full(len(build.names), -1.0), cases.pick([0])
    ).answers
    assert np.isfinite(answers["search_margin"]).all()


# ---- the worst build ---------------------------------------------------------------------------------------


def test_worst_corner_is_not_beaten_by_any_corner(
    build: BuildErrors, cases: CaseSet
) -> None:
    """100 of the 2^14 corners of the tolerance, in the cases near the worst: none lower by 1e-4."""
    built = build.build_alone()
    found = worst_build(built, cases)
    near = cases.pick(
        np.argsort(built.result(np.zeros(len(NAMES)), cases).margin[0])[:3]
    )
    corners = np.random.default_rng(2).choice((-1.0, 1.0), (100, len(NAMES)))
    assert found.margin <= built.result(corners, near).worst_margin.min() + 1e-4


def test_worst_build_is_not_beaten_by_any_of_three_levels(
    bore: Project, cases: CaseSet
) -> None:
    """100 of 3^8 builds of a wide box of cambers, ride heights, downforce and mass: none lower by 1e-4."""
    wide = Tolerance(
        0.02, 0.012, 0.0, 0.0
    )  # rad, m: past the peak of the ground effect
    build = BuildErrors(
        bore.car, bore.setup, wide, Spread(None, 0.05, None, None, 0.05, None)
    )
    low = with_ride_heights(bore.setup, -0.01, -0.005)
    build, near = (
        replace(build, setup=low),
        cases.pick([1, 2, 5, 8]),
    )  # high up and upside down
    errors = np.zeros((100, len(build.names)))
    errors[:, [0, 1, 2, 3, 12, 13, 14, 15]] = np.random.default_rng(3).choice(
        (-1.0, 0.0, 1.0), (100, 8)
    )
    assert (
        worst_build(build, near).margin
        <= build.result(errors, near).worst_margin.min() + 1e-4
    )


@pytest.mark.parametrize("example", ["bore", "bank", "hill"])
def test_no_build_of_a_cloud_is_worse(example: str) -> None:
    """12 builds drawn anywhere in the box, and the corners next to them: none is worse by 1e-3."""
    project = setupopt.load(Path(__file__).parents[2] / "setups" / example)
    sweep, build = project.venue.sweep, build_errors(project)
    assert build is not None
    cases = sweep_cases(
        project.venue, np.linspace(sweep.start, sweep.stop, 2)
    ).pick(range(8))
    drawn = np.random.default_rng(1).uniform(-1.0, 1.0, (12, len(build.names)))
    cloud = build.result(np.vstack([drawn, np.sign(drawn)]), cases).worst_margin
    assert worst_build(build, cases).margin <= cloud.min() + 1e-3


def test_worst_inside_the_box_is_found() -> None:
    """Lift that is strongest at the height set: any error of it helps, and the exact car is the worst.

    In a bend of 6 m/s2 the use is 6 m / (mu (m g - L)), with L = rho/2 v^2 x 1 m2 at the peak; friction does
    not fall with load. To 4e-3: the slip of real tyres turns the forces by some degrees.
    """
    car = plain_car(mass=1000.0, friction=1.5)
    lifting = replace(
        car.air.elements[0], free_area=0.0, ground_area=-1.0, peak_gap=0.05
    )
    car = replace(car, air=replace(car.air, elements=(lifting,)))
    build = BuildErrors(car, STIFF_SETUP, Tolerance(0.0, 0.03, 0.0, 0.0))
    cases = load_cases(
        venue(density=1.2), speed=60.0, path_curvature=6.0 / 60.0**2
    )
    found = worst_build(build, cases)
    assert (
        found.errors["ride height front"],
        found.errors["ride height rear"],
    ) == (0.0, 0.0)
    assert found.margin == pytest.approx(
        1 - 6.0 / (1.5 * (GRAVITY - 2160.0 / 1000.0)), abs=4e-3
    )
    ends = build.result(
        np.array([[0.0] * 12 + [s, s] for s in (-1.0, 1.0)]), cases
    ).worst_margin
    assert ends.min() > found.margin + 0.01


def test_costs_are_of_one_error_alone(bore: Project, cases: CaseSet) -> None:
    """The loss of each ride height alone in the worst case is that of the setup with it, costliest first."""
    found = worst_build(BuildErrors(bore.car, bore.setup, RIDE_HEIGHT), cases)
    case = cases.pick([found.case])
    exact = worst_margin(bore, bore.setup, case)
    alone = {
        "ride height front": (0.002, 0.0),
        "ride height rear": (0.0, 0.002),
    }
    assert {cost.name for cost in found.costs} == set(alone)
    for name, error, loss in found.costs:
        moved = with_ride_heights(bore.setup, *(error * d for d in alone[name]))
        assert loss == pytest.approx(
            exact - worst_margin(bore, moved, case), abs=NOISE
        )
    assert found.costs[0].loss > found.costs[1].loss


def test_worst_build_tells_the_case_it_fails_in(
    build: BuildErrors, cases: CaseSet
) -> None:
    """Errors by name, put back into the car, give the margin told, and in the case told."""
    found = worst_build(build, cases)
    assert tuple(found.errors) == build.names
    again = build.result(list(found.errors.values()), cases)
    assert again.margin[0, found.case] == again.worst_margin[0] == found.margin
    assert found.margin < worst_build(build.build_alone(), cases).margin


def test_lost_contact_is_the_worst_build(bore: Project, cases: CaseSet) -> None:
    """Upside down with 80 % less downforce the car falls off: no margin, and the cause comes first."""
    found = worst_build(
        BuildErrors(bore.car, bore.setup, None, replace(EXACT, downforce=0.8)),
        cases,
    )
    assert found.margin == -np.inf
    assert found.costs[0] == ("downforce", -1.0, np.inf)


# ---- how large a box is stood ------------------------------------------------------------------------------


@pytest.mark.parametrize("field", ["surface_grip", "tyre_friction"])
def test_stands_so_much_less_grip(
    bore: Project, cases: CaseSet, field: str
) -> None:
    """Grip alone uncertain: lambda / f = 1 - floor at f = lambda / (1 - floor), so (1 - f) / share boxes."""
    floor = 0.01
    least = (1.0 - worst_margin(bore, bore.setup, cases)) / (1.0 - floor)
    boxes = 4.2
    build = BuildErrors(
        bore.car,
        bore.setup,
        None,
        replace(EXACT, **{field: (1.0 - least) / boxes}),
    )
    assert stands(build, cases, floor) == pytest.approx(
        boxes, abs=0.02
    )  # the last halving is 2.5 / 256


def test_stands_as_much_as_setups_do(bore: Project, cases: CaseSet) -> None:
    """Ride heights alone: as far as the eight setups round the box hold, by halving with plain evaluation."""
    floor = worst_margin(bore, bore.setup, cases) - 0.02
    sides = [
        np.array(side)
        for side in product((-1.0, 0.0, 1.0), repeat=2)
        if any(side)
    ]

    def falls(scale: float) -> bool:
        moved = [
            with_ride_heights(bore.setup, *(0.002 * scale * side))
            for side in sides
        ]
        return bool(
            setupopt.evaluate(bore, moved, cases).worst_margin.min() < floor
        )

    low, high = 0.0, 10.0
    for _ in range(12):
        low, high = (
            (low, (low + high) / 2)
            if falls((low + high) / 2)
            else ((low + high) / 2, high)
        )
    assert 0.5 < low < 9.0
    build = BuildErrors(bore.car, bore.setup, RIDE_HEIGHT)
    assert stands(build, cases, floor) == pytest.approx(low, abs=0.02)


def test_stands_ends_at_nothing_and_at_ten(
    build: BuildErrors, cases: CaseSet
) -> None:
    """0 where the exact setup misses the floor; 10 where no box does; less with more errors."""
    exact = float(
        build.result(np.zeros(len(build.names)), cases).worst_margin[0]
    )
    assert stands(build, cases, exact + 1e-3) == 0.0
    assert (
        stands(replace(build.build_alone(), scale=1e-3), cases, exact - 0.01)
        == 10.0
    )
    few, all_ = (
        stands(b, cases, exact - 0.02) for b in (build.build_alone(), build)
    )
    assert 0.0 < all_ < few < 10.0
