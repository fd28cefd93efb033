"""What the user describes, as typed and frozen objects in SI units.

Lengths are metres, angles radians, masses kilograms, forces newtons, pressures pascals, speeds m/s.
`station` is measured behind the front axle line, as in the files. `None` marks an optional entry
that the user left out; the command that needs it asks for it (see `project.needs`).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np

    from setupopt.project.limits_model import Limits
    from setupopt.project.section import Section

AXLES: tuple[Literal["front", "rear"], ...] = ("front", "rear")
SIDES: tuple[Literal["left", "right"], ...] = ("left", "right")
WHEELS: tuple[str, ...] = ("fl", "fr", "rl", "rr")


@dataclass(frozen=True, slots=True)
class Tyre:
    """A tyre as an elastic foundation under a crowned tread (docs/model.md, tyre)."""

    name: str
    radius: float
    tread_width: float
    crown_radius: float
    foundation: float  # N/m3 at no pressure
    foundation_per_pressure: float  # N/m3 per Pa
    friction: float  # at `friction_pressure`
    friction_pressure: float  # Pa of contact pressure
    # Friction falls as contact pressure to minus this power
    friction_exponent: float
    compliance: float  # rad of lean per N of lateral force
    shear_per_foundation: float  # tangential over radial stiffness of the tread
    # Share of the geometric spin that the tread follows
    camber_thrust_share: float
    # Pa, mean contact pressure under which friction was not measured
    friction_least_pressure: float
    carcass: float  # N/m at no pressure; rigid where this and the next are zero
    carcass_per_pressure: float  # N/m per Pa
    load_limit: float | None
    damping: float | None  # N s/m
    relaxation: float | None = None  # m
    # Pa of inflation, least and most on the rig
    measured_pressure: tuple[float, float] | None = None
    # Deg C of the gas inside, for the cold pressure of the sheets
    running_temperature: float | None = None
    cold_temperature: float = 20.0  # deg C at which it is set cold
    grip_share: float = 1.0  # of `friction`, at the running temperature
    radius_growth_speed: tuple[float, ...] = ()  # m/s, rising
    radius_growth: tuple[float, ...] = ()  # m, against the radius at rest


@dataclass(frozen=True, slots=True)
class Axle:
    """What belongs to one axle and is not adjusted. Rates and travels are at the wheel unless said."""

    track: float
    unsprung_mass: float  # per wheel
    unsprung_height: float
    roll_centre_height: float
    camber_gain: float  # rad of camber per m of bump travel
    motion_ratio: float  # spring travel / wheel travel
    bump_travel: float
    droop_travel: float
    stop_rate: float
    anti_slope: float
    damper_bump: float | None  # N s/m at the damper
    damper_rebound: float | None
    wheel_inertia: float | None  # of one wheel about its axle, kg m2
    toe_over: float  # m; over this length toe is measured
    tyre: Tyre  # of the left wheel, or of both
    tyre_right: Tyre | None = None  # None: the same as on the left

    @property
    def tyres(self) -> tuple[Tyre, Tyre]:
        """Left, right."""
        return self.tyre, self.tyre_right or self.tyre


@dataclass(frozen=True, slots=True)
class WingSetting:
    """What an element does at one angle, as measured there."""

    angle: float
    free_area: float
    ground_area: float
    peak_gap: float
    drag_area: float | None


@dataclass(frozen=True, slots=True)
class AirElement:
    """A part of the body that makes downforce, alone and from the gap under it."""

    name: str
    station: float  # of its centre
    chord: float
    span: float
    offset: float  # of its underside above the floor line
    free_area: float  # m2, downforce per dynamic pressure far from the surface
    ground_area: float  # m2, what the gap adds at `peak_gap`
    peak_gap: float
    yaw_loss: float  # per rad2
    drag_area: float | None = None  # m2, its share of the body's drag area
    settings: tuple[WingSetting, ...] = ()  # by angle, the smallest first


@dataclass(frozen=True, slots=True)
class Air:
    """Air loads on the whole car."""

    drag_area: float
    drag_height: float
    side_area: float  # m2 per rad
    side_station: float
    side_height: float
    front_ride_station: float
    rear_ride_station: float
    elements: tuple[AirElement, ...]


@dataclass(frozen=True, slots=True)
class ClearancePoint:
    """A point of the floor that must not touch. `side` is positive to the left, 0 on the centre line."""

    name: str
    station: float
    side: float
    offset: float
    least_gap: float  # in every case
    least_static_gap: float | None = None  # on the pad


@dataclass(frozen=True, slots=True)
class Body:
    """Wings and floor that the car can wear: its air loads, and the floor points that they bring along."""

    name: str
    air: Air
    clearance: tuple[ClearancePoint, ...]


@dataclass(frozen=True, slots=True)
class Car:
    """The car, driver aboard. Shares are fractions of one."""

    name: str
    mass: float
    wheelbase: float
    front_share: float  # of the weight
    cg_height: float
    driven: Literal["front", "rear", "all"]
    drive_front: float  # share of the drive force on the front axle
    brake_front: float
    differential: Literal["locked", "open"]
    pitch_inertia: float | None
    roll_inertia: float | None
    yaw_inertia: float | None  # of the whole car
    power: float | None  # W
    front: Axle
    rear: Axle
    air: Air
    clearance: tuple[ClearancePoint, ...]
    left_share: float = 0.5  # of the weight, at even cross weight
    cross_share: float = 0.5  # of the weight on front right and rear left
    driver_reaction: float | None = None  # s
    steer_limit: float | None = None  # of the road wheels
    steer_rate: float | None = None  # rad/s


@dataclass(frozen=True, slots=True)
class Sweep:
    """The roll angles of the main sweep, and its speed.

    On a section of parts the sweep goes from the first to the last place with such an angle, `along`: or from
    one place to another; the step of an angle is there a length, that of the tightest arc.
    """

    start: float
    stop: float
    step: float
    speed: float
    along: tuple[float, float, float] | None = None  # m; from, to, step


@dataclass(frozen=True, slots=True)
class Attitude:
    """One way the car is driven; combined with every roll angle."""

    name: str
    heading: float
    acceleration: float
    path_curvature: float
    yaw_acceleration: float
    turn_radius: float | None
    headwind: float
    crosswind: float
    bump: tuple[float, float, float, float]  # FL, FR, RL, RR
    speed: float | None  # None: the sweep's


def straight(name: str) -> Attitude:
    """The attitude of a car that rolls straight along the axis, at the sweep's speed."""
    still = (0.0, 0.0, 0.0, 0.0)
    return Attitude(name, 0.0, 0.0, 0.0, 0.0, None, 0.0, 0.0, still, None)


