"""What each change of a proposal is worth, how far each setting may go, and a shorter list of changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.limits_check import broken
from setupopt.evaluation.model import evaluate
from setupopt.evaluation.pack import by_wheel
from setupopt.evaluation.variables import Slot, Variable, slots, with_value
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project, Setup
from setupopt.project.settings import STATION, WING
from setupopt.search.engine.batch import BatchFunction, merit
from setupopt.search.engine.exchange import ExchangeOptions
from setupopt.search.engine.index_points import IndexPoints, restricted
from setupopt.search.engine.maxmin import TrustRegionOptions, maximise_worst
from setupopt.search.engine.subbox import Subbox
from setupopt.search.objective import Objective
from setupopt.search.parts.discrete_choice import Choice
from setupopt.search.parts.part_space import is_part
from setupopt.search.proposal import (
    Change,
    Dropped,
    Plateau,
    weighted_worst_margins,
)
from setupopt.search.relaxation import CLOSE, TIGHT, Progress
from setupopt.search.rounding import settable
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver

# Weighted worst margin that a plateau may lose.
PLATEAU_LOSS = 0.005
# Values closer than this share of the larger one are one: the conversion of units leaves noise.
_SAME = 1e-9
# A limit broken by less, over its scale, is kept.
_ROOM = 1e-6
# Ends of plateaus are checked at every so many-th angle, and searched again so often.
_THINNED = 3
_MOST_ROUNDS = 5
# A range without steps is searched in so many.
_LINES = 65
# A quick search of the rest, to see what a change is worth.
_QUICK = TrustRegionOptions(
    most_steps=6, least_gain=1e-4, least_rise=1e-3, first_radius=0.1
)
_THOROUGH = TrustRegionOptions(most_steps=25, least_gain=1e-5, least_rise=1e-3)
_ROUNDS = ExchangeOptions(
    value_tolerance=1e-4, constraint_tolerance=1e-4, most_rounds=5
)


# ---- each change alone -------------------------------------------------------------------------------------


def changes(
    project: Project,
    today: Setup,
    proposed: Setup,
    objective: Objective,
    cases: CaseSet,
) -> tuple[Change, ...]:
    """Every setting that differs from today's setup, with what leaving it alone would cost, the most first.

    The proposed setup is evaluated with this one setting as today, all others as proposed. `project` has the
    body of the proposed setup.
    """
    differing = [
        slot
        for slot in slots([today, proposed])
        if _is_change(slot, today, proposed)
    ]
    if not differing:
        return ()
    alone = [
        with_value(proposed, slot, _value(slot, today)) for slot in differing
    ]
    result = evaluate(project, [proposed, *alone], cases)
    worst = weighted_worst_margins(objective, result)
    found = []
    for row, (slot, setup) in enumerate(zip(differing, alone, strict=True), 1):
        limits = broken(project, setup, result, row)
        names = tuple(
            dict.fromkeys(f"{one.limit} {one.where}".strip() for one in limits)
        )
        found.append(Change(slot, float(worst[0] - worst[row]), names))
    return tuple(sorted(found, key=lambda one: (not one.broken, -one.loss)))


def _is_change(slot: Slot, today: Setup, proposed: Setup) -> bool:
    """Whether a setting differs; what only one body has is no setting of the other."""
    values = (_value(slot, today), _value(slot, proposed))
    lacks = slot.setting in (WING, STATION) and bool(np.isnan(values).any())
    return not lacks and not _is_same(slot, today, proposed)


def _value(slot: Slot, setup: Setup) -> float:
    return float(slot.of(by_wheel(setup))[0])


def _is_same(slot: Slot, one: Setup, other: Setup) -> bool:
    values = (_value(slot, one), _value(slot, other))
    return bool(np.isclose(*values, rtol=_SAME, atol=0.0, equal_nan=True))


# ---- plateaus ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Side:
    """The values of one variable on one side of a point, nearest first, in the unit box."""

    variable: int
    values: Floats

    def at(self, point: Floats, number: int) -> Floats:
        """The point with the variable at value `number`; -1 for the point itself."""
        moved = point.copy()
        if number >= 0:
            moved[self.variable] = self.values[number]
        return moved


def plateaus(
    problem: SetupProblem, point: Floats, index_points: IndexPoints
) -> tuple[Plateau, ...]:
    """How far each setting alone may go either way for a loss of 0.005, in steps that can be set.

    A side ends where the weighted worst margin is lower by more than the loss, or a limit is broken; values
    beyond the first one found that fails are not looked at. Cases of a thinned sweep that are worse at an end
    than the index points known are added, and the sides are searched again.
    """
    sides = [
        _Side(j, values[order])
        for j, variable in enumerate(problem.variables)
        for values, order in _either_way(variable, float(point[j]))
    ]
    if not sides:
        return ()
    grid = problem.index.grid
    sparse = replace(
        problem.index, grid=np.unique(np.append(grid[::_THINNED], grid[-1]))
    ).grid_points()
    for _ in range(_MOST_ROUNDS):
        numbers = _ends(restricted(problem, index_points), sides, point)
        ends = np.stack(
            [side.at(point, n) for side, n in zip(sides, numbers, strict=True)]
        )
        here = problem(point[None, :], index_points)
        least = float(here.values.min()) - PLATEAU_LOSS
        seen = problem(np.append(ends, point[None, :], axis=0), sparse)
        fails = (seen.values < least).any(axis=0)
        worse = seen.value_index[fails]
        broken_rows = (
            seen.limits < np.minimum(seen.limits[-1], 0.0) - _ROOM
        ).any(axis=0)
        worse = np.unique(
            np.append(
                worse, seen.limit_index[broken_rows & (seen.limit_index >= 0)]
            )
        )
        more = index_points.join(sparse.pick(worse.astype(int)))
        if len(more) == len(index_points):
            break
        index_points = more
    values = [
        float(end[side.variable]) for end, side in zip(ends, sides, strict=True)
    ]
    return tuple(
        Plateau(
            variable,
            *(variable.range.lower + variable.width * value for value in pair),
        )
        for variable, pair in zip(
            problem.variables,
            zip(values[::2], values[1::2], strict=True),
            strict=True,
        )
    )


def _ends(
    function: BatchFunction, sides: Sequence[_Side], point: Floats
) -> list[int]:
    """The number of the last value of every side that passes; all sides are halved together."""
    here = function(point[None, :])
    least = float(here.values.min()) - PLATEAU_LOSS
    good = np.full(len(sides), -1)
    bad = np.array([side.values.size for side in sides])
    while (bad - good > 1).any():
        left = np.flatnonzero(bad - good > 1)
        middle = (good[left] + bad[left]) // 2
        points = np.stack(
            [
                sides[int(i)].at(point, int(n))
                for i, n in zip(left, middle, strict=True)
            ]
        )
        tried = function(points)
        passes = tried.values.min(axis=1) >= least
        passes &= (tried.limits >= np.minimum(here.limits, 0.0) - _ROOM).all(
            axis=1
        )
        good[left[passes]] = middle[passes]
        bad[left[~passes]] = middle[~passes]
    return [int(n) for n in good]


def _either_way(
    variable: Variable, at: float
) -> list[tuple[Floats, np.ndarray]]:
    """Values below and above, and the order from the nearest on."""
    grid = variable.grid()
    values = np.linspace(0.0, 1.0, _LINES) if grid is None else grid
    below = values[values < at - _SAME]
    above = values[values > at + _SAME]
    return [(below, np.argsort(-below)), (above, np.argsort(above))]


# ---- a shorter list ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Searched:
    """The best with some settings as today: merit over the whole index, and every variable's value."""

    merit: float
    whole: Floats
    index_points: IndexPoints


