"""The words of a proposal: what must never be hidden is said, and every line fits the terminal."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.result import Result
from setupopt.project import Project
from setupopt.project.bodies import own_body
from setupopt.project.model import Setup
from setupopt.report.propose.fields import JudgedProposal
from setupopt.report.propose.text import text
from setupopt.robust.builds.build_variation import NAMES
from setupopt.search import Proposal, ProposalOptions
from setupopt.search.global_bounds import Sensitivity
from setupopt.search.objective import objective_of
from setupopt.search.parts.branch_and_bound import BranchAndBoundResult
from setupopt.search.parts.part_space import BoundedNode, Node
from setupopt.search.proposal import (
    Alternative,
    Evidence,
    Required,
    Robustness,
    active_cases,
)
from setupopt.search.required_front import FrontPoint
from setupopt.search.shadow_prices import ShadowPrice
from setupopt.search.stood_setup import Stood, StoodSetup
from setupopt.units import MM

SETUPS = Path(__file__).resolve().parents[2] / "setups"
# Of margins that were made up: the text must say these numbers and no others.
PARTS = BranchAndBoundResult(
    (BoundedNode(Node(0, (0,), (0,)), 0.29, np.zeros(1)),),
    0.29,
    0.0,
    4,
    2058,
    True,
)
EVIDENCE = Evidence(
    (0.3, 0.2995), 0.28, 0.3, 1600, 0.31, 0.3, 0.29, PARTS, 55, 12345, 6.7
)
ROBUST = Robustness(
    0.3,
    0.22,
    0.29,
    0.24,
    0.285,
    0.235,
    dict.fromkeys(NAMES, -1.0) | {"camber fr": 1.0},
    0.25,
    512,
)


@pytest.fixture(scope="module")
def project() -> Project:
    """The invented hill at three roll angles, with a second body that is like its own."""
    hill = setupopt.load(SETUPS / "hill")
    sweep = replace(hill.venue.sweep, step=hill.venue.sweep.stop)
    other = replace(own_body(hill), name="low drag")
    return replace(
        hill, venue=replace(hill.venue, sweep=sweep), bodies=(other,)
    )


@pytest.fixture(scope="module")
def made(project: Project) -> Proposal:
    """A proposal made by hand: today's setup with other ride heights, and evidence that was made up."""
    setup = replace(
        project.setup, front=replace(project.setup.front, ride_height=50 * MM)
    )
    result, start = (
        setupopt.evaluate(project, setup),
        setupopt.evaluate(project),
    )
    near = _few(result, 2)
    objective = objective_of(project.venue)
    return Proposal(
        project=project, today=project, setup=setup, free=(), objective=objective, result=result,
        between=near, start_result=start, weighted_margin=0.3, start_weighted_margin=0.2, broken=(),
        missed_minimums=(),
        active_cases=active_cases(near, objective, {}),
        prices=(ShadowPrice("packaging.rake_mm.to", 0.00002, "mm", "rake_mm.to", 0.0000201, 0.2),),
        gains=(Sensitivity("1 % less mass", 0.0034),), alternatives=(), robustness=None, evidence=EVIDENCE,
    )  # fmt: skip


def _few(result: Result, count: int) -> Result:
    """Some cases of a result, the worst ones."""
    rows = np.argsort(result.margin[0])[:count]
    cases: CaseSet = result.cases.pick(rows)
    return replace(
        result,
        cases=cases,
        answers=np.ascontiguousarray(result.answers[:, rows]),
    )


def said(
    project: Project,
    proposal: Proposal,
    width: int = 80,
    asked: ProposalOptions | None = None,
    **more: Any,
) -> str:
    """The text, in one line where it was broken for the width."""
    judged = JudgedProposal(
        project, asked or ProposalOptions(), proposal, more.pop("floor", None)
    )
    lines = text(judged, width, **more).splitlines()
    assert max(map(len, lines)) <= width
    return " ".join(" ".join(lines).split())


def evidence(made: Proposal, **changes: Any) -> Proposal:
    """The proposal with other evidence."""
    return replace(made, evidence=replace(made.evidence, **changes))


