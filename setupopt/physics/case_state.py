"""A case made ready for the balance: what does not change in the trim, then what the heading changes.

The course is given; the body points to `heading = course - sideslip`, and sideslip is an unknown of the trim.
So surface, gravity and wind are set anew for every trial sideslip, with their slopes.
"""

from __future__ import annotations

from math import atan, atan2, cos, sin, sqrt

from setupopt.physics import surface
from setupopt.physics.inputs import GROWTH_ROWS, STRIPS_KEPT, Record, layout
from setupopt.physics.jit import kernel
from setupopt.units import GRAVITY

# Scratch of one thread, filled anew for every case. forward, leftward, upward: acceleration of the CG along,
# across the course and away from the surface. climb_rate, climb_acceleration: of the roll angle; turn_rate:
# of a horizontal turn; bend: yaw rate over speed. drag, pressure (dynamic) and air_angle: of the wind, at no
# sideslip. pull: gravity minus acceleration by x, y, z, gyro: moments that turning the body takes, each with
# its slope by sideslip. flow: of air at the body, rad. ground, tilt: surface height and angle across the car
# under each wheel; lean: sine of the normal's lean along the car; curve_along, curve_across: curvature of
# tyre against surface; all with their slopes by sideslip. rise: unevenness of a road on top of the ground, m;
# radius: of the tyre, unloaded, at the speed of the case, m.
# demand: force that an axle must pass in a ride, N. strip_*: scratch, the surface under the strips of an air
# element.
CASE_STATE = layout(
    one="forward leftward upward climb_rate climb_acceleration turn_rate bend drag pressure air_angle flow "
    "sin_heading cos_heading sin_sideslip cos_sideslip press",
    axles="demand",
    wheels="rise radius ground tilt tilt_cos tilt_sin lean curve_along curve_across ground_slope tilt_slope "
    "lean_slope along_slope across_slope",
    more=(
        ("pull", "f8", (3,)),
        ("pull_slope", "f8", (3,)),
        ("gyro", "f8", (3,)),
        ("gyro_slope", "f8", (3,)),
        ("strip_height", "f8", (STRIPS_KEPT,)),
        ("strip_slope", "f8", (STRIPS_KEPT,)),
    ),
)

# Road under one air element: height in its middle, m, and slope towards the left.
ROADBED = layout(one="height slope")


@kernel
def gravity(
    roll_angle: float, heading: float, slope: float
) -> tuple[float, float, float]:
    """Gravity in the car's axes, m/s2, on a section whose axis rises by `slope`."""
    gx = -GRAVITY * (
        sin(roll_angle) * sin(heading) * cos(slope) + sin(slope) * cos(heading)
    )
    gy = -GRAVITY * (
        sin(roll_angle) * cos(heading) * cos(slope) - sin(slope) * sin(heading)
    )
    return gx, gy, -GRAVITY * cos(roll_angle) * cos(slope)


@kernel
def low_side(roll_angle: float) -> float:
    """1 where the low side is the right one, roll angles from 0 to 180 deg; -1 below 0."""
    return 1.0 if sin(roll_angle) >= 0.0 else -1.0


@kernel
def path_acceleration(
    case: Record, curvature: float, cg_height: float
) -> tuple[float, float, float]:
    """Acceleration of the CG along the course, across it and away from the surface, m/s2.

    The CG is `cg_height` nearer to the section's axis than the path, on a section of `curvature`. A
    horizontal turn has its centre on the low side.
    """
    sine = sin(case.heading)
    cosine = cos(case.heading)
    nearer = cg_height * curvature
    speed = case.speed
    bent = speed * speed * case.path_curvature
    along = case.acceleration
    climb = speed * sine
    turn = low_side(case.roll_angle) * speed * speed * case.turn_curvature
    forward = (
        along * (1.0 - nearer * sine * sine) - nearer * bent * sine * cosine
    )
    leftward = (
        bent * (1.0 - nearer * cosine * cosine) - nearer * along * sine * cosine
    )
    forward -= turn * cos(case.roll_angle) * sine
    leftward -= turn * cos(case.roll_angle) * cosine
    upward = (1.0 - nearer) * curvature * climb * climb + turn * sin(
        case.roll_angle
    )
    return forward, leftward, upward


