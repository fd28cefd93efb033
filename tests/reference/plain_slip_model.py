"""The car's model with slip once more, as plain as it can be written: the outside check of the package.

Sections 11 to 14 of the model, one case at a time, in scalar Python. It shares no code with the package and
takes what a TOML reader returns, in file units; inside all is SI and radians. Not written for speed.

How a margin is found: a trim at a large friction is led to the case from the pad, then followed down the
friction by its arc length up to the fold, or to the friction at which contact is lost.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import atan2, cos, hypot, inf, sin
from typing import NamedTuple

import numpy as np
from plain_car import GRAVITY, Table
from plain_slip_car import (
    SlipCar,
    SlipCase,
    read_slip_car,
    read_slip_case,
)
from plain_slip_forces import (
    BETA,
    KAPPA,
    SIDE,
    UNKNOWNS,
    Scene,
    SlipWheel,
    missing,
    scene_of,
)
from scipy.optimize import brentq

SOLVED = 1e-10  # largest row
# Rad of sideslip and steer, and of kappa: the branch ends there
MOST_SLIP = 0.5
MOST_USE = 100.0  # of an axle in the air
SMALL = 1e-3  # the solver counts in mm, mrad, thousandths of slip
FRICTION_UNIT = 1e-2  # and in hundredths of the friction
IN_AIR = 0.01  # of a quarter of the weight


class Problem(NamedTuple):
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

    def slopes(
        self, x: np.ndarray, friction: float, rows: np.ndarray | None = None
    ) -> np.ndarray:
        """d rows / d x, by differences."""
        step = 1e-4
        columns = []
        for i in range(UNKNOWNS):
            shift = np.zeros(UNKNOWNS)
            shift[i] = step
            if rows is None:
                ahead, behind = (
                    self.missing(x + shift, friction),
                    self.missing(x - shift, friction),
                )
                columns.append((ahead - behind) / (2 * step))
            else:
                columns.append(
                    (self.missing(x + shift, friction) - rows) / step
                )
        return np.array(columns).T

    def friction_slope(self, x: np.ndarray, friction: float) -> np.ndarray:
        """d rows / d (friction in its unit)."""
        step = 1e-4 * FRICTION_UNIT
        ahead, behind = (
            self.missing(x, friction + step),
            self.missing(x, friction - step),
        )
        return (ahead - behind) / 2e-4

    def scene(self, x: np.ndarray, friction: float) -> Scene:
        return scene_of(self.car, self.case, x * self.units, friction)

    def settle(
        self, start: np.ndarray, friction: float, steps: int = 25
    ) -> np.ndarray | None:
        """Newton's method with halved steps; None where it finds nothing, or nothing that counts."""
        x = np.array(start, dtype=float)
        rows = self.missing(x, friction)
        for _ in range(steps):
            error = float(np.abs(rows).max())
            if error < SOLVED:
                return x if within(x) > 0 else None
            step = np.linalg.lstsq(self.slopes(x, friction, rows), -rows)[0]
            largest = float(np.abs(step).max())
            share = min(1.0, 60.0 / largest)
            while share > 1e-3:
                ahead = x + share * step
                found = self.missing(ahead, friction)
                if np.linalg.norm(found) < (1 - 0.1 * share) * np.linalg.norm(
                    rows
                ):
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


def within(x: np.ndarray) -> float:
    """What is left of the sideslip, steer and slip that a trim may have; negative outside."""
    return MOST_SLIP - float(np.abs(x[BETA:SIDE]).max()) * SMALL


def stiffness_of(
    slopes: np.ndarray, unknowns: list[int], rows: list[int]
) -> np.ndarray:
    """Minus the slopes of some rows over some unknowns, the other rows kept at zero."""
    other_rows = [i for i in range(UNKNOWNS) if i not in rows]
    other = [i for i in range(UNKNOWNS) if i not in unknowns]
    followed = np.linalg.solve(
        slopes[np.ix_(other_rows, other)], slopes[np.ix_(other_rows, unknowns)]
    )
    return -(
        slopes[np.ix_(rows, unknowns)] - slopes[np.ix_(rows, other)] @ followed
    )


# --- following a trim down the friction -----------------------------------------------------------