def alternative(
    setup: Setup, body: str | None = None, **front: float
) -> Alternative:
    """A setup that differs in front, worth 0.2950."""
    return Alternative(
        replace(setup, body=body, front=replace(setup.front, **front)),
        0.295,
        0.295,
        "body",
    )


# ---- verdict -----------------------------------------------------------------------------------------------


def test_margins_and_what_to_change_come_first(
    project: Project, made: Proposal
) -> None:
    """Today, proposed, the worst place, and a mark at the one setting that changes."""
    words = said(project, made)
    start, margin = made.start_margin, made.margin
    assert f"Worst margin: {start:.3f} today, {margin:.3f} proposed" in words
    worst = made.worst
    assert (
        f"Worst at {worst['roll_angle_deg']:g} deg, {worst['attitude']}; the"
        in words
    )
    table = text(JudgedProposal(project, ProposalOptions(), made, None), 80)
    assert [
        line
        for line in table.splitlines()
        if line.endswith("*") or "  * " in line
    ] == ["  front ride height           mm       52        50  *"]


def test_body_is_named_and_its_change_is_loud(
    project: Project, made: Proposal
) -> None:
    """Where there are several bodies: which to wear; where there is one: nothing."""
    assert "Wear the body of car.toml, as today" in said(project, made)
    other = replace(made, setup=replace(made.setup, body="low drag"))
    assert 'CHANGE the body of car.toml to the body "low drag"' in said(
        project, other
    )
    assert "Wear" not in said(replace(project, bodies=()), made)


def test_lost_contact_is_never_hidden(project: Project, made: Proposal) -> None:
    """On the angles of the check, and where it is lost between them only; with --quiet too."""
    lost = replace(made, result=_lost(made.result))
    assert (
        f"CONTACT LOST in 1 of {len(made.result.cases)} cases (today in 0), worst at"
        in said(project, lost, short=True)
    )
    assert "contact lost proposed" in said(project, lost)
    gone = replace(
        lost,
        active_cases=active_cases(_lost(made.between), made.objective, {}),
        robustness=ROBUST,
    )
    assert f"{made.between.cases.attitude[0]} contact lost - " in said(
        project, gone, 160
    )
    assert "Price" not in said(project, gone)
    between = replace(made, between=_lost(made.between))
    assert "CONTACT LOST between the roll angles of the check" in said(
        project, between, short=True
    )


def _lost(result: Result) -> Result:
    """The first case without contact."""
    answers = result.answers.copy()
    (
        answers["contact"][0, 0],
        answers["margin"][0, 0],
        answers["search_margin"][0, 0],
    ) = False, np.nan, -2.0
    return replace(result, answers=answers)


def test_broken_limits_are_never_hidden(
    project: Project, made: Proposal
) -> None:
    """Named with value and limit; what means nothing then, prices and alternatives, is left out."""
    limit = Broken(
        "packaging.rake_mm", "", 25.0, "at most", 20.0, "mm", None, None, None
    )
    broken = replace(
        made, broken=(limit,), alternatives=(alternative(made.setup),)
    )
    words = said(project, broken)
    for expected in (
        "Limits: FAIL, 1 limit is broken",
        "packaging.rake_mm 25.0 at most 20 mm at rest",
        "Limits have no price",
        "less the penalty for broken limits and minimum margins",
    ):
        assert expected in words
    assert "learly different" not in words
    assert (
        JudgedProposal(project, ProposalOptions(), broken, None).as_dict()[
            "alternatives"
        ]
        == []
    )
    assert "LIMITS BROKEN" in said(project, broken, short=True)


def test_unfinished_choice_of_parts_is_never_hidden(
    project: Project, made: Proposal
) -> None:
    """With how much may be left, here 0.32 - 0.29; a finished one says that too."""
    some = evidence(made, parts=replace(PARTS, bound=0.32, is_finished=False))
    assert (
        "choice of parts is NOT FINISHED: other parts may be better by up to 0.030"
        in said(project, some, short=True)
    )
    assert "NOT FINISHED: one of the others may be up to 0.0300 better" in said(
        project, some
    )
    assert (
        "1 of 2058 sets solved; none of the others is more than 0.0001 better"
        in said(project, made)
    )
    assert "Parts:" not in said(project, evidence(made, parts=None))


