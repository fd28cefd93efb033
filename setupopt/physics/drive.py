"""How drive and brakes share the force along among the wheels: the rows of slip of a trial trim."""

from __future__ import annotations

from math import sin

from setupopt.physics import wheel
from setupopt.physics.inputs import KAPPA, SIDESLIP, Floats, Record
from setupopt.physics.jit import kernel
from setupopt.units import GRAVITY

# The first of the four rows.
SLIP = KAPPA
# Demand, as a share of the weight, within which the rules of drive and brakes pass over into each other.
_COASTING = 1e-3


@kernel
def total_demand(car: Record, state: Record, work: Record) -> float:
    """Force along that the tyres must give, N, with its slopes; the surface's own push is taken off."""
    slope = work.demand_slope
    for j in range(work.demand_slope.size):
        slope[j] = 0.0
    total = state.drag - car.mass * state.pull[0]
    slope[SIDESLIP] = -car.mass * state.pull_slope[0]
    for w in range(4):
        total -= work.forward[w] - work.wheels.along[w]
        for j in range(wheel.LOAD_COLUMNS):
            push = work.forward_slope[w, j] - work.wheels.along_slope[w, j]
            slope[wheel.global_column(w, j)] -= push
    return total


@kernel
def _driven_part(demand: float, weight: float) -> tuple[float, float]:
    """Part of the rule of drive in the rows of slip, the rest is that of the brakes; and its slope by demand.

    The rules have wheels turn at other speeds. Where neither is true on its side of no demand, the car would
    have no trim: they pass over into each other within `_COASTING` of the weight.
    """
    place = 0.5 + 0.5 * demand / (_COASTING * weight)
    if place <= 0.0 or place >= 1.0:
        return (1.0 if place > 0.0 else 0.0), 0.0
    return place * place * (3.0 - 2.0 * place), 3.0 * place * (1.0 - place) / (
        _COASTING * weight
    )


@kernel
def slip_rows(
    car: Record,
    state: Record,
    x: Floats,
    axle: int,
    demand: float,
    work: Record,
) -> None:
    """How the wheels of an axle share the force along: driven, braked, or between both where the car
    coasts.
    """
    row = SLIP + 2 * axle
    r = work.residual
    r[row] = 0.0
    r[row + 1] = 0.0
    part, slope = _driven_part(demand, car.mass * GRAVITY)
    work.demand[axle] = (
        part * car.drive[axle] + (1.0 - part) * car.brake[axle]
    ) * demand
    if part > 0.0:
        _drive_rows(car, state, x, axle, demand, part, work)
    first = r[row]
    second = r[row + 1]
    if part < 1.0:
        _brake_rows(car, x, axle, demand, 1.0 - part, work)
    if slope > 0.0:
        first = slope * (first / part - (r[row] - first) / (1.0 - part))
        second = slope * (second / part - (r[row + 1] - second) / (1.0 - part))
        for j in range(work.demand_slope.size):
            work.jacobian[row, j] += first * work.demand_slope[j]
            work.jacobian[row + 1, j] += second * work.demand_slope[j]


@kernel
def _drive_rows(
    car: Record,
    state: Record,
    x: Floats,
    axle: int,
    demand: float,
    part: float,
    work: Record,
) -> None:
    """Add `part` of the rows of a driven axle: wheels alike, or at one speed where they are locked."""
    left = 2 * axle
    wheels = work.wheels
    r = work.residual
    jac = work.jacobian
    share = car.drive[axle]
    weight = car.mass * GRAVITY
    if car.is_locked[axle] == 0.0:
        for w in (left, left + 1):
            r[SLIP + w] += part * (wheels.along[w] - 0.5 * share * demand)
            _add_along(w, SLIP + w, 0.5 * share, part, work)
            if (
                wheels.load[w] <= 0.0 and share == 0.0
            ):  # a free wheel in the air rolls as it likes
                r[SLIP + w] += part * weight * x[KAPPA + w]
                jac[SLIP + w, KAPPA + w] += part * weight
        return
    row = SLIP + left
    _sum_row(left, row, share, demand, part, work)
    ratio = state.radius[left] / state.radius[left + 1]
    ahead = part * weight * wheels.step[left]
    beside = part * weight * ratio * wheels.step[left + 1]
    r[row + 1] += (1.0 + x[KAPPA + left + 1]) * beside - (
        1.0 + x[KAPPA + left]
    ) * ahead
    jac[row + 1, KAPPA + left] -= ahead
    jac[row + 1, KAPPA + left + 1] += beside
    turned = (1.0 + x[KAPPA + left]) - ratio * (1.0 + x[KAPPA + left + 1])
    jac[row + 1, SIDESLIP] += part * weight * sin(x[SIDESLIP]) * turned


@kernel
def _brake_rows(
    car: Record, x: Floats, axle: int, demand: float, part: float, work: Record
) -> None:
    """Add `part` of the rows of an axle under the driver's brakes: both wheels slip alike."""
    left = 2 * axle
    row = SLIP + left
    weight = part * car.mass * GRAVITY
    _sum_row(left, row, car.brake[axle], demand, part, work)
    work.residual[row + 1] += weight * (x[KAPPA + left + 1] - x[KAPPA + left])
    work.jacobian[row + 1, KAPPA + left] -= weight
    work.jacobian[row + 1, KAPPA + left + 1] += weight


@kernel
def _sum_row(
    left: int, row: int, share: float, demand: float, part: float, work: Record
) -> None:
    """Add `part` of the row by which both wheels of an axle pass their share of the demand together."""
    along = work.wheels.along
    work.residual[row] += part * (
        along[left] + along[left + 1] - share * demand
    )
    _add_along(left, row, share, part, work)
    _add_along(left + 1, row, 0.0, part, work)


@kernel
def _add_along(
    w: int, row: int, share: float, part: float, work: Record
) -> None:
    """Add `part` of the slopes of a wheel's force along, less a share of the demand's."""
    for j in range(wheel.COLUMNS):
        work.jacobian[row, wheel.global_column(w, j)] += (
            part * work.wheels.along_slope[w, j]
        )
    if share != 0.0:
        for j in range(work.demand_slope.size):
            work.jacobian[row, j] -= part * share * work.demand_slope[j]