@dataclass(frozen=True)
class Branch:
    """A trim followed down the friction from `start_friction` to its least, `least`."""

    start_friction: float
    least: float
    end: np.ndarray  # unknowns at the least friction, in the solver's units
    at_full: (
        np.ndarray | None
    )  # unknowns at friction 1, if the branch passes it
    ended: str  # "fold", "slip" (a bound on sideslip, steer or kappa), "break"


@dataclass(frozen=True)
class Point:
    x: np.ndarray
    friction: float


def tangent(problem: Problem, at: Point, before: np.ndarray) -> np.ndarray:
    """Unit direction of the branch in (x, friction in its unit), onward from the direction `before`."""
    rows = problem.missing(at.x, at.friction)
    slopes = np.column_stack(
        [
            problem.slopes(at.x, at.friction, rows),
            problem.friction_slope(at.x, at.friction),
        ]
    )
    direction = np.linalg.svd(slopes)[2][-1]
    return direction if direction @ before > 0 else -direction


def arc_step(
    problem: Problem, at: Point, direction: np.ndarray, length: float
) -> Point | None:
    """The branch's point that lies `length` ahead, measured along the direction."""
    x = at.x + length * direction[:-1]
    friction = at.friction + length * direction[-1] * FRICTION_UNIT
    for _ in range(8):
        rows = problem.missing(x, friction)
        ahead = (x - at.x) @ direction[:-1] + (
            friction - at.friction
        ) / FRICTION_UNIT * direction[-1]
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
    """Down the friction by arc length to the fold, to the bounds of slip, or to where no step can be taken.

    An axle that slides in full can go on to ever larger slips at next to the same friction: no fold there.
    """
    at = Point(start, friction)
    at_full = start if friction == 1 else None
    down = np.zeros(UNKNOWNS + 1)
    down[-1] = -1.0
    direction = tangent(problem, at, down)
    length = 4.0
    while at.friction > 0.02 and length > 1e-7:
        ahead = arc_step(problem, at, direction, length)
        if ahead is None:
            length /= 2
            continue
        turned = tangent(problem, ahead, direction)
        if turned @ direction < 0.8 and length > 1e-3:
            length /= 2
            continue
        if ahead.friction < 1 <= at.friction and at_full is None:
            at_full = problem.settle(between(at, ahead, 1.0), 1.0)
        if turned[-1] > 0:
            end, ended = fold(problem, at, direction, length), "fold"
            return Branch(friction, end.friction, end.x, at_full, ended)
        if within(ahead.x) < 0:
            end = bound(problem, at, direction, length)
            return Branch(friction, end.friction, end.x, at_full, "slip")
        at, direction = ahead, turned
        length = min(2 * length, 64.0)
    return Branch(friction, at.friction, at.x, at_full, "break")


def between(one: Point, two: Point, friction: float) -> np.ndarray:
    share = (friction - one.friction) / (two.friction - one.friction)
    return one.x + share * (two.x - one.x)


def fold(
    problem: Problem, at: Point, direction: np.ndarray, length: float
) -> Point:
    """The least friction between two points: where the branch's direction no longer goes down."""
    best = at

    def downward(way: float) -> float:
        nonlocal best
        if way == 0:
            return float(direction[-1])
        ahead = arc_step(problem, at, direction, way)
        if ahead is None:
            return 1.0
        if ahead.friction < best.friction:
            best = ahead
        return float(tangent(problem, ahead, direction)[-1])

    brentq(downward, 0.0, length, xtol=1e-4)
    return best


def bound(
    problem: Problem, at: Point, direction: np.ndarray, length: float
) -> Point:
    """Where the bounds of slip are met between two points."""
    reached = at

    def left(way: float) -> float:
        nonlocal reached
        ahead = arc_step(problem, at, direction, way) if way > 0 else at
        if ahead is None:
            return -1.0
        reached = ahead
        return within(ahead.x)

    brentq(left, 0.0, length, xtol=1e-6)
    return reached


def friction_slope_of(
    problem: Problem,
    end: np.ndarray,
    least: float,
    changed: Problem,
    change: float,
) -> float:
    """d lambda / d p at a fold, p an input that `changed` has larger by `change`.

    The rows' left null vector w takes the unknowns out: w . (dr/dp dp + dr/dlambda dlambda) = 0.
    """
    w = np.linalg.svd(problem.slopes(end, least))[0][:, -1]
    by_input = (
        changed.missing(end, least) - problem.missing(end, least)
    ) / change
    by_friction = problem.friction_slope(end, least) / FRICTION_UNIT
    return float(-(w @ by_input) / (w @ by_friction))