def test_lower_than_today_is_said(project: Project, made: Proposal) -> None:
    """A margin that falls is no success to be read over."""
    same = replace(made, start_result=made.result)
    assert "LOWER than today's" not in said(project, same)
    lower = replace(same, between=_moved(made.between, -0.05))
    assert "LOWER than today's" in said(project, lower, short=True)


def _moved(result: Result, by: float) -> Result:
    """The first case with another margin."""
    answers = result.answers.copy()
    answers["margin"][0, 0] += by
    return replace(result, answers=answers)


# ---- what was asked ----------------------------------------------------------------------------------------


def test_floors_and_weights_are_shown_by_attitude(
    project: Project, made: Proposal
) -> None:
    """Each attitude with what was asked of it, and whether its floor is kept."""
    first, second, *_ = made.objective.names
    objective = objective_of(project.venue, {second: 1.5}, {first: 0.1})
    judged = JudgedProposal(
        project, ProposalOptions(), replace(made, objective=objective), 0.05
    )
    rows = {line.attitude: line for line in judged.attitudes}
    assert (rows[first].weight, rows[first].floor, rows[first].is_kept) == (
        0.0,
        0.1,
        True,
    )
    assert (rows[second].weight, rows[second].floor, rows[second].is_kept) == (
        1.5,
        None,
        None,
    )
    words = said(project, replace(made, objective=objective), floor=0.05)
    assert f'Minimum margin of "{first}" 0.1: pass' in words
    assert (
        "Minimum margin of attitudes without one of their own 0.05: pass"
        in words
    )
    assert "As the attitudes are weighted: 0.200 today, 0.300 proposed" in words
    broken = replace(made, objective=objective, missed_minimums=(first,))
    assert f'Minimum margin of "{first}" 0.1: FAIL' in said(
        project, broken, short=True
    )
    assert " 0 0.1 FAIL " in said(project, broken)


def test_worst_margin_of_an_attitude_counts_between_the_angles(
    project: Project, made: Proposal
) -> None:
    """The lower of sweep and dips: here a dip that was made 0.02 deeper than the sweep."""
    judged = JudgedProposal(
        project,
        ProposalOptions(),
        replace(made, between=_moved(made.between, -0.02)),
        None,
    )
    found = {line.attitude: line.margin for line in judged.attitudes}
    name, dip = made.between.cases.attitude[0], made.between.margin[0, 0]
    assert found[name] == pytest.approx(dip - 0.02, abs=1e-12)


def test_floor_for_all_leaves_out_attitudes_with_their_own(
    project: Project, made: Proposal
) -> None:
    """The worst attitude may stay under the floor of the others, if its own is kept."""
    worst = made.worst["attitude"]
    others = min(line[1] for line in made.by_attitude() if line[0] != worst)
    floor = 0.5 * (made.margin + others)
    assert JudgedProposal(
        project, ProposalOptions(), made, floor
    ).is_under_floor
    own = replace(
        made, objective=objective_of(project.venue, None, {worst: 0.0})
    )
    assert not JudgedProposal(
        project, ProposalOptions(), own, floor
    ).is_under_floor


def test_what_is_kept_is_said(project: Project, made: Proposal) -> None:
    """So that a slip of the keys is seen."""
    assert "Kept as requested: camber_deg, body." in said(
        project, made, asked=ProposalOptions(keep=("camber_deg", "body"))
    )


# ---- tables ------------------------------------------------------------------------------------------------


def test_price_that_solving_again_does_not_find_is_marked(
    project: Project, made: Proposal
) -> None:
    """More than a tenth apart: a mark and a note; small prices keep their digits."""
    assert "0.0000200 mm 0.0000201" in said(project, made)
    assert "by more than 10 %" not in said(project, made)
    off = replace(made, prices=(replace(made.prices[0], solved_again=0.00001),))
    assert "0.0000200 mm 0.0000100 !" in said(project, off)
    assert "by more than 10 %" in said(project, off)
    assert "No limit holds the margin down." in said(
        project, replace(made, prices=())
    )


