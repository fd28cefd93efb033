"""From the files' units to SI: the checked tables become the objects of `project.model`."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from setupopt.project import model
from setupopt.project.section import Section
from setupopt.units import (
    BAR,
    DEG,
    DEG_PER_KN,
    DEG_PER_MM,
    KPA,
    KW,
    MM,
    MM_PER_DEG,
    N_PER_MM,
    N_PER_MM3,
    N_PER_MM3_PER_BAR,
    NS_PER_MM,
    PERCENT,
    ROUGHNESS,
)

if TYPE_CHECKING:
    from setupopt.project import schema, venue_schema
    from setupopt.project.field_types import Span, Steps

# ISO 8608: geometric mean of class A at 0.1 cycles/m, m3; each further class has four times as much
_CLASS_A = 16e-6


def car(file: schema.CarFile) -> model.Car:
    """car.toml as a Car."""
    table = file.car
    tyres = {name: tyre(name, made) for name, made in file.tyre.items()}
    return model.Car(
        name=table.name,
        mass=table.mass_kg,
        wheelbase=table.wheelbase_mm * MM,
        front_share=table.front_weight_percent * PERCENT,
        cg_height=table.cg_height_mm * MM,
        driven=table.driven,
        drive_front=_drive_front(table),
        brake_front=table.brake_front_percent * PERCENT,
        differential=table.differential,
        pitch_inertia=table.pitch_inertia_kgm2,
        roll_inertia=table.roll_inertia_kgm2,
        power=_scaled(table.power_kW, KW),
        front=axle(file.front, tyres[file.front.tyre]),
        rear=axle(file.rear, tyres[file.rear.tyre]),
        air=air(file.air),
        clearance=tuple(clearance(point) for point in file.clearance),
    )


def _drive_front(table: schema.CarTable) -> float:
    if table.drive_front_percent is not None:
        return table.drive_front_percent * PERCENT
    return 1.0 if table.driven == "front" else 0.0


def axle(table: schema.AxleTable, tyre: model.Tyre) -> model.Axle:
    """One axle of the car, on its tyres."""
    return model.Axle(
        track=table.track_mm * MM,
        unsprung_mass=table.unsprung_mass_kg,
        unsprung_height=table.unsprung_height_mm * MM,
        roll_centre_height=table.roll_centre_height_mm * MM,
        camber_gain=table.camber_gain_deg_per_mm * DEG_PER_MM,
        motion_ratio=table.motion_ratio,
        bump_travel=table.bump_travel_mm * MM,
        droop_travel=table.droop_travel_mm * MM,
        stop_rate=table.stop_rate_N_per_mm * N_PER_MM,
        anti_slope=table.anti_slope,
        damper_bump=_scaled(table.damper_bump_Ns_per_mm, NS_PER_MM),
        damper_rebound=_scaled(table.damper_rebound_Ns_per_mm, NS_PER_MM),
        tyre=tyre,
    )


def tyre(name: str, table: schema.TyreTable) -> model.Tyre:
    """A tyre under its name."""
    return model.Tyre(
        name=name,
        radius=table.radius_mm * MM,
        tread_width=table.tread_width_mm * MM,
        crown_radius=table.crown_radius_mm * MM,
        foundation=table.foundation_N_per_mm3 * N_PER_MM3,
        foundation_per_pressure=table.foundation_per_bar_N_per_mm3 * N_PER_MM3_PER_BAR,
        friction=table.friction,
        friction_pressure=table.friction_pressure_kPa * KPA,
        friction_exponent=table.friction_exponent,
        compliance=table.inclination_compliance_deg_per_kN * DEG_PER_KN,
        load_limit=table.load_limit_N,
        damping=_scaled(table.damping_Ns_per_mm, NS_PER_MM),
    )


def air(table: schema.AirTable) -> model.Air:
    """The body's air loads."""
    return model.Air(
        drag_area=table.drag_area_m2,
        drag_height=table.drag_height_mm * MM,
        side_area=table.side_area_m2_per_rad,
        side_station=table.side_station_mm * MM,
        side_height=table.side_height_mm * MM,
        front_ride_station=table.front_ride_station_mm * MM,
        rear_ride_station=table.rear_ride_station_mm * MM,
        elements=tuple(element(part) for part in table.element),
    )


