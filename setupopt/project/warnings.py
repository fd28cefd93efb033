"""What is allowed but looks odd: a caution to the user, never a refusal."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from setupopt.project.bodies import OWN, file_name
from setupopt.project.car_as_set import car_as_set
from setupopt.project.limits_model import Limits
from setupopt.project.limits_warnings import in_mm, limit_cautions, out_of_reach
from setupopt.project.model import (
    Attitude,
    Body,
    Car,
    Setup,
    Sweep,
    Venue,
)
from setupopt.project.static_checks import (
    axles,
    corners,
    floor_height,
    penetration,
    unsprung_mass,
    widest,
)
from setupopt.units import DEG, GRAVITY, PERCENT

_MISSED = math.radians(0.5)  # the angles of a surveyed floor are as good
DEEP = 0.15  # of a tyre's radius, pressed in at rest
HARD = 0.003


def cautions(
    car: Car,
    venue: Venue,
    setup: Setup,
    limits: Limits | None,
    bodies: Sequence[Body] = (),
) -> tuple[str, ...]:
    """Everything worth a second look, in the order of the files; `bodies`: what `car` wears instead."""
    found = [
        *_masses(car),
        *_suspension(car),
        *_tyres(car, setup),
        *_air(car, setup, OWN),
    ]
    found += [
        *_bodies(car, setup, bodies),
        *_venue(venue),
        *_beyond(car, venue),
        *_attitudes(venue),
    ]
    found += [*_inertias(car, venue)]
    if limits is None:
        return tuple(found)
    found += [*limit_cautions(car, setup, limits)]
    for body in bodies:
        found += out_of_reach(
            _beside(car, body), setup, limits, file_name(body.name)
        )
    return tuple(found)


def _masses(car: Car) -> Iterator[str]:
    narrow = min(car.front.track, car.rear.track)
    if car.cg_height > narrow / 2.0:
        yield f"car.toml car.cg_height_mm: {in_mm(car.cg_height)} mm is above half the track"
    if car.cg_height > car.wheelbase / 2.0:
        yield f"car.toml car.cg_height_mm: {in_mm(car.cg_height)} mm is above half the wheelbase"
    if not 0.25 <= car.front_share <= 0.75:
        yield f"car.toml car.front_weight_percent: {car.front_share / PERCENT:g} % is far from even"
    share = unsprung_mass(car) / car.mass
    if share > 0.4:
        yield f"car.toml: the unsprung masses make {share / PERCENT:.0f} % of the car"


def _suspension(car: Car) -> Iterator[str]:
    for name, axle, _ in axles(car):
        if axle.roll_centre_height > car.cg_height:
            yield f"car.toml {name}.roll_centre_height_mm: the roll centre lies above the CG"
        for key, travel in (
            ("bump", axle.bump_travel),
            ("droop", axle.droop_travel),
        ):
            if travel == 0:
                yield f"car.toml {name}.{key}_travel_mm: no {key} travel, the wheel stands on its stop"
        if axle.stop_rate == 0:
            yield f"car.toml {name}.stop_rate_N_per_mm: stops without a rate hold nothing"


def _tyres(car: Car, setup: Setup) -> Iterator[str]:
    for name, axle, tyre, load, camber, pressure in corners(
        car_as_set(car, setup), setup
    ):
        depth = penetration(tyre, load, camber, pressure)
        if not HARD * tyre.radius <= depth <= DEEP * tyre.radius:
            kind = "soft" if depth > tyre.radius * DEEP else "hard"
            yield (
                f"car.toml tyre.{tyre.name}: very {kind}, a {name} corner of {load:.0f} N "
                f"presses it in by {in_mm(depth)} mm"
            )
        if tyre.load_limit is not None and load > tyre.load_limit:
            yield f"car.toml tyre.{tyre.name}.load_limit_N: a {name} corner stands on it with {load:.0f} N"
        if load < axle.unsprung_mass * GRAVITY:
            yield f"car.toml {name}.unsprung_mass_kg: the wheel is heavier than its corner of the car"


def _air(car: Car, setup: Setup, file: str) -> Iterator[str]:
    yield from _stations(car, file)
    for element in car.air.elements:
        tyres = (*car.front.tyres, *car.rear.tyres)
        if element.ground_area > 0.0 and element.peak_gap > max(
            tyre.radius for tyre in tyres
        ):
            peak = in_mm(element.peak_gap)
            yield f"{file} air.element {element.name!r}: a peak gap of {peak} mm exceeds a tyre's radius"
        gap = (
            floor_height(car.air, setup.ride_heights, element.station)
            + element.offset
        )
        if gap <= 0:
            yield f"{file} air.element {element.name!r}: touches the road at rest, gap {in_mm(gap)} mm"
    for point in car.clearance:
        gap = (
            floor_height(car.air, setup.ride_heights, point.station)
            + point.offset
        )
        if gap < point.least_gap - 1e-9:
            yield (
                f"{file} clearance {point.name!r}: {in_mm(gap)} mm clear at rest, "
                f"less than its least gap of {in_mm(point.least_gap)} mm"
            )


def _stations(car: Car, file: str) -> Iterator[str]:
    """Parts of a body that are not where the sign of their station, or their name, says."""
    air = car.air
    half = car.wheelbase / 2.0
    named = [
        ("air.front_ride_station_mm", air.front_ride_station),
        ("air.rear_ride_station_mm", air.rear_ride_station),
    ]
    named += [
        (f"air.element {element.name!r}", element.station)
        for element in air.elements
    ]
    named += [
        (f"clearance {point.name!r}", point.station) for point in car.clearance
    ]
    for label, station in named:
        ahead = station < -half or ("rear" in label.lower() and station < half)
        behind = station > 3.0 * half or (
            "front" in label.lower() and station > half
        )
        if ahead or behind:
            side = "ahead" if ahead else "behind"
            yield (
                f"{file} {label}: a station of {in_mm(station)} mm lies far {side}; "
                "it is measured behind the front axle, ahead of it negative"
            )


def _bodies(car: Car, setup: Setup, bodies: Sequence[Body]) -> Iterator[str]:
    for body in bodies:
        yield from _air(_beside(car, body), setup, file_name(body.name))


def _beside(car: Car, body: Body) -> Car:
    """The car in another body, without the points that are the car's: its file reports them."""
    return replace(
        car,
        air=body.air,
        clearance=() if body.clearance == car.clearance else body.clearance,
    )


