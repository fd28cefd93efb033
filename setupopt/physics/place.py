"""A case made ready for the balance: everything that does not change while the car finds its trim."""

from __future__ import annotations

from math import atan, cos, sin

from setupopt.physics import air, surface
from setupopt.physics.inputs import STRIPS, STRIPS_ACROSS, STRIPS_ALONG, Record, Records, layout
from setupopt.physics.jit import kernel
from setupopt.units import GRAVITY

# Scratch of one thread, filled anew for every case. pull: gravity minus the CG's acceleration, by
# x, y, z. ground, tilt: surface height and angle across the car under each wheel; rise: that height with
# the road's unevenness on top (physics/contacts.py), the same where there is none. curve_along,
# curve_across: curvature of tyre against surface. wheel_drive, axle_drive: longitudinal force.
# axle_side: lateral force that the tyres of an axle must give. lean: see CASE.
# climbed: curvature that a climbing car follows, the mean of those under its wheels by the weight on them.
PLACE = layout(
    one="sin_heading cos_heading drag side_force pressure lean transfer climbed",
    axles="axle_side axle_drive",
    wheels="ground rise tilt cos_tilt sin_tilt curve_along curve_across wheel_drive",
    more=(("pull", "f8", (3,)),),
)

# What a case means for one strip: free downforce, gap downforce per metre of gap, gap of the undisturbed
# car and exp(1 - that gap / peak gap); the last two also as they are without the road's unevenness.
FLOW = layout(one="free ground rest_gap rest_decay smooth_gap smooth_decay")


@kernel
def gravity(roll_angle: float, heading: float, slope: float) -> tuple[float, float, float]:
    """Gravity in the car's axes, m/s2, on a section whose axis rises by `slope`."""
    gx = -GRAVITY * (sin(roll_angle) * sin(heading) * cos(slope) + sin(slope) * cos(heading))
    gy = -GRAVITY * (sin(roll_angle) * cos(heading) * cos(slope) - sin(slope) * sin(heading))
    return gx, gy, -GRAVITY * cos(roll_angle) * cos(slope)


@kernel
def path_acceleration(
    speed: float, roll_angle: float, heading: float, acceleration: float, path_curvature: float,
    turn_curvature: float, curvature: float, cg_height: float,
) -> tuple[float, float, float]:  # fmt: skip
    """Acceleration of the CG in the car's axes, m/s2.

    Climbing round a circular section presses the car on; a horizontal turn has its centre on the
    low side, which is the right one at roll angles from 0 to 180 deg and the left one below 0.
    """
    turn = speed * speed * (turn_curvature if sin(roll_angle) >= 0.0 else -turn_curvature)
    climb = speed * sin(heading)
    ax = acceleration - turn * cos(roll_angle) * sin(heading)
    ay = speed * speed * path_curvature - turn * cos(roll_angle) * cos(heading)
    az = climb * climb * curvature * (1.0 - cg_height * curvature) + turn * sin(roll_angle)
    return ax, ay, az


@kernel
def _set_pull(car: Record, case: Record, roll_angle: float, place: Record) -> None:
    """Gravity minus acceleration, at a roll angle that may be on the way to the case's own."""
    gx, gy, gz = gravity(roll_angle, case.heading, case.slope)
    ax, ay, az = path_acceleration(
        case.speed, roll_angle, case.heading, case.acceleration, case.path_curvature,
        case.turn_curvature, place.climbed, car.cg_height,
    )  # fmt: skip
    place.pull[0], place.pull[1], place.pull[2] = gx - ax, gy - ay, gz - az


@kernel
def _set_wheels(car: Record, case: Record, place: Record) -> None:
    """Surface under each wheel and its curvature against the tyre."""
    sin_heading, cos_heading, climbed, weight = place.sin_heading, place.cos_heading, 0.0, 0.0
    for w in range(4):
        s = car.x[w] * sin_heading + car.y[w] * cos_heading
        height, slope = surface.under_wheel(case, s)
        curvature, tilt = surface.mean_curvature(case, s, car.half_width[w]), atan(slope * cos_heading)
        place.ground[w] = place.rise[w] = height + case.bump[w]
        place.tilt[w], place.cos_tilt[w], place.sin_tilt[w] = tilt, cos(tilt), sin(tilt)
        place.curve_along[w] = 1.0 / car.radius[w] - sin_heading * sin_heading * curvature
        place.curve_across[w] = car.crown[w] - cos_heading * cos_heading * curvature
        climbed, weight = climbed + curvature * car.static_load[w], weight + car.static_load[w]
    place.climbed = climbed / weight


