"""Comparisons: what is evaluated and searched is what other commands say, whatever the order of the lists."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import setupopt
from setupopt.errors import UserError
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.losses import LossBudget, loss_budget
from setupopt.evaluation.model import Model
from setupopt.project import Project
from setupopt.project.bodies import with_body
from setupopt.project.model import Body, Setup
from setupopt.search import ProposalOptions
from setupopt.search.comparison import (
    Comparison,
    ComparisonOptions,
    Contender,
    Reason,
    compare,
)

from .conftest import coarse

AS_IS = ComparisonOptions(as_is=True)
ONE_START = ComparisonOptions(starts=1)


@pytest.fixture(scope="module")
def own_best(small_bore: Project) -> Comparison:
    """Every body with its own best setup, and today's as it is."""
    return compare(small_bore, [small_bore.setup], options=ONE_START)


def scaled(project: Project, name: str, share: float) -> Body:
    """The body of car.toml with so much of all its downforce, at the same drag."""
    air = project.car.air
    elements = tuple(
        replace(
            e, free_area=share * e.free_area, ground_area=share * e.ground_area
        )
        for e in air.elements
    )
    return Body(name, replace(air, elements=elements), project.car.clearance)


def settled(setup: Setup, by_mm: float, name: str) -> Setup:
    """A setup as much lower all round."""
    front, rear = (
        replace(axle, ride_height=axle.ride_height - 1e-3 * by_mm)
        for axle in (setup.front, setup.rear)
    )
    return replace(setup, front=front, rear=rear, name=name)


def told(found: Comparison) -> list[tuple[object, ...]]:
    """All that a comparison says, in its order."""
    rows = zip(found.contenders, found.reasons, found.best_in, strict=True)
    return [
        (one.setup, one.is_own_best, one.margin, reason, best)
        for one, reason, best in rows
    ]


# ---- what is compared --------------------------------------------------------------------------------------


def test_as_they_are_every_body_wears_every_setup(small_bore: Project) -> None:
    """Margins of each pair are those of setupopt.evaluate, to the last digit; the highest comes first."""
    setups = [small_bore.setup, settled(small_bore.setup, 5.0, "lower")]
    found = compare(small_bore, setups, options=AS_IS).contenders
    assert {(one.setup.name, one.setup.body) for one in found} == {
        (setup.name, body) for setup in setups for body in (None, "long-floor")
    }
    for one in found:
        result = setupopt.evaluate(small_bore, one.setup)
        assert one.margin == result.worst_margin[0]
        by_attitude = [
            result.margin[0, [n == name for n in result.cases.attitude]]
            for name in names(small_bore)
        ]
        assert one.by_attitude.tolist() == [
            margins.min() for margins in by_attitude
        ]
    margins = [one.margin for one in found]
    assert margins == sorted(margins, reverse=True)


def names(project: Project) -> list[str]:
    """The attitudes."""
    return [attitude.name for attitude in project.venue.attitudes]


def test_own_best_is_what_propose_finds_for_the_body(
    small_bore: Project, own_best: Comparison
) -> None:
    """On the same sweep within 0.001, a tenth of what a setup sheet tells; one given stays as it is."""
    searched = {
        one.setup.body: one.margin
        for one in own_best.contenders
        if one.is_own_best
    }
    assert set(searched) == {None, "long-floor"}
    for body, margin in searched.items():
        asked = ProposalOptions(starts=1, loss=0.0, keep=("body",))
        proposed = setupopt.propose(with_body(small_bore, body), asked).setup
        assert proposed.body == body
        assert margin == pytest.approx(
            setupopt.evaluate(small_bore, proposed).worst_margin[0], abs=1e-3
        )
    (given,) = (one for one in own_best.contenders if not one.is_own_best)
    assert given.setup == small_bore.setup


def test_the_order_of_the_lists_changes_nothing(
    small_bore: Project, own_best: Comparison
) -> None:
    """Bodies and setups the other way round: the same list, to the last digit, ties by name."""
    bodies = (
        *small_bore.bodies,
        scaled(small_bore, "twin b", 0.97),
        scaled(small_bore, "twin a", 0.97),
    )
    setups = [small_bore.setup, settled(small_bore.setup, 5.0, "lower")]
    whole = replace(small_bore, bodies=bodies)
    found = compare(whole, setups, options=AS_IS)
    turned = compare(
        replace(whole, bodies=bodies[::-1]), setups[::-1], options=AS_IS
    )
    assert told(turned) == told(found)
    twins = [
        one.setup.body
        for one in found.contenders
        if (one.setup.body or "").startswith("twin")
    ]
    assert twins == ["twin a", "twin b"] * 2
    other = replace(
        with_body(small_bore, "long-floor"),
        setup=replace(small_bore.setup, body="long-floor"),
    )
    assert told(compare(other, [small_bore.setup], options=ONE_START)) == told(
        own_best
    )


# ---- why one loses -----------------------------------------------------------------------------------------