@dataclass(frozen=True, slots=True, eq=False)
class DrivenPath:
    """Points of a route, SI. `table` (points, 1 + names): the way driven, then the columns `names`: "at",
    where it is on the section in the measure of the sweep, and what the cases there have.
    """

    names: tuple[str, ...]
    table: np.ndarray

    @property
    def length(self) -> float:
        """Of the whole way, m."""
        return float(self.table[-1, 0])


@dataclass(frozen=True, slots=True)
class Venue:
    """The place: section, surface, air, and what is driven there."""

    name: str
    section: Literal["circle", "flat", "parts", "survey"]
    curvature: float  # of the section, 1/m; 0 when flat; the tightest of parts, either way
    slope: float  # rad, the axis rising
    surface_grip: float
    air_density: float
    roughness: float | None  # ISO 8608 displacement PSD at 0.1 cycles/m, m3
    sweep: Sweep
    attitudes: tuple[Attitude, ...]
    profile: Section | None = None  # of parts, given or surveyed
    # Of a route, whose points are the sweep then
    path: DrivenPath | None = None


@dataclass(frozen=True, slots=True)
class WheelSetup:
    """What mechanics adjust on one wheel, where it is not as on the other side; None: as the axle says."""

    camber: float | None = None
    ride_height: float | None = None
    spring: float | None = None
    pressure: float | None = None
    toe: float | None = None
    damper_bump: float | None = None
    damper_rebound: float | None = None


