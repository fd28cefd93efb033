"""The car's model with slip once more, as plain as it can be written: the outside check of the package.

Sections 11 to 14 of the model, one case at a time, in scalar Python. It shares no code with the package and
takes what a TOML reader returns, in file units; inside all is SI and radians. Nothing here is written for speed.

How a margin is found: a trim at a large friction is led to the case from the pad, then followed down the
friction by its arc length up to the fold, or to the friction at which contact is lost.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import hypot

import numpy as np
from plain_car import GRAVITY, Table
from plain_slip_car import SlipCar, SlipCase, read_slip_car, read_slip_case, stand_of
from plain_slip_forces import (
    BETA,
    KAPPA,
    RISE,
    SIDE,
    STEER,
    UNKNOWNS,
    Scene,
    missing,
    posture,
    way_of,
)

SOLVED = 1e-10  # largest row
MOST_SIDESLIP = 0.5  # rad
MOST_FRICTION = 4.0  # factor up to which a trim is looked for
SMALL = 1e-3  # the solver counts in mm, mrad, thousandths of slip
FRICTION_UNIT = 1e-2  # and in hundredths of the friction
IN_AIR = 0.01  # of a quarter of the weight


@dataclass(frozen=True)
class Problem:
    """A case's trim as a root to be found."""

    car: SlipCar
    case: SlipCase

    @property
    def units(self) -> np.ndarray:
        """What the solver counts in."""
        units = np.full(UNKNOWNS, SMALL)
        units[SIDE:] = 0.01 * self.car.mass * GRAVITY
        return units

    def missing(self, x: np.ndarray, friction: float) -> np.ndarray:
        """Rows at x, which is in the solver's units."""
        return missing(self.car, self.case, x * self.units, friction)

    def slopes(self, x: np.ndarray, friction: float, rows: np.ndarray | None = None) -> np.ndarray:
        """d rows / d x, by differences."""
        step = 1e-4
        columns = []
        for i in range(UNKNOWNS):
            shift = np.zeros(UNKNOWNS)
            shift[i] = step
            if rows is None:
                ahead, behind = self.missing(x + shift, friction), self.missing(x - shift, friction)
                columns.append((ahead - behind) / (2 * step))
            else:
                columns.append((self.missing(x + shift, friction) - rows) / step)
        return np.array(columns).T

    def friction_slope(self, x: np.ndarray, friction: float) -> np.ndarray:
        """d rows / d (friction in its unit)."""
        step = 1e-4 * FRICTION_UNIT
        ahead, behind = self.missing(x, friction + step), self.missing(x, friction - step)
        return (ahead - behind) / 2e-4

    def scene(self, x: np.ndarray, friction: float) -> Scene:
        state = posture(x * self.units)
        return Scene(
            self.car,
            stand_of(self.car, self.case, state.beta),
            way_of(self.case, state.beta),
            state,
            friction,
        )

    def settle(self, start: np.ndarray, friction: float, steps: int = 25) -> np.ndarray | None:
        """Newton's method with halved steps; None where it finds nothing, or nothing that counts."""
        x = np.array(start, dtype=float)
        rows = self.missing(x, friction)
        for _ in range(steps):
            error = float(np.abs(rows).max())
            if error < SOLVED:
                return x if abs(x[BETA] * SMALL) < MOST_SIDESLIP else None
            step = np.linalg.lstsq(self.slopes(x, friction, rows), -rows)[0]
            largest = float(np.abs(step).max())
            share = min(1.0, 60.0 / largest)
            while share > 1e-3:
                ahead = x + share * step
                found = self.missing(ahead, friction)
                if np.linalg.norm(found) < (1 - 0.1 * share) * np.linalg.norm(rows):
                    break
                share /= 2
            else:
                return None
            x, rows = ahead, found
        return None

    def holds(self, x: np.ndarray, friction: float) -> bool:
        """Every push on the body is answered: leading minors of its stiffness, all else eliminated."""
        slopes = self.slopes(x, friction)
        body = stiffness_of(slopes, [0, 1, 2], [4, 5, 6])
        return all(np.linalg.det(body[:n, :n]) > 0 for n in (1, 2, 3))


