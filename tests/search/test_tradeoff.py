"""The trade-off of a proposal: every number on it is what an evaluation of its own says."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from evaluation.limits_oracle import broken

import setupopt
from setupopt.evaluation.cases import join, sweep_at, sweep_cases
from setupopt.evaluation.result import Result
from setupopt.evaluation.setup_record import by_wheel
from setupopt.evaluation.variables import Variable, variables_of
from setupopt.physics.inputs import Floats
from setupopt.project.bodies import with_body
from setupopt.project.limits_model import Limits
from setupopt.project.model import AXLES, Project, Setup
from setupopt.project.settings import SETTINGS
from setupopt.search import Proposal, ProposalOptions, propose, tradeoff
from setupopt.search.objective import objective_of
from setupopt.search.tradeoff import MarginMap, TradeOff, trade_off

from .conftest import coarse

# Trims are exact to 1e-10 of the weight; the way of a setting through the unit box adds rounding only.
EXACT = 1e-8
# Dips between the angles of a coarse sweep: a tenth of what a driver could tell.
DIP = 1e-3


@pytest.fixture(autouse=True, scope="module")
def few_lines() -> Iterator[None]:
    """Maps of nine lines in place of 17: the same code at a third of the cases."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tradeoff, "_LINES", 9)
        yield


@pytest.fixture(scope="module")
def proposal(hill: Project) -> Proposal:
    """That of the hill from one start, one of its attitudes at a speed of its own; springs stay."""
    assert hill.limits is not None
    limits = free(hill.limits, ("camber", "ride_height", "pressure"))
    return propose(
        replace(hill, limits=limits), ProposalOptions(starts=1, loss=0.0)
    )


@pytest.fixture(scope="module")
def found(proposal: Proposal) -> TradeOff:
    """Its trade-off."""
    return trade_off(proposal)


def map_of(proposal: Proposal) -> MarginMap:
    """The map of a proposal that has one."""
    found = trade_off(proposal).map
    assert found is not None
    return found


def changed(setup: Setup, name: str, value: float) -> Setup:
    """A setup with one setting, by its name in the files, at a value in SI."""
    axle, key = name.split(".")
    field = next(setting.field for setting in SETTINGS if setting.key == key)
    return replace(
        setup, **{axle: replace(getattr(setup, axle), **{field: value})}
    )


def setup_at(
    proposal: Proposal, found: MarginMap, row: int, column: int
) -> Setup:
    """The setup of one point of a map."""
    across = changed(
        proposal.setup, found.x.variable.name, float(found.x.values[column])
    )
    return changed(across, found.y.variable.name, float(found.y.values[row]))


def known(proposal: Proposal, setup: Setup) -> Result:
    """A setup on the sweep and in the dips that the proposal knows."""
    start = proposal.start_result
    dips = join(proposal.between.cases, start.cases.pick(start.worst))
    return setupopt.evaluate(
        proposal.project, setup, join(sweep_cases(proposal.project.venue), dips)
    )


def spots(found: MarginMap, count: int = 6) -> list[tuple[int, int]]:
    """Points spread over a map, its corners among them."""
    rows, columns = found.margin.shape
    corners = [(0, 0), (0, columns - 1), (rows - 1, 0), (rows - 1, columns - 1)]
    draw = np.random.default_rng(3)
    return corners + [
        (int(draw.integers(rows)), int(draw.integers(columns)))
        for _ in range(count)
    ]


def free(
    limits: Limits, fields: tuple[str, ...], axles: tuple[str, ...] = AXLES
) -> Limits:
    """The limits with a range left to some settings only."""
    own = {
        axle: replace(
            getattr(limits, axle),
            **{
                s.field: None
                for s in SETTINGS[:-1]
                if s.field not in fields or axle not in axles
            },
        )
        for axle in AXLES
    }
    return replace(limits, **own)


def with_limits(proposal: Proposal, limits: Limits) -> Proposal:
    """The same proposal as if other limits held."""
    project = replace(proposal.project, limits=limits)
    return replace(proposal, project=project, free=variables_of(limits))


def heights(proposal: Proposal) -> Proposal:
    """The same proposal with the ride heights alone free: the rake allows a band of their map."""
    assert proposal.project.limits is not None
    return with_limits(
        proposal, free(proposal.project.limits, ("ride_height",))
    )