@dataclass(frozen=True, slots=True)
class AxleSetup:
    """What mechanics adjust on one axle, both sides alike but for `left` and `right`."""

    camber: float
    ride_height: float
    spring: float  # N/m at the spring
    anti_roll: float  # N/m at the wheel
    third: float  # N/m at the wheel pair
    pressure: float  # Pa
    toe: float  # m
    # N s/m at the damper; None: as car.toml says
    damper_bump: float | None = None
    damper_rebound: float | None = None
    left: WheelSetup = WheelSetup()
    right: WheelSetup = WheelSetup()

    def of(self, field: str, side: Literal["left", "right"]) -> float | None:
        """A setting of the wheel on one side."""
        own: float | None = getattr(getattr(self, side), field)
        return getattr(self, field) if own is None else own

    def sides(self, field: str) -> tuple[float | None, float | None]:
        """A setting of the left and the right wheel; the axle's twice where wheels have none of their own."""
        if field not in WheelSetup.__slots__:
            return getattr(self, field), getattr(self, field)
        return self.of(field, "left"), self.of(field, "right")


@dataclass(frozen=True, slots=True)
class BalanceSetup:
    """How forces and weight are shared; None: as car.toml says, cross weight even."""

    brake_front: float | None = None
    drive_front: float | None = None
    cross_share: float | None = None  # on front right and rear left


@dataclass(frozen=True, slots=True)
class Ballast:
    """A piece of ballast, which the mass of car.toml does not hold."""

    name: str
    mass: float
    station: float
    side: float  # positive to the left
    height: float


@dataclass(frozen=True, slots=True)
class Setup:
    """A complete setup."""

    name: str
    front: AxleSetup
    rear: AxleSetup
    body: str | None = None  # name of the body worn; None: the one of car.toml
    balance: BalanceSetup = BalanceSetup()
    # Elements with settings, by name, and their angles
    wings: tuple[tuple[str, float], ...] = ()
    ballast: tuple[Ballast, ...] = ()

    @property
    def ride_heights(self) -> tuple[float, float]:
        """At the front and rear ride-height stations on the centre line, m."""
        front, rear = (
            [h for h in axle.sides("ride_height") if h]
            for axle in (self.front, self.rear)
        )
        return sum(front) / 2.0, sum(rear) / 2.0


@dataclass(frozen=True, slots=True)
class Range:
    """Where a setting may go: from `lower` to `upper`; in steps, from a list, or free."""

    lower: float
    upper: float
    step: float | None = None
    choices: tuple[float, ...] | None = None


@dataclass(frozen=True, slots=True)
class WheelLimits:
    """Ranges of one wheel's settings."""

    camber: Range | None = None
    ride_height: Range | None = None
    spring: Range | None = None
    pressure: Range | None = None
    toe: Range | None = None
    damper_bump: Range | None = None
    damper_rebound: Range | None = None


@dataclass(frozen=True, slots=True)
class BalanceLimits:
    """Ranges of what `BalanceSetup` has."""

    brake_front: Range | None = None
    drive_front: Range | None = None
    cross_share: Range | None = None


@dataclass(frozen=True, slots=True)
class AxleLimits:
    """Ranges of one axle's settings; a setting without a range stays as it is."""

    camber: Range | None
    ride_height: Range | None
    spring: Range | None
    anti_roll: Range | None
    third: Range | None
    pressure: Range | None
    toe: Range | None = None
    damper_bump: Range | None = None
    damper_rebound: Range | None = None
    # A range that frees this side from the other
    left: WheelLimits | None = None
    right: WheelLimits | None = None


@dataclass(frozen=True, slots=True)
class Project:
    """A whole project folder, read and checked. `cautions` and `assumed` are for the user's eyes, in order.

    `car` wears the body that `setup` names; `project.bodies.with_body` puts on another one.
    """

    folder: Path
    car: Car
    venue: Venue
    setup: Setup
    limits: Limits | None
    cautions: tuple[str, ...]
    # The one of car.toml, kept while the car wears another
    own_body: Body | None = None
    bodies: tuple[Body, ...] = ()  # what there is besides it, by name
    # What is taken for entries that car.toml leaves out
    assumed: tuple[str, ...] = ()