def body(name: str, file: schema.BodyFile, car: model.Car) -> model.Body:
    """bodies/NAME.toml as a Body; where it names no floor points, those of `car` stay."""
    points = car.clearance if file.clearance is None else tuple(clearance(point) for point in file.clearance)
    return model.Body(name, air(file.air), points)


def element(table: schema.ElementTable) -> model.AirElement:
    """One part that makes downforce."""
    return model.AirElement(
        name=table.name,
        station=table.station_mm * MM,
        chord=table.chord_mm * MM,
        span=table.span_mm * MM,
        offset=table.offset_mm * MM,
        free_area=table.free_area_m2,
        ground_area=table.ground_area_m2,
        peak_gap=table.peak_gap_mm * MM,
        yaw_loss=table.yaw_loss_per_rad2,
    )


def clearance(table: schema.ClearanceTable) -> model.ClearancePoint:
    """One point of the floor."""
    return model.ClearancePoint(
        name=table.name,
        station=table.station_mm * MM,
        side=table.side_mm * MM,
        offset=table.offset_mm * MM,
        least_gap=table.least_gap_mm * MM,
        least_static_gap=_scaled(table.least_static_gap_mm, MM),
    )


def venue(file: venue_schema.VenueFile, surveyed: Section | None = None) -> model.Venue:
    """venue.toml as a Venue; `surveyed`: the section that its survey tells."""
    table, profile = file.venue, surveyed or section(file.section)
    curvature = 0.0 if table.radius_mm is None else 1.0 / (table.radius_mm * MM)
    return model.Venue(
        name=table.name,
        section=table.section,
        curvature=curvature if profile is None else profile.tightest,
        slope=math.atan(table.slope_percent * PERCENT),
        surface_grip=table.surface_grip,
        air_density=table.air_density_kg_m3,
        roughness=_roughness(table),
        sweep=sweep(file.sweep, profile),
        attitudes=tuple(attitude(driven) for driven in file.attitude),
        profile=profile,
    )


def section(table: venue_schema.SectionTable | None) -> Section | None:
    """The parts of `[section]`; None where there are none."""
    if table is None or not table.part:
        return None
    radii = [math.inf if part.radius_mm is None else part.radius_mm * MM for part in table.part]
    pairs = zip(radii, table.part, strict=True)
    lengths = [
        (part.width_mm or 0.0) * MM if part.sweep_deg is None else abs(radius) * part.sweep_deg * DEG
        for radius, part in pairs
    ]
    return Section((table.start_deg or 0.0) * DEG, tuple(lengths), tuple(1.0 / radius for radius in radii))


def sweep(table: venue_schema.SweepTable, profile: Section | None) -> model.Sweep:
    """The sweep by roll angles, or by places along a section of parts."""
    if table.roll_angles_deg is not None:
        angles = table.roll_angles_deg
        return model.Sweep(angles.from_ * DEG, angles.to * DEG, angles.step * DEG, table.speed_m_s)
    assert table.along_mm is not None and profile is not None  # the schema sees to it
    walked, ends = table.along_mm, profile.end_angles
    along = walked.from_ * MM, walked.to * MM, walked.step * MM
    return model.Sweep(float(ends.min()), float(ends.max()), 1.0, table.speed_m_s, along)


def _roughness(table: venue_schema.VenueTable) -> float | None:
    if table.roughness is not None:
        return _CLASS_A * 4.0 ** "ABCDEFGH".index(table.roughness)
    return _scaled(table.roughness_value, ROUGHNESS)


def attitude(table: venue_schema.AttitudeTable) -> model.Attitude:
    """One way the car is driven."""
    fl, fr, rl, rr = (bump * MM for bump in table.bump_mm)
    return model.Attitude(
        name=table.name,
        heading=table.heading_deg * DEG,
        acceleration=table.acceleration_m_s2,
        path_curvature=table.path_curvature_per_m,
        turn_radius=table.turn_radius_m,
        headwind=table.headwind_m_s,
        crosswind=table.crosswind_m_s,
        bump=(fl, fr, rl, rr),
        speed=table.speed_m_s,
    )


def setup(file: schema.SetupFile) -> model.Setup:
    """setup.toml as a Setup."""
    return model.Setup(file.setup.name, axle_setup(file.front), axle_setup(file.rear), file.setup.body)