def test_key_of_a_limit_is_shown_where_there_is_room(
    project: Project, made: Proposal
) -> None:
    """80 columns have none."""
    long = replace(
        made,
        prices=(
            replace(made.prices[0], key="limits.toml packaging.rake_mm.to"),
        ),
    )
    assert "limits.toml packaging.rake_mm.to" in said(project, long, 160)
    assert "limits.toml packaging.rake_mm.to" not in said(project, long, 80)


def test_only_the_best_gains_are_shown(
    project: Project, made: Proposal
) -> None:
    """Five of them."""
    many = tuple(Sensitivity(f"change {n}", 0.01 - 0.001 * n) for n in range(7))
    words = said(project, replace(made, gains=many))
    assert "change 4 +0.0060" in words
    assert "change 5" not in words


@pytest.mark.parametrize(("width", "tables"), [(80, 3), (160, 1)])
def test_alternatives_stand_side_by_side(
    project: Project, made: Proposal, width: int, tables: int
) -> None:
    """Only settings that differ, as many tables as the width needs, other bodies by name."""
    others = tuple(
        alternative(made.setup, pressure=1e5 + 1e4 * n) for n in range(8)
    )
    others = (*others, alternative(made.setup, body="low drag"))
    words = said(project, replace(made, alternatives=others), width)
    assert (
        words.count("proposed 1")
        + words.count("proposed 5")
        + words.count("proposed 9")
        == tables
    )
    assert words.count("margin 0.3000 0.2950") == tables
    assert "front pressure, hot bar 1.4 1 1.1 1.2 1.3" in words
    assert (
        "rear pressure bar"
        not in words.split("Clearly different")[1].split("How far")[0]
    )
    assert '9 wears the body "low drag".' in words


def test_no_alternative_is_told_too(project: Project, made: Proposal) -> None:
    """Where some were asked for."""
    assert (
        "No clearly different setup was found that loses at most 0.02."
        in said(project, made, asked=ProposalOptions(loss=0.02))
    )
    assert "learly different" not in said(
        project, made, asked=ProposalOptions(loss=0.0)
    )


# ---- trust -------------------------------------------------------------------------------------------------


def test_evidence_is_told_with_its_numbers(
    project: Project, made: Proposal
) -> None:
    """Starts, independent search, bound, parts and steps, and what it cost."""
    words = said(project, made)
    for expected in (
        "2 starts ended between 0.2995 and 0.3000: they agree.",
        "found 0.2800 with 1600 points; a local search from there ended at 0.3000.",
        "No setup inside the limits can be worth more than 0.3100",
        "With parts and steps of any value 0.3000, with parts from the shelf 0.2900, as proposed 0.3000.",
        "55 steps, 12345 cases solved, 6.7 s.",
    ):
        assert expected in words


def test_starts_that_disagree_are_told_loudly(
    project: Project, made: Proposal
) -> None:
    """Ends 0.002 apart or more, a better end from the independent search, and one start alone."""
    assert "they DISAGREE" in said(
        project, evidence(made, ends_of_starts=(0.3, 0.298))
    )
    assert "HIGHER than every start" in said(
        project, evidence(made, searched_end=0.301)
    )
    assert "One start ended at 0.3000: use more" in said(
        project, evidence(made, ends_of_starts=(0.3,))
    )


def test_bounds_of_parts_that_were_passed_are_told(
    project: Project, made: Proposal
) -> None:
    """A bound that a set passed is none; noise of the climbs is not told."""
    passed = evidence(made, parts=replace(PARTS, bound_violation=0.0012))
    assert "Bounds were exceeded by up to 0.0012." in said(project, passed)
    assert "Bounds were exceeded" not in said(project, made)