def _venue(venue: Venue) -> Iterator[str]:
    if venue.surface_grip > 1.3:
        yield f"venue.toml venue.surface_grip: {venue.surface_grip:g} is more grip than tyres are measured on"
    slope = math.tan(venue.slope) / PERCENT
    if abs(slope) > 30.0:
        yield f"venue.toml venue.slope_percent: {slope:.4g} % is steep"


def _beyond(car: Car, venue: Venue) -> Iterator[str]:
    """Where the car reaches over the end of a section."""
    section = venue.profile
    sweep = venue.sweep
    ends = (
        None
        if section is None
        else sweep.along or section.stretch(sweep.start, sweep.stop)
    )
    if section is None or ends is None:
        return
    if sweep.along is None:
        yield from _short(sweep, section.end_angles)
    reached = widest(car, venue)
    over = [reached - ends[0], reached - (section.length - ends[1])]
    for end, length in zip(("beginning", "end"), over, strict=True):
        if length > 1e-3:
            yield (
                f"venue.toml section: swept to its {end}, where the car reaches {in_mm(length)} mm beyond it; "
                "the surface is taken to go on there as it ends"
            )


def _short(sweep: Sweep, angles: np.ndarray) -> Iterator[str]:
    """Roll angles that are asked for, but not on a section whose parts end at `angles`, rad."""
    for key, asked, found in (
        ("from", sweep.start, max(sweep.start, angles.min())),
        ("to", sweep.stop, min(sweep.stop, angles.max())),
    ):
        if abs(found - asked) > _MISSED:
            yield (
                f"venue.toml sweep.roll_angles_deg.{key}: the section has no {asked / DEG:.4g} deg; it is swept "
                f"{key} {found / DEG:.1f} deg, and what is beyond is not looked at"
            )


def _attitudes(venue: Venue) -> Iterator[str]:
    for attitude in venue.attitudes:
        speed = venue.sweep.speed if attitude.speed is None else attitude.speed
        if speed + attitude.headwind < 0:
            yield (
                f"venue.toml attitude {attitude.name!r}: the wind from behind is faster than the car, "
                "the air loads are not made for flow from behind"
            )


def _inertias(car: Car, venue: Venue) -> Iterator[str]:
    """Attitudes that turn the body or the spinning wheels, of a car without these inertias."""
    inertias = ("pitch_inertia", "roll_inertia", "yaw_inertia")
    body = [
        f"car.{name}_kgm2" for name in inertias if getattr(car, name) is None
    ]
    spin = [
        f"{name}.wheel_inertia_kgm2"
        for name, axle, _ in axles(car)
        if axle.wheel_inertia is None
    ]
    for attitude in venue.attitudes:
        missing = [
            *(body if _turns_body(attitude, venue) else ()),
            *(spin if _turns(attitude, venue) else ()),
        ]
        if missing:
            yield (
                f"venue.toml attitude {attitude.name!r}: turns the car, but car.toml leaves out "
                f"{', '.join(missing)}; the moments that this takes are left out too"
            )


def _turns(attitude: Attitude, venue: Venue) -> bool:
    """Whether the car's axes turn in space, so that spinning wheels resist."""
    climbs = venue.curvature != 0.0 and abs(math.sin(attitude.heading)) > 1e-9
    return (
        climbs
        or attitude.path_curvature != 0.0
        or attitude.turn_radius is not None
    )


def _turns_body(attitude: Attitude, venue: Venue) -> bool:
    """Whether turning the body takes a moment; a steady turn on a plane takes none."""
    is_plane_turn = venue.curvature == 0.0 and attitude.turn_radius is None
    return attitude.yaw_acceleration != 0.0 or (
        not is_plane_turn and _turns(attitude, venue)
    )
