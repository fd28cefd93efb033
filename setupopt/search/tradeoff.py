"""The trade-offs of a proposal: worst margin over the two settings that matter most, and against speed.

Margins are those of the exact car at the roll angles of the sweep, at the worst angles of the proposal
between them, and at the worst angle of today's setup. Local minima elsewhere between two angles are left out.
The map solves every case at a few of its points only. Its other points solve the cases that are near the
worst, or near a limit, at any of these.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.model import evaluate
from setupopt.evaluation.setup_record import by_wheel
from setupopt.evaluation.variables import Variable
from setupopt.physics.inputs import Floats, Records
from setupopt.project.model import Project, Setup
from setupopt.search.engine.index_points import IndexPoints
from setupopt.search.proposal import ComparedSetup
from setupopt.search.setup_problem import SetupProblem

# How much a setting matters is measured by a change of this share of its range.
SHARE = 0.05
# Even lines of the map across each range.
_LINES = 17
# Even lines of the points at which every case is solved.
_FEW_LINES = 4
# A case can be the worst of the map where its margin is so little above the worst one of such a point.
_NEAR = 0.05
# It can break a limit first where its room is so little above the least one of such a point, over its scale.
_NEAR_LIMIT = 0.1
# Setups solved at a time: their answers must fit in memory.
_AT_ONCE = 64
_FACTORS = np.linspace(0.7, 1.3, 13)
# A limit broken by less, over its scale, is kept: the search satisfies limits to about this.
_TOLERANCE = 1e-6
# Contact lost counts as worse than any margin, by this.
_LOST = 1e6
# Attitudes that mirror each other differ by less, in digits of margin: the first of them is the worst.
_TIE_DIGITS = 6
# Lines closer than this share of a range are one.
_SAME = 1e-6


@dataclass(frozen=True)
class MapAxis:
    """One setting of the map: its `values` (lines), ascending over its range, `proposed` among them; SI.

    `today` may be outside the range. `cost`: worst margin that a change of `SHARE` of the range costs, the
    more costly way; infinite where it costs contact, not a number where the proposal itself has none.
    """

    variable: Variable
    values: Floats
    proposed: float
    today: float
    cost: float


@dataclass(frozen=True)
class MarginMap:
    """Worst margin over two settings, all others as proposed; every field is (values of y, values of x).

    `margin`: not a number where a case has no `contact`. `room`: what is left to the nearest limit, over the
    limit's scale, in the cases with contact; `nearest`: which of `limits` that is, -1 for none.
    """

    x: MapAxis
    y: MapAxis
    margin: Floats
    contact: np.ndarray
    room: Floats
    nearest: np.ndarray
    limits: tuple[str, ...]

    @property
    def is_kept(self) -> np.ndarray:
        """Whether every limit is kept."""
        return np.asarray(self.room >= -_TOLERANCE)

    @property
    def broken(self) -> tuple[str, ...]:
        """Limits that are the most broken one somewhere, those of the largest areas first."""
        counts = np.bincount(
            self.nearest[~self.is_kept], minlength=len(self.limits)
        )
        order = np.argsort(-counts, kind="stable")
        return tuple(self.limits[i] for i in order if counts[i] > 0)


@dataclass(frozen=True)
class SpeedCurve:
    """Worst margin (speeds), not a number where contact is lost, and the attitude that is worst (speeds)."""

    margin: Floats
    attitude: tuple[str, ...]


@dataclass(frozen=True)
class TradeOff:
    """The map, None where fewer than two settings may change; and margin against speed.

    `factors` (speeds) multiply the speeds of the sweep and of every attitude alike; `speeds` (speeds) are
    those of the sweep, m/s. `today` is today's setup with its own body.
    """

    map: MarginMap | None
    factors: Floats
    speeds: Floats
    today: SpeedCurve
    proposed: SpeedCurve


def trade_off(proposal: ComparedSetup) -> TradeOff:
    """Map and speed curves of a setup, some ten thousand cases: seconds on two cores."""
    fixed = _problem(proposal, ())
    index_points = _index_points(proposal, fixed)
    cases = fixed.cases(index_points)
    return TradeOff(
        map=_map(proposal, index_points),
        factors=_FACTORS,
        speeds=_FACTORS * proposal.project.venue.sweep.speed,
        today=_against_speed(proposal.today, proposal.today.setup, cases),
        proposed=_against_speed(proposal.project, proposal.setup, cases),
    )


def _problem(
    proposal: ComparedSetup, free: Collection[Variable]
) -> SetupProblem:
    """The proposed setup, of which only the variables `free` may change."""
    problem = SetupProblem(
        replace(proposal.project, setup=proposal.setup), proposal.objective
    )
    fixed = {variable.name for variable in problem.variables} - {
        variable.name for variable in free
    }
    return replace(problem, fixed_settings=frozenset(fixed))


def _index_points(
    proposal: ComparedSetup, problem: SetupProblem
) -> IndexPoints:
    """The whole sweep, and the known worst cases between its angles."""
    start = proposal.start_result
    found = problem.index.grid_points()
    for cases in (proposal.between.cases, start.cases.pick(start.worst)):
        found = found.join(
            IndexPoints(proposal.objective.numbers(cases.attitude), cases.at)
        )
    return found


# ---- the map -----------------------------------------------------------------------------------------------


def _map(
    proposal: ComparedSetup, index_points: IndexPoints
) -> MarginMap | None:
    """All points of the map, some setups at a time."""
    axes = _axes(proposal, index_points)
    if len(axes) < 2:
        return None
    x, y = axes
    problem = _problem(proposal, [x.variable, y.variable])
    grid = np.meshgrid(*(_share(axis.variable, axis.values) for axis in axes))
    points = np.stack(grid, axis=-1).reshape(-1, 2)
    near = _near_worst(problem, index_points)
    chunks = [
        points[first : first + _AT_ONCE]
        for first in range(0, len(points), _AT_ONCE)
    ]
    fields = zip(
        *(_map_fields(problem, chunk, near) for chunk in chunks), strict=True
    )
    shape = (y.values.size, x.values.size)
    margin, contact, room, nearest = (
        np.concatenate(pieces).reshape(shape) for pieces in fields
    )
    return MarginMap(
        x,
        y,
        margin,
        contact,
        room,
        nearest,
        problem.limit_names,
    )


def _map_fields(
    problem: SetupProblem, points: Floats, index_points: IndexPoints
) -> tuple[Floats, np.ndarray, Floats, np.ndarray]:
    """Worst margin, contact, room and the nearest limit of points (points, 2); (points) each."""
    answers = problem.answers(points, index_points)
    limits = problem.limit_rows(points, index_points, answers)
    contact = answers["contact"]
    is_packaging = limits.owner < len(problem.packaging.limits)
    counts = np.where(
        is_packaging,
        is_judged(answers)[:, limits.case],
        contact[:, limits.case],
    )
    valid = (limits.case < 0) | counts
    spare = np.where(valid, limits.rows, np.inf)
    rows = np.column_stack([spare, np.full(len(points), np.inf)])
    nearest = np.append(limits.owner, -1)[rows.argmin(axis=1)]
    return (
        answers["margin"].min(axis=1),
        contact.all(axis=1),
        rows.min(axis=1),
        nearest,
    )


def _near_worst(
    problem: SetupProblem, index_points: IndexPoints
) -> IndexPoints:
    """The cases that can be the worst of a map, or break one of its limits first."""
    line = np.linspace(0.0, 1.0, _FEW_LINES)
    points = np.append(
        np.stack(np.meshgrid(line, line), axis=-1).reshape(-1, 2),
        [problem.start],
        axis=0,
    )
    answers = problem.answers(points, index_points)
    near = _are_near(answers)
    limits = problem.limit_rows(points, index_points, answers)
    for owner in np.unique(limits.owner[limits.case >= 0]):
        own = (limits.owner == owner) & (limits.case >= 0)
        room = limits.rows[:, own]
        tight = (
            room
            <= np.maximum(room.min(axis=1, keepdims=True), 0.0) + _NEAR_LIMIT
        )
        tight &= room.min(axis=1, keepdims=True) < _NEAR_LIMIT
        near[limits.case[own][tight.any(axis=0)]] = True
    return index_points.pick(np.flatnonzero(near))


def _are_near(answers: Records) -> np.ndarray:
    """Which cases slide or lose contact in any row of answers, or are near the worst other one, (cases)."""
    scores = _scores(answers)
    held = np.where(scores < 0.0, np.inf, scores)
    near = (scores < 0.0) | (held <= held.min(axis=1, keepdims=True) + _NEAR)
    return np.asarray(near.any(axis=0))


def _axes(proposal: ComparedSetup, index_points: IndexPoints) -> list[MapAxis]:
    """The two most costly variables in the order of the files, or all where there are fewer."""
    costs = _costs(proposal, index_points)
    most = sorted(np.argsort(-costs, kind="stable")[:2])
    return [_axis(proposal, proposal.free[j], float(costs[j])) for j in most]


def _axis(proposal: ComparedSetup, variable: Variable, cost: float) -> MapAxis:
    """Even lines over the range, and one through the proposal, which may be outside where it was kept."""
    proposed = _value(variable, proposal.setup)
    even = np.linspace(variable.range.lower, variable.range.upper, _LINES)
    others = even[np.abs(even - proposed) > _SAME * variable.width]
    if cost > 0.5 * _LOST:
        cost = np.inf
    if not np.isfinite(proposal.margin):
        cost = np.nan
    values = np.sort(np.append(others, proposed))
    return MapAxis(
        variable,
        values,
        proposed,
        _value(variable, proposal.project.setup),
        cost,
    )


def _costs(proposal: ComparedSetup, index_points: IndexPoints) -> Floats:
    """Worst margin that a change of `SHARE` of each range costs, the more costly way, (variables)."""
    free: Sequence[Variable] = proposal.free
    at = np.array(
        [
            _share(variable, _value(variable, proposal.setup))
            for variable in free
        ]
    )
    one = np.eye(at.size)
    points = at + SHARE * np.concatenate([np.zeros((1, at.size)), one, -one])
    problem = _problem(proposal, free)
    near = index_points.pick(
        np.flatnonzero(_are_near(problem.answers(points[:1], index_points)))
    )
    worst = _scores(problem.answers(points, near)).min(axis=1)
    low = np.minimum(at, 0.0) - _SAME
    high = np.maximum(at, 1.0) + _SAME
    outside = ((points < low) | (points > high)).any(axis=1)
    lost = np.where(outside, -np.inf, worst[0] - worst)[1:]
    return np.asarray(lost.reshape(2, -1).max(axis=0))


def _scores(answers: Records) -> Floats:
    """Margins; of a lost case how far it is from contact, below every margin."""
    return np.where(
        answers["contact"], answers["margin"], answers["search_margin"] - _LOST
    )


def _value(variable: Variable, setup: Setup) -> float:
    """The value of a variable in a setup, SI."""
    return float(variable.of(by_wheel(setup))[0])


def _share(variable: Variable, value: Floats | float) -> Floats:
    """Values in SI as shares of the range; below 0 or above 1 outside it."""
    return np.asarray((value - variable.range.lower) / variable.width)


# ---- against speed -----------------------------------------------------------------------------------------


def _against_speed(
    project: Project, setup: Setup, cases: CaseSet
) -> SpeedCurve:
    """The setup at all speeds, in the cases that slide or are near the worst at three of them."""
    few = _FACTORS[[0, _FACTORS.size // 2, -1]]
    near = cases.pick(
        np.flatnonzero(_are_near(_at_speeds(project, setup, cases, few)))
    )
    answers = _at_speeds(project, setup, near, _FACTORS)
    worst = np.round(_scores(answers), _TIE_DIGITS).argmin(axis=1)
    return SpeedCurve(
        answers["margin"].min(axis=1),
        tuple(near.attitude[row] for row in worst),
    )


def _at_speeds(
    project: Project, setup: Setup, cases: CaseSet, factors: Floats
) -> Records:
    """Answers (factors, cases), in one batch."""
    count = factors.size
    records = np.tile(cases.records, count)
    records["speed"] *= np.repeat(factors, len(cases))
    every = CaseSet(
        records,
        cases.attitude * count,
        np.empty(0),
        (),
    )
    return evaluate(project, setup, every).answers.reshape(count, len(cases))
