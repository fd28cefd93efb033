"""What a proposal trades: worst margin over the two settings that matter most, and against speed.

Margins are those of the exact car at the roll angles of the sweep, where the proposal stands worst between
them, and where today's setup does; dips elsewhere between two angles are left out.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.evaluation.variables import Variable
from setupopt.physics.inputs import Floats, Records
from setupopt.project.model import AXLES, Project, Setup
from setupopt.project.settings import SETTINGS
from setupopt.search.engine.index_points import IndexPoints
from setupopt.search.proposal import Proposal
from setupopt.search.setup_problem import SetupProblem

# How much a setting matters is told by a change of this share of its range.
SHARE = 0.05
# Even lines of the map across each range; setups solved at a time: their answers must fit in memory.
_LINES, _AT_ONCE = 33, 64
_FACTORS = np.linspace(0.7, 1.3, 25)
# Limits broken by less, over their scales, are kept: the search holds them to about this.
_NOTICE = 1e-6
# Contact lost counts as worse than any margin, by this.
_LOST = 1e6
# Attitudes that mirror each other differ by less, in digits of margin: the first of them is told.
_TIE = 6
# Lines closer than this share of a range are one.
_SAME = 1e-6


@dataclass(frozen=True)
class MapAxis:
    """One setting of the map: its `values` (lines), ascending over its range, `proposed` among them; SI.

    `today` may lie outside the range. `cost`: worst margin that a change of `SHARE` of the range costs, the
    dearer way; infinite where it costs contact, not a number where the proposal itself has none.
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
        return np.asarray(self.room >= -_NOTICE)

    @property
    def broken(self) -> tuple[str, ...]:
        """Limits that are the most broken one somewhere, those of the largest areas first."""
        counts = np.bincount(self.nearest[~self.is_kept], minlength=len(self.limits))
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

    `factors` (speeds) multiply the speeds of the sweep and of every attitude alike; `speeds` (speeds) is what
    they make of the sweep's, m/s. `today` is today's setup in its own body.
    """

    map: MarginMap | None
    factors: Floats
    speeds: Floats
    today: SpeedCurve
    proposed: SpeedCurve


def trade_off(proposal: Proposal) -> TradeOff:
    """Map and speed curves of a proposal, every point solved: about a second on two cores."""
    still, today = _problem(proposal, ()), proposal.today
    places = _places(proposal, still)
    cases = still.cases(places)
    return TradeOff(
        _map(proposal, places), _FACTORS, _FACTORS * proposal.project.venue.sweep.speed,
        _against_speed(today, today.setup, cases), _against_speed(proposal.project, proposal.setup, cases),
    )  # fmt: skip


def _problem(proposal: Proposal, free: Collection[Variable]) -> SetupProblem:
    """The proposed setup, of which only the variables `free` vary."""
    assert proposal.project.limits is not None  # nothing is proposed without them
    kept = {f"{axle}.{s.key}" for axle in AXLES for s in SETTINGS} - {v.name for v in free}
    at_proposal = replace(proposal.project, setup=proposal.setup)
    return SetupProblem(at_proposal, proposal.project.limits, proposal.goal, kept)


def _places(proposal: Proposal, problem: SetupProblem) -> IndexPoints:
    """The whole sweep, and what is known to be worst between its angles."""
    start = proposal.start_result

    def at(cases: CaseSet) -> IndexPoints:
        families = np.array([proposal.goal.names.index(name) for name in cases.attitude], dtype=int)
        return IndexPoints(families, cases.at)

    return problem.index.places().join(at(proposal.between.cases)).join(at(start.cases.pick(start.worst)))


# ---- the map -----------------------------------------------------------------------------------------------


def _map(proposal: Proposal, places: IndexPoints) -> MarginMap | None:
    """All points of the map, some setups at a time."""
    axes = _axes(proposal, places)
    if len(axes) < 2:
        return None
    x, y = axes
    problem = _problem(proposal, [x.variable, y.variable])
    points = np.stack(np.meshgrid(*(_share(a.variable, a.values) for a in axes)), axis=-1).reshape(-1, 2)
    chunks = [points[first : first + _AT_ONCE] for first in range(0, len(points), _AT_ONCE)]
    told = zip(*(_told(problem, chunk, places) for chunk in chunks), strict=True)
    shape = y.values.size, x.values.size
    margin, contact, room, nearest = (np.concatenate(pieces).reshape(shape) for pieces in told)
    floors = tuple(f'floor of "{name}"' for name in problem.goal.names)
    limits = tuple(limit.name for limit in problem.packaging.limits) + floors
    return MarginMap(x, y, margin, contact, room, nearest, limits)


def _told(
    problem: SetupProblem, points: Floats, places: IndexPoints
) -> tuple[Floats, np.ndarray, Floats, np.ndarray]:
    """Worst margin, contact, room and the nearest limit of points (points, 2); (points) each."""
    answers = problem.answers(points, places)
    limits, contact = problem.limit_rows(points, places, answers), answers["contact"]
    counts = (limits.case < 0) | contact[:, limits.case]  # the numbers of a lost case are no answers
    rows = np.column_stack([np.where(counts, limits.rows, np.inf), np.full(len(points), np.inf)])
    least = rows.argmin(axis=1)
    nearest = np.append(limits.owner, -1)[least]
    return answers["margin"].min(axis=1), contact.all(axis=1), rows.min(axis=1), nearest


def _axes(proposal: Proposal, places: IndexPoints) -> tuple[MapAxis, ...]:
    """The two dearest variables in the order of the files, or all where there are fewer."""
    variables = proposal.free
    costs = _costs(proposal, variables, places)
    dearest = sorted(np.argsort(-costs, kind="stable")[:2])
    return tuple(_axis(proposal, variables[j], float(costs[j])) for j in dearest)


def _axis(proposal: Proposal, variable: Variable, cost: float) -> MapAxis:
    """Even lines over the range and one through the proposal, which may lie beyond it where it was kept."""
    proposed, today = _value(variable, proposal.setup), _value(variable, proposal.project.setup)
    even = np.linspace(variable.range.lower, variable.range.upper, _LINES)
    others = even[np.abs(even - proposed) > _SAME * variable.width]
    values = np.sort(np.append(others, proposed))
    told = np.nan if not np.isfinite(proposal.margin) else np.inf if cost > 0.5 * _LOST else cost
    return MapAxis(variable, values, proposed, today, told)


def _costs(proposal: Proposal, variables: tuple[Variable, ...], places: IndexPoints) -> Floats:
    """Worst margin that a change of `SHARE` of each range costs, the dearer way, (variables)."""
    at = np.array([_share(v, _value(v, proposal.setup)) for v in variables])
    steps = SHARE * np.concatenate([np.zeros((1, at.size)), np.eye(at.size), -np.eye(at.size)])
    points = at + steps
    worst = _scores(_problem(proposal, variables).answers(points, places)).min(axis=1)
    beyond = ((points < np.minimum(at, 0.0) - _SAME) | (points > np.maximum(at, 1.0) + _SAME)).any(axis=1)
    lost = np.where(beyond, -np.inf, worst[0] - worst)[1:]
    return np.asarray(lost.reshape(2, -1).max(axis=0))


def _scores(answers: Records) -> Floats:
    """Margins; of a lost case how far contact is, under every margin."""
    return np.where(answers["contact"], answers["margin"], answers["search_margin"] - _LOST)


def _value(variable: Variable, setup: Setup) -> float:
    """What a setup has there, SI."""
    return float(getattr(getattr(setup, variable.axle), variable.setting.field))


def _share(variable: Variable, value: Floats | float) -> Floats:
    """Values in SI as shares of the range; beyond 0 and 1 outside it."""
    return np.asarray((value - variable.range.lower) / variable.width)


# ---- against speed -----------------------------------------------------------------------------------------


def _against_speed(project: Project, setup: Setup, cases: CaseSet) -> SpeedCurve:
    """The setup in all cases at all speeds, in one batch."""
    model, count = Model(project.car), _FACTORS.size
    records = np.tile(cases.records, count)
    records["speed"] *= np.repeat(_FACTORS, len(cases))
    every = CaseSet(records, cases.attitude * count, np.empty(0), ())
    answers = model.run(model.settings(setup), every).answers.reshape(count, len(cases))
    worst = np.round(_scores(answers), _TIE).argmin(axis=1)
    return SpeedCurve(answers["margin"].min(axis=1), tuple(cases.attitude[row] for row in worst))
