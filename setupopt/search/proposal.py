"""A proposal with its evidence, and the options of the search for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.result import Field, Result, html_table
from setupopt.evaluation.variables import Slot, Variable, slots
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project, Setup
from setupopt.search.global_bounds import Sensitivity
from setupopt.search.handling import handling_broken
from setupopt.search.objective import Objective
from setupopt.search.parts.branch_and_bound import BranchAndBoundResult
from setupopt.search.required_front import Required
from setupopt.search.shadow_prices import ShadowPrice
from setupopt.search.sides import Sides

# Cases this close to the worst weighted margin are active.
_CLOSE = 0.003
# A minimum margin missed by less is reached: the search satisfies limits to about this.
_TOLERANCE = 1e-6
# What the user sees of an active case.
_SHOWN = (
    "roll_angle_deg",
    "along_mm",
    "attitude",
    "margin",
    "sideslip_deg",
    "steer_deg",
    "first_axle",
)


# What a search can raise.
MARGIN, DISTURBANCE = "margin", "disturbance"


@dataclass(frozen=True)
class ProposalOptions:
    """Options of `propose`.

    `starts`: setups from which every body is searched, the first of them today's; `seed`: of the others.
    `weights`: by attitude, without unit, 1 unless given; weight 0 leaves an attitude out. `minimum_margins`:
    by attitude, without unit; such an attitude has weight 0 unless given. `keep`: settings that stay as they
    are, "front.camber_deg", or "camber_deg" for both axles, or "body". `robust`: raise the worst margin of
    the worst build within the tolerance of limits.toml. `loss`: worst margin that alternatives may lose; 0
    for no alternatives. `study`: an Optuna storage URL that keeps the choice of parts; None: a file in the
    user's cache until the work is done. `rear_reserve`: in the cases whose margin is at most 0.1 above the
    worst one, the front axle must use at least so much more of its grip than the rear one, without unit.
    `most_growth`: in every case with a trim at full friction, the most growth rate, 1/s. None: no such limit.
    `min_gain`: weighted worst margin that a change must be worth; changes worth less are left out.
    `raised`: MARGIN, or DISTURBANCE: how much of what `[require]` of limits.toml names is stood, as far as
    the worst margin stays at `least_margin`, which builds and inputs that must be stood keep, too.
    """

    starts: int = 4
    seed: int = 0
    weights: Mapping[str, float] | None = None
    minimum_margins: Mapping[str, float] | None = None
    keep: Sequence[str] = ()
    robust: bool = False
    loss: float = 0.01
    study: str | None = None
    rear_reserve: float | None = None
    most_growth: float | None = None
    min_gain: float = 0.0
    raised: str = MARGIN
    least_margin: float = 0.0


@dataclass(frozen=True)
class Change:
    """A setting that the proposal changes. `loss`: weighted worst margin that leaving it alone would cost.

    All other settings as proposed; infinite where contact would be lost. `broken`: the limits that it would
    break.
    """

    slot: Slot
    loss: float
    broken: tuple[str, ...]


@dataclass(frozen=True)
class Dropped:
    """A change that is worth less than asked and was left out; SI. `wanted`: its value before that."""

    slot: Slot
    today: float
    wanted: float


@dataclass(frozen=True)
class Plateau:
    """How far a setting alone may go for a small loss, all others as proposed; SI."""

    slot: Slot
    lower: float
    upper: float


@dataclass(frozen=True)
class Evidence:
    """How good the proposal is, as merits: weighted worst margins.

    `continuous`: with parts and steps of any value; `with_parts`: with parts from the shelf; `bound`: the
    merit that no setup exceeds, as far as local searches find. `searched`: the end of an independent search,
    over the whole index, and `searched_end`: the end of a local search from there.
    """

    ends_of_starts: tuple[float, ...]  # best first
    searched: float
    searched_end: float
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
    """What a robust search costs and brings, at the continuous optima; and the proposed setup's margins.

    Worst margins of all attitudes, without weights; minus infinity where contact is lost. `margin`: of the
    exact car; `built`: of the worst build that a search of corners finds. `cloud_least`: the least of
    `cloud_count` builds spread over the tolerance of the proposed setup.
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
    """A case that limits the margin; `weight`: its share in this, 1 for all of them together."""

    fields: Field
    weight: float


@dataclass(frozen=True)
class Alternative:
    """A clearly different setup that loses little: its worst margin, and its weighted worst margin.

    `differs`: the name of the setting that differs most.
    """

    setup: Setup
    margin: float
    weighted_margin: float
    differs: str


@dataclass(frozen=True)
class CheckedSetup:
    """A setup, checked. This judges whether a proposal passes.

    `project` has the body of the setup. `result`: of the dense sweep; `between`: of the worst roll angles
    between those of that sweep. `broken`: limits that the setup breaks. `missed_minimums`: attitudes under
    their own minimum margin.
    """

    project: Project
    setup: Setup
    objective: Objective
    result: Result
    between: Result
    broken: tuple[Broken, ...]
    missed_minimums: tuple[str, ...]

    @property
    def margin(self) -> float:
        """Worst margin of all attitudes, between the angles too; minus infinity where contact is lost."""
        return float(
            min(self.result.worst_margin[0], self.between.worst_margin[0])
        )

    @property
    def worst(self) -> Field:
        """The worst case; one between the angles has no number."""
        if self.between.worst_margin[0] < self.result.worst_margin[0]:
            return {
                **self.between.fields(int(self.between.worst[0])),
                "case": None,
            }
        return self.result.fields(int(self.result.worst[0]))

    @property
    def holds(self) -> bool:
        """Whether contact is kept in every case, and every limit and minimum margin is satisfied."""
        return (
            bool(np.isfinite(self.margin))
            and not self.broken
            and not self.missed_minimums
        )

    def by_attitude(self) -> list[tuple[str, float, float, float]]:
        """Name, worst margin, weight and minimum margin of every attitude, in the order of the venue."""
        o = self.objective
        worst = _by_attitude(o, self.result, self.between)
        return list(
            zip(
                o.names,
                worst.tolist(),
                o.weights.tolist(),
                o.minimum_margins.tolist(),
                strict=True,
            )
        )


