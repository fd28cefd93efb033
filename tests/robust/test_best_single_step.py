"""What to change: the best single step that is allowed, against plain evaluation of every step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import setupopt
from setupopt.project import Project
from setupopt.project.limits_model import Limits, Packaging
from setupopt.project.model import AxleLimits, Range, Setup
from setupopt.project.model import Project as Whole
from setupopt.robust.best_single_step import Change, SingleSteps
from setupopt.units import BAR, DEG, MM, N_PER_MM


def best_change(
    project: Project,
    setup: Setup,
    measure: Callable[[Setup], float],
    floor: float,
) -> Change | None:
    """The best single step."""
    return SingleSteps(project, setup).best(measure, floor)


@pytest.fixture(scope="module")
def bore(bore: Project) -> Project:
    """In two attitudes at four angles: every test here evaluates whole sweeps many times."""
    sweep = replace(bore.venue.sweep, start=np.pi / 2, step=np.pi / 6)
    attitudes = (bore.venue.attitudes[0], bore.venue.attitudes[4])
    return replace(
        bore, venue=replace(bore.venue, sweep=sweep, attitudes=attitudes)
    )


NO_RANGE = AxleLimits(*[None] * 6)
FREE = Packaging(None, None, None, ())
ANY = -1e9  # a floor that nothing falls under


def with_limits(
    project: Project,
    packaging: Packaging = FREE,
    rear: bool = False,
    **ranges: Range,
) -> Project:
    """The project with these ranges of one axle, nothing else to set."""
    moving = replace(NO_RANGE, **ranges)
    front, back = (NO_RANGE, moving) if rear else (moving, NO_RANGE)
    return replace(
        project, limits=Limits(front, back, packaging, None, None, None, None)
    )


def with_front(setup: Setup, **changes: float) -> Setup:
    """The setup with other settings in front."""
    return replace(setup, front=replace(setup.front, **changes))


def steps(
    project: Project,
    measure: Callable[[Setup], float],
    setup: Setup | None = None,
) -> tuple[Any, ...]:
    """From, to and unit of the best step whatever the margin."""
    found = best_change(project, setup or project.setup, measure, ANY)
    return () if found is None else (found.from_, found.to, found.unit)


def higher(field: str, axle: str = "front") -> Callable[[Setup], float]:
    """A measure that rises with one setting."""
    return lambda setup: getattr(getattr(setup, axle), field)


def lower(field: str) -> Callable[[Setup], float]:
    """A measure that falls with one setting of the front axle."""
    return lambda setup: -getattr(setup.front, field)


def worst(project: Project, setup: Setup) -> float:
    """Worst margin over the sweep, by plain evaluation."""
    return float(setupopt.evaluate(project, setup).worst_margin[0])


# ---- which steps there are ---------------------------------------------------------------------------------

ON_GRID = [
    ("camber", -1.5 * DEG, Range(-4 * DEG, 0.0, step=0.25 * DEG), (-1.75, -1.25), "deg"),
    ("camber", -1.4 * DEG, Range(-4 * DEG, 0.0, step=0.25 * DEG), (-1.5, -1.25), "deg"),
    ("spring", 180 * N_PER_MM, Range(6e4, 2e5, choices=(6e4, 1.6e5, 1.8e5, 2e5)), (160, 200), "N/mm"),
    ("spring", 170 * N_PER_MM, Range(6e4, 2e5, choices=(6e4, 1.6e5, 1.8e5, 2e5)), (160, 180), "N/mm"),
    ("pressure", 1.6 * BAR, Range(1.2 * BAR, 2.2 * BAR), (1.59, 1.61), "bar"),
    ("ride_height", 45 * MM, Range(30 * MM, 45 * MM, step=5 * MM), (40, None), "mm"),
    ("ride_height", 50 * MM, Range(30 * MM, 45 * MM, step=5 * MM), (45, None), "mm"),
    ("ride_height", 45 * MM, Range(50 * MM, 60 * MM), (None, 50), "mm"),
    ("anti_roll", 60e3, Range(0.0, 90e3, step=20e3), (40, 80), "N/mm"),
    ("anti_roll", 90e3, Range(0.0, 90e3, step=20e3), (80, None), "N/mm"),
]  # fmt: skip


@pytest.mark.parametrize(("field", "stood", "span", "sides", "unit"), ON_GRID)
def test_steps_go_to_the_next_settable_value(
    bore: Project,
    field: str,
    stood: float,
    span: Range,
    sides: tuple[float | None, ...],
    unit: str,
) -> None:
    """One step of a range, the next part on the shelf, a hundredth of a free range; never past the limits."""
    project, setup = (
        with_limits(bore, **{field: span}),
        with_front(bore.setup, **{field: stood}),
    )
    for measure, to in zip((lower(field), higher(field)), sides, strict=True):
        found = steps(project, measure, setup)
        assert found == (
            ()
            if to is None
            else (pytest.approx(_said(stood, unit)), pytest.approx(to), unit)
        )


def _said(value: float, unit: str) -> float:
    """A value in the unit of the files."""
    return value / {"deg": DEG, "N/mm": N_PER_MM, "bar": BAR, "mm": MM}[unit]


def test_the_setting_that_helps_most_is_taken(bore: Project) -> None:
    """Both axles and all settings are steps: of a weighted sum, the one with the largest product wins."""
    assert bore.limits is not None
    project = replace(bore, limits=replace(bore.limits, packaging=FREE))

    def measure(setup: Setup) -> float:
        front, rear = setup.front, setup.rear
        return (
            -front.camber / DEG
            - 3.0 * rear.pressure / BAR
            + 0.1 * front.ride_height / MM
        )

    found = best_change(
        project, bore.setup, measure, ANY
    )  # steps of 0.1 deg, 0.05 bar, 0.5 mm
    assert found is not None
    assert (found.axle, found.key, found.unit, found.from_, found.to) == (
        "rear",
        "pressure_bar",
        "bar",
        1.5,
        1.45,
    )
    assert found.gain == pytest.approx(0.15)
    assert measure(found.setup) == pytest.approx(measure(bore.setup) + 0.15)


def test_nothing_to_set_or_to_gain_is_no_change(bore: Project) -> None:
    """No limits.toml, no range, or no step that helps."""
    measure = higher("camber")
    assert (
        best_change(replace(bore, limits=None), bore.setup, measure, ANY)
        is None
    )
    assert best_change(with_limits(bore), bore.setup, measure, ANY) is None
    assert best_change(bore, bore.setup, lambda setup: 0.3, ANY) is None
    assert (
        best_change(bore, bore.setup, lambda setup: float("nan"), ANY) is None
    )


def test_regaining_contact_is_the_largest_gain(bore: Project) -> None:
    """A measure without a number is less than any; what gives it one again is taken."""
    project = with_limits(bore, camber=Range(-4 * DEG, 0.0, step=0.5 * DEG))
    found = best_change(
        project,
        bore.setup,
        lambda s: np.nan if s is bore.setup else s.front.camber,
        ANY,
    )
    assert found is not None
    assert (found.to, found.gain) == (-1.0, np.inf)


# ---- what is not offered -----------------------------------------------------------------------------------


def test_best_step_is_that_of_plain_evaluation(bore: Project) -> None:
    """Every step of today's setup evaluated by hand: the same best one, and the same margins."""
    assert bore.limits is not None
    found = best_change(bore, bore.setup, lambda setup: worst(bore, setup), 0.0)
    assert isinstance(found, Change)
    by_hand = []
    for axle, field, step in [("front", "camber", 0.1 * DEG), ("rear", "camber", 0.1 * DEG),
                              ("front", "ride_height", 0.5 * MM), ("rear", "ride_height", 0.5 * MM),
                              ("front", "pressure", 0.05 * BAR), ("rear", "pressure", 0.05 * BAR),
                              ("front", "anti_roll", 10e3), ("rear", "anti_roll", 10e3),
                              ("front", "spring", 20e3), ("rear", "spring", 20e3)]:  # fmt: skip
        for side in (-step, step):
            stood = getattr(bore.setup, axle)
            by_hand.append(
                replace(
                    bore.setup,
                    **{
                        axle: replace(
                            stood, **{field: getattr(stood, field) + side}
                        )
                    },
                )
            )
    margins = [worst(bore, setup) for setup in by_hand]
    assert found.worst_before == pytest.approx(
        worst(bore, bore.setup), abs=1e-8
    )
    assert found.worst_after == pytest.approx(max(margins), abs=1e-8)
    assert found.gain == pytest.approx(
        found.worst_after - found.worst_before, abs=1e-8
    )


