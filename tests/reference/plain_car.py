"""The plain reference's car and load case: TOML tables in file units turned into SI and radians."""

from dataclasses import dataclass
from math import atan, atan2, cos, inf, pi, sin, sqrt
from typing import Any

from plain_tyre import Tyre, patch_at_load

GRAVITY = 9.80665
MM = 1e-3
DEG = pi / 180

Table = dict[str, Any]
Point = tuple[float, float, float]  # x, y, height in the pad state


@dataclass(frozen=True)
class Axle:
    """One end of the car; masses, loads and rates are per wheel."""

    x: float
    track: float
    static_load: float
    static_depth: float
    tyre: Tyre
    camber: float
    camber_gain: float
    wheel_rate: float
    anti_roll: float
    third: float
    bump_travel: float
    droop_travel: float
    stop_rate: float
    unsprung_mass: float
    unsprung_height: float
    roll_centre: float
    lift_per_drive: float  # link force up on the body per tractive force
    drive_share: float
    brake_share: float


@dataclass(frozen=True)
class Strip:
    """A piece of a downforce element."""

    point: Point
    free_area: float
    ground_area: float
    peak_gap: float
    yaw_loss: float


@dataclass(frozen=True)
class Car:
    mass: float
    wheelbase: float
    cg_height: float
    open_differential: bool
    axles: tuple[Axle, Axle]
    strips: list[Strip]
    drag_area: float
    drag_height: float
    side_area: float
    side_x: float
    side_height: float
    ride_points: list[Point]
    clearance_points: list[Point]

    @property
    def sprung_mass(self) -> float:
        return self.mass - sum(2 * axle.unsprung_mass for axle in self.axles)

    @property
    def sprung_height(self) -> float:
        low = sum(
            2 * axle.unsprung_mass * axle.unsprung_height for axle in self.axles
        )
        return (self.mass * self.cg_height - low) / self.sprung_mass


@dataclass(frozen=True)
class Stand:
    """How and where the car stands: the surface, the apparent acceleration, the air."""

    heading: float
    radius: float  # inf on a flat surface
    push: Point  # gravity minus the acceleration of the centre of gravity
    bumps: list[float]
    dynamic_pressure: float
    flow_angle: float

    def around(self, x: float, y: float) -> float:
        """The circumferential coordinate of a point."""
        return x * sin(self.heading) + y * cos(self.heading)

    def height(self, x: float, y: float) -> float:
        """Of the surface over the tangent plane below the car."""
        s = self.around(x, y)
        return (
            0.0
            if self.radius == inf
            else s**2 / (self.radius + sqrt(self.radius**2 - s**2))
        )

    def slope_left(self, x: float, y: float) -> float:
        """Angle of the surface towards +y."""
        if self.radius == inf:
            return 0.0
        s = self.around(x, y)
        return atan(s / sqrt(self.radius**2 - s**2) * cos(self.heading))

    def curvatures(self, tyre: Tyre) -> tuple[float, float]:
        """Along and across the tread, tyre against surface."""
        along = 1 / tyre.radius - sin(self.heading) ** 2 / self.radius
        return along, 1 / tyre.crown - cos(self.heading) ** 2 / self.radius


def read_car(car: Table, setup: Table, surface_grip: float) -> Car:
    body, air = car["car"], car["air"]
    axles = (
        read_axle(car, setup, surface_grip, 0),
        read_axle(car, setup, surface_grip, 1),
    )
    clearances = car.get("clearance", [])
    return Car(
        mass=body["mass_kg"],
        wheelbase=body["wheelbase_mm"] * MM,
        cg_height=body["cg_height_mm"] * MM,
        open_differential=body["differential"] == "open",
        axles=axles,
        strips=[
            strip
            for table in air["element"]
            for strip in strips_of(car, setup, table)
        ],
        drag_area=air["drag_area_m2"],
        drag_height=air["drag_height_mm"] * MM,
        side_area=air["side_area_m2_per_rad"],
        side_x=axles[0].x - air["side_station_mm"] * MM,
        side_height=air["side_height_mm"] * MM,
        ride_points=[
            floor_point(car, setup, air[f"{end}_ride_station_mm"])
            for end in ENDS
        ],
        clearance_points=[
            floor_point(
                car,
                setup,
                spot["station_mm"],
                spot["side_mm"],
                spot["offset_mm"],
            )
            for spot in clearances
        ],
    )


ENDS = ("front", "rear")


def read_axle(
    car: Table, setup: Table, surface_grip: float, index: int
) -> Axle:
    table, settings = car[ENDS[index]], setup[ENDS[index]]
    tyre = read_tyre(
        car["tyre"][table["tyre"]], settings["pressure_bar"], surface_grip
    )
    load = car["car"]["mass_kg"] * GRAVITY * axle_share(car, index) / 2
    camber = settings["camber_deg"] * DEG
    return Axle(
        x=axle_x(car, index),
        track=table["track_mm"] * MM,
        static_load=load,
        static_depth=patch_at_load(
            tyre, load, camber, 1 / tyre.radius, 1 / tyre.crown
        ).depth,
        tyre=tyre,
        camber=camber,
        camber_gain=table["camber_gain_deg_per_mm"] * DEG / MM,
        wheel_rate=settings["spring_N_per_mm"]
        / MM
        * table["motion_ratio"] ** 2,
        anti_roll=settings["anti_roll_N_per_mm"] / MM,
        third=settings.get("third_N_per_mm", 0.0) / MM,
        bump_travel=table["bump_travel_mm"] * MM,
        droop_travel=table["droop_travel_mm"] * MM,
        stop_rate=table["stop_rate_N_per_mm"] / MM,
        unsprung_mass=table["unsprung_mass_kg"],
        unsprung_height=table["unsprung_height_mm"] * MM,
        roll_centre=table["roll_centre_height_mm"] * MM,
        lift_per_drive=(-1, 1)[index] * table["anti_slope"],
        drive_share=drive_shares(car["car"])[index],
        brake_share=shares(car["car"]["brake_front_percent"])[index],
    )