class _Shortening:
    """A stepwise choice of the changes to leave out; masks (variables) say which settings stay as today."""

    def __init__(self, choice: Choice) -> None:
        self.full = choice.solver.problem
        self.robust = choice.solver.robust
        self.wanted = choice.point
        self.today = self.full.project.setup
        proposed = self.full.setup(choice.point, "")
        self.unchanged = np.array(
            [_is_same(v, self.today, proposed) for v in self.full.variables],
            dtype=bool,
        )
        self.kept = self.unchanged
        self.now = _Searched(choice.merit, choice.point, choice.index_points)
        self.now = self.searched(self.kept, self.now.whole)
        self.best = self.now.merit

    def problem(self, kept: np.ndarray) -> SetupProblem:
        """The problem with these settings as today."""
        names = [
            v.name
            for v, is_kept in zip(self.full.variables, kept, strict=True)
            if is_kept
        ]
        return replace(
            self.full,
            fixed_settings=self.full.fixed_settings | frozenset(names),
        )

    def bounds(self, kept: np.ndarray, whole: Floats) -> tuple[Floats, Floats]:
        """Of the variables left: parts stay as they are, for a search could put them between two pieces."""
        left = [
            (v, at)
            for v, at, is_kept in zip(
                self.full.variables, whole, kept, strict=True
            )
            if not is_kept
        ]
        low = np.array([at if is_part(v) else 0.0 for v, at in left])
        high = np.array([at if is_part(v) else 1.0 for v, at in left])
        return low, high

    def quick(self, kept: np.ndarray, whole: Floats) -> float:
        """The merit with these settings as today, the others searched at the index points known."""
        problem = self.problem(kept)
        point = whole[~kept]
        box = Subbox(*self.bounds(kept, whole))
        if box.free.size == 0:
            found = problem(point[None, :], self.now.index_points)
            return float(merit(found.values, found.limits)[0])
        function = restricted(
            box.inside(Solver(problem, self.robust)), self.now.index_points
        )
        return maximise_worst(function, box.nearest(point), _QUICK).merit

    def searched(self, kept: np.ndarray, whole: Floats) -> _Searched:
        """The same over the whole index."""
        problem = self.problem(kept)
        solver = Solver(problem, self.robust, _THOROUGH)
        end = solver.solve(
            self.bounds(kept, whole),
            whole[~kept],
            self.now.index_points,
            _ROUNDS,
        )
        self.full = replace(self.full, builds=solver.problem.builds)
        after = whole.copy()
        after[~kept] = end.outcome.point
        return _Searched(end.merit, after, end.index_points)

    def shorten(self, least: float, progress: Progress) -> None:
        """Drop what is worth less than `least`, then take back what is worth more, until neither is left."""
        for _ in range(self.kept.size):
            progress(f"{int((~self.kept).sum())} changes left")
            if not self._drop_some(least) and not self._take_one_back(least):
                return

    def _drop_some(self, least: float) -> bool:
        """Drop the cheapest changes, as many as cost less than one may together. Whether any was dropped."""
        left = np.flatnonzero(~self.kept)
        losses = np.array(
            [
                self.now.merit - self.quick(self._with(int(j)), self.now.whole)
                for j in left
            ]
        )
        order = left[np.argsort(losses, kind="stable")]
        total = np.cumsum(np.sort(np.maximum(losses, 0.0)))
        count = int((total < least).sum())
        while count:
            kept = self._with(*order[:count].tolist())
            found = self.searched(kept, self.now.whole)
            small = self.best - found.merit <= max(least, PLATEAU_LOSS)
            if small and self.now.merit - found.merit < least:
                self.kept = kept
                self.now = found
                return True
            count //= 2
        return False

    def _take_one_back(self, least: float) -> bool:
        """Take back the change that brings most by now, if it is worth it. Whether there was one."""
        best = self.now
        best_kept = self.kept
        for j in np.flatnonzero(self.kept & ~self.unchanged):
            kept = self.kept.copy()
            kept[j] = False
            whole = self.now.whole.copy()
            whole[j] = self.wanted[j]
            if self.quick(kept, whole) - self.now.merit >= least:
                found = self.searched(kept, whole)
                if (
                    found.merit - self.now.merit >= least
                    and found.merit > best.merit
                ):
                    best = found
                    best_kept = kept
        taken = best is not self.now
        self.now = best
        self.kept = best_kept
        return taken

    def _with(self, *more: int) -> np.ndarray:
        """The mask with more settings as today."""
        kept = self.kept.copy()
        kept[list(more)] = True
        return kept


