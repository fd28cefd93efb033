"""Broken limits: which, where, by how much, in which case."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from project.good_folder import write_folder

from setupopt.evaluation.assessment import assess
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.model import evaluate
from setupopt.evaluation.result import Result
from setupopt.project import Project, load
from setupopt.project.limits_model import Arch, AttitudeLoad, Packaging
from setupopt.project.model import Axle, Car, ClearancePoint
from setupopt.report.assess.text import text
from setupopt.units import DEG, MM

NOTHING = Packaging(None, None, None, ())


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """The good folder without any limit, so that each test states its own."""
    project = load(write_folder(tmp_path_factory.mktemp("good")))
    bare = without_load_limit(project.car)
    car = replace(bare, clearance=(), steer_limit=None)
    return with_packaging(replace(project, car=car))


@pytest.fixture(scope="module")
def result(good: Project) -> Result:
    """Its sweep; some cases hold, some slide or lose contact."""
    found = evaluate(good)
    assert 0 < int(is_judged(found.answers)[0].sum()) < len(found.cases)
    return found


def without_load_limit(car: Car) -> Car:
    def bare(axle: Axle) -> Axle:
        return replace(axle, tyre=replace(axle.tyre, load_limit=None))

    return replace(car, front=bare(car.front), rear=bare(car.rear))


def with_packaging(project: Project, **limits: object) -> Project:
    assert project.limits is not None
    packaging = replace(NOTHING, **limits)  # type: ignore[arg-type]
    return replace(project, limits=replace(project.limits, packaging=packaging))


def only(project: Project, result: Result) -> Broken:
    (found,) = broken(project, project.setup, result)
    return found


def test_no_limit_is_broken_where_there_is_none(
    good: Project, result: Result
) -> None:
    """Without limits.toml, and with one that says nothing."""
    assert broken(good, good.setup, result) == ()
    assert broken(replace(good, limits=None), good.setup, result) == ()


def test_rake_is_a_limit_of_the_car_at_rest(
    good: Project, result: Result
) -> None:
    """45 mm behind and 35 mm in front are 10 mm of rake; it belongs to no case."""
    for span, sense, required in (
        ((0.012, 0.02), "at least", 12.0),
        ((0.0, 0.0081), "at most", 8.1),
    ):
        found = only(with_packaging(good, rake=span), result)
        assert (found.limit, found.value, found.unit) == (
            "packaging.rake_mm",
            10.0,
            "mm",
        )
        assert (found.sense, found.required) == (sense, required)
        assert (found.case, found.roll_angle_deg, found.attitude) == (
            None,
            None,
            None,
        )


def test_a_limit_that_is_just_met_is_not_broken(
    good: Project, result: Result
) -> None:
    """Noise of the conversion from millimetres breaks nothing."""
    for span in ((10 * MM, 20 * MM), (0.0, 10 * MM)):
        assert broken(with_packaging(good, rake=span), good.setup, result) == ()
    assert (
        broken(
            with_packaging(good, ground_clearance_least=35 * MM),
            good.setup,
            result,
        )
        == ()
    )


def test_ground_clearance_names_what_stands_lowest(
    good: Project, result: Result
) -> None:
    """The front ride height of 35 mm; or a wing under the floor line, by its end 900 mm ahead of that place.

    The line falls forwards: 35 - 10 x 900 / 2600 - 20 = 11.538 mm.
    """
    strict = with_packaging(good, ground_clearance_least=0.036)
    found = only(strict, result)
    assert (found.limit, found.where) == (
        "packaging.ground_clearance_least_mm",
        "front",
    )
    assert (found.value, found.required, found.unit, found.case) == (
        35.0,
        36.0,
        "mm",
        None,
    )
    wing, floor = good.car.air.elements
    low = replace(good.car.air, elements=(replace(wing, offset=-0.020), floor))
    found = only(replace(strict, car=replace(good.car, air=low)), result)
    assert (found.where, found.value) == (
        "front wing",
        pytest.approx(11.538, abs=5e-4),
    )


def test_static_gap_of_a_point(good: Project, result: Result) -> None:
    """36.923 mm under a splitter 800 mm ahead of the front ride height, whatever limits.toml says."""
    points = (
        ClearancePoint("splitter", -0.8, 0.0, 0.005, 0.0, 0.037),
        ClearancePoint("met", -0.8, 0.0, 0.005, 0.0, 0.0369),
        ClearancePoint("not asked", -0.8, 0.0, 0.005, 0.0),
    )
    project = replace(
        good, car=replace(good.car, clearance=points), limits=None
    )
    found = only(project, result)
    assert (found.limit, found.where) == (
        "clearance.least_static_gap_mm",
        "splitter",
    )
    assert (found.value, found.required) == pytest.approx(
        (36.923, 37.0), abs=5e-4
    )
    assert (found.sense, found.unit, found.attitude) == ("at least", "mm", None)


def test_least_wheel_load(good: Project, result: Result) -> None:
    """The least load of any wheel in any case that holds."""
    loads = np.where(
        is_judged(result.answers)[0][:, None], result.answers[0]["load"], np.inf
    )
    case, wheel = np.unravel_index(loads.argmin(), loads.shape)
    found = only(with_packaging(good, wheel_load_least=300.0), result)
    assert found.limit == "packaging.wheel_load_least_N"
    assert found.where == ("fl", "fr", "rl", "rr")[wheel]
    assert found.value == pytest.approx(loads.min())
    assert (found.sense, found.required, found.unit) == ("at least", 300.0, "N")
    assert found.case == case + 1
    assert found.attitude == result.cases.attitude[case]
    assert found.roll_angle_deg == pytest.approx(
        result.cases.records["roll_angle"][case] / DEG
    )


def test_cases_that_slide_or_are_lost_break_no_limit(
    good: Project, result: Result
) -> None:
    """Their numbers are not those of the car on the friction that there is, however bad they look."""
    alone = np.flatnonzero(~is_judged(result.answers)[0])
    lost = evaluate(good, cases=result.cases.pick(alone))
    assert lost.sliding() + lost.lost() == alone.size
    strict = with_packaging(good, wheel_load_least=5e4, travel_left_least=0.5)
    assert broken(strict, good.setup, lost) == ()


def test_nothing_passes_that_slides(good: Project, result: Result) -> None:
    """A case whose limits are not judged is no way to pass: the margin is below zero, and fails by itself."""
    sliding = np.flatnonzero(result.answers[0]["slides"])
    assert sliding.size > 0
    judged = assess(good, result.cases.pick(sliding[:1]))
    assert judged.broken == ()
    assert judged.margin is not None and judged.margin < 0.0
    assert not judged.holds
    assert judged.as_dict()["slides"] == 1
    assert "SLIDES in 1 of 1 cases" in text(judged, 100)


def test_least_wheel_load_of_one_attitude(
    good: Project, result: Result
) -> None:
    """Asked of the wheels in the cases of its attitude alone; the report names limit, wheel and case."""
    name = good.venue.attitudes[1].name
    own = is_judged(result.answers)[0] & (
        np.array(result.cases.attitude) == name
    )
    loads = np.where(own[:, None], result.answers[0]["load"], np.inf)
    case, wheel = np.unravel_index(loads.argmin(), loads.shape)
    asked = float(loads.min()) + 1.0
    found = only(
        with_packaging(good, wheel_loads=(AttitudeLoad(name, asked),)), result
    )
    assert (found.limit, found.where) == (
        "packaging.wheel_load[1]",
        ("fl", "fr", "rl", "rr")[wheel],
    )
    assert (found.case, found.attitude) == (case + 1, name)
    assert found.value == pytest.approx(asked - 1.0)
    kept = with_packaging(good, wheel_loads=(AttitudeLoad(name, asked - 2.0),))
    assert broken(kept, good.setup, result) == ()


def test_travel_left(good: Project, result: Result) -> None:
    """As the case table gives it."""
    left = np.where(is_judged(result.answers)[0], result.travel_left[0], np.inf)
    found = only(
        with_packaging(good, travel_left_least=left.min() + 1e-3), result
    )
    assert found.limit == "packaging.travel_left_least_mm"
    assert found.value == pytest.approx(left.min() / MM, abs=1e-6)
    assert found.case == left.argmin() + 1


def test_arches_depend_on_camber(good: Project, result: Result) -> None:
    """Room grows or shrinks with the camber set; each arch looks at its own axle."""
    held = result.answers[0][is_judged(result.answers)[0]]
    front, rear = held["travel"][:, :2].max(), held["travel"][:, 2:].max()
    camber = good.setup.rear.camber
    arches = (
        Arch("front", front + 1e-6, 0.0),
        Arch("rear", rear - 2e-3 - 0.01 * camber, 0.01),
    )
    found = only(with_packaging(good, arches=arches), result)
    assert found.limit == "packaging.arch[2]"
    assert found.where in ("rl", "rr")
    assert (found.value, found.required) == pytest.approx(
        (rear / MM, rear / MM - 2.0), abs=1e-6
    )


def test_tyre_loads_by_axle(good: Project, result: Result) -> None:
    """Each axle's heaviest wheel against its own tyre."""
    held = result.answers[0][is_judged(result.answers)[0]]
    rear = replace(
        good.car.rear,
        tyre=replace(good.car.rear.tyre, name="wide", load_limit=5000.0),
    )
    found = only(replace(good, car=replace(good.car, rear=rear)), result)
    assert (found.limit, found.sense) == ("tyre.wide.load_limit_N", "at most")
    assert found.value == pytest.approx(held["load"][:, 2:].max())