@kernel
def _climbed(car: Record, case: Record) -> float:
    """Curvature that a climbing car follows: the mean of those under its wheels by the weight on them,
    1/m.
    """
    sine = sin(case.surface_heading)
    cosine = cos(case.surface_heading)
    total = 0.0
    weight = 0.0
    for w in range(4):
        s = car.x[w] * sine + car.y[w] * cosine
        total += (
            surface.mean_curvature(case, s, car.half_width[w])
            * car.static_load[w]
        )
        weight += car.static_load[w]
    return total / weight


@kernel
def prepare(car: Record, case: Record, press: float, state: Record) -> None:
    """Fill in what the trim does not change. `press`: extra push towards the surface, g."""
    curvature = _climbed(car, case)
    state.forward, state.leftward, state.upward = path_acceleration(
        case, curvature, car.cg_height
    )
    state.press = press
    speed = case.speed
    state.climb_rate = speed * sin(case.heading) * curvature
    bent = speed * speed * case.path_curvature
    state.climb_acceleration = curvature * (
        case.acceleration * sin(case.heading) + bent * cos(case.heading)
    )
    turn = low_side(case.roll_angle) * case.turn_curvature
    state.turn_rate = -turn * speed
    state.bend = case.path_curvature - turn * cos(case.roll_angle)
    set_wind(car, case, case.headwind, case.crosswind, state)
    for w in range(4):
        state.rise[w] = 0.0
        state.radius[w] = running_radius(car, w, speed)


@kernel
def running_radius(car: Record, w: int, speed: float) -> float:
    """Radius of an unloaded tyre, m, linear between the rows of its growth; beyond the last as there."""
    before = 0.0
    grown = 0.0
    for row in range(GROWTH_ROWS):
        at = car.growth_speed[w, row]
        if at <= before:
            break
        rate = (car.growth[w, row] - grown) / (at - before)
        if speed <= at:
            return car.radius[w] + grown + rate * (speed - before)
        before = at
        grown = car.growth[w, row]
    return car.radius[w] + grown


@kernel
def set_wind(
    car: Record, case: Record, headwind: float, crosswind: float, state: Record
) -> None:
    """Dynamic pressure, Pa, its angle to the course and the drag. Crosswind from the left is positive."""
    along = case.speed + headwind
    state.pressure = (
        0.5 * case.air_density * (along * along + crosswind * crosswind)
    )
    state.air_angle = atan2(crosswind, along)
    state.drag = state.pressure * car.drag_area


@kernel
def set_heading(
    car: Record, case: Record, sideslip: float, state: Record
) -> None:
    """Fill in all that the heading changes, with slopes by sideslip."""
    turned = case.crab * sideslip
    _set_pull(case, turned, sideslip, state)
    _set_gyro(car, case, turned, state)
    state.flow = state.air_angle + turned
    heading = case.surface_heading - turned
    state.sin_heading = sin(heading)
    state.cos_heading = cos(heading)
    for w in range(4):
        _set_wheel(car, case, w, state)


@kernel
def _set_pull(
    case: Record, turned: float, sideslip: float, state: Record
) -> None:
    gx, gy, gz = gravity(case.roll_angle, case.heading - turned, case.slope)
    sine = sin(sideslip)
    cosine = cos(sideslip)
    state.sin_sideslip = sine
    state.cos_sideslip = cosine
    ax = state.forward * cosine - state.leftward * sine
    ay = state.forward * sine + state.leftward * cosine
    state.pull[0] = gx - ax
    state.pull[1] = gy - ay
    state.pull[2] = gz - state.upward - state.press * GRAVITY
    state.pull_slope[0] = ay - case.crab * gy
    state.pull_slope[1] = case.crab * gx - ax
    state.pull_slope[2] = 0.0