# --- starts ---------------------------------------------------------------------------------------

LED = (
    "roll_angle",
    "crosswind",
    "headwind",
    "course",
    "acceleration",
    "path_curvature",
    "turn_curvature",
    "yaw_acceleration",
    "slope",
)
STARTS = (1.0, 1.5, 2.5, 4.0)  # frictions


def eased(case: SlipCase, share: float) -> SlipCase:
    """The case with a share of all that moves it off a straight flat road at its speed."""
    parts = {name: share * getattr(case, name) for name in LED}
    parts["bumps"] = tuple(share * bump for bump in case.bumps)
    parts["radius"] = case.radius / share if share > 0 else inf
    return replace(case, **parts)


def led_up(car: SlipCar, case: SlipCase, friction: float) -> np.ndarray | None:
    """A trim at some friction, led from a straight flat road in steps as large as they will go."""
    x = Problem(car, eased(case, 0.0)).settle(np.zeros(UNKNOWNS), friction)
    if x is None:
        x = from_rest(car, case, friction)
    done, step = 0.0, 0.1
    while x is not None and done < 1 and step > 0.01:
        share = min(1.0, done + step)
        found = Problem(car, eased(case, share)).settle(x, friction)
        if found is None:
            step /= 2
        else:
            x, done, step = found, share, 1.4 * step
    return x if done == 1 else None


def from_rest(
    car: SlipCar, case: SlipCase, friction: float
) -> np.ndarray | None:
    """On a straight flat road, the air brought in by parts."""
    x = np.zeros(UNKNOWNS)
    flat = eased(case, 0.0)
    for share in np.linspace(0, 1, 11):
        found = Problem(
            car, replace(flat, air_density=share * case.air_density)
        ).settle(x, friction)
        if found is None:
            return None
        x = found
    return x


def branches(
    problem: Problem, starts: tuple[float, ...] = STARTS
) -> list[Branch]:
    """The branches found, from one start after the other."""
    found = []
    for friction in starts:
        x = led_up(problem.car, problem.case, friction)
        if x is not None and problem.holds(x, friction):
            found.append(follow(problem, x, friction))
    return found


def chosen(found: list[Branch]) -> Branch | None:
    """The first that has a trim at full friction, or else the one that reaches the least friction."""
    for branch in found:
        if branch.at_full is not None:
            return branch
    return min(found, key=lambda branch: branch.least, default=None)


# --- what is told ---------------------------------------------------------------------------------


def solve_slip_case(
    car: Table,
    venue: Table,
    setup: Table,
    case: Table,
    *,
    every_start: bool = False,
    drive_in_wheel_planes: bool = False,
) -> Table:
    """One load case in file units: kind ("held", "slides", "lost"), margin, lambda and the trim's numbers.

    The search ends with the first start that leads to a trim at full friction, or with the second one that
    ends at the same friction, unless `every_start`.
    """
    si_car = read_slip_car(car, setup, venue["venue"]["surface_grip"])
    si_car = replace(si_car, drive_in_wheel_planes=drive_in_wheel_planes)
    problem = Problem(si_car, read_slip_case(venue, case))
    found: list[Branch] = []
    for friction in STARTS:
        found += branches(problem, (friction,))
        if enough(found) and not every_start:
            break
    return told(problem, found)


def enough(found: list[Branch]) -> bool:
    if not found:
        return False
    again = any(
        abs(other.least - found[-1].least) < 1e-6 for other in found[:-1]
    )
    return again or found[-1].at_full is not None


def told(problem: Problem, found: list[Branch]) -> Table:
    branch = chosen(found)
    if branch is None:
        return {"kind": "lost"}
    fields: Table = {
        "kind": "slides" if branch.at_full is None else "held",
        "margin": 1 - branch.least,
        "lambda": branch.least,
        "ended": branch.ended,
        "lambdas": [other.least for other in found],
    }
    end = problem.scene(branch.end, branch.least)
    fields["use_at_lambda"] = uses(end)
    fields["first_axle"] = (
        "front"
        if fields["use_at_lambda"][0] >= fields["use_at_lambda"][1]
        else "rear"
    )
    fields["x_at_lambda"] = (branch.end * problem.units).tolist()
    if branch.at_full is not None:
        fields |= trim_fields(problem, branch.at_full)
    return fields