@dataclass(frozen=True)
class ComparedSetup(CheckedSetup):
    """A setup beside today's. `today`: the project with today's body; `free`: settings that could change."""

    today: Project
    free: tuple[Variable, ...]
    start_result: Result  # of today's setup


@dataclass(frozen=True)
class Proposal(ComparedSetup):
    """A proposed setup; today's is solved on the dense sweep, too."""

    weighted_margin: float  # weighted worst margin
    start_weighted_margin: float
    active_cases: tuple[ActiveCase, ...]  # worst first
    prices: tuple[ShadowPrice, ...]
    gains: tuple[Sensitivity, ...]
    alternatives: tuple[Alternative, ...]
    robustness: Robustness | None
    evidence: Evidence
    changes: tuple[Change, ...] = ()  # the most costly to leave alone first
    plateaus: tuple[Plateau, ...] = ()
    dropped: tuple[Dropped, ...] = ()
    # Weighted worst margin that leaving them out costs
    dropped_loss: float = 0.0
    sides: Sides | None = None  # None where no wheel setting is free
    required: Required | None = None  # None where limits.toml requires nothing

    def _repr_html_(self) -> str:
        """For notebooks: every setting, today's and the proposed value in the units of the files."""
        setups = {"today": self.today.setup, "proposed": self.setup}
        rows: list[Field] = [
            {"setting": slot.name, "unit": slot.setting.unit}
            | {role: slot.value(setup) for role, setup in setups.items()}
            for slot in slots(list(setups.values()))
        ]
        margins = {"today": self.start_margin, "proposed": self.margin}
        return html_table(
            [*rows, {"setting": "worst margin", "unit": ""} | margins]
        )

    @property
    def start_margin(self) -> float:
        """The worst margin of today's setup, on the dense sweep."""
        return float(self.start_result.worst_margin[0])


def checked(
    project: Project,
    setup: Setup,
    objective: Objective,
    result: Result,
    between: Result,
) -> CheckedSetup:
    """A setup with its result on the dense sweep and between its angles, checked against all limits."""
    limits: dict[tuple[str, str], Broken] = {}
    for one in (
        *broken(project, setup, result),
        *broken(project, setup, between),
    ):
        limits.setdefault((one.limit, one.where), one)
    handling = handling_broken(objective, (result, between))
    worst = _by_attitude(objective, result, between)
    missed = np.flatnonzero(worst < objective.minimum_margins - _TOLERANCE)
    names = tuple(objective.names[i] for i in missed)
    return CheckedSetup(
        project,
        setup,
        objective,
        result,
        between,
        (*limits.values(), *handling),
        names,
    )


def _by_attitude(objective: Objective, *results: Result) -> Floats:
    """Worst margin of every attitude over all results, (attitudes); minus infinity where contact is lost."""
    worst = np.full(len(objective.names), np.inf)
    for result in results:
        np.minimum.at(
            worst,
            objective.numbers(result.cases.attitude),
            result.safe_margin[0],
        )
    return worst


def weighted_worst_margin(objective: Objective, result: Result) -> float:
    """Weighted worst margin of the first setup; minus infinity where contact is lost."""
    return float(weighted_worst_margins(objective, result)[0])


def weighted_worst_margins(objective: Objective, result: Result) -> Floats:
    """Weighted worst margin of every setup, (setups); minus infinity where contact is lost."""
    attitude = objective.numbers(result.cases.attitude)
    raised = objective.weights[attitude] > 0.0
    return objective.weighted(
        attitude[raised], result.safe_margin[:, raised]
    ).min(axis=1)


def _weighted(objective: Objective, result: Result) -> Floats:
    """Weighted margins of the first setup, (cases); infinite where the attitude has no weight."""
    attitude = objective.numbers(result.cases.attitude)
    raised = objective.weights[attitude] > 0.0
    weighted = np.full(attitude.size, np.inf)
    weighted[raised] = objective.weighted(
        attitude[raised], result.safe_margin[0][raised]
    )
    return weighted


# Multipliers of index points, by attitude and where they are.
PointWeights = Mapping[tuple[str, float], float]


def active_cases(
    between: Result, objective: Objective, weights: PointWeights
) -> tuple[ActiveCase, ...]:
    """The cases within 0.003 of the worst weighted margin, among the worst ones of a setup.

    Every weight goes to the nearest of these cases with its attitude.
    """
    weighted = _weighted(objective, between)
    order = np.argsort(weighted, kind="stable")
    near = order[weighted[order] <= weighted.min() + _CLOSE]
    # The minimum of a margin and that of a limit may be the same case: it counts once.
    cases = between.cases
    first = {
        (cases.attitude[row], round(float(cases.at[row]), 9)): int(row)
        for row in near[::-1]
    }
    rows = list(first.values())[::-1]
    shares = dict.fromkeys(rows, 0.0)
    for (attitude, at), weight in weights.items():
        same = [row for row in rows if cases.attitude[row] == attitude]
        if same:
            shares[min(same, key=lambda row: abs(cases.at[row] - at))] += weight
    return tuple(
        ActiveCase(_shown(between, row), share) for row, share in shares.items()
    )


def _shown(between: Result, row: int) -> Field:
    fields = between.fields(row)
    return {name: fields[name] for name in _SHOWN if name in fields}
