"""What changes are worth, plateaus, short lists and free sides, each against plain evaluations of setups."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.limits_check import broken
from setupopt.evaluation.variables import variables_of, with_value
from setupopt.project import Project
from setupopt.project.model import Range, Setup, WheelLimits
from setupopt.search import Proposal, ProposalOptions
from setupopt.search.sides import alike, apart, are_free
from setupopt.search.worth import PLATEAU_LOSS, plateaus
from setupopt.units import DEG

from .conftest import problem_of

QUICK = ProposalOptions(starts=1, loss=0.0)
# Dips between the three angles of the sweep that a check of the sweep alone does not see.
DIP = 1e-4


@pytest.fixture(scope="module")
def proposal(small_hill: Project) -> Proposal:
    """Springs and ride heights of the small hill."""
    return setupopt.propose(small_hill, QUICK)


def margin(project: Project, setup: Setup) -> float:
    """Worst margin on the sweep."""
    return float(setupopt.evaluate(project, setup).worst_margin[0])


def keeps(project: Project, setup: Setup) -> bool:
    """Whether a setup keeps all limits on the sweep."""
    return not broken(project, setup, setupopt.evaluate(project, setup))


def test_a_change_costs_what_an_evaluation_says(
    small_hill: Project, proposal: Proposal
) -> None:
    """The proposed setup with one setting as today, evaluated by hand; every setting that differs is told."""
    assert {one.slot.name for one in proposal.changes} == {
        v.name
        for v in proposal.free
        if v.value(small_hill.setup) != v.value(proposal.setup)
    }
    for one in proposal.changes:
        axle, key = one.slot.where, one.slot.setting.field
        own = replace(
            getattr(proposal.setup, axle),
            **{key: getattr(getattr(small_hill.setup, axle), key)},
        )
        alone = replace(proposal.setup, **{axle: own})
        lost = margin(small_hill, proposal.setup) - margin(small_hill, alone)
        assert one.loss == pytest.approx(lost, abs=DIP)
        assert bool(one.broken) == (not keeps(small_hill, alone))


def test_a_plateau_ends_where_a_walk_ends(
    small_hill: Project, proposal: Proposal
) -> None:
    """From the proposal step by step either way until 0.005 is lost or a limit broken: the same ends."""
    problem = problem_of(small_hill)
    at = np.array(
        [v.value(proposal.setup) * v.setting.factor for v in problem.variables]
    )  # type: ignore[operator]
    unit = np.array(
        [
            (a - v.range.lower) / v.width
            for a, v in zip(at, problem.variables, strict=True)
        ]
    )
    found = plateaus(problem, unit, problem.index.grid_points())
    best = margin(small_hill, proposal.setup)
    for one, variable in zip(found, problem.variables, strict=True):
        grid = variable.grid()
        assert grid is not None
        values = variable.range.lower + grid * variable.width
        now = int(
            np.abs(values - at[problem.variables.index(variable)]).argmin()
        )
        ends = []
        for way in (-1, 1):
            number = now
            while 0 <= number + way < values.size:
                setup = with_value(
                    proposal.setup, variable, float(values[number + way])
                )
                if margin(small_hill, setup) < best - PLATEAU_LOSS or not keeps(
                    small_hill, setup
                ):
                    break
                number += way
            ends.append(values[number])
        assert [one.lower, one.upper] == pytest.approx(ends, rel=1e-9)


def test_a_short_list_is_what_keeping_the_rest_gives(
    small_hill: Project, proposal: Proposal
) -> None:
    """What is left out is as today to the last digit, and the rest as good as a search with that kept.

    The loss is the difference of both proposals. Rounding may end at another step: 5e-4, a tenth of what a
    plateau loses.
    """
    losses = sorted(one.loss for one in proposal.changes if not one.broken)
    least = losses[len(losses) // 2] + DIP
    found = setupopt.propose(small_hill, replace(QUICK, min_gain=least))
    assert found.dropped
    names = [one.slot.name for one in found.dropped]
    for one in found.dropped:
        assert one.slot.value(found.setup) == one.slot.value(small_hill.setup)
    assert {one.slot.name for one in found.changes}.isdisjoint(names)
    assert found.dropped_loss == pytest.approx(
        proposal.weighted_margin - found.weighted_margin, abs=1e-6
    )
    assert found.dropped_loss <= max(least, PLATEAU_LOSS) + 5e-4
    kept = setupopt.propose(small_hill, replace(QUICK, keep=tuple(names)))
    assert found.margin == pytest.approx(kept.margin, abs=5e-4)


# ---- sides -------------------------------------------------------------------------------------------------

CAMBERS = tuple(float(angle) * DEG for angle in (-4.0, -3.0, -2.0, -1.0, 0.0))


@pytest.fixture(scope="module")
def two_sided(small_hill: Project) -> Project:
    """The cambers of both front wheels alone are free, each on its own, in five steps."""
    assert small_hill.limits is not None
    span = Range(CAMBERS[0], CAMBERS[-1], choices=CAMBERS)
    held = dict.fromkeys(("spring", "ride_height"))
    side = WheelLimits(camber=span)
    front = replace(small_hill.limits.front, **held, left=side, right=side)
    limits = replace(
        small_hill.limits,
        front=front,
        rear=replace(small_hill.limits.rear, **held),
    )
    return replace(small_hill, limits=limits)


def test_free_sides_find_the_best_of_all_pairs(two_sided: Project) -> None:
    """Brute force over all 25 pairs: none is better, and sides alike are told as the best of the diagonal."""
    found = setupopt.propose(two_sided, QUICK)
    variables = variables_of(two_sided.limits) if two_sided.limits else ()
    assert [v.name for v in variables] == [
        "front.left.camber_deg",
        "front.right.camber_deg",
    ]
    left, right = variables
    pairs = {
        pair: with_value(
            with_value(two_sided.setup, left, pair[0]), right, pair[1]
        )
        for pair in product(CAMBERS, CAMBERS)
    }
    margins = {
        pair: margin(two_sided, setup)
        for pair, setup in pairs.items()
        if keeps(two_sided, setup)
    }
    best = max(margins.values())
    assert found.margin == pytest.approx(best, abs=DIP)
    sides = found.sides
    assert sides is not None and sides.are_free
    diagonal = max(
        value for pair, value in margins.items() if pair[0] == pair[1]
    )
    assert sides.alike >= diagonal - DIP  # with any camber, not in steps
    assert sides.gain >= 0.0
    assert sides.apart >= best - DIP
    assert all(
        slot.where in ("front.left", "front.right")
        for slot, _, _ in sides.moved
    )


def test_tied_sides_are_told_what_freeing_brings(proposal: Proposal) -> None:
    """More freedom brings no less; only single wheels are named, and no ride height."""
    sides = proposal.sides
    assert sides is not None and not sides.are_free
    assert sides.alike == pytest.approx(proposal.evidence.continuous, abs=1e-9)
    assert sides.gain >= 0.0
    assert all(
        "." in slot.where and slot.setting.field == "spring"
        for slot, _, _ in sides.moved
    )


def test_limits_alike_and_apart(
    two_sided: Project, small_hill: Project
) -> None:
    """Tied and freed again the ranges are the same; what only one side may do, both cannot."""
    limits, tied = two_sided.limits, small_hill.limits
    assert limits is not None and tied is not None
    both = alike(limits)
    assert not are_free(both)
    assert both.front.camber == Range(CAMBERS[0], CAMBERS[-1], None, CAMBERS)
    freed = {v.name for v in variables_of(apart(both))}
    assert freed == {v.name for v in variables_of(limits)}
    one = replace(limits, front=replace(limits.front, right=None))
    assert alike(one).front.camber is None
    assert alike(tied) == replace(
        tied, front=replace(tied.front), rear=replace(tied.rear)
    )
