"""The plain slip model's car, setup and load case: TOML tables in file units turned into SI and radians."""

from dataclasses import asdict, dataclass
from math import asin, atan, atan2, cos, inf, sin

from plain_car import (
    DEG,
    ENDS,
    GRAVITY,
    MM,
    Axle,
    Car,
    Point,
    Stand,
    Table,
    read_axle,
    read_car,
    read_radius,
)
from plain_slip_tyre import BrushTyre, bed_at_load

TOE_OVER_MM = 330.0
CAMBER_SHARE = 0.5


@dataclass(frozen=True)
class SlipAxle(Axle):
    """One end of the car, as before, with what slip and steer add; per wheel."""

    brush: BrushTyre
    toe: float  # rad, toe-in positive
    wheel_inertia: float  # kgm2, about the wheel's own axle
    driven: bool


@dataclass(frozen=True)
class SlipCar(Car):
    """The car; inertias are zero where the project does not give them."""

    ends: tuple[SlipAxle, SlipAxle]
    yaw_inertia: float  # kgm2, whole car
    pitch_inertia: float  # kgm2, sprung mass
    roll_inertia: float
    # Else the axles' shares are forces along the car
    drive_in_wheel_planes: bool = False


@dataclass(frozen=True)
class SlipCase:
    """A load case in SI. Signs: interface and model pages."""

    roll_angle: float  # rad
    speed: float  # m/s
    course: float  # rad, chi
    acceleration: float  # m/s2, v'
    path_curvature: float  # 1/m, kappa
    turn_curvature: (
        float  # 1/m, of a horizontal turn with its centre on the low side
    )
    yaw_acceleration: float  # rad/s2, r'
    headwind: float  # m/s, along the course
    crosswind: float  # m/s, across the course, from the left positive
    bumps: tuple[float, ...]  # m
    radius: float  # m, inf on the flat
    slope: float  # rad, of the venue's axis
    air_density: float  # kg/m3
    sideslip_rate: float = 0.0  # rad/s, beta'; zero in a trim

    @property
    def curvature(self) -> float:
        """K of the section, 1/m."""
        return 1 / self.radius

    @property
    def low(self) -> float:
        """+1 where the right side is the low one."""
        return 1.0 if self.roll_angle >= 0 else -1.0

    @property
    def path_yaw_rate(self) -> float:
        return self.speed * self.path_curvature

    @property
    def course_rate(self) -> float:
        """chi', rad/s."""
        return self.path_yaw_rate + self.sideslip_rate

    def yaw_rate(self) -> float:
        """r of the wheels' velocities: along the path, and that of a horizontal turn."""
        return (
            self.path_yaw_rate
            - self.low * self.speed * self.turn_curvature * cos(self.roll_angle)
        )

    def climb_rate(self) -> float:
        """phi', rad/s."""
        return self.speed * sin(self.course) * self.curvature


def read_slip_car(car: Table, setup: Table, surface_grip: float) -> SlipCar:
    plain = read_car(car, setup, surface_grip)
    ends = (
        read_slip_axle(car, setup, surface_grip, 0),
        read_slip_axle(car, setup, surface_grip, 1),
    )
    body = car["car"]
    fields = {
        name: getattr(plain, name) for name in plain.__dataclass_fields__
    } | {"axles": ends}
    return SlipCar(
        **fields,
        ends=ends,
        yaw_inertia=body.get("yaw_inertia_kgm2", 0.0),
        pitch_inertia=body.get("pitch_inertia_kgm2", 0.0),
        roll_inertia=body.get("roll_inertia_kgm2", 0.0),
    )


def read_slip_axle(
    car: Table, setup: Table, surface_grip: float, index: int
) -> SlipAxle:
    table, settings = car[ENDS[index]], setup[ENDS[index]]
    plain = read_axle(car, setup, surface_grip, index)
    brush = read_brush_tyre(
        plain, car["tyre"][table["tyre"]], settings["pressure_bar"]
    )
    fields = {name: getattr(plain, name) for name in plain.__dataclass_fields__}
    fields["static_depth"] = pad_depth(brush, plain.static_load, plain.camber)
    return SlipAxle(
        **fields,
        brush=brush,
        toe=asin(
            settings.get("toe_mm", 0.0) / table.get("toe_over_mm", TOE_OVER_MM)
        ),
        wheel_inertia=table.get("wheel_inertia_kgm2", 0.0),
        driven=car["car"]["driven"] in ("all", ENDS[index]),
    )


def read_brush_tyre(axle: Axle, table: Table, pressure_bar: float) -> BrushTyre:
    carcass = inf
    if "carcass_N_per_mm" in table:
        per_bar = table.get("carcass_per_bar_N_per_mm", 0.0)
        carcass = (table["carcass_N_per_mm"] + per_bar * pressure_bar) / MM
    return BrushTyre(
        **asdict(axle.tyre),
        shear=table["shear_per_foundation"] * axle.tyre.foundation,
        camber_share=table.get("camber_thrust_share", CAMBER_SHARE),
        least_pressure=table.get("friction_least_pressure_kPa", 0.0) * 1e3,
        carcass=carcass,
    )


def pad_depth(tyre: BrushTyre, load: float, camber: float) -> float:
    """Tread and carcass together on the setup pad, m."""
    tread = bed_at_load(tyre, load, camber, 1 / tyre.radius, 1 / tyre.crown)
    return tread.depth + load / tyre.carcass


