"""A shorter list of changes: without those that are not worth the work."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.search.engine.batch import merit
from setupopt.search.engine.exchange import ExchangeOptions
from setupopt.search.engine.index_points import IndexPoints, restricted
from setupopt.search.engine.maxmin import TrustRegionOptions, maximise_worst
from setupopt.search.engine.subbox import Subbox
from setupopt.search.parts.discrete_choice import Choice
from setupopt.search.parts.part_space import is_part
from setupopt.search.proposal import (
    Dropped,
)
from setupopt.search.relaxation import CLOSE, TIGHT, Progress
from setupopt.search.rounding import settable
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver
from setupopt.search.worth import PLATEAU_LOSS, is_same, value_in

# A quick search of the rest, to see what a change is worth.
_QUICK = TrustRegionOptions(
    most_steps=6, least_gain=1e-4, least_rise=1e-3, first_radius=0.1
)


_THOROUGH = TrustRegionOptions(most_steps=25, least_gain=1e-5, least_rise=1e-3)


_ROUNDS = ExchangeOptions(
    value_tolerance=1e-4, constraint_tolerance=1e-4, most_rounds=5
)


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
            [is_same(v, self.today, proposed) for v in self.full.variables],
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
        Dropped(v, value_in(v, work.today), value_in(v, proposed)) for v in gone
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