def test_step_under_the_floor_is_not_offered(bore: Project) -> None:
    """Less negative camber costs margin here: offered down to a floor that it keeps, refused above it."""
    project = with_limits(
        bore, rear=True, camber=Range(-4 * DEG, 0.0, step=0.5 * DEG)
    )
    measure = higher("camber", "rear")
    before = worst(bore, bore.setup)
    rear = replace(bore.setup.rear, camber=bore.setup.rear.camber + 0.5 * DEG)
    after = worst(bore, replace(bore.setup, rear=rear))
    assert after < before - 1e-3
    kept = best_change(project, bore.setup, measure, after - 1e-4)
    assert kept is not None
    assert (kept.from_, kept.to) == (-1.0, -0.5)
    assert (kept.worst_before, kept.worst_after) == pytest.approx(
        (before, after), abs=1e-8
    )
    assert best_change(project, bore.setup, measure, after + 1e-4) is None
    assert (
        best_change(project, bore.setup, measure, before + 1e-4) is None
    )  # under it already, and further down


def test_step_up_from_under_the_floor_is_offered(bore: Project) -> None:
    """A setup under the floor may be helped by a step that does not reach it."""
    project = with_limits(
        bore, rear=True, camber=Range(-4 * DEG, 0.0, step=0.5 * DEG)
    )
    found = best_change(
        project, bore.setup, lambda setup: -setup.rear.camber, 0.5
    )
    assert found is not None
    assert found.to == -1.5
    assert found.worst_before < found.worst_after < 0.5