@pytest.mark.parametrize("curvature", [0.1, -0.1])
def test_steer_limit_in_a_slow_bend(good: Project, curvature: float) -> None:
    """A bend of 10 m at walking pace: the front wheels are turned by wheelbase over radius, to either side.

    Source: the single-track car without slip angles (Ackermann), tan(steer) = wheelbase x curvature; 0.3 deg for
    the slip that is left. Without its limit such a case would pass on a car that cannot be steered so far.
    """
    bend = replace(good.venue.attitudes[0], speed=2.0, path_curvature=curvature)
    venue = replace(
        good.venue, section="flat", curvature=0.0, slope=0.0, attitudes=(bend,)
    )
    floor = sweep_cases(venue, np.zeros(1))
    needed = np.rad2deg(np.arctan(good.car.wheelbase * 0.1))
    for limit, breaks in ((needed + 1.0, False), (needed - 1.0, True)):
        car = replace(good.car, steer_limit=limit * DEG)
        project = replace(good, car=car, venue=venue)
        result = evaluate(project, cases=floor)
        found = broken(project, project.setup, result)
        assert [one.limit for one in found] == ["car.steer_limit_deg"] * breaks
        if breaks:
            assert found[0].value == pytest.approx(needed, abs=0.3)


def test_every_floor_point_is_judged_by_its_own_gap(good: Project) -> None:
    """Two points break their gaps in different places, a third does not."""
    points = (
        ClearancePoint("nose", -0.8, 0.0, 0.005, 0.060),
        ClearancePoint("high", 1.3, 0.0, 0.100, 0.001),
        ClearancePoint("left edge", 1.3, 0.7, 0.0, 0.040),
    )
    project = replace(good, car=replace(good.car, clearance=points))
    found = broken(project, project.setup, evaluate(project))
    assert [limit.where for limit in found] == ["nose", "left edge"]
    for limit, point in zip(found, (points[0], points[2]), strict=True):
        alone = evaluate(
            replace(good, car=replace(good.car, clearance=(point,)))
        )
        gaps = np.where(
            is_judged(alone.answers)[0], alone.answers[0]["clearance"], np.inf
        )
        assert limit.limit == "clearance.least_gap_mm"
        assert limit.required == pytest.approx(point.least_gap / MM)
        assert limit.value == pytest.approx(gaps.min() / MM, abs=1e-6)
        assert limit.case == gaps.argmin() + 1


def test_another_setup_of_the_same_result(good: Project) -> None:
    """Row and setup belong together."""
    stiff = replace(
        good.setup, front=replace(good.setup.front, ride_height=0.050)
    )
    both = evaluate(good, [good.setup, stiff])
    limited = with_packaging(good, rake=(0.0, 0.02), travel_left_least=0.02)
    for row, setup in enumerate((good.setup, stiff)):
        assert broken(limited, setup, both, row) == broken(
            limited, setup, evaluate(good, setup)
        )
    assert (
        next(limit.limit for limit in broken(limited, stiff, both, 1))
        == "packaging.rake_mm"
    )
