"""The best margin against how much must be stood."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from setupopt.project.model import Setup
from setupopt.search.relaxation import Progress, RelaxedOptimum
from setupopt.search.required import required_optimum
from setupopt.search.requirement import BROKEN
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.stood_setup import StoodSetup, not_stood, stood_by

# What is asked of the front: times what `[require]` says.
TIMES = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
_HALVINGS = 3
# Where the last of these is stood, twice as much is tried, up to more than so many times
_MOST_TIMES = 64.0


@dataclass(frozen=True)
class FrontPoint:
    """The best margin where `times` what is asked must be stood, parts of any value; and whether it is."""

    times: float
    margin: float
    is_stood: bool
    setup: Setup


@dataclass(frozen=True)
class Required:
    """What had to be stood, `times` as much as `[require]` says, and how three setups stand it.

    `steady`: the best without it, parts of any value. `front`: the best margin by how much must be stood.
    """

    times: float
    today: StoodSetup
    steady: StoodSetup
    proposed: StoodSetup
    front: tuple[FrontPoint, ...]


def front(
    root: RelaxedOptimum,
    least: float,
    times: Sequence[float],
    progress: Progress,
) -> list[FrontPoint]:
    """The best margins of a body by how much must be stood, from little to much, each from the one before.

    It ends beyond the first that is under `least` or cannot be stood.
    """
    found = []
    reached = root
    for share in times:
        progress(f"margin where {share:g} times as much is stood")
        if share > 0.0:
            reached = required_optimum(
                replace(root, best=reached.best),
                share,
                least,
                progress,
                quick=True,
            )
        point = reached.best.outcome.point
        is_stood = reached.best.outcome.limits.min(initial=0.0) >= -BROKEN
        margin = float(reached.best.outcome.values.min())
        found.append(
            FrontPoint(
                share,
                margin,
                bool(is_stood),
                root.problem.setup(point, f"{share:g} times"),
            )
        )
        if not is_stood or margin < least:
            break
    return found


def most_times(
    root: RelaxedOptimum,
    points: list[FrontPoint],
    least: float,
    progress: Progress,
) -> tuple[float, list[FrontPoint]]:
    """How many times what is asked can be stood with a margin of `least`, between or beyond points of the
    front.

    Returns the points with those that were tried.
    """
    points = list(points)

    def is_good(point: FrontPoint) -> bool:
        is_kept = point.is_stood and point.margin >= least
        return is_kept and rides_agree(root.problem, point, least)

    def tried(times: float) -> FrontPoint:
        (found,) = front(root, least, (times,), progress)
        points.append(found)
        return found

    low = points[0]
    high = points[-1]
    for point in reversed(points):
        if is_good(point):
            low = point
            break
        high = point
    while high is low and 0.0 < low.times < _MOST_TIMES:
        high = tried(2.0 * low.times)
        low = high if is_good(high) else low
    for _ in range(_HALVINGS if high.times > low.times else 0):
        middle = tried(0.5 * (low.times + high.times))
        if is_good(middle):
            low = middle
        else:
            high = middle
    return low.times, sorted(points, key=lambda p: p.times)


def rides_agree(problem: SetupProblem, point: FrontPoint, least: float) -> bool:
    """Whether rides at the worst places stand what the linear answer says is stood."""
    if point.times == 0.0:
        return True
    stood = stood_by(problem, point.setup, point.times)
    return not not_stood(stood, point.times, least)
