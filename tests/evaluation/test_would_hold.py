"""What would hold a car that slides is put back into the project, and holds there."""

from __future__ import annotations

from dataclasses import replace

import pytest
from report.report_folders import SETUPS

from setupopt.evaluation.assessment import Assessment, assess
from setupopt.evaluation.variables import variables_of, with_value
from setupopt.project import Project, load
from setupopt.report.shared.template import text_room
from setupopt.units import DEG


def at(project: Project, speed: float) -> Project:
    """The project at another speed, at few angles."""
    sweep = replace(project.venue.sweep, speed=speed, step=15.0 * DEG)
    return replace(project, venue=replace(project.venue, sweep=sweep))


@pytest.fixture(scope="module")
def slow() -> Assessment:
    """The bore at 52 m/s: today's setup slides."""
    return assess(at(load(SETUPS / "bore"), 52.0))


def test_the_speed_holds(slow: Assessment) -> None:
    """Assessed at that speed, every case holds."""
    assert slow.margin is not None and slow.margin < 0.0
    found = slow.would_hold
    assert found is not None and found.faster_m_s is not None
    again = assess(at(slow.project, found.faster_m_s))
    assert again.margin is not None and again.margin >= 0.0


def test_the_course_holds_the_worst_case(slow: Assessment) -> None:
    """The attitude of the worst case, with that course, at its angle."""
    found = slow.would_hold
    assert found is not None and found.course_deg is not None
    venue = slow.project.venue
    worst = next(
        one
        for one in venue.attitudes
        if one.name == slow.worst_fields["attitude"]
    )
    other = replace(worst, heading=found.course_deg * DEG)
    project = replace(slow.project, venue=replace(venue, attitudes=(other,)))
    rows = {
        row["roll_angle_deg"]: row["margin"]
        for row in assess(project).result.by_angle()
    }
    assert rows[slow.worst_fields["roll_angle_deg"]] >= 0.0


def test_the_setting_holds(slow: Assessment) -> None:
    """The setting is inside its range, and with it alone every case holds and no limit is broken."""
    found = slow.would_hold
    assert (
        found is not None
        and found.setting is not None
        and found.value is not None
    )
    assert slow.project.limits is not None
    variable = next(
        one
        for one in variables_of(slow.project.limits)
        if one.name == found.setting
    )
    value = found.value * variable.setting.factor
    assert variable.range.lower <= value <= variable.range.upper
    again = assess(
        replace(
            slow.project, setup=with_value(slow.project.setup, variable, value)
        )
    )
    assert again.holds


def test_a_car_that_holds_needs_nothing() -> None:
    """No answer and no words; and where nothing helps, the words say what was tried."""
    held = assess(at(load(SETUPS / "bore"), 54.0))
    assert held.would_hold is None
    assert text_room().globals["would_hold_words"](None) == ""
