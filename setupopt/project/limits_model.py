"""What limits.toml says, as typed and frozen objects in SI units; units and None are as in `project.model`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from setupopt.project.model import AxleLimits, BalanceLimits, Range
from setupopt.units import DEG


@dataclass(frozen=True, slots=True)
class Arch:
    """Wheel-arch room: bump travel of either wheel <= room + room_per_camber * camber."""

    axle: Literal["front", "rear"]
    room: float  # m of bump travel at zero camber
    room_per_camber: float  # m per rad of camber


@dataclass(frozen=True, slots=True)
class AttitudeLoad:
    """The least load of every wheel in the cases of one attitude."""

    attitude: str
    least: float


@dataclass(frozen=True, slots=True)
class Packaging:
    """Limits that hold in every case; rake and ground clearance on the pad."""

    rake: tuple[float, float] | None  # rear minus front ride height
    wheel_load_least: float | None
    travel_left_least: float | None
    arches: tuple[Arch, ...]
    # Of everything the floor carries
    ground_clearance_least: float | None = None
    wheel_loads: tuple[AttitudeLoad, ...] = ()


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What the mechanics can hold, plus and minus."""

    camber: float
    ride_height: float
    spring_share: float  # fraction of the spring rate
    pressure: float
    toe: float | None = None  # m, of one wheel; on the sheets only


@dataclass(frozen=True, slots=True)
class Spread:
    """How uncertain the inputs are, plus and minus, as shares of their values; None: taken as exact."""

    surface_grip: float | None
    downforce: (
        float | None
    )  # free and ground areas of all air elements together
    drag: float | None
    side_force: float | None
    mass: (
        float | None
    )  # of the whole car: corner shares, CG height and unsprung masses stay
    tyre_friction: float | None


@dataclass(frozen=True, slots=True)
class Adjuster:
    """How one axle's settings are turned in the garage."""

    camber_per_shim: float | None  # rad of camber per m of shim
    shims: tuple[float, ...]  # m
    ride_height_per_turn: float | None  # m per turn of the push-rod or perch
    anti_roll_positions: tuple[
        float, ...
    ]  # N/m at the wheel, in the order of the positions
    damper_clicks_bump: tuple[
        float, ...
    ] = ()  # N s/m by click, the first at 0 clicks
    damper_clicks_rebound: tuple[float, ...] = ()
    shims_fitted: tuple[float, ...] = ()  # m, the stack that is in today


@dataclass(frozen=True, slots=True)
class RouteLimits:
    """What a route must do, and what it may ask of car, driver and place."""

    from_angle: float  # roll angle of the floor
    to_angle: float  # the highest roll angle that must be reached
    hold: float  # m to go at that angle, or beyond it
    returns: bool  # whether the car comes back to the floor
    least_margin: float | None
    wheel_load_least: float | None
    wheel_load_most: float | None
    steer_rate: float | None  # rad/s
    stop: float | None  # m/s2, deceleration on the floor
    speed: Range | None
    radius: Range | None  # of the section; for the map alone


@dataclass(frozen=True, slots=True)
class Require:
    """What a proposal must stand at every place; None and False ask nothing.

    `road`: the venue's own; `builds`, `spread`: the worst corner of the tolerance, and of the uncertain
    inputs, keeps its minimum margin.
    """

    bump: float | None = None  # m, height of the obstacle
    seam: float | None = None  # m, height of the step
    gust: float | None = None  # m/s
    road: bool = False
    builds: bool = False
    spread: bool = False


@dataclass(frozen=True, slots=True)
class Disturbed:
    """What the car may do and still stand a disturbance; common practice, no source."""

    drift: float = 0.3  # m off its path
    sideslip: float = 4.0 * DEG  # off the trim's
    airborne: float = 0.06  # s with two wheels off the surface
    within: float = 2.0  # s after which it is back within a tenth


@dataclass(frozen=True, slots=True)
class Limits:
    """What the setup may be: ranges, packaging, tolerances, adjusters; and how sure the inputs are."""

    front: AxleLimits
    rear: AxleLimits
    packaging: Packaging
    tolerance: Tolerance | None
    spread: Spread | None
    adjuster_front: Adjuster | None
    adjuster_rear: Adjuster | None
    balance: BalanceLimits = BalanceLimits()  # noqa: RUF009 - it is frozen
    wings: tuple[tuple[str, Range], ...] = ()  # by name of the element
    ballast: tuple[
        tuple[str, Range], ...
    ] = ()  # stations, by name of the piece
    route: RouteLimits | None = None
    require: Require | None = None
    speed: Range | None = None  # of the sweep, m/s; None: that of venue.toml
    disturbed: Disturbed = Disturbed()


def disturbed(limits: Limits | None) -> Disturbed:
    """What the car may do and still stand a disturbance; as usual where there are no limits."""
    return limits.disturbed if limits else Disturbed()
