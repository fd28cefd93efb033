"""Packaging limits as rows: against the check of a finished setup, and against the files they come from."""

from __future__ import annotations

import re
import shutil
import tomllib
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
import tomli_w
from cars import CAR, NOSE, SETUP

import setupopt
from evaluation.limits_oracle import broken
from setupopt.evaluation import limits_check, setup_record
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.limit import Limit
from setupopt.evaluation.limits import LimitRows, PackagingLimits, is_judged
from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.evaluation.variables import to_setup, variables_of
from setupopt.physics.inputs import ANSWER, CASE
from setupopt.project import Project
from setupopt.project.limits_model import Arch, AttitudeLoad, Packaging
from setupopt.project.model import Axle, Car, Setup, WheelSetup
from setupopt.project.underbody import static_gap
from setupopt.units import DEG, MM

SETUPS = Path(__file__).resolve().parents[2] / "setups"
# What a random setup keeps here and breaks there, and what none can keep.
MILD, HARSH = 1.0, 20.0
Group = tuple[str, str, str]
RAKE = {
    ("packaging.rake_mm", "at least", ""),
    ("packaging.rake_mm", "at most", ""),
}


@pytest.fixture(scope="module", params=["bore", "bank", "hill"])
def example(request: pytest.FixtureRequest) -> Project:
    """Each example."""
    return setupopt.load(SETUPS / request.param)


class Case(NamedTuple):
    """A project, one of its setups, and its answers at five roll angles."""

    project: Project
    setup: Setup
    result: Result
    settings: Any


def driven(project: Project, setup: Setup) -> Case:
    """A setup in every attitude."""
    angles = np.linspace(project.venue.sweep.start, project.venue.sweep.stop, 5)
    model = Model(project.car)
    settings = model.settings(setup)
    return Case(
        project,
        setup,
        model.run(settings, sweep_cases(project.venue, angles)),
        settings,
    )


def rows(case: Case, limits: PackagingLimits | None = None) -> LimitRows:
    """Its rows."""
    assert case.project.limits is not None
    asked = limits or PackagingLimits(
        case.project.car, case.project.limits.packaging
    )
    return asked.rows(
        setup_record.by_wheel(case.setup),
        case.result.cases,
        case.result.answers,
    )


def random_setup(project: Project, seed: int) -> Setup:
    """Somewhere in the ranges of limits.toml."""
    assert project.limits is not None
    variables = variables_of(project.limits)
    return to_setup(
        variables,
        np.random.default_rng(seed).random(len(variables)),
        project.setup,
        "random",
    )


def with_every_limit(project: Project, harsh: float) -> Project:
    """The project with limits of every kind; the larger `harsh`, the more of them break."""
    assert project.limits is not None
    packaging = Packaging(
        rake=(0.008, 0.009),
        wheel_load_least=900.0 * harsh,
        travel_left_least=0.015 * harsh,
        arches=(
            Arch("front", 0.05 / harsh - 0.04, 0.05),
            Arch("rear", 0.03 / harsh - 0.04, 0.05),
        ),
        ground_clearance_least=0.028 * harsh,
        wheel_loads=tuple(
            AttitudeLoad(a.name, 700.0 * harsh)
            for a in project.venue.attitudes[-2:]
        ),
    )
    points = tuple(
        replace(
            point,
            least_gap=0.02 * harsh,
            least_static_gap=(0.030 + 0.004 * i) * harsh,
        )
        for i, point in enumerate(project.car.clearance)
    )
    steer_limit = 3.0 / harsh * DEG
    car = replace(project.car, clearance=points, steer_limit=steer_limit)
    car = replace(
        car,
        front=limited(car.front, 4500 / harsh),
        rear=limited(car.rear, 5500 / harsh),
    )
    return replace(
        project, car=car, limits=replace(project.limits, packaging=packaging)
    )


def limited(axle: Axle, load: float) -> Axle:
    """An axle whose tyre may carry so much."""
    return replace(axle, tyre=replace(axle.tyre, load_limit=load))


# ---- rows and check ----------------------------------------------------------------------------------------


@pytest.fixture(params=product([MILD, HARSH], range(4)), ids=str)
def judged(
    request: pytest.FixtureRequest, example: Project
) -> tuple[float, Case]:
    """How harsh every limit is, and a drawn setup under them."""
    harsh, seed = request.param
    project = with_every_limit(example, harsh)
    return harsh, driven(project, random_setup(example, seed))