def budget(one: Contender, of: Contender) -> LossBudget:
    """What one contender loses in the worst case of another."""
    model, cases = Model(one.project.car), sweep_cases(one.project.venue)
    return loss_budget(
        model, model.settings(one.setup), cases, int(of.result.worst[0])
    )


def test_the_reason_is_the_difference_of_two_budgets(
    own_best: Comparison,
) -> None:
    """In the loser's worst case: what takes most more from it, and how far it lies behind in all."""
    bore = coarse("bore", 9.0)
    own = scaled(bore, "tall", 1.0)
    tall = replace(own, air=replace(own.air, side_area=3.0 * own.air.side_area))
    given = compare(replace(bore, bodies=(tall,)), options=AS_IS)
    assert (
        len({one.worst for one in given.contenders}) > 1
    )  # it matters whose worst case is taken
    for found in (own_best, given):
        best = found.contenders[0]
        assert found.reasons[0] is None
        for loser, reason in zip(
            found.contenders[1:], found.reasons[1:], strict=True
        ):
            assert reason is not None
            _is_difference(
                reason, loser, budget(loser, loser), budget(best, loser)
            )


def _is_difference(
    reason: Reason, loser: Contender, own: LossBudget, other: LossBudget
) -> None:
    spared = {loss.cause: loss.gain or 0.0 for loss in other.losses}
    more = {
        loss.cause: loss.gain - spared[loss.cause]
        for loss in own.losses
        if loss.gain is not None
    }
    assert own.margin == loser.margin and other.margin is not None
    assert reason.behind == pytest.approx(other.margin - own.margin, abs=1e-12)
    assert reason.more == pytest.approx(max(more.values()), abs=1e-12)
    assert reason.cause is not None and more[reason.cause] == max(more.values())
    worst = loser.result.fields(loser.worst)
    assert (reason.roll_angle_deg, reason.attitude) == (
        worst["roll_angle_deg"],
        worst["attitude"],
    )


def test_a_weaker_copy_is_nowhere_best(small_bore: Project) -> None:
    """A twentieth less of all downforce at the same drag: less grip in every attitude, and it is told."""
    found = compare(
        replace(small_bore, bodies=(scaled(small_bore, "weaker", 0.95),)),
        options=AS_IS,
    )
    assert [one.setup.body for one in found.contenders] == [None, "weaker"]
    assert found.best_in == (2, 0)


def test_ties_are_the_best_for_both(small_bore: Project) -> None:
    """The same body under another name: neither is called nowhere best."""
    found = compare(
        replace(small_bore, bodies=(scaled(small_bore, "copy", 1.0),)),
        options=AS_IS,
    )
    assert found.best_in == (2, 2)


def test_lost_contact_comes_last_and_broken_limits_before_it(
    small_bore: Project,
) -> None:
    """Whatever the margin; and what breaks a limit is nowhere best while others keep them."""
    assert small_bore.limits is not None
    packaging = replace(small_bore.limits.packaging, rake=(0.0, 0.02))
    limited = replace(
        small_bore,
        limits=replace(small_bore.limits, packaging=packaging),
        bodies=(),
    )
    low = replace(
        small_bore.setup.rear,
        ride_height=small_bore.setup.front.ride_height - 0.005,
    )
    reversed_rake = replace(small_bore.setup, rear=low, name="reversed rake")
    empty = replace(limited, bodies=(scaled(small_bore, "no downforce", 0.0),))
    found = compare(empty, [small_bore.setup, reversed_rake], options=AS_IS)
    kinds = [
        (one.result.lost() > 0, len(one.broken) > 0) for one in found.contenders
    ]
    assert kinds == [(False, False), (False, True), (True, False), (True, True)]
    assert [best > 0 for best in found.best_in][:2] == [True, False]
    lost = found.reasons[2]
    assert lost is not None and lost.behind is None and lost.more is None
    assert np.isneginf(found.contenders[2].margin)


# ---- refusals ----------------------------------------------------------------------------------------------


def test_nothing_to_compare_is_refused_before_the_search(
    small_bore: Project,
) -> None:
    """One body alone, and a setup for a body that there is not; no word of progress before."""
    said: list[str] = []
    alone = replace(small_bore, bodies=())
    with pytest.raises(UserError, match="nothing to compare"):
        compare(alone, progress=said.append)
    with pytest.raises(UserError, match="nothing to compare"):
        compare(alone, options=AS_IS, progress=said.append)
    with pytest.raises(UserError, match='found "tall"'):
        compare(
            small_bore,
            [replace(small_bore.setup, body="tall")],
            progress=said.append,
        )
    assert said == []


def test_a_search_needs_limits(small_bore: Project) -> None:
    """As it is, a project does without them."""
    bare = replace(small_bore, limits=None)
    with pytest.raises(UserError, match=r"limits\.toml is missing"):
        compare(bare)
    assert len(compare(bare, options=AS_IS).contenders) == 2