def trim_fields(problem: Problem, x: np.ndarray) -> Table:
    """Numbers of a trim at full friction, SI."""
    scene = problem.scene(x, 1.0)
    front, rear = uses(scene)
    quarter = problem.car.mass * GRAVITY / 4
    return {
        "x": (x * problem.units).tolist(),
        "residual": float(np.abs(problem.missing(x, 1.0)).max()),
        "holds": problem.holds(x, 1.0),
        "sideslip": scene.state.beta,
        "steer": scene.state.steer,
        "loads": [w.load for w in scene.wheels],
        "capacities": [w.capacity() for w in scene.wheels],
        "inclinations": [w.tilt for w in scene.wheels],
        "slip_angles": [w.alpha for w in scene.wheels],
        "kappas": [w.kappa for w in scene.wheels],
        "side_forces": [w.side for w in scene.wheels],
        "along_forces": [w.fx for w in scene.wheels],
        "aligning_moments": [w.brush.mz for w in scene.wheels],
        "wheels_in_air": sum(w.load < IN_AIR * quarter for w in scene.wheels),
        "use_front": front,
        "use_rear": rear,
        "balance": (1 - front) - (1 - rear),
        "downforce": scene.air.force,
        "drag": scene.drag,
        "tractive": scene.needed,
        "growth": growth_rate(problem, x),
    }


def uses(scene: Scene) -> tuple[float, float]:
    """Force of each axle along the surface over the capacity of its two tyres."""
    front, rear = (axle_use(pair) for pair in scene.pairs)
    return front, rear


def axle_use(pair: list[SlipWheel]) -> float:
    capacity = sum(w.capacity() for w in pair)
    force = hypot(sum(w.side for w in pair), sum(w.fx for w in pair))
    return force / capacity if capacity > 0 else MOST_USE


# --- directional stability ------------------------------------------------------------------------

PLANAR = 4  # v_y m/s, r rad/s, psi rad, way round the section m
MOTION = 8  # then the speeds of the four treads, m/s
SPIN_SHARE = (
    0.3  # of an unsprung mass turns with the wheel, where no inertia is given
)
QUICK = 300.0  # 1/s: both wheels of a locked axle come to one speed, one in the air to rest


def growth_rate(problem: Problem, x: np.ndarray) -> float | None:
    """1/s: largest real part of the eigenvalues of the planar motion about a trim; needs a yaw inertia.

    Held: steer, the wheels' torques, the velocity along the body. The ride follows at once.
    """
    if problem.car.yaw_inertia == 0:
        return None
    return float(
        np.linalg.eigvals(motion_matrix(problem, x * problem.units)).real.max()
    )


def motion_matrix(problem: Problem, trim: np.ndarray) -> np.ndarray:
    """d(rates) / d(v_y, r, psi, s, four tread speeds)."""
    follow_steps = (
        np.array([*problem.units[:BETA], 1e-2, 1e-2, *problem.units[SIDE:]])
        * 1e-2
    )
    motion_steps = np.array([1e-3, 1e-4, 1e-5, 1e-3, *[1e-3] * 4])

    def rows(following: np.ndarray, motion: np.ndarray) -> np.ndarray:
        return moved_rows(problem, trim, following, motion)

    at_rest = np.zeros(len(follow_steps))
    by_following = jacobian(
        lambda shift: rows(shift, np.zeros(MOTION)), follow_steps
    )
    by_motion = jacobian(lambda shift: rows(at_rest, shift), motion_steps)
    asked = len(follow_steps)
    followed = -np.linalg.solve(by_following[:asked], by_motion[:asked])
    pulls = by_motion[asked:] + by_following[asked:] @ followed
    beta, chi, v = trim[BETA], problem.case.course, problem.case.speed
    turning = np.array([0.0, 1.0, *[0.0] * 6])
    climbing = np.array([cos(chi - beta), 0.0, v * cos(chi), *[0.0] * 5])
    spins = wheel_rates(problem, trim, pulls)
    return np.array(
        [followed[BETA], followed[BETA + 1], turning, climbing, *spins]
    )