def test_build_errors_tell_price_gain_and_the_worst_build(
    project: Project, made: Proposal
) -> None:
    """0.3 - 0.29 is the price, 0.24 - 0.22 the gain; deviations in units, the hill's 0.15 deg of camber."""
    words = said(project, replace(made, robustness=ROBUST))
    for expected in (
        "With build errors: 0.235 proposed, the worst that was found",
        "Without build errors it loses 0.0100, from 0.3000 to 0.2900.",
        "In the worst build that was found it gains 0.0200, from 0.2200 to 0.2400",
        "0.2850 without build errors, 0.2350 in the worst build that was found, 0.2500 in the worst of 512",
        "camber deg -0.15 +0.15 -0.15 -0.15",
        "ride height mm -1 -1 -1 -1",
        "Numbers here: worst margin with build errors.",
        "2 starts ended without build errors between",
    ):
        assert expected in words
    assert "Build errors" not in said(project, made)


def test_cloud_below_the_worst_build_is_told(
    project: Project, made: Proposal
) -> None:
    """The search for the worst build is a search: what the cloud finds below it counts."""
    low = replace(made, robustness=replace(ROBUST, cloud_least=0.2))
    assert "With build errors: 0.200 proposed" in said(project, low, short=True)
    assert "WORSE than the build that the search found" in said(project, low)


def test_contact_that_build_errors_cost_is_told(
    project: Project, made: Proposal
) -> None:
    """No number for a margin that is none, in words or JSON."""
    lost = replace(
        made, robustness=replace(ROBUST, exact_built=-np.inf, built=-np.inf)
    )
    words = said(project, lost)
    assert "With build errors: contact lost proposed" in words
    assert (
        "In the worst build that was found it gains contact, from contact lost to 0.2400"
        in words
    )
    told = JudgedProposal(project, ProposalOptions(), lost, None).as_dict()[
        "robustness"
    ]
    assert (told["exact_built"], told["gain"], told["price"]) == (
        None,
        None,
        pytest.approx(0.01),
    )


@pytest.mark.parametrize("width", [80, 100, 160])
def test_every_line_fits(project: Project, made: Proposal, width: int) -> None:
    """Even with all there is to say, and long names."""
    attitudes = tuple(
        replace(a, name=f"{a.name} {'and on ' * 12}")
        for a in project.venue.attitudes
    )
    long = replace(
        project,
        venue=replace(project.venue, name="n" * 60, attitudes=attitudes),
    )
    objective = objective_of(
        long.venue, {attitudes[0].name: 2.0}, {attitudes[1].name: 0.9}
    )
    result = setupopt.evaluate(long, made.setup)
    whole = replace(
        made, result=result, between=_few(result, 3), objective=objective,
        missed_minimums=(attitudes[1].name,), robustness=ROBUST,
        active_cases=active_cases(_few(result, 3), objective, {}),
    )  # fmt: skip
    said(long, whole, width, floor=0.2)


@pytest.mark.parametrize("width", [60, 80, 120])
def test_what_must_be_stood_is_said_of_three_setups(
    made: Proposal, project: Project, width: int
) -> None:
    """Asked and stood in the units of the files, the chance in percent, the front; no line is too long."""
    fields = made.result.fields(0)

    def setup(height: float, chance: float) -> StoodSetup:
        bump = Stood("bump", 5 * MM, height, fields, 0.8 * height)
        road = Stood("road", 1.0, 0.8, fields, chance)
        return StoodSetup(made.setup, 0.31, (bump, road), 0.17)

    front = (
        FrontPoint(0.0, 0.33, True, made.setup),
        FrontPoint(1.0, 0.21, False, made.setup),
    )
    required = Required(
        1.0,
        setup(1.25 * MM, 0.5),
        setup(0.75 * MM, 1.0),
        setup(6.5 * MM, 0.02),
        front,
    )
    said = text(
        JudgedProposal(
            project, ProposalOptions(), replace(made, required=required), None
        ),
        width,
    )
    part = said[said.index("What the car must withstand") :][:2000]
    for words in (
        "bump_mm",
        "1.25",
        "0.75",
        "6.5",
        "runs on it",
        "50",
        "5.20",
        "0.17",
        "not reached",
        "0.33",
    ):
        assert words in part, words
    assert max(map(len, part.splitlines())) <= max(width, 80)