def as_driven(project: Project, proposal: Proposal) -> Proposal:
    """A proposal that leaves another project's setup as it is; it knows the worst of a denser sweep."""
    result = setupopt.evaluate(project)
    dense = setupopt.evaluate(
        project, None, sweep_cases(project.venue, sweep_at(project.venue, 6))
    )
    between = setupopt.evaluate(project, None, dense.cases.pick(dense.worst))
    return replace(
        proposal, project=project, today=project, setup=project.setup, free=free_of(project),
        objective=objective_of(project.venue), result=result, between=between, start_result=result,
    )  # fmt: skip


def free_of(project: Project) -> tuple[Variable, ...]:
    """What the limits of a project leave free."""
    assert project.limits is not None
    return variables_of(project.limits)


def few_attitudes(project: Project, *names: str) -> Project:
    """The project in some of its attitudes."""
    kept = tuple(one for one in project.venue.attitudes if one.name in names)
    return replace(project, venue=replace(project.venue, attitudes=kept))


def at_speeds(project: Project, setup: Setup, factor: float) -> Result:
    """A setup on the sweep, the venue rewritten with all its speeds larger by a factor."""
    venue = project.venue
    attitudes = tuple(
        a if a.speed is None else replace(a, speed=factor * a.speed)
        for a in venue.attitudes
    )
    faster = replace(
        venue,
        sweep=replace(venue.sweep, speed=factor * venue.sweep.speed),
        attitudes=attitudes,
    )
    return setupopt.evaluate(replace(project, venue=faster), setup)


# ---- the map -----------------------------------------------------------------------------------------------


def test_the_map_says_what_an_evaluation_says(
    proposal: Proposal, found: TradeOff
) -> None:
    """Its corners and any other points are the worst margins of just those setups."""
    assert found.map is not None
    for row, column in spots(found.map):
        alone = known(
            proposal, setup_at(proposal, found.map, row, column)
        ).worst_margin[0]
        assert found.map.margin[row, column] == pytest.approx(alone, abs=EXACT)


def test_the_map_knows_the_dips_between_the_angles(proposal: Proposal) -> None:
    """On a sweep so coarse that it misses the worst, the map is as low as what is known of both setups."""
    bore = few_attitudes(
        coarse("bore", 9.0), "straight", "crosswind from below"
    )
    driven = as_driven(bore, proposal)
    dense = sweep_cases(bore.venue, sweep_at(bore.venue, 6))
    start = setupopt.evaluate(
        bore, changed(bore.setup, "front.camber_deg", 0.0), dense
    )
    for known_dips in (
        driven,
        replace(driven, between=driven.result, start_result=start),
    ):
        found = map_of(known_dips)
        lower = 0
        for row, column in spots(found):
            setup = setup_at(known_dips, found, row, column)
            alone = known(known_dips, setup).worst_margin[0]
            lower += (
                alone < setupopt.evaluate(bore, setup).worst_margin[0] - DIP
            )
            assert found.margin[row, column] == pytest.approx(alone, abs=EXACT)
        assert lower > 0


def test_the_proposal_stands_on_the_map(
    proposal: Proposal, found: TradeOff
) -> None:
    """A line of either axis goes through it; there its margin is the one that the proposal tells."""
    assert found.map is not None
    column = found.map.x.values.tolist().index(found.map.x.proposed)
    row = found.map.y.values.tolist().index(found.map.y.proposed)
    assert setup_at(proposal, found.map, row, column) == proposal.setup
    assert found.map.margin[row, column] == pytest.approx(
        proposal.margin, abs=EXACT
    )
    assert found.map.is_kept[row, column]


def test_the_map_covers_both_ranges(
    proposal: Proposal, found: TradeOff
) -> None:
    """From end to end of what limits.toml allows, ascending, with today's values told."""
    assert found.map is not None
    for axis in (found.map.x, found.map.y):
        allowed = axis.variable.range
        assert axis.values[[0, -1]] == pytest.approx(
            [allowed.lower, allowed.upper], rel=1e-12
        )
        assert (np.diff(axis.values) > 0.0).all()
        assert (
            axis.today == axis.variable.of(by_wheel(proposal.project.setup))[0]
        )


def losses(proposal: Proposal) -> dict[str, float]:
    """What each setting costs at 5 % of its range away, the dearer way that stays inside, by brute force."""
    before, lost = known(proposal, proposal.setup).worst_margin[0], {}
    for axle in AXLES:
        for setting in SETTINGS:
            span = getattr(
                getattr(proposal.project.limits, axle), setting.field, None
            )
            if span is not None:
                at, step = (
                    getattr(getattr(proposal.setup, axle), setting.field),
                    0.05 * (span.upper - span.lower),
                )
                tried = [
                    v
                    for v in (at - step, at + step)
                    if span.lower - 1e-9 <= v <= span.upper + 1e-9
                ]
                name = f"{axle}.{setting.key}"
                after = [
                    known(
                        proposal, changed(proposal.setup, name, v)
                    ).worst_margin[0]
                    for v in tried
                ]
                lost[name] = float(before - min(after))
    return lost