def test_rows_agree_with_the_check_of_an_evaluated_setup(
    judged: tuple[float, Case],
) -> None:
    """The search's limits and the check of a finished setup, written apart, miss the same by as much."""
    harsh, case = judged
    project = case.project
    by_check = {
        group_of(b): abs(b.value - b.required)
        for b in broken(project, case.setup, case.result)
    }
    by_rows = missed(case)
    assert by_rows == pytest.approx(
        by_check, abs=1e-6
    )  # mm or N: the check rounds to 1e-9
    if harsh == HARSH:
        kinds = {
            limit.group
            for limit in PackagingLimits(
                project.car, project.limits.packaging
            ).limits
        }
        assert kinds - by_check.keys() <= RAKE


def missed(case: Case) -> dict[Group, float]:
    """By how much each limit is missed in the unit of the files, where contact holds; the worst wheel's."""
    assert case.project.limits is not None
    case.result.answers["lift"] = 0.0  # which a search alone looks at
    limits, found = (
        PackagingLimits(case.project.car, case.project.limits.packaging).limits,
        rows(case),
    )
    held = np.append(
        is_judged(case.result.answers)[0], True
    )  # the last: at rest
    worst: dict[Group, float] = {}
    for place, limit in enumerate(limits):
        own = found.rows[0][(found.owner == place) & held[found.case]]
        short_by = -float(own.min(initial=np.inf)) * limit.scale / limit.factor
        if short_by > 1e-5:
            worst[limit.group] = max(worst.get(limit.group, 0.0), short_by)
    return worst


def test_a_hanging_wheel_tells_a_search_how_far_it_hangs(
    example: Project,
) -> None:
    """A wheel without load misses its least load by more, the higher it hangs; one that stands, by no more."""
    project = with_every_limit(example, MILD)
    case = driven(project, example.setup)
    loads = case.result.answers["load"][0]
    near = rows(case).rows[0]
    case.result.answers["lift"] += np.where(loads > 0.0, 0.0, 0.01)
    moved = near - rows(case).rows[0]
    assert (moved >= 0.0).all()
    assert ((moved > 0.1).any()) == bool((loads <= 0.0).any())


def group_of(found: Broken) -> Group:
    """Key, sense, and axle or floor point of a limit that the oracle found."""
    part = ""
    if found.limit.startswith("tyre."):
        part = {"f": "front", "r": "rear"}[found.where[0]]
    if found.limit.startswith("clearance."):
        part = found.where
    return found.limit, found.sense, part


def test_check_lists_what_the_oracle_lists(judged: tuple[float, Case]) -> None:
    """Every broken limit with its place, case and numbers, in the same order: two statements."""
    harsh, case = judged
    project = case.project
    found = limits_check.broken(project, case.setup, case.result)
    assert found == broken(project, case.setup, case.result)
    assert len(found) > 3 or harsh == MILD


def test_two_arches_on_one_axle_both_count(example: Project) -> None:
    """A second arch of an axle, tighter than the first, is asked too, and so is the first."""
    assert example.limits is not None
    arches = (Arch("front", 0.05, 0.0), Arch("front", 0.02, 0.0))
    packaging = Packaging(None, None, None, arches)
    case = driven(
        replace(example, limits=replace(example.limits, packaging=packaging)),
        example.setup,
    )
    limits, found = PackagingLimits(example.car, packaging).limits, rows(case)
    places = [
        i for i, limit in enumerate(limits) if "packaging.arch" in limit.name
    ]
    room = [
        found.rows[0][found.owner == i].min() * limits[i].scale for i in places
    ]
    assert room[0] - room[1] == pytest.approx(0.03, abs=1e-12)


def test_limits_at_rest_need_no_case(example: Project) -> None:
    """Without any case the limits of the pad are still asked, and nothing else is."""
    case = driven(with_every_limit(example, MILD), example.setup)
    some, result = rows(case), case.result
    empty = replace(
        result, cases=result.cases.pick([]), answers=result.answers[:, :0]
    )
    none = rows(case._replace(result=empty))
    np.testing.assert_array_equal(none.rows, some.rows[:, some.case == -1])
    np.testing.assert_array_equal(none.owner, some.owner[some.case == -1])
    assert none.rows.size > 0


