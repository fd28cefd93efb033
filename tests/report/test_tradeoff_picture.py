"""The trade-off picture: valid, the same bytes, and nothing that matters told by colour alone or left out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import setupopt
from setupopt.evaluation.variables import variables_of
from setupopt.project import Project
from setupopt.project.model import AXLES
from setupopt.project.settings import SETTINGS
from setupopt.report.page.prices import beside_today
from setupopt.report.propose.picture import tradeoff_svg
from setupopt.search import Proposal, ProposalOptions, propose, tradeoff
from setupopt.search.objective import objective_of

from .svgs import hatches, lines, words

SETUPS = Path(__file__).resolve().parents[2] / "setups"


@pytest.fixture(autouse=True, scope="module")
def few_lines() -> Iterator[None]:
    """Maps of nine lines in place of 33: the same picture at a tenth of the cases."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tradeoff, "_LINES", 9)
        yield


def coarse(name: str, times: float, *attitudes: str) -> Project:
    """An example with a sweep so many times as coarse, in some of its attitudes."""
    project = setupopt.load(SETUPS / name)
    sweep = replace(project.venue.sweep, step=times * project.venue.sweep.step)
    kept = tuple(
        one for one in project.venue.attitudes if one.name in attitudes
    )
    return replace(
        project, venue=replace(project.venue, sweep=sweep, attitudes=kept)
    )


@pytest.fixture(scope="module")
def proposal() -> Proposal:
    """That of the hill from one start, with few settings to find."""
    hill = coarse("hill", 10.0, "fast left-hander", "braking from top speed")
    kept = (
        "spring_N_per_mm",
        "anti_roll_N_per_mm",
        "ride_height_mm",
        "pressure_bar",
    )
    return propose(hill, ProposalOptions(starts=1, loss=0.0, keep=kept))


@pytest.fixture(scope="module")
def picture(proposal: Proposal) -> str:
    """Its picture; no limit is broken on the map, and contact is never lost."""
    return tradeoff_svg(proposal)


def test_todays_values_of_the_page_are_those_of_today(
    proposal: Proposal,
) -> None:
    """The page draws a setup on which its project stands: the sign of today must not lie on it."""
    stood = replace(
        proposal, project=replace(proposal.project, setup=proposal.setup)
    )
    assert tradeoff_svg(stood) != tradeoff_svg(proposal)
    assert tradeoff_svg(beside_today(stood)) == tradeoff_svg(proposal)


def only(proposal: Proposal, *free: str) -> Proposal:
    """The same proposal with ranges for some settings only, by their names in the files."""
    assert proposal.project.limits is not None
    limits = proposal.project.limits
    for axle in AXLES:
        shut = {
            s.field: None
            for s in SETTINGS
            if f"{axle}.{s.key}" not in free and s.field != "toe"
        }
        limits = replace(
            limits, **{axle: replace(getattr(limits, axle), **shut)}
        )
    project = replace(proposal.project, limits=limits)
    return replace(proposal, project=project, free=variables_of(limits))


def slow_bore(proposal: Proposal) -> Proposal:
    """A proposal that leaves the bore's setup as it is, at a speed at which no setup holds everywhere."""
    bore = coarse("bore", 9.0, "straight", "braking")
    bore = replace(
        bore,
        venue=replace(bore.venue, sweep=replace(bore.venue.sweep, speed=46.7)),
    )
    result = setupopt.evaluate(bore)
    driven = replace(
        proposal, project=bore, today=bore, setup=bore.setup, objective=objective_of(bore.venue),
        result=result, between=result, start_result=result,
    )  # fmt: skip
    return only(driven, "rear.ride_height_mm", "rear.spring_N_per_mm")


def test_it_says_what_it_shows(proposal: Proposal, picture: str) -> None:
    """Car, place, model and no clearance; both settings and the speed with their units; both setups."""
    told = lines(picture)
    for wanted in (
        proposal.project.car.name, proposal.project.venue.name, "by the model", "no clearance to drive",
        "front camber deg", "rear camber deg", "speed of the sweep m/s", "sweep, 34 m/s", "worst margin",
        "below 0 the car slides", f"proposed, {proposal.margin:.3f}", "today's values", "fast left-hander",
    ):  # fmt: skip
        assert wanted in told, wanted


def test_the_same_proposal_gives_the_same_bytes(
    proposal: Proposal, picture: str
) -> None:
    """No date, no random names: a picture under version control changes only with its proposal."""
    assert tradeoff_svg(proposal) == picture


def test_a_broken_limit_is_hatched_and_named(
    proposal: Proposal, picture: str
) -> None:
    """Where the rake is out of its limits; and no hatch where none is broken."""
    assert hatches(picture) == 0 and "limit broken" not in lines(picture)
    heights = tradeoff_svg(
        only(proposal, "front.ride_height_mm", "rear.ride_height_mm")
    )
    assert hatches(heights) >= 2  # in the map, and its sign beside it
    for wanted in (
        "limit broken",
        "packaging.rake_mm.from",
        "packaging.rake_mm.to",
    ):
        assert wanted in lines(heights)


def test_lost_contact_is_told_in_both_panels(proposal: Proposal) -> None:
    """A hatch of its own on the map, crosses along the curve with the setup that they belong to."""
    lost = tradeoff_svg(slow_bore(proposal))
    assert (
        hatches(lost) >= 4
    )  # limits and contact, each on the map and in its sign beside it
    wanted = {"contact lost", "contact lost, today", "contact lost, proposed"}
    assert wanted <= set(words(lost))


def test_any_name_is_shown_as_it_is_typed(proposal: Proposal) -> None:
    """Letters that mean something to formulas or to XML: neither a refusal nor another name."""
    project = proposal.project
    odd = replace(
        proposal,
        project=replace(
            project,
            car=replace(project.car, name=r"Car $\frac{1$ & <b>"),
            venue=replace(project.venue, name='$x_1$ "wet"'),
        ),
    )
    told = lines(tradeoff_svg(odd))
    assert r"Car $\frac{1$ & <b>" in told and '$x_1$ "wet"' in told


def test_one_setting_gets_no_map_and_is_told_so(proposal: Proposal) -> None:
    """The curves against speed stand beside the reason."""
    told = lines(tradeoff_svg(only(proposal, "front.camber_deg")))
    assert (
        "fewer than two settings" in told and "speed of the sweep m/s" in told
    )