@pytest.mark.parametrize("pressure", [None, 1.98e5])
def test_the_two_settings_are_the_dearest(
    proposal: Proposal, pressure: float | None
) -> None:
    """Nothing else costs more for the same share of its range, and what they cost is told.

    Round a proposal that leans on its limits, and round today's setup, which stands inside its ranges but for
    pressures so close to an end that the dearer way would lead out of them.
    """
    about = (
        proposal
        if pressure is None
        else as_driven(with_pressure(proposal.project, pressure), proposal)
    )
    found, lost = map_of(about), losses(about)
    dearest = sorted(lost, key=lambda name: -lost[name])[:2]
    axes = (found.x, found.y)
    assert {axis.variable.name for axis in axes} == set(dearest)
    assert [axis.cost for axis in axes] == pytest.approx(
        [lost[a.variable.name] for a in axes], abs=EXACT
    )


def with_pressure(project: Project, pressure: float) -> Project:
    """Today's setup with another pressure, Pa, in all tyres."""
    both = changed(
        changed(project.setup, "front.pressure_bar", pressure),
        "rear.pressure_bar",
        pressure,
    )
    return replace(project, setup=both)


def test_limits_are_those_of_the_limits_check(proposal: Proposal) -> None:
    """Kept and broken on the map as another piece of code says of each setup; the rake is what it names."""
    wide = heights(proposal)
    found = map_of(wide)
    assert found.is_kept.any() and not found.is_kept.all()
    assert set(found.broken) == {
        "packaging.rake_mm.from",
        "packaging.rake_mm.to",
    }
    for row, column in spots(found):
        setup = setup_at(wide, found, row, column)
        assert found.is_kept[row, column] == (
            not broken(wide.project, setup, known(wide, setup))
        )


def test_a_floor_of_an_attitude_is_a_limit(proposal: Proposal) -> None:
    """A point where that attitude is under its floor is marked, and the floor named."""
    name = proposal.objective.names[0]
    assert proposal.project.limits is not None
    least = proposal.margin - 0.003
    asked = objective_of(proposal.project.venue, minimum_margins={name: least})
    cambers = free(
        proposal.project.limits, ("camber",)
    )  # which no other limit holds
    held = with_limits(replace(proposal, objective=asked), cambers)
    found = map_of(held)
    assert found.is_kept.any() and found.broken == (
        f'minimum margin of "{name}"',
    )
    for row, column in spots(found):
        result = known(held, setup_at(held, found, row, column))
        own = np.array([attitude == name for attitude in result.cases.attitude])
        assert found.is_kept[row, column] == (
            result.margin[0, own].min() >= least
        )


def slow_bore(proposal: Proposal, speed: float) -> Proposal:
    """Today's car in the bore, too slow to hold everywhere, with two settings of the rear axle free.

    The last case, braking overhead, loses contact first, and hardly loads a wheel.
    """
    bore = few_attitudes(coarse("bore", 9.0), "straight", "braking")
    assert bore.limits is not None
    sweep = replace(bore.venue.sweep, speed=speed)
    limits = free(bore.limits, ("ride_height", "spring"), ("rear",))
    limits = replace(
        limits, packaging=replace(limits.packaging, wheel_load_least=80.0)
    )
    venue = replace(bore.venue, sweep=sweep)
    return as_driven(replace(bore, venue=venue, limits=limits), proposal)


def test_contact_lost_has_no_margin(proposal: Proposal) -> None:
    """No number where an evaluation loses contact, the margin elsewhere on the same map."""
    slow = slow_bore(proposal, 47.5)
    found = map_of(slow)
    assert found.contact.any() and not found.contact.all()
    assert np.array_equal(np.isnan(found.margin), ~found.contact)
    for row, column in spots(found):
        alone = known(slow, setup_at(slow, found, row, column)).worst_margin[0]
        shown = (
            found.margin[row, column] if found.contact[row, column] else -np.inf
        )
        assert shown == pytest.approx(alone, abs=EXACT)