def test_wheel_load_of_one_attitude_has_rows_in_its_cases_alone(
    example: Project,
) -> None:
    """Rows of the limit are the load of every wheel less what is asked, in the cases of its attitude."""
    assert example.limits is not None
    name = example.venue.attitudes[-1].name
    packaging = Packaging(
        None, None, None, (), wheel_loads=(AttitudeLoad(name, 250.0),)
    )
    case = driven(example, example.setup)
    case.result.answers["lift"] = 0.0
    found = rows(case, PackagingLimits(example.car, packaging))
    limits = PackagingLimits(example.car, packaging).limits
    own = [i for i, limit in enumerate(limits) if limit.attitude == name]
    assert len(own) == 4
    expected = [
        i
        for i, attitude in enumerate(case.result.cases.attitude)
        if attitude == name
    ]
    for wheel, place in enumerate(own):
        at = found.owner == place
        assert found.case[at].tolist() == expected
        load = found.rows[0][at] * limits[place].scale + 250.0
        np.testing.assert_allclose(
            load, case.result.answers[0]["load"][expected, wheel], atol=1e-6
        )


# ---- by hand -----------------------------------------------------------------------------------------------

NOTHING = Packaging(None, None, None, ())


def room_at_rest(
    car: Car,
    setup: Setup,
    packaging: Packaging = NOTHING,
    four_heights: bool = False,
) -> dict[str, float]:
    """Room of each limit of the pad in mm."""
    limits = PackagingLimits(car, packaging, four_heights)
    none = (
        CaseSet(np.zeros(0, CASE), (), np.empty(0), ()),
        np.zeros((1, 0), ANSWER),
    )
    found = limits.rows(setup_record.by_wheel(setup), *none)
    owned = {
        name: found.rows[0][found.owner == i]
        for i, name in enumerate(x.name for x in limits.limits)
    }
    return {
        name: float(room.min()) * 0.01 / MM
        for name, room in owned.items()
        if room.size
    }


def test_static_gap_by_hand() -> None:
    """35 mm in front and 45 mm 2600 mm behind it, 800 mm ahead of the front point and 5 mm higher.

    35 - 10 x 800 / 2600 + 5 = 36.923 mm on the pad; 7 mm are asked of it.
    """
    car = replace(CAR, clearance=(replace(NOSE, least_static_gap=0.007),))
    assert static_gap(car, SETUP.ride_heights, NOSE) / MM == pytest.approx(
        36.923, abs=5e-4
    )
    assert room_at_rest(car, SETUP) == {
        "clearance.least_static_gap_mm nose": pytest.approx(29.923, abs=5e-4)
    }


def test_twist_of_four_ride_heights_by_hand() -> None:
    """The front left 3 mm higher than the other three twists the floor by 3 mm at a car with equal tracks.

    2 mm are allowed either way: 1 mm too many on one side, 5 mm of room on the other.
    """
    car = replace(CAR, rear=replace(CAR.rear, track=CAR.front.track))
    front = replace(
        SETUP.front,
        left=WheelSetup(ride_height=0.038),
        right=WheelSetup(ride_height=0.035),
    )
    room = room_at_rest(car, replace(SETUP, front=front), four_heights=True)
    assert room["setup.ride_height_mm.to twist"] == pytest.approx(
        -1.0, abs=1e-9
    )
    assert room["setup.ride_height_mm.from twist"] == pytest.approx(
        5.0, abs=1e-9
    )


LOWEST = [
    (0.0, (35, 45), 35.0),  # the front ride height
    (
        -30.0,
        (35, 45),
        6.923,
    ),  # the floor's front end at 500 mm: 35 + 10 x 500 / 2600 - 30
    (
        -30.0,
        (45, 35),
        6.154,
    ),  # its rear end at 2300 mm: 45 - 10 x 2300 / 2600 - 30
    (0.0, (60, 35), 35.0),  # the rear ride height
]


@pytest.mark.parametrize(("offset", "heights", "lowest"), LOWEST)
def test_ground_clearance_by_hand(
    offset: float, heights: tuple[float, float], lowest: float
) -> None:
    """The lowest of the ride-height points and both ends of the air elements, over the 2 mm asked for."""
    wing, floor, tail = CAR.air.elements
    car = replace(
        CAR,
        air=replace(
            CAR.air, elements=(wing, replace(floor, offset=offset * MM), tail)
        ),
    )
    front, rear = (
        replace(a, ride_height=h * MM)
        for a, h in zip((SETUP.front, SETUP.rear), heights, strict=True)
    )
    room = room_at_rest(
        car,
        Setup("", front, rear),
        replace(NOTHING, ground_clearance_least=2 * MM),
    )
    assert room == {
        "packaging.ground_clearance_least_mm": pytest.approx(
            lowest - 2.0, abs=5e-4
        )
    }