def axle_setup(table: schema.AxleSetupTable) -> model.AxleSetup:
    """What is adjusted on one axle."""
    return model.AxleSetup(
        camber=table.camber_deg * DEG,
        ride_height=table.ride_height_mm * MM,
        spring=table.spring_N_per_mm * N_PER_MM,
        anti_roll=table.anti_roll_N_per_mm * N_PER_MM,
        third=table.third_N_per_mm * N_PER_MM,
        pressure=table.pressure_bar * BAR,
        toe=table.toe_mm * MM,
    )


def limits(file: schema.LimitsFile) -> model.Limits:
    """limits.toml as Limits."""
    held, unsure = file.tolerance, file.spread
    return model.Limits(
        front=axle_limits(file.front),
        rear=axle_limits(file.rear),
        packaging=packaging(file.packaging),
        tolerance=None if held is None else tolerance(held),
        spread=None if unsure is None else spread(unsure),
        adjuster_front=adjuster(file.adjuster.front),
        adjuster_rear=adjuster(file.adjuster.rear),
    )


def axle_limits(table: schema.AxleLimitsTable) -> model.AxleLimits:
    """The ranges of one axle."""
    return model.AxleLimits(
        camber=_range(table.camber_deg, DEG),
        ride_height=_range(table.ride_height_mm, MM),
        spring=_range(table.springs_N_per_mm, N_PER_MM),
        anti_roll=_range(table.anti_roll_N_per_mm, N_PER_MM),
        third=_range(table.third_N_per_mm, N_PER_MM),
        pressure=_range(table.pressure_bar, BAR),
    )


def _range(entry: Steps | list[float] | None, unit: float) -> model.Range | None:
    if entry is None:
        return None
    if isinstance(entry, list):
        choices = tuple(value * unit for value in sorted(set(entry)))
        return model.Range(choices[0], choices[-1], choices=choices)
    return model.Range(entry.from_ * unit, entry.to * unit, step=entry.step * unit)


def packaging(table: schema.PackagingTable) -> model.Packaging:
    """The limits that hold in every case."""
    return model.Packaging(
        rake=_span(table.rake_mm, MM),
        wheel_load_least=table.wheel_load_least_N,
        travel_left_least=_scaled(table.travel_left_least_mm, MM),
        arches=tuple(
            model.Arch(arch.axle, arch.room_mm * MM, arch.room_mm_per_deg * MM_PER_DEG) for arch in table.arch
        ),
        ground_clearance_least=_scaled(table.ground_clearance_least_mm, MM),
    )


def _span(entry: Span | None, unit: float) -> tuple[float, float] | None:
    return None if entry is None else (entry.from_ * unit, entry.to * unit)


def tolerance(table: schema.ToleranceTable) -> model.Tolerance:
    """What the mechanics can hold."""
    return model.Tolerance(
        camber=table.camber_deg * DEG,
        ride_height=table.ride_height_mm * MM,
        spring_share=table.spring_percent * PERCENT,
        pressure=table.pressure_bar * BAR,
    )


def spread(table: schema.SpreadTable) -> model.Spread:
    """How uncertain the inputs are."""
    return model.Spread(
        surface_grip=_scaled(table.surface_grip_percent, PERCENT),
        downforce=_scaled(table.downforce_percent, PERCENT),
        drag=_scaled(table.drag_percent, PERCENT),
        side_force=_scaled(table.side_force_percent, PERCENT),
        mass=_scaled(table.mass_percent, PERCENT),
        tyre_friction=_scaled(table.tyre_friction_percent, PERCENT),
    )


def adjuster(table: schema.AdjusterTable | None) -> model.Adjuster | None:
    """How one axle is turned in the garage."""
    if table is None:
        return None
    return model.Adjuster(
        camber_per_shim=_scaled(table.camber_deg_per_mm_shim, DEG_PER_MM),
        shims=tuple(shim * MM for shim in table.shims_mm),
        ride_height_per_turn=_scaled(table.ride_height_mm_per_turn, MM),
        anti_roll_positions=tuple(rate * N_PER_MM for rate in table.anti_roll_positions_N_per_mm),
    )


def _scaled(value: float | None, unit: float) -> float | None:
    return None if value is None else value * unit