def test_lost_cases_break_no_limits(proposal: Proposal) -> None:
    """Their numbers are no answers; limits of the car at rest and of cases with contact hold all the same."""
    slow = slow_bore(proposal, 46.0)
    found = map_of(slow)
    assert (
        not found.contact.any()
        and found.is_kept.any()
        and not found.is_kept.all()
    )
    for row, column in spots(found, 12):
        setup = setup_at(slow, found, row, column)
        assert found.is_kept[row, column] == (
            not broken(slow.project, setup, known(slow, setup))
        )


def test_a_setting_kept_beyond_its_range_is_on_the_map(
    proposal: Proposal,
) -> None:
    """The map feasible_ranges out to where it stands, and nobody moves it into its range."""
    assert proposal.project.limits is not None
    limits = free(proposal.project.limits, ("pressure",))
    assert limits.front.pressure is not None
    narrow = replace(
        limits.front.pressure, lower=proposal.setup.front.pressure + 1e4
    )
    found = map_of(
        with_limits(
            proposal,
            replace(limits, front=replace(limits.front, pressure=narrow)),
        )
    )
    assert (
        found.x.values[0] == found.x.proposed == proposal.setup.front.pressure
    )
    (row,) = np.flatnonzero(found.y.values == found.y.proposed)
    assert found.margin[row, 0] == pytest.approx(proposal.margin, abs=EXACT)


def test_one_setting_makes_no_map(proposal: Proposal) -> None:
    """The curves against speed are told all the same."""
    assert proposal.project.limits is not None
    alone = trade_off(
        with_limits(
            proposal, free(proposal.project.limits, ("camber",), ("front",))
        )
    )
    assert alone.map is None
    assert np.isfinite(alone.proposed.margin).all()


# ---- against speed -----------------------------------------------------------------------------------------


def test_at_its_own_speed_the_margins_are_those_told(
    proposal: Proposal, found: TradeOff
) -> None:
    """Factor 1 is on both curves, with the margins of the proposal and of today's setup."""
    (at,) = np.flatnonzero(found.factors == 1.0)
    assert found.speeds[at] == proposal.project.venue.sweep.speed
    assert found.proposed.margin[at] == pytest.approx(
        proposal.margin, abs=EXACT
    )
    assert found.today.margin[at] == pytest.approx(
        proposal.start_margin, abs=DIP
    )


def check_curve(
    project: Project,
    setup: Setup,
    factors: Floats,
    margin: Floats,
    attitude: tuple[str, ...],
) -> None:
    """A curve against the venue rewritten for some of its speeds: margins and what is worst."""
    for at in range(0, factors.size, 4):
        result = at_speeds(project, setup, float(factors[at]))
        if result.lost():
            assert np.isnan(margin[at])
            continue
        assert (
            result.worst_margin[0] - DIP
            <= margin[at]
            <= result.worst_margin[0] + EXACT
        )
        own = np.array([name == attitude[at] for name in result.cases.attitude])
        assert result.margin[0, own].min() == pytest.approx(
            result.worst_margin[0], abs=DIP
        )


def test_all_speeds_grow_alike(proposal: Proposal, found: TradeOff) -> None:
    """The sweep's and the attitudes' own: as if venue.toml were written anew for every speed."""
    assert {a.speed for a in proposal.project.venue.attitudes} > {None}
    assert found.factors[[0, -1]] == pytest.approx([0.7, 1.3])
    check_curve(
        proposal.project,
        proposal.setup,
        found.factors,
        *_curve(found, "proposed"),
    )
    check_curve(
        proposal.project,
        proposal.project.setup,
        found.factors,
        *_curve(found, "today"),
    )


def _curve(found: TradeOff, name: str) -> tuple[Floats, tuple[str, ...]]:
    curve = getattr(found, name)
    return curve.margin, curve.attitude


def test_lost_contact_is_a_gap_and_today_wears_its_own_body(
    proposal: Proposal,
) -> None:
    """In a bore, slow speeds hold no car; a proposal with another body leaves today's curve its own."""
    bore = few_attitudes(
        coarse("bore", 9.0), "straight", "crosswind from below"
    )
    other = with_body(bore, "long-floor")
    still, today = setupopt.evaluate(other), setupopt.evaluate(bore)
    driven = replace(
        as_driven(other, proposal),
        today=bore,
        between=still,
        start_result=today,
    )  # no dips between
    found = trade_off(driven)
    assert np.isnan(found.today.margin[0]) and np.isnan(
        found.proposed.margin[0]
    )
    assert np.isfinite(found.today.margin[-1]) and np.isfinite(
        found.proposed.margin[-1]
    )
    check_curve(bore, bore.setup, found.factors, *_curve(found, "today"))
    check_curve(other, other.setup, found.factors, *_curve(found, "proposed"))
