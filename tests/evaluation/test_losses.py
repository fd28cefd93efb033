"""The loss budget: what a cause costs is what the margin gains without it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from project.good_folder import write_folder

import setupopt
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.losses import _CAUSES, LossBudget, loss_budget
from setupopt.evaluation.model import Model
from setupopt.physics import sweep
from setupopt.project import Project, load
from setupopt.project.model import Attitude, Car
from setupopt.units import DEG, MM

STRAIGHT = Attitude(
    "drawn", 0.0, 0.0, 0.0, 0.0, None, 0.0, 0.0, (0.0, 0.0, 0.0, 0.0), None
)
EVERYTHING = replace(
    STRAIGHT,
    heading=5 * DEG,
    acceleration=-2.0,
    headwind=1.0,
    crosswind=4.0,
    bump=(0.004, 0.0, 0.0, 0.0),
)
FLOOR = "surface curvature under the floor"
FLAT = {"section": "flat", "curvature": 0.0}


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """The good folder, read."""
    return load(write_folder(tmp_path_factory.mktemp("good")))


def one_case(
    project: Project,
    attitude: Attitude,
    roll_angle: float = 0.0,
    **venue: object,
) -> CaseSet:
    """A single case, at a roll angle in degrees."""
    place = replace(project.venue, attitudes=(attitude,), **venue)  # type: ignore[arg-type]
    return sweep_cases(place, np.array([roll_angle * DEG]))


def budget_of(
    project: Project, case: CaseSet, car: Car | None = None
) -> LossBudget:
    model = Model(car or project.car)
    return loss_budget(model, model.settings(project.setup), case, 0)


def margin_of(project: Project, case: CaseSet, car: Car | None = None) -> float:
    model = Model(car or project.car)
    return float(model.run(model.settings(project.setup), case).margin[0, 0])


def without(budget: LossBudget, cause: str) -> float:
    """Margin without a cause that is in the case, and that leaves contact."""
    (loss,) = [loss for loss in budget.losses if loss.cause == cause]
    assert loss.in_case
    assert loss.margin_without is not None
    return loss.margin_without


def test_plain_road_has_next_to_no_causes(project: Project) -> None:
    """Straight on flat ground only the car itself costs grip."""
    budget = budget_of(project, one_case(project, STRAIGHT, **FLAT))
    assert budget.absent == (
        FLOOR, "heading twist", "wind", "acceleration", "bump", "stops",
    )  # fmt: skip
    absent = [loss for loss in budget.losses if not loss.in_case]
    assert all(
        (loss.margin_without, loss.gain) == (None, None) for loss in absent
    )


def test_taking_away_what_is_absent_changes_nothing(project: Project) -> None:
    """Whatever is called absent has no effect at all on the margin."""
    case, model = one_case(project, STRAIGHT, **FLAT), Model(project.car)
    settings, body = model.settings(project.setup), model.packed[0]
    own = sweep.run(model.packed, settings, case.records)[0]
    absent = [
        cause
        for cause in _CAUSES
        if not cause.acts(body[0], case.records[0], own)
    ]
    assert len(absent) == 6
    for cause in absent:
        changed, setting, record = (
            body.copy(),
            settings.copy(),
            case.records.copy(),
        )
        cause.remove(changed[0], setting[0], record[0])
        answer = sweep.run((changed, *model.packed[1:]), setting, record)[0]
        assert answer["margin"] == pytest.approx(own["margin"], abs=1e-9), (
            cause.name
        )


def test_the_model_is_left_as_it_was(project: Project) -> None:
    """Causes are taken from copies: asking twice gives the same answer."""
    case, model = one_case(project, EVERYTHING, 40.0), Model(project.car)
    settings = model.settings(project.setup)
    assert loss_budget(model, settings, case, 0) == loss_budget(
        model, settings, case, 0
    )


def test_gains_are_differences_and_come_in_order(project: Project) -> None:
    """The most costly cause first; each gain against the same margin."""
    case = one_case(project, EVERYTHING, 40.0)
    budget = budget_of(project, case)
    assert budget.margin == pytest.approx(margin_of(project, case), abs=1e-12)
    assert len(budget.losses) == len(_CAUSES)
    found = [loss for loss in budget.losses if loss.in_case]
    margin = budget.margin or 0.0
    assert [loss.gain for loss in found] == pytest.approx(
        [(loss.margin_without or 0) - margin for loss in found]
    )
    gains = [loss.gain or 0.0 for loss in found]
    assert gains == sorted(gains, reverse=True)


def test_budget_is_of_the_case_asked_for(project: Project) -> None:
    """Row and case belong together."""
    cases, model = sweep_cases(project.venue), Model(project.car)
    settings = model.settings(project.setup)
    row = len(cases) - 30
    assert loss_budget(model, settings, cases, row) == loss_budget(
        model, settings, cases.pick([row]), 0
    )


@pytest.mark.parametrize(
    ("cause", "changes"),
    [
        ("wind", {"headwind": 0.0, "crosswind": 0.0}),
        ("acceleration", {"acceleration": 0.0}),
        ("bump", {"bump": (0.0, 0.0, 0.0, 0.0)}),
    ],
)
def test_without_an_entry_is_the_case_without_it(
    project: Project, cause: str, changes: dict
) -> None:
    """The margin named is that of the attitude written without the cause."""
    budget = budget_of(project, one_case(project, EVERYTHING, 40.0))
    bare = one_case(project, replace(EVERYTHING, **changes), 40.0)
    assert without(budget, cause) == pytest.approx(
        margin_of(project, bare), abs=1e-9
    )


def test_turns_count_as_acceleration(project: Project) -> None:
    """A path in the surface and a turn of the road alike."""
    straight = margin_of(project, one_case(project, STRAIGHT, **FLAT))
    for turning in (
        replace(STRAIGHT, path_curvature=0.002),
        replace(STRAIGHT, turn_radius=500.0),
    ):
        budget = budget_of(project, one_case(project, turning, **FLAT))
        assert without(budget, "acceleration") == pytest.approx(
            straight, abs=1e-9
        )


def test_without_load_transfer_both_sides_carry_alike(project: Project) -> None:
    """On a flat road in a turn: equal loads left and right; and more margin, for friction falls with load.

    The margins are compared with wheels square to the road: static camber suits the loaded side. The wheels
    have no inertia, and no locked differential drives them: spinning wheels and the links under a drive
    force that differs from side to side load one side too, and that is the turn's doing.
    """
    car = project.car
    axles = [
        replace(axle, wheel_inertia=None) for axle in (car.front, car.rear)
    ]
    project = replace(
        project,
        car=replace(car, front=axles[0], rear=axles[1], differential="open"),
    )
    case = one_case(project, replace(STRAIGHT, path_curvature=0.003), **FLAT)
    both = np.concatenate([case.records, case.records])
    both["lean"], both["transfer"] = 0.0, [1.0, 0.0]
    with_it, without_it = setupopt.evaluate(
        project, cases=replace(case, source=both, attitude=("", ""))
    ).answers[0]
    assert without_it["load"][0] == pytest.approx(
        without_it["load"][1], abs=1e-6
    )
    assert without_it["load"][2] == pytest.approx(
        without_it["load"][3], abs=1e-6
    )
    assert without_it["margin"] > with_it["margin"]


def test_without_stops_is_a_car_without_stops(project: Project) -> None:
    """In the case only where a wheel stands on one."""
    case, car = one_case(project, STRAIGHT, **FLAT), project.car
    short = replace(
        car,
        front=replace(car.front, bump_travel=5 * MM),
        rear=replace(car.rear, bump_travel=60 * MM),
    )
    free = replace(
        short,
        front=replace(short.front, stop_rate=0.0),
        rear=replace(short.rear, stop_rate=0.0),
    )
    assert without(budget_of(project, case, short), "stops") == pytest.approx(
        margin_of(project, case, free), abs=1e-9
    )
    assert "stops" in budget_of(project, case, free).absent


def test_floor_in_a_bore_as_low_as_on_a_plane(project: Project) -> None:
    """The gain shrinks as the bore widens: the wheels hold the floor off by track^2 / (8 radius)."""
    gains = []
    for radius in (7.5, 15.0, 1e6):
        case = one_case(project, STRAIGHT, 60.0, curvature=1.0 / radius)
        gains.append(
            without(budget_of(project, case), FLOOR) - margin_of(project, case)
        )
    assert gains[0] > 5 * gains[1] > 0.0
    assert gains[2] == pytest.approx(0.0, abs=1e-5)


def test_flat_floor_is_set_lower_by_the_rise_of_the_wheels(
    project: Project,
) -> None:
    """To leading order as if the ride heights were less by track^2 / (8 radius), 43 mm here."""
    case, model = one_case(project, STRAIGHT, 60.0), Model(project.car)
    (cause,) = [cause for cause in _CAUSES if cause.name == FLOOR]
    setting, record = model.settings(project.setup), case.records.copy()
    before = setting["ride_height"].copy()
    cause.remove(model.packed[0][0].copy(), setting[0], record[0])
    assert record["floor_curvature"] == 0.0
    rise = [track**2 / (8 * 7.5) for track in (1.6, 1.58)]
    assert (before - setting["ride_height"])[0] == pytest.approx(
        rise, rel=0.005
    )


def test_heading_twists_only_on_a_curved_surface(project: Project) -> None:
    """The same heading lifts a wheel in a bore and none on flat ground."""
    turned = replace(STRAIGHT, heading=8 * DEG)
    assert (
        "heading twist"
        not in budget_of(project, one_case(project, turned)).absent
    )
    assert (
        "heading twist"
        in budget_of(project, one_case(project, turned, **FLAT)).absent
    )
    assert (
        "heading twist"
        in budget_of(project, one_case(project, STRAIGHT)).absent
    )


def test_one_cause_that_outweighs_all_others(project: Project) -> None:
    """A gale across a straight road: the wind stands first, with nearly all that is lost."""
    gale = one_case(project, replace(STRAIGHT, crosswind=25.0), **FLAT)
    budget = budget_of(project, gale)
    calm = margin_of(project, one_case(project, STRAIGHT, **FLAT))
    assert budget.losses[0].cause == "wind"
    assert budget.losses[0].margin_without == pytest.approx(calm, abs=1e-9)
    assert (budget.losses[0].gain or 0.0) > 3 * abs(
        budget.losses[1].gain or 0.0
    )


def test_lost_case_names_what_would_bring_contact_back(
    project: Project,
) -> None:
    """Inverted with a wind from behind: without the wind it holds."""
    light = replace(project.car, mass=420.0)
    blown = one_case(project, replace(STRAIGHT, headwind=-15.0), 180.0, **FLAT)
    calm = one_case(project, STRAIGHT, 180.0, **FLAT)
    budget = budget_of(project, blown, light)
    assert budget.margin is None
    assert budget.regaining == ("wind",)
    assert budget.losses[0].cause == "wind"
    assert budget.losses[0].gain is None
    assert budget.losses[0].margin_without == pytest.approx(
        margin_of(project, calm, light), abs=1e-9
    )
    assert [loss.margin_without for loss in budget.losses[1:]] == [None] * 8


def test_budget_of_a_case_that_slides(project: Project) -> None:
    """Its margin is below zero; causes gain on it as on any other, by the case written without them."""
    gale = replace(STRAIGHT, crosswind=3.0, acceleration=-25.0, speed=20.0)
    case = one_case(project, gale, **FLAT)
    budget = budget_of(project, case)
    assert budget.margin is not None
    assert budget.margin == pytest.approx(margin_of(project, case), abs=1e-12)
    assert budget.margin < 0.0
    eased = one_case(project, replace(gale, acceleration=0.0), **FLAT)
    assert without(budget, "acceleration") == pytest.approx(
        margin_of(project, eased), abs=1e-9
    )
    assert all(
        loss.gain is not None
        for loss in budget.losses
        if loss.margin_without is not None
    )
    assert budget.regaining == ()


def test_without_crab_angle_surface_wind_and_gravity_meet_the_course(
    project: Project,
) -> None:
    """The line of the crab angle: nothing on flat ground without wind, something on a bore's side."""
    climbing = one_case(project, STRAIGHT, 60.0)
    records = climbing.records.copy()
    records["crab"] = 0.0
    model = Model(project.car)
    bare = sweep.run(model.packed, model.settings(project.setup), records)[0]
    budget = budget_of(project, climbing)
    assert without(budget, "crab angle") == pytest.approx(
        float(bare["margin"]), abs=1e-12
    )
    assert abs(without(budget, "crab angle") - (budget.margin or 0.0)) > 1e-3
    level = budget_of(project, one_case(project, STRAIGHT, **FLAT, slope=0.0))
    assert without(level, "crab angle") == pytest.approx(level.margin, abs=1e-6)


def test_case_that_holds_regains_nothing(
    project: Project, tmp_path: Path
) -> None:
    """Contact that is there cannot be regained."""
    assert budget_of(project, one_case(project, STRAIGHT)).regaining == ()