@kernel
def floor_height(car: Record, setup: Record, x: float) -> float:
    """Height of the floor line at x on the pad: straight through both ride-height points, m."""
    front, rear = setup.ride_height[0], setup.ride_height[1]
    return rear + (front - rear) * (x - car.ride_x[1]) / (car.ride_x[0] - car.ride_x[1])


@kernel
def rest_gap(car: Record, setup: Record, case: Record, place: Record, x: float, y: float) -> float:
    """Gap under a point of the floor line before the car moves on its springs, m."""
    s = x * place.sin_heading + y * place.cos_heading
    return floor_height(car, setup, x) - surface.under_floor(case, s)


@kernel
def _set_gaps(
    car: Record, elements: Records, setup: Record, case: Record, place: Record, flow: Records
) -> None:  # fmt: skip
    """Gap under every strip of the undisturbed car."""
    strip = 0
    for n in range(elements.size):
        e = elements[n]
        for i in range(STRIPS_ALONG):
            for j in range(STRIPS_ACROSS):
                x, y = e.x + (i - 1) * e.along, (j - 2) * e.across
                gap = rest_gap(car, setup, case, place, x, y) + e.offset
                air.set_gap(e, gap, flow[strip])
                strip += 1


@kernel
def set_wind(
    car: Record, elements: Records, case: Record, headwind: float, crosswind: float, place: Record,
    flow: Records,
) -> None:  # fmt: skip
    """Drag, side force and the strips' dynamic pressure in a wind; `set_demand` comes after it."""
    q, angle = air.relative_wind(case.speed, headwind, crosswind, case.air_density)
    place.drag, place.side_force, place.pressure = q * car.drag_area, -q * car.side_area * angle, q
    for n in range(elements.size):
        air.set_pressure(elements[n], q, angle, flow[STRIPS * n : STRIPS * (n + 1)])


@kernel
def set_demand(car: Record, place: Record) -> None:
    """Forces the tyres must give: along the car by drive or brake shares, across it by axle."""
    along = place.drag - car.mass * place.pull[0]
    side = place.side_force
    across = car.mass * place.pull[1] + side
    place.axle_side[0] = (-car.to_rear * across - car.side_x * side) / car.wheelbase
    place.axle_side[1] = (-car.to_front * across + car.side_x * side) / car.wheelbase
    for axle in range(2):
        force = along * (car.drive[axle] if along > 0.0 else car.brake[axle])
        place.axle_drive[axle] = force
        place.wheel_drive[2 * axle], place.wheel_drive[2 * axle + 1] = 0.5 * force, 0.5 * force


@kernel
def prepare(
    car: Record, elements: Records, setup: Record, case: Record, place: Record, flow: Records
) -> None:  # fmt: skip
    """Fill `place` and `flow` for one setup in one case."""
    place.sin_heading, place.cos_heading = sin(case.surface_heading), cos(case.surface_heading)
    _set_wheels(car, case, place)
    _set_pull(car, case, case.roll_angle, place)
    _set_gaps(car, elements, setup, case, place, flow)
    set_wind(car, elements, case, case.headwind, case.crosswind, place, flow)
    set_demand(car, place)
    place.lean, place.transfer = case.lean, case.transfer


@kernel
def turn_to(car: Record, case: Record, roll_angle: float, press: float, place: Record) -> None:
    """Move a prepared case to another roll angle, and press it on by `press` g more."""
    _set_pull(car, case, roll_angle, place)
    place.pull[2] -= press * GRAVITY
    set_demand(car, place)


@kernel
def _is_round(case: Record) -> bool:
    """Whether the section is one circle or plane as far as the case sees it."""
    return bool(case.joints[0] + case.joints[1] + case.floor_joints[0] + case.floor_joints[1] == 0.0)


@kernel
def stands_alike(a: Record, b: Record) -> bool:
    """Whether two cases differ at most in roll angle, slope, accelerations and grip.

    Then wheels and air of one's `place` serve the other, after `turn_to`; in a sweep most do.
    """
    same_bump = (
        a.bump[0] == b.bump[0]
        and a.bump[1] == b.bump[1]
        and a.bump[2] == b.bump[2]
        and a.bump[3] == b.bump[3]
    )
    same_surface = (
        _is_round(a)
        and _is_round(b)
        and a.surface_heading == b.surface_heading
        and a.curvature == b.curvature
        and a.floor_curvature == b.floor_curvature
        and a.lean == b.lean
        and a.transfer == b.transfer
    )
    same_wind = a.headwind == b.headwind and a.crosswind == b.crosswind and a.air_density == b.air_density
    return same_bump and same_surface and same_wind and a.speed == b.speed
