"""The worst build in a box of errors, and how large a box a setup stands."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.physics.inputs import Floats, Records
from setupopt.robust.builds.build_variation import BuildErrors
from setupopt.robust.screening import LOST, suspects

# What each error is tried at; the first wins where it makes no difference.
_LEVELS = np.array([0.0, -1.0, 1.0])
# Difference in margin that is worth an error; trims are exact to far less.
_NOTICE = 1e-8
# Cases whose own worst errors are tried together, how many of those are then exchanged one by one, and how
# many changes of an error are solved at a time.
_MOST_CASES = 24
_MOST_STARTS = 4


_MOST_TRIED = 4
# Boxes looked at first, by scale; what lies between the last that holds and the first that falls is halved.
SCALES = (1.0, 2.0, 3.5, 6.0, 10.0)
# How close a scale is found, as a share, in at most so many boxes; a box is no nearer to the ends than so much
# of the way between them.
_CLOSE = 0.005
_MOST_STEPS = 8
_AWAY = 0.03
# What errors together cost over the sum of what they cost alone, at most.
_CURVED = 1.5


class Cost(NamedTuple):
    """What one error alone takes from the margin of a case; infinite where it alone loses contact."""

    name: str
    error: float
    loss: float


@dataclass(frozen=True)
class WorstBuild:
    """The build with the lowest worst margin that was found in the box.

    `errors` by name are -1, 0 or 1; `case` is the row of its worst case. `costs`: each error that this
    build has, alone in that case, the costliest first; none where contact is lost without any error.
    """

    margin: float  # minus infinity where contact is lost
    errors: dict[str, float]
    case: int
    costs: tuple[Cost, ...]


def _moves(errors: Floats) -> Floats:
    """One error after another at every level, the others as they are: (names x levels, names)."""
    own = np.eye(errors.size, dtype=bool)[:, None, :]
    return np.where(own, _LEVELS[:, None], errors).reshape(-1, errors.size)


@dataclass(frozen=True, eq=False)
class WorstMargin:
    """Worst margins of many builds: slopes say which cases may be the worst, and the model solves these.

    `starts`, `without_errors` (cases): answers of the setup without errors, and its margins, as `Result.ranked`.
    """

    build: BuildErrors
    cases: CaseSet
    starts: Records
    without_errors: Floats

    @classmethod
    def of(
        cls, build: BuildErrors, cases: CaseSet, starts: Records | None = None
    ) -> WorstMargin:
        """The setup without errors solved, from `starts` if they are known."""
        found = build.result(np.zeros(len(build.names)), cases, starts=starts)
        return cls(build, cases, found.answers[0], found.ranked[0])

    @property
    def exact(self) -> Floats:
        """No errors."""
        return np.zeros(len(self.build.names))

    @cached_property
    def alone(self) -> Floats:
        """What every error alone changes, by slope, (names, _LEVELS, cases)."""
        moved = self.by_slope(_moves(self.exact))
        each = moved.reshape(self.exact.size, _LEVELS.size, -1)
        return each - each[:, :1]

    def pick(self, rows: np.ndarray) -> WorstMargin:
        """The same in some of the cases."""
        return WorstMargin(
            self.build,
            self.cases.pick(rows),
            self.starts[rows],
            self.without_errors[rows],
        )

    def lowest(self, scale: float) -> np.ndarray:
        """Rows that may hold the worst margin of any build in a box `scale` times as large.

        As if what the errors cost alone added up, and half as much again.
        """
        loss = -self.alone.min(axis=1).sum(axis=0)
        lower = self.without_errors - _CURVED * scale * loss
        return np.flatnonzero(lower <= self.without_errors.min())

    def likely(self, errors: Floats) -> np.ndarray:
        """Rows that may hold the worst margin of one of some builds, as if what errors do alone added up."""
        shares = np.stack([np.maximum(-errors, 0.0), np.maximum(errors, 0.0)])
        near = self.without_errors + np.einsum(
            "sbn,nsc->bc", shares, self.alone[:, 1:], optimize=True
        )
        return np.flatnonzero(suspects(near, self.without_errors).any(axis=0))

    def by_slope(self, errors: Floats, starts: Records | None = None) -> Floats:
        """Margins of builds (builds, cases), as `Result.ranked`, by the slopes of a build nearby."""
        nearby = self.starts if starts is None else starts
        return self.build.result(
            errors, self.cases, starts=nearby, by_slope=True
        ).ranked

    def __call__(self, errors: Floats) -> Floats:
        """Worst margins (builds), as `Result.ranked`."""
        rows = np.atleast_2d(errors)
        builds, number = np.unique(rows, axis=0, return_inverse=True)
        near = self.by_slope(builds)
        pairs = zip(builds, suspects(near, self.without_errors), strict=True)
        solved = np.array([self._solved(*pair) for pair in pairs])
        return solved[number.ravel()]

    def _solved(self, errors: Floats, rows: np.ndarray) -> float:
        """Worst margin of one build in some of the cases."""
        found = self.build.result(
            errors,
            self.cases.pick(np.flatnonzero(rows)),
            starts=self.starts[rows],
        )
        return float(found.ranked.min())

    # ---- coordinate exchange in the box --------------------------------------------------------------------

    def lowest_build(self, known: Floats) -> tuple[Floats, float]:
        """The worst errors that are found, and their margin. `known` (builds, names) are tried as well."""
        corners, low = self.corners()
        near = self.pick(low)
        tried = np.vstack([self.exact, corners, known])
        reached = near(tried)
        first = np.argsort(reached, kind="stable")[:_MOST_STARTS]
        seen: set[bytes] = set()
        ends = np.array(
            [near._exchange(tried[i], reached[i], seen) for i in first]
        )
        worst = self(ends)
        return ends[worst.argmin()], float(worst.min())

    def corners(self) -> tuple[Floats, np.ndarray]:
        """The worst level of every error alone, for each of the cases that are lowest if losses add up; and
        these cases.
        """
        loss = -self.alone
        loss[loss < _NOTICE] = 0.0
        added = self.without_errors - loss.max(axis=1).sum(axis=0)
        low = np.argsort(added, kind="stable")[:_MOST_CASES]
        return np.unique(_LEVELS[loss.argmax(axis=1)[:, low]].T, axis=0), low

    def _exchange(
        self, errors: Floats, worst: float, seen: set[bytes]
    ) -> Floats:
        """Change one error at a time, the one that lowers most, until none does or contact is lost.

        Slopes choose the few changes that the model solves. From a build that was `seen` before, the way on is
        known.
        """
        while worst > -0.5 * LOST and errors.tobytes() not in seen:
            seen.add(errors.tobytes())
            moves = _moves(errors)
            moves = moves[(moves != errors).any(axis=1)]
            here = self.build.result(
                errors, self.cases, starts=self.starts
            ).answers[0]
            guessed = self.by_slope(moves, here).min(axis=1)
            tried = moves[np.argsort(guessed, kind="stable")[:_MOST_TRIED]]
            reached = self(tried)
            best = int(reached.argmin())
            if reached[best] >= worst - _NOTICE:
                break
            errors = tried[best]
            worst = float(reached[best])
        return errors


def candidate_corners(build: BuildErrors, cases: CaseSet) -> Floats:
    """Builds that may be the worst, (builds, names), each error -1, 0 or 1.

    For each of the cases that fall lowest if losses add up, the levels that it likes least of every error
    alone, all together.
    """
    return WorstMargin.of(build, cases).corners()[0]


def worst_build(build: BuildErrors, cases: CaseSet) -> WorstBuild:
    """Search the box for the build with the lowest worst margin.

    Looked at are builds whose errors are each -1, 0 or 1: first, for each of the cases that may become the
    worst, the level that it likes least of every error alone, all together; then, from the lowest of these,
    one error at a time goes to another level until none lowers the worst margin of those cases further.
    0 is among the levels because a margin can be least inside, as for a ride height near the peak of the
    ground effect. The margin told is the worst of all cases. A search, no proof: nobody can ask 3^n builds.
    """
    start = WorstMargin.of(build, cases)
    errors, _ = start.lowest_build(np.empty((0, len(build.names))))
    found = build.result(errors, cases)
    case = int(found.worst[0])
    costs = _costs(build, errors, cases.pick([case]))
    return WorstBuild(
        float(found.worst_margin[0]),
        dict(zip(build.names, errors.tolist(), strict=True)),
        case,
        costs,
    )


def _costs(
    build: BuildErrors, errors: Floats, case: CaseSet
) -> tuple[Cost, ...]:
    """Each of the errors alone in one case, the costliest first."""
    alone = np.diag(errors)[errors != 0.0]
    exact, *margins = build.result(
        np.vstack([np.zeros_like(errors), alone]), case
    ).worst_margin.tolist()
    if not np.isfinite(exact):
        return ()
    named = zip(np.flatnonzero(errors), margins, strict=True)
    costs = [
        Cost(build.names[i], float(errors[i]), exact - margin)
        for i, margin in named
    ]
    return tuple(sorted(costs, key=lambda cost: -cost.loss))


def stands(
    build: BuildErrors,
    cases: CaseSet,
    floor: float,
    worst: WorstBuild | None = None,
) -> float:
    """How many times the box of errors the setup stands before its worst margin falls under `floor`.

    0 where it is under the floor without any error; no more than the last of SCALES, which means: at least
    so many times. Boxes nest, so that a box holds only where every smaller one did. So the largest is searched
    first; where it holds, its worst build and `worst`, that of the box itself, are tried in every smaller
    one. Else the worst build is searched anew in every box, from small to large, and all that were found
    before are tried in it too.
    """
    exact = np.zeros(len(build.names))
    known: list[Floats] = [exact]
    whole = WorstMargin.of(build, cases)
    if whole.without_errors.min() < floor:
        return 0.0
    if worst is not None:
        known.append(np.array(list(worst.errors.values())))

    def spare(scale: float, is_searched: bool = True) -> float:
        box = replace(build, scale=scale * build.scale)
        rows = whole.lowest(scale)
        inside = replace(whole.pick(rows), build=box)
        found = float(inside(np.array(known)).min())
        if found >= floor and is_searched:
            errors, found = inside.lowest_build(np.array(known))
            known.append(errors)
        return found - floor

    *smaller, largest = SCALES
    if spare(largest) >= 0.0 and all(spare(s, False) >= 0.0 for s in smaller):
        return largest
    low = 0.0
    left = float(whole.without_errors.min()) - floor
    for high in SCALES:
        over = spare(high)
        if over < 0.0:
            return _between(spare, (low, left), (high, over))
        low = high
        left = over
    return low


def _between(
    spare: Callable[[float], float],
    low: tuple[float, float],
    high: tuple[float, float],
) -> float:
    """The largest scale that holds, between one that does and one that does not, each with its spare margin.

    Where the line between both crosses zero, or in the middle where contact is lost; the end that stays counts
    half from its second time on (the Illinois method).
    """
    last = 0
    for _ in range(_MOST_STEPS):
        (inside, left), (outside, over) = low, high
        if outside - inside < _CLOSE * outside:
            break
        share = 0.5 if over < -1.0 else left / (left - over)
        middle = inside + min(max(share, _AWAY), 1.0 - _AWAY) * (
            outside - inside
        )
        found = spare(middle)
        side = 1 if found >= 0.0 else -1
        if side > 0:
            low = (middle, found)
            high = (outside, 0.5 * over if last == side else over)
        else:
            high = (middle, found)
            low = (inside, 0.5 * left if last == side else left)
        last = side
    return low[0]