def read_slip_case(venue: Table, case: Table) -> SlipCase:
    place = venue["venue"]
    turn = case.get("turn_radius_m")
    return SlipCase(
        roll_angle=case["roll_angle_deg"] * DEG,
        speed=case["speed_m_s"],
        course=case.get("heading_deg", 0.0) * DEG,
        acceleration=case.get("acceleration_m_s2", 0.0),
        path_curvature=case.get("path_curvature_per_m", 0.0),
        turn_curvature=1 / turn if turn else 0.0,
        yaw_acceleration=case.get("yaw_acceleration_rad_s2", 0.0),
        headwind=case.get("headwind_m_s", 0.0),
        crosswind=case.get("crosswind_m_s", 0.0),
        bumps=tuple(bump * MM for bump in case.get("bump_mm", [0.0] * 4)),
        radius=read_radius(place, case),
        slope=atan(place["slope_percent"] / 100),
        air_density=place["air_density_kg_m3"],
    )


# --- section 11: course, heading, accelerations ---------------------------------------------------


def heading(case: SlipCase, beta: float) -> float:
    """psi of the body, rad; beta is the sideslip, positive when the car goes to the left of its nose."""
    return case.course - beta


def gravity(case: SlipCase, psi: float) -> Point:
    around = -GRAVITY * sin(case.roll_angle) * cos(case.slope)
    along = -GRAVITY * sin(case.slope)
    return (
        around * sin(psi) + along * cos(psi),
        around * cos(psi) - along * sin(psi),
        -GRAVITY * cos(case.roll_angle) * cos(case.slope),
    )


def course_acceleration(case: SlipCase, height: float) -> Point:
    """Of the centre of gravity, `height` above the surface: along and across the course, and away from
    the surface, m/s2."""
    chi, v, k = case.course, case.speed, case.curvature
    hk = height * k
    turning = v * case.course_rate
    a_t = case.acceleration * (
        cos(chi) ** 2 + (1 - hk) * sin(chi) ** 2
    ) - hk * turning * sin(chi) * cos(chi)
    a_n = turning * (1 - hk * cos(chi) ** 2) - hk * case.acceleration * sin(
        chi
    ) * cos(chi)
    a_z = (1 - hk) * k * (v * sin(chi)) ** 2
    aside = case.low * v**2 * case.turn_curvature
    a_t -= aside * cos(case.roll_angle) * sin(chi)
    a_n -= aside * cos(case.roll_angle) * cos(chi)
    a_z += aside * sin(case.roll_angle)
    return a_t, a_n, a_z


def apparent(case: SlipCase, height: float, beta: float) -> Point:
    """b: gravity minus the acceleration of the centre of gravity, in the car's axes."""
    a_t, a_n, a_z = course_acceleration(case, height)
    g_x, g_y, g_z = gravity(case, heading(case, beta))
    return (
        g_x - a_t * cos(beta) + a_n * sin(beta),
        g_y - a_t * sin(beta) - a_n * cos(beta),
        g_z - a_z,
    )


def stand_of(car: SlipCar, case: SlipCase, beta: float) -> Stand:
    """Surface, apparent acceleration and air as the body sees them."""
    along = (case.speed + case.headwind) * cos(beta) - case.crosswind * sin(
        beta
    )
    across = (case.speed + case.headwind) * sin(beta) + case.crosswind * cos(
        beta
    )
    return Stand(
        heading=heading(case, beta),
        radius=case.radius,
        push=apparent(case, car.cg_height, beta),
        bumps=list(case.bumps),
        dynamic_pressure=case.air_density * (along**2 + across**2) / 2,
        flow_angle=atan2(across, along),
    )


def rotation(case: SlipCase, psi: float) -> Point:
    """omega = (p, q, r), rad/s, in the car's axes."""
    phi_rate = case.climb_rate()
    turn = case.low * case.speed * case.turn_curvature
    phi = case.roll_angle
    return (
        phi_rate * cos(psi) - turn * sin(phi) * sin(psi),
        -phi_rate * sin(psi) - turn * sin(phi) * cos(psi),
        case.yaw_rate(),
    )


def rotation_rate(case: SlipCase, psi: float) -> Point:
    """(p', q', r'), rad/s2; r of the path alone in p' and q'."""
    v, chi, r = case.speed, case.course, case.path_yaw_rate
    phi_rate = case.climb_rate()
    phi_rate_2 = case.curvature * (
        case.acceleration * sin(chi) + v * case.course_rate * cos(chi)
    )
    return (
        phi_rate_2 * cos(psi) - phi_rate * r * sin(psi),
        -phi_rate_2 * sin(psi) - phi_rate * r * cos(psi),
        case.yaw_acceleration,
    )


def wheel_momentum(car: SlipCar, case: SlipCase) -> float:
    """H of the four wheels' spin, kgm2/s."""
    return sum(
        2 * end.wheel_inertia * case.speed / end.brush.radius
        for end in car.ends
    )


def inertia_moments(car: SlipCar, case: SlipCase, beta: float) -> Point:
    """What the forces must supply about x, y and z, Nm.

    Without a yaw inertia the body's part is zero, without wheel inertias the wheels' part.
    """
    psi = heading(case, beta)
    p, q, r = rotation(case, psi)
    p_rate, q_rate, r_rate = rotation_rate(case, psi)
    spin = wheel_momentum(car, case)
    i_x, i_y, i_z = car.roll_inertia, car.pitch_inertia, car.yaw_inertia
    if i_z == 0:
        i_x = i_y = 0.0
    return (
        i_x * p_rate + (i_z - i_y) * q * r - spin * r,
        i_y * q_rate + (i_x - i_z) * p * r,
        i_z * r_rate + (i_y - i_x) * p * q + spin * p,
    )