def test_named_point_counts_for_the_ground_clearance() -> None:
    """A skid 25 mm under the nose's place of 36.923 mm: 11.923 mm."""
    car = replace(CAR, clearance=(replace(NOSE, offset=-0.020),))
    room = room_at_rest(
        car, SETUP, replace(NOTHING, ground_clearance_least=0.010)
    )
    assert room == {
        "packaging.ground_clearance_least_mm": pytest.approx(1.923, abs=5e-4)
    }


# ---- the files ---------------------------------------------------------------------------------------------


def test_every_limit_moves_as_its_key_in_the_files_does(
    example: Project, tmp_path: Path
) -> None:
    """One unit more, or less, as `sense` says, typed at `key`: its rows rise by one unit, others stay."""
    table = f'\n[[packaging.wheel_load]]\nattitude = "{example.venue.attitudes[-1].name}"\nleast_N = 250\n'
    shutil.copytree(example.folder, tmp_path / "with a load of one attitude")
    with (tmp_path / "with a load of one attitude" / "limits.toml").open(
        "a", encoding="utf-8"
    ) as file:
        file.write(table)
    example = setupopt.load(tmp_path / "with a load of one attitude")
    case = driven(example, example.setup)
    assert example.limits is not None
    assert any(
        limit.attitude
        for limit in PackagingLimits(
            example.car, example.limits.packaging
        ).limits
    )
    limits = PackagingLimits(example.car, example.limits.packaging)
    assert len(limits.limits) > 4
    for place, limit in enumerate(limits.limits):
        edited = setupopt.load(
            edited_folder(example.folder, tmp_path / str(place), limit)
        )
        moved = rows(case._replace(project=edited)).rows - rows(case).rows
        same_key = [
            i
            for i, other in enumerate(limits.limits)
            if other.typed_at == limit.typed_at
        ]
        expected = (
            np.isin(rows(case).owner, same_key) * limit.factor / limit.scale
        )
        np.testing.assert_allclose(
            moved[0], expected, atol=1e-10
        )  # of the scale: noise of conversion


def edited_folder(source: Path, target: Path, limit: Limit) -> Path:
    """The project with the number at a limit's key one unit looser."""
    shutil.copytree(source, target)
    name, _, key = limit.typed_at.partition(" ")
    content = tomllib.loads((target / name).read_text(encoding="utf-8"))
    table, last = entry(content, key)
    table[last] += 1 if limit.sense == "at most" else -1
    (target / name).write_text(tomli_w.dumps(content), encoding="utf-8")
    return target


def entry(content: dict[str, Any], key: str) -> tuple[dict[str, Any], str]:
    """The table that holds a key, and its last part."""
    named = re.fullmatch(r"clearance '(.+)' (\w+)", key)
    if named:
        return next(
            point for point in content["clearance"] if point["name"] == named[1]
        ), named[2]
    *above, last = key.split(".")
    for part in above:
        name, _, number = part.rstrip("]").partition("[")
        content = content[name][int(number) - 1] if number else content[name]
    return content, last


def test_widened_moves_its_own_rows_only(example: Project) -> None:
    """Each limit by itself, by what is asked over its scale; the limits it was asked of stay as they were."""
    case = driven(with_every_limit(example, MILD), example.setup)
    assert case.project.limits is not None
    limits = PackagingLimits(case.project.car, case.project.limits.packaging)
    before = rows(case, limits)
    for place, limit in enumerate(limits.limits):
        by = 3 * limit.factor
        moved = rows(case, limits.widened(place, by)).rows - before.rows
        expected = (before.owner == place) * by / limit.scale
        np.testing.assert_allclose(moved[0], expected, atol=1e-12)
    np.testing.assert_array_equal(rows(case, limits).rows, before.rows)
    twice = limits.widened(0, 0.001).widened(0, 0.002)
    np.testing.assert_allclose(
        rows(case, twice).rows,
        rows(case, limits.widened(0, 0.003)).rows,
        atol=1e-12,
    )


def test_every_limit_has_a_name_of_its_own(example: Project) -> None:
    """A price is told by name: no two limits of an example share one."""
    project = with_every_limit(example, MILD)
    assert project.limits is not None
    limits = PackagingLimits(project.car, project.limits.packaging).limits
    assert len({limit.name for limit in limits}) == len(limits)