@kernel
def _set_gyro(car: Record, case: Record, turned: float, state: Record) -> None:
    """Moments about x, y, z that the tyres must supply to turn the body and the spinning wheels, N m.

    Euler's equations about the CG; by sideslip, rates about x and y turn into each other.
    """
    heading = case.heading - turned
    sine = sin(heading)
    cosine = cos(heading)
    around = state.turn_rate * sin(case.roll_angle)
    yaw_rate = case.speed * case.path_curvature
    p = state.climb_rate * cosine + around * sine
    q = -state.climb_rate * sine + around * cosine
    r = yaw_rate + state.turn_rate * cos(case.roll_angle)
    p_dot = (
        state.climb_acceleration * cosine - state.climb_rate * yaw_rate * sine
    )
    q_dot = (
        -state.climb_acceleration * sine - state.climb_rate * yaw_rate * cosine
    )
    roll, pitch, yaw = car.inertia
    spin = car.spin_inertia * case.speed
    state.gyro[0] = roll * p_dot + (yaw - pitch) * q * r - spin * r
    state.gyro[1] = pitch * q_dot + (roll - yaw) * p * r
    state.gyro[2] = (
        yaw * case.yaw_acceleration + (pitch - roll) * p * q + spin * p
    )
    crab = case.crab
    state.gyro_slope[0] = crab * ((yaw - pitch) * p * r - roll * q_dot)
    state.gyro_slope[1] = crab * (pitch * p_dot - (roll - yaw) * q * r)
    state.gyro_slope[2] = crab * ((pitch - roll) * (p * p - q * q) - spin * q)


@kernel
def _set_wheel(car: Record, case: Record, w: int, state: Record) -> None:
    """Surface under one wheel and its curvature against the tyre."""
    sine = state.sin_heading
    cosine = state.cos_heading
    s = car.x[w] * sine + car.y[w] * cosine
    moved = -case.crab * (car.x[w] * cosine - car.y[w] * sine)
    height, slope = surface.under_wheel(case, s)
    curvature = surface.mean_curvature(case, s, car.half_width[w])
    bent = curvature * sqrt(1.0 + slope * slope) ** 3 * moved
    across = slope * cosine
    state.ground[w] = height + case.bump[w]
    state.ground_slope[w] = slope * moved
    upright = 1.0 / sqrt(1.0 + across * across)
    state.tilt[w] = atan(across)
    state.tilt_cos[w] = upright
    state.tilt_sin[w] = across * upright
    tilted = bent * cosine + case.crab * slope * sine
    state.tilt_slope[w] = tilted * upright * upright
    state.lean[w] = slope * sine
    state.lean_slope[w] = bent * sine - case.crab * slope * cosine
    twice = 2.0 * case.crab * curvature * sine * cosine
    state.curve_along[w] = 1.0 / state.radius[w] - curvature * sine * sine
    state.along_slope[w] = twice
    state.curve_across[w] = car.crown[w] - curvature * cosine * cosine
    state.across_slope[w] = -twice


@kernel
def floor_height(car: Record, setup: Record, x: float, y: float) -> float:
    """Height of the floor at x, y on the pad: a plane through both ride-height points, m."""
    front = setup.ride_height[0]
    rear = setup.ride_height[1]
    middle = rear + (front - rear) * (x - car.ride_x[1]) / (
        car.ride_x[0] - car.ride_x[1]
    )
    return middle + (y - car.middle) * setup.floor_roll


@kernel
def rest_gap(
    car: Record, setup: Record, case: Record, state: Record, x: float, y: float
) -> float:
    """Gap under a point of the floor line before the car moves on its springs, m."""
    s = x * state.sin_heading + y * state.cos_heading
    return floor_height(car, setup, x, y) - surface.under_floor(case, s)[0]