def rear_height(project: Whole, packaging: Packaging) -> Change | None:
    """The best step of a measure that rises with the rear ride height, 5 mm a step from 55 mm."""
    limited = with_limits(
        project,
        packaging,
        rear=True,
        ride_height=Range(0.03, 0.08, step=5 * MM),
    )
    return best_change(
        limited, project.setup, higher("ride_height", "rear"), ANY
    )


def test_step_that_breaks_a_kept_limit_is_not_offered(bore: Project) -> None:
    """The rake of 10 mm may grow to 15 mm where 15 mm are allowed, not where 14 mm are."""
    allowed = rear_height(bore, replace(FREE, rake=(0.0, 0.015)))
    assert allowed is not None
    assert allowed.to == 60.0
    assert rear_height(bore, replace(FREE, rake=(0.0, 0.014))) is None


def test_limit_broken_before_does_not_bar_a_step(bore: Project) -> None:
    """A setup outside its rake is not held still by it."""
    outside = rear_height(bore, replace(FREE, rake=(0.0, 0.005)))
    assert outside is not None
    assert outside.to == 60.0


def test_limit_of_a_driven_car_is_kept(bore: Project) -> None:
    """The least gap of the floor over the sweep, by plain evaluation, bars the step that goes under it."""
    lower_rear = replace(
        bore.setup, rear=replace(bore.setup.rear, ride_height=0.050)
    )
    gaps = [
        setupopt.evaluate(bore, setup).answers["clearance"].min()
        for setup in (bore.setup, lower_rear)
    ]
    assert gaps[1] < gaps[0] - 1e-3
    span = Range(0.03, 0.08, step=5 * MM)
    for least, is_offered in ((gaps[1] - 1e-5, True), (gaps[1] + 1e-5, False)):
        points = tuple(
            replace(point, least_gap=least) for point in bore.car.clearance
        )
        project = with_limits(
            replace(bore, car=replace(bore.car, clearance=points)),
            rear=True,
            ride_height=span,
        )
        found = best_change(
            project, bore.setup, lambda setup: -setup.rear.ride_height, ANY
        )
        assert (found is not None) == is_offered


def test_only_offered_steps_are_measured(bore: Project) -> None:
    """A measure may be a long ride: it is asked once for today's setup and once for every step left."""
    asked: list[Setup] = []

    def measure(setup: Setup) -> float:
        asked.append(setup)
        return 0.0

    limited = with_limits(
        bore,
        replace(FREE, rake=(0.0, 0.014)),
        rear=True,
        ride_height=Range(0.03, 0.08, step=5 * MM),
    )
    best_change(limited, bore.setup, measure, ANY)
    assert [setup.rear.ride_height for setup in asked] == pytest.approx(
        [0.055, 0.050]
    )