def wheel_rates(
    problem: Problem, trim: np.ndarray, pulls: np.ndarray
) -> np.ndarray:
    """Rates of the treads' speeds: a wheel is slowed by what its tyre pulls; the torque on it is held."""
    car = problem.car
    scene = problem.scene(trim / problem.units, 1.0)
    rates = np.zeros((4, MOTION))
    for axle, end in enumerate(car.ends):
        mass = SPIN_SHARE * end.unsprung_mass
        if any(other.wheel_inertia > 0 for other in car.ends):
            # the package takes the mean over both axles of inertia over radius
            mean = sum(e.wheel_inertia / e.brush.radius for e in car.ends) / 2
            mass = mean / end.brush.radius
        left, right = 2 * axle, 2 * axle + 1
        if end.driven and not car.open_differential:
            both = -(pulls[left] + pulls[right]) / (2 * mass)
            rates[left] = rates[right] = both
            rates[right, PLANAR + left] += QUICK
            rates[right, PLANAR + right] -= QUICK
        else:
            for i in (left, right):
                rates[i] = -pulls[i] / mass
                if scene.wheels[i].load <= 0:
                    rates[i, PLANAR + i] = -QUICK
    return rates


def jacobian(
    rows: Callable[[np.ndarray], np.ndarray], steps: np.ndarray
) -> np.ndarray:
    columns = []
    for i, step in enumerate(steps):
        shift = np.zeros(len(steps))
        shift[i] = step
        columns.append((rows(shift) - rows(-shift)) / (2 * step))
    return np.array(columns).T


def moved_rows(
    problem: Problem,
    trim: np.ndarray,
    following: np.ndarray,
    motion: np.ndarray,
) -> np.ndarray:
    """Rows of ride, side, yaw and axles off the trim, then the wheels' pulls: `following` holds shifts of
    ride, v_y', r' and the axles' side forces, `motion` those of the motions."""
    case = problem.case
    v_x = case.speed * cos(trim[BETA])
    v_y = case.speed * sin(trim[BETA]) + motion[0]
    v = hypot(v_x, v_y)
    beta = atan2(v_y, v_x)
    course = case.course - trim[BETA] + motion[2] + beta
    turned = course - case.course
    side_rate, yaw_rate_2 = following[BETA], following[BETA + 1]
    moved = replace(
        case,
        roll_angle=case.roll_angle + motion[3] * case.curvature,
        speed=v,
        course=course,
        acceleration=case.acceleration + v_y * side_rate / v,
        sideslip_rate=v_x * side_rate / v**2,
        path_curvature=(case.path_yaw_rate + motion[1]) / v,
        turn_curvature=case.turn_curvature * case.speed / v,
        yaw_acceleration=case.yaw_acceleration + yaw_rate_2,
        headwind=case.headwind * cos(turned) + case.crosswind * sin(turned),
        crosswind=case.crosswind * cos(turned) - case.headwind * sin(turned),
    )
    x = trim.copy()
    x[:BETA] += following[:BETA]
    x[SIDE:] += following[BETA + 2 :]
    x[BETA] = beta
    x[KAPPA:SIDE] = slips_at(
        problem, trim, motion[PLANAR:], v_x, moved.yaw_rate()
    )
    rows = missing(problem.car, moved, x, 1.0)
    asked = [*range(BETA + 2), SIDE, SIDE + 1]
    wheels = Problem(problem.car, moved).scene(x / problem.units, 1.0).wheels
    return np.array([*rows[asked], *(wheel.brush.fx for wheel in wheels)])


def slips_at(
    problem: Problem,
    trim: np.ndarray,
    faster: np.ndarray,
    v_x: float,
    yaw_rate: float,
) -> np.ndarray:
    """Slips of wheels whose treads are `faster` m/s than in the trim."""
    slips = []
    for i, kappa in enumerate(trim[KAPPA:SIDE]):
        y = (1.0 if i % 2 == 0 else -1.0) * problem.car.ends[i // 2].track / 2
        was = problem.case.speed * cos(trim[BETA])
        was -= problem.case.yaw_rate() * y
        tread = (1 + kappa) * was + faster[i]
        slips.append(tread / (v_x - yaw_rate * y) - 1)
    return np.array(slips)