def without_small_changes(
    choice: Choice, least: float, progress: Progress
) -> tuple[Choice, tuple[Dropped, ...]]:
    """The choice without the changes that are worth less than `least`, and what was dropped.

    Stepwise elimination: of the changes left, those go whose loss is least after the others are searched
    again; one whose loss becomes larger as others go is taken back. All that go lose at most 0.005 together,
    or `least` where that is more: many small losses must not add up to a large one. Parts that change stay
    the chosen ones until the end, where single and double steps of them are tried.
    """
    work = _Shortening(choice)
    proposed = work.full.setup(choice.point, "")
    work.shorten(least, progress)
    left_out = np.flatnonzero(work.kept & ~work.unchanged)
    if left_out.size == 0:
        return choice, ()
    gone = [work.full.variables[j] for j in left_out]
    return _settled(choice, work), tuple(
        Dropped(v, _value(v, work.today), _value(v, proposed)) for v in gone
    )


def _settled(choice: Choice, work: _Shortening) -> Choice:
    """The changes that are left, solved accurately and brought to steps."""
    problem = work.problem(work.kept)
    solver = Solver(problem, work.robust, TIGHT)
    bounds = work.bounds(work.kept, work.now.whole)
    end = solver.solve(
        bounds, work.now.whole[~work.kept], work.now.index_points, CLOSE
    )
    end = solver.verified(bounds, end, CLOSE)
    point, reached, index_points = settable(
        solver, end.outcome.point, end.index_points, CLOSE
    )
    return replace(
        choice,
        solver=solver,
        end=end,
        point=point,
        merit=reached,
        index_points=index_points,
    )
