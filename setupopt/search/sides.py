"""What freeing the two sides of the car from each other brings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import reduce

from setupopt.evaluation.setup_record import by_wheel
from setupopt.evaluation.variables import Slot, from_setup
from setupopt.project.limits_model import Limits
from setupopt.project.model import SIDES, AxleLimits, Range, Setup, WheelLimits
from setupopt.search.engine.exchange import ExchangeOptions, ExchangeResult
from setupopt.search.engine.maxmin import TrustRegionOptions
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver

# Ride heights of a side alone would leave the plane of the other three corners, or roll the car on the pad.
_FREED = tuple(name for name in WheelLimits.__slots__ if name != "ride_height")
_QUICK = TrustRegionOptions(most_steps=40, least_gain=2e-5, least_rise=1e-3)
_ROUNDS = ExchangeOptions(
    value_tolerance=1e-4, constraint_tolerance=1e-4, most_rounds=6
)
# A setting moved by less of its range did not move.
_MOVED = 0.01
_MOST = 4


@dataclass(frozen=True)
class Sides:
    """What settings of the two sides of their own bring, as weighted worst margins.

    With parts and steps of any value. `alike`: both sides of every wheel setting alike; `apart`: each on its
    own. `are_free`: whether limits.toml frees any. `moved`: the settings of one wheel that differ most
    between the two, with their values in SI with sides alike and apart, the furthest first.
    """

    alike: float
    apart: float
    are_free: bool
    moved: tuple[tuple[Slot, float, float], ...]

    @property
    def gain(self) -> float:
        """What sides apart bring."""
        return self.apart - self.alike


def are_free(limits: Limits) -> bool:
    """Whether the limits free any side from the other."""
    return any(
        axle.left is not None or axle.right is not None
        for axle in (limits.front, limits.rear)
    )


def alike(limits: Limits) -> Limits:
    """The limits with both sides of every wheel setting alike, where both may be."""
    return replace(limits, front=_alike(limits.front), rear=_alike(limits.rear))


def apart(limits: Limits) -> Limits:
    """The limits with the two sides of every wheel setting free from each other, but for ride heights."""
    return replace(limits, front=_apart(limits.front), rear=_apart(limits.rear))


def _alike(axle: AxleLimits) -> AxleLimits:
    both = {}
    for name in WheelLimits.__slots__:
        whole: Range | None = getattr(axle, name)
        own = [
            getattr(getattr(axle, side), name, None) or whole for side in SIDES
        ]
        both[name] = _common(own[0], own[1])
    return replace(axle, left=None, right=None, **both)


def _common(left: Range | None, right: Range | None) -> Range | None:
    """What both ranges allow; None where nothing."""
    if left is None or right is None or left == right:
        return left if right is not None else None
    lower = max(left.lower, right.lower)
    upper = min(left.upper, right.upper)
    lists = [
        set(one.choices) for one in (left, right) if one.choices is not None
    ]
    choices = None
    if lists:
        shared = reduce(set.intersection, lists)
        choices = (
            tuple(sorted(value for value in shared if lower <= value <= upper))
            or None
        )
        if choices is None:
            return None
        lower = choices[0]
        upper = choices[-1]
    return Range(lower, upper, left.step, choices) if lower <= upper else None


def _apart(axle: AxleLimits) -> AxleLimits:
    return replace(
        axle, left=_own(axle, axle.left), right=_own(axle, axle.right)
    )


def _own(axle: AxleLimits, side: WheelLimits | None) -> WheelLimits:
    """The ranges of one side: its own, or those of the axle."""
    own = side or WheelLimits()
    ranges = {
        name: getattr(own, name) or getattr(axle, name) for name in _FREED
    }
    return WheelLimits(**ranges, ride_height=own.ride_height)


def with_limits(problem: SetupProblem, limits: Limits) -> SetupProblem:
    """The problem with other limits, all else the same."""
    return replace(problem, project=replace(problem.project, limits=limits))


@dataclass(frozen=True)
class Alike:
    """The best with sides alike: its merit and its setup."""

    merit: float
    setup: Setup


def best_alike(problem: SetupProblem) -> Alike | None:
    """The best with sides alike, by a local search from today's setup; None where no side is free."""
    if not are_free(problem.limits):
        return None
    even = with_limits(problem, alike(problem.limits))
    point = even.start
    if point.size == 0:
        return None
    solver = Solver(even, trust_region=_QUICK)
    end = solver.solve(solver.box, point, None, _ROUNDS)
    return Alike(end.merit, even.setup(end.outcome.point, ""))


def what_sides_bring(
    problem: SetupProblem, best: ExchangeResult, even: Alike | None
) -> Sides | None:
    """The best of a problem against the best with sides alike, or apart where its limits tie them.

    None where no setting of a wheel is free. Where the sides are tied, one local search from the best with
    the sides free, so that it finds no less. Build errors count for neither.
    """
    if even is not None:
        found = problem.setup(best.outcome.point, "")
        return Sides(
            even.merit,
            max(best.merit, even.merit),
            True,
            _moved(problem, even.setup, found),
        )
    if are_free(problem.limits):
        return None
    freed = with_limits(problem, apart(problem.limits))
    if len(freed.variables) == len(problem.variables):
        return None
    start = problem.setup(best.outcome.point, "")
    solver = Solver(freed, trust_region=_QUICK)
    end = solver.solve(
        solver.box,
        from_setup(freed.variables, start),
        best.index_points,
        _ROUNDS,
    )
    if end.merit <= best.merit:
        return Sides(best.merit, best.merit, False, ())
    return Sides(
        best.merit,
        end.merit,
        False,
        _moved(freed, start, freed.setup(end.outcome.point, "")),
    )


def _moved(
    problem: SetupProblem, even: Setup, found: Setup
) -> tuple[tuple[Slot, float, float], ...]:
    """The settings of single wheels that differ most between two setups, by shares of their ranges."""
    own = [
        variable
        for variable in problem.variables
        if "." in variable.where and variable.setting.per == "wheel"
    ]
    rows = [by_wheel(setup) for setup in (even, found)]
    pairs = [(v, float(v.of(rows[0])[0]), float(v.of(rows[1])[0])) for v in own]
    far = [
        pair
        for pair in pairs
        if abs(pair[2] - pair[1]) > _MOVED * pair[0].width
    ]
    far.sort(key=lambda pair: -abs(pair[2] - pair[1]) / pair[0].width)
    return tuple(far[:_MOST])
