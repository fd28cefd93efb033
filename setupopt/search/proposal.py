"""A proposal with its evidence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.result import Field, Result
from setupopt.evaluation.variables import Variable
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project, Setup
from setupopt.search.global_bounds import Sensitivity
from setupopt.search.objective import Goal
from setupopt.search.parts.branch_and_bound import BranchAndBoundResult
from setupopt.search.shadow_prices import ShadowPrice

# Cases this close to the worst margin are told to the user as those that bind.
_CLOSE = 0.003


@dataclass(frozen=True)
class Evidence:
    """How good the proposal is, as merits: worst margins as they count.

    `continuous`: with parts and steps of any value; `with_parts`: with parts from the shelf; `bound`: what no
    setup can be worth more than, as far as climbs tell. `searched`: what an independent search found by
    itself, over the whole index, and `climbed`: where a climb from there ended.
    """

    ends_of_starts: tuple[float, ...]  # best first
    searched: float
    climbed: float
    searched_points: int
    bound: float
    continuous: float
    with_parts: float
    parts: BranchAndBoundResult | None  # None where there was nothing to choose
    steps: int
    evaluations: int  # cases solved
    seconds: float

    @property
    def spread_of_starts(self) -> float:
        """Best minus worst end of the starts."""
        return self.ends_of_starts[0] - self.ends_of_starts[-1]


@dataclass(frozen=True)
class Robustness:
    """What reckoning with build errors costs and brings, at the continuous optima; and the proposed setup's.

    Worst margins of all attitudes, whatever they count; minus infinity where contact is lost. `margin`: of
    the exact car; `built`: of the worst build that a search of corners finds. `cloud_least`: the least of
    `cloud_count` builds spread over the box round the proposed setup.
    """

    exact_margin: float  # of the setup that is best without build errors
    exact_built: float
    robust_margin: float
    robust_built: float
    margin: float  # of the proposed setup
    built: float
    worst_errors: dict[str, float]
    cloud_least: float
    cloud_count: int

    @property
    def price(self) -> float:
        """Margin of the exact car that is given up."""
        return self.exact_margin - self.robust_margin

    @property
    def gain(self) -> float:
        """What the worst build gains for it."""
        return self.robust_built - self.exact_built


@dataclass(frozen=True)
class ActiveCase:
    """A case that holds the margin down; `weight`: its share in doing so, all of them one."""

    fields: Field
    weight: float


@dataclass(frozen=True)
class Alternative:
    """A clearly different setup that loses little: its worst margin, and that as it counts.

    `differs`: the setting that differs most, by its name.
    """

    setup: Setup
    margin: float
    counted: float
    differs: str


@dataclass(frozen=True)
class Proposal:
    """A proposed setup. `project` wears its body, `today` that of today; `free`: settings that could change.

    Results are of the dense sweep and of what lies between its angles.
    """

    project: Project
    today: Project
    setup: Setup
    free: tuple[Variable, ...]
    goal: Goal
    result: Result  # of the proposed setup on the dense sweep
    between: Result  # of it where it stands worst between those angles
    start_result: Result  # of today's setup on the dense sweep
    counted: float  # worst margin as it counts
    start_counted: float
    broken: tuple[Broken, ...]  # limits that the proposed setup breaks
    floors_broken: tuple[str, ...]  # attitudes whose own floor is not kept
    bindings: tuple[ActiveCase, ...]  # worst first
    prices: tuple[ShadowPrice, ...]
    gains: tuple[Sensitivity, ...]
    alternatives: tuple[Alternative, ...]
    robustness: Robustness | None
    evidence: Evidence

    @property
    def margin(self) -> float:
        """Worst margin of all attitudes, between the angles too; minus infinity where contact is lost."""
        return float(min(self.result.worst_margin[0], self.between.worst_margin[0]))

    @property
    def start_margin(self) -> float:
        """The same of today's setup, on the dense sweep."""
        return float(self.start_result.worst_margin[0])

    @property
    def worst(self) -> Field:
        """The worst case; one between the angles has no number."""
        if self.between.worst_margin[0] < self.result.worst_margin[0]:
            return {**self.between.fields(int(self.between.worst[0])), "case": None}
        return self.result.fields(int(self.result.worst[0]))

    @property
    def holds(self) -> bool:
        """Whether every case has a trim, and every limit and every attitude's floor is kept."""
        return bool(np.isfinite(self.margin)) and not self.broken and not self.floors_broken

    def by_attitude(self) -> list[tuple[str, float, float, float]]:
        """Name, worst margin, weight and floor of every attitude, in the order of the venue."""
        worst = worst_by_attitude(self.result, self.between)
        asked = self.goal.weights.tolist(), self.goal.floors.tolist()
        return list(zip(self.goal.names, worst.tolist(), *asked, strict=True))


def worst_by_attitude(result: Result, between: Result) -> Floats:
    """Worst margin of every attitude of a sweep and of what lies between; minus infinity if lost."""
    names = result.cases.attitudes
    worst = _held(result).reshape(len(names), -1).min(axis=1)
    places = np.array([names.index(name) for name in between.cases.attitude], dtype=int)
    np.minimum.at(worst, places, _held(between))
    return worst


def _held(result: Result) -> Floats:
    """Margins of the first setup, (cases); minus infinity where contact is lost."""
    return np.where(result.contact[0], result.margin[0], -np.inf)


def bindings_of(
    between: Result, goal: Goal, weights: dict[tuple[str, float], float]
) -> tuple[ActiveCase, ...]:
    """Cases within a whisker of the worst, as they count, among the dips of a setup, with their weights."""
    attitude = np.array([goal.names.index(name) for name in between.cases.attitude], dtype=int)
    counted = np.where(goal.weights[attitude] > 0.0, goal.counts(attitude, _held(between)), np.inf)
    near = [row for row in np.argsort(counted, kind="stable") if counted[row] <= counted.min() + _CLOSE]
    rows = list({_place(between, int(row)): int(row) for row in reversed(near)}.values())[::-1]
    shares = _shares(between, rows, weights)
    return tuple(ActiveCase(_told(between, row), share) for row, share in zip(rows, shares, strict=True))


def _place(between: Result, row: int) -> tuple[str, float]:
    """Attitude and where it stands; a dip of the margin and one of a limit may be the same place."""
    return between.cases.attitude[row], round(float(between.cases.at[row]), 9)


def _told(between: Result, row: int) -> Field:
    fields = between.fields(row)
    kept = ("roll_angle_deg", "along_mm", "attitude", "margin", "first_axle")
    return {name: fields[name] for name in kept if name in fields}


def _shares(between: Result, rows: list[int], weights: dict[tuple[str, float], float]) -> list[float]:
    """Every weight goes to the nearest of the rows with its attitude."""
    shares, cases = np.zeros(len(rows)), between.cases
    for (attitude, at), weight in weights.items():
        near = [i for i, row in enumerate(rows) if cases.attitude[row] == attitude]
        if near:
            away = [abs(cases.at[rows[i]] - at) for i in near]
            shares[near[int(np.argmin(away))]] += weight
    return [float(share) for share in shares]