def stiffness_of(slopes: np.ndarray, unknowns: list[int], rows: list[int]) -> np.ndarray:
    """Minus the slopes of some rows over some unknowns, the other rows kept at zero."""
    other_rows = [i for i in range(UNKNOWNS) if i not in rows]
    other = [i for i in range(UNKNOWNS) if i not in unknowns]
    followed = np.linalg.solve(slopes[np.ix_(other_rows, other)], slopes[np.ix_(other_rows, unknowns)])
    return -(slopes[np.ix_(rows, unknowns)] - slopes[np.ix_(rows, other)] @ followed)


# --- following a trim down the friction -----------------------------------------------------------


@dataclass(frozen=True)
class Branch:
    """A trim followed down the friction from `start_friction` to its least, `least`."""

    start_friction: float
    least: float
    end: np.ndarray  # unknowns at the least friction, in the solver's units
    at_full: np.ndarray | None  # unknowns at friction 1, if the branch passes it
    folds: bool


@dataclass(frozen=True)
class Point:
    x: np.ndarray
    friction: float


def tangent(problem: Problem, at: Point, before: np.ndarray) -> np.ndarray:
    """Unit direction of the branch in (x, friction in its unit), onward from the direction `before`."""
    slopes = np.column_stack([problem.slopes(at.x, at.friction), problem.friction_slope(at.x, at.friction)])
    direction = np.linalg.svd(slopes)[2][-1]
    return direction if direction @ before > 0 else -direction


def arc_step(problem: Problem, at: Point, direction: np.ndarray, length: float) -> Point | None:
    """The branch's point that lies `length` ahead, measured along the direction."""
    x = at.x + length * direction[:-1]
    friction = at.friction + length * direction[-1] * FRICTION_UNIT
    for _ in range(8):
        rows = problem.missing(x, friction)
        ahead = (x - at.x) @ direction[:-1] + (friction - at.friction) / FRICTION_UNIT * direction[-1]
        error = np.append(rows, (ahead - length) * 1e-3)
        if np.abs(error).max() < SOLVED:
            return Point(x, friction)
        slopes = problem.slopes(x, friction, rows)
        matrix = np.column_stack([slopes, problem.friction_slope(x, friction)])
        step = np.linalg.lstsq(np.vstack([matrix, direction * 1e-3]), -error)[0]
        if np.linalg.norm(step) > max(1e-3, length):
            return None
        x = x + step[:-1]
        friction = friction + step[-1] * FRICTION_UNIT
    return None


def follow(problem: Problem, start: np.ndarray, friction: float) -> Branch:
    """Down the friction by arc length to the fold, or to where steps can no longer be taken."""
    at = Point(start, friction)
    at_full = start if friction == 1 else None
    down = np.zeros(UNKNOWNS + 1)
    down[-1] = -1.0
    direction = tangent(problem, at, down)
    length = 4.0
    while at.friction > 0.02 and length > 1e-7:
        ahead = arc_step(problem, at, direction, length)
        if ahead is None or abs(ahead.x[BETA] * SMALL) > MOST_SIDESLIP:
            length /= 2
            continue
        turned = tangent(problem, ahead, direction)
        if turned @ direction < 0.8 and length > 1e-3:
            length /= 2
            continue
        if ahead.friction < 1 <= at.friction and at_full is None:
            at_full = problem.settle(between(at, ahead, 1.0), 1.0)
        if turned[-1] > 0:
            return replace(fold(problem, at, direction, length), start_friction=friction, at_full=at_full)
        at, direction = ahead, turned
        length = min(2 * length, 16.0)
    return Branch(friction, at.friction, at.x, at_full, False)


def between(one: Point, two: Point, friction: float) -> np.ndarray:
    share = (friction - one.friction) / (two.friction - one.friction)
    return one.x + share * (two.x - one.x)


def fold(problem: Problem, at: Point, direction: np.ndarray, length: float) -> Branch:
    """The least friction between two points, by halving the way: left of it the friction still falls."""
    near, far = 0.0, length
    best = at
    while far - near > 1e-4:
        middle = (near + far) / 2
        ahead = arc_step(problem, at, direction, middle)
        if ahead is None:
            far = middle
            continue
        if ahead.friction < best.friction:
            best = ahead
        if tangent(problem, ahead, direction)[-1] > 0:
            far = middle
        else:
            near = middle
    return Branch(at.friction, best.friction, best.x, None, True)