def shares(front_percent: float) -> tuple[float, float]:
    return front_percent / 100, 1 - front_percent / 100


def drive_shares(body: Table) -> tuple[float, float]:
    fixed = {"front": 100.0, "rear": 0.0}
    driven = body["driven"]
    return shares(
        fixed[driven] if driven in fixed else body["drive_front_percent"]
    )


def axle_share(car: Table, index: int) -> float:
    return shares(car["car"]["front_weight_percent"])[index]


def axle_x(car: Table, index: int) -> float:
    """The centre of gravity is at x = 0, so the heavier axle is the nearer one."""
    wheelbase = car["car"]["wheelbase_mm"] * MM
    return (wheelbase, -wheelbase)[index] * axle_share(car, 1 - index)


def read_tyre(table: Table, pressure_bar: float, surface_grip: float) -> Tyre:
    per_bar = table["foundation_per_bar_N_per_mm3"]
    return Tyre(
        radius=table["radius_mm"] * MM,
        width=table["tread_width_mm"] * MM,
        crown=table["crown_radius_mm"] * MM,
        foundation=(table["foundation_N_per_mm3"] + per_bar * pressure_bar)
        / MM**3,
        friction=table["friction"] * surface_grip,
        friction_pressure=table["friction_pressure_kPa"] * 1e3,
        friction_exponent=table["friction_exponent"],
        compliance=table["inclination_compliance_deg_per_kN"] * DEG / 1e3,
    )


def floor_point(
    car: Table,
    setup: Table,
    station_mm: float,
    side_mm: float = 0.0,
    offset_mm: float = 0.0,
) -> Point:
    """A point of the floor; its height follows the line through the two ride heights."""
    front, rear = (car["air"][f"{end}_ride_station_mm"] for end in ENDS)
    low, high = (setup[end]["ride_height_mm"] for end in ENDS)
    floor = low + (high - low) * (station_mm - front) / (rear - front)
    return (
        axle_x(car, 0) - station_mm * MM,
        side_mm * MM,
        (floor + offset_mm) * MM,
    )


def strips_of(car: Table, setup: Table, element: Table) -> list[Strip]:
    """Midpoints of 3 pieces along the chord by 5 across the span."""
    stations = [
        element["station_mm"] + element["chord_mm"] * k / 3 for k in (-1, 0, 1)
    ]
    sides = [element["span_mm"] * k / 5 for k in (-2, -1, 0, 1, 2)]
    return [
        Strip(
            floor_point(car, setup, station, side, element["offset_mm"]),
            element["free_area_m2"] / 15,
            element["ground_area_m2"] / 15,
            element["peak_gap_mm"] * MM,
            element["yaw_loss_per_rad2"],
        )
        for station in stations
        for side in sides
    ]


def read_stand(car: Car, venue: Table, case: Table) -> Stand:
    place = venue["venue"]
    stand_radius = read_radius(place, case)
    along = case["speed_m_s"] + case.get("headwind_m_s", 0.0)
    across = case.get("crosswind_m_s", 0.0)
    return Stand(
        heading=case.get("heading_deg", 0.0) * DEG,
        radius=stand_radius,
        push=apparent_acceleration(
            case, place["slope_percent"], stand_radius, car.cg_height
        ),
        bumps=[bump * MM for bump in case.get("bump_mm", [0.0] * 4)],
        dynamic_pressure=place["air_density_kg_m3"]
        * (along**2 + across**2)
        / 2,
        flow_angle=atan2(across, along),
    )


def read_radius(place: Table, case: Table) -> float:
    if "radius_mm" in case:
        return inf if case["radius_mm"] is None else case["radius_mm"] * MM
    return place["radius_mm"] * MM if place["section"] == "circle" else inf


def apparent_acceleration(
    case: Table, slope_percent: float, radius: float, height: float
) -> Point:
    """Gravity minus the acceleration of the centre of gravity, in the car's axes."""
    phi, psi = case["roll_angle_deg"] * DEG, case.get("heading_deg", 0.0) * DEG
    alpha, speed = atan(slope_percent / 100), case["speed_m_s"]
    around = -GRAVITY * sin(phi) * cos(alpha)
    along = -GRAVITY * sin(alpha)
    turn_radius = case.get("turn_radius_m")
    turn = speed**2 / turn_radius if turn_radius else 0.0
    around += turn * cos(
        phi
    )  # minus the turn's own acceleration, which points to the low side
    maximise_worst = (
        0.0
        if radius == inf
        else (speed * sin(psi)) ** 2 * (radius - height) / radius**2
    )
    return (
        around * sin(psi)
        + along * cos(psi)
        - case.get("acceleration_m_s2", 0.0),
        around * cos(psi)
        - along * sin(psi)
        - speed**2 * case.get("path_curvature_per_m", 0.0),
        -GRAVITY * cos(phi) * cos(alpha) - maximise_worst - turn * sin(phi),
    )
