"""From the files' units to SI: the checked tables become the objects of `project.model`.

What a table says is converted entry by entry: the unit of its field gives the factor, its key without the
unit is the name in the model (`field_types.si_name`). Only what is more than that is written out here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from setupopt.project import limits_model, model
from setupopt.project.field_types import Span, Steps, Table
from setupopt.project.section import Section
from setupopt.project.writing import Entries
from setupopt.units import DEG, MM, PERCENT, ROUGHNESS

if TYPE_CHECKING:
    from setupopt.project import (
        car_schema,
        limits_schema,
        setup_schema,
        venue_schema,
    )

Made = TypeVar("Made")

# ISO 8608: geometric mean of class A at 0.1 cycles/m, m3; each further class has four times as much
_CLASS_A = 16e-6


def in_si(table: Table) -> Entries:
    """The entries of a table by their names in the model; tables inside it are left out."""
    return {
        table.si_name(key): _converted(value, table.factor(key))
        for key, value in table
        if table.bounds(key) or not isinstance(value, list | Table)
    }


def _converted(value: Any, factor: float) -> Any:
    """Numbers, lists and ranges in SI; names and what was left out as they are."""
    if isinstance(value, float):
        return value * factor
    if isinstance(value, list):
        return tuple(number * factor for number in value)
    if isinstance(value, Steps):
        return model.Range(
            value.from_ * factor, value.to * factor, value.step * factor
        )
    if isinstance(value, Span):
        return value.from_ * factor, value.to * factor
    return value


def _make(kind: Callable[..., Made], table: Table, **more: Any) -> Made:
    """An object of the model from a table; `more`: what the table alone does not say."""
    return kind(**(in_si(table) | more))


def _if_given(kind: Callable[..., Made], table: Table | None) -> Made | None:
    return None if table is None else _make(kind, table)


def _each(
    kind: Callable[..., Made], tables: Sequence[Table]
) -> tuple[Made, ...]:
    return tuple(_make(kind, table) for table in tables)


def car(file: car_schema.CarFile) -> model.Car:
    """car.toml as a Car."""
    table = file.car
    own_share = 1.0 if table.driven == "front" else 0.0
    drive = table.drive_front_percent
    return _make(
        model.Car,
        table,
        drive_front=own_share if drive is None else drive * PERCENT,
        front=_axle(file, file.front),
        rear=_axle(file, file.rear),
        air=air(file.air),
        clearance=_each(model.ClearancePoint, file.clearance),
    )


def _axle(file: car_schema.CarFile, table: car_schema.AxleTable) -> model.Axle:
    """One axle of the car, on its tyres."""
    left, right = (_tyre(name, file.tyre[name]) for name in table.tyres)
    entries = in_si(table)
    del entries["tyre_left"]
    return model.Axle(
        **(
            entries
            | {"tyre": left, "tyre_right": None if right == left else right}
        )
    )


def _tyre(name: str, table: car_schema.TyreTable) -> model.Tyre:
    """A tyre at the temperature at which it runs."""
    entries = in_si(table)
    temperatures = entries.pop("grip_temperature")
    shares = entries.pop("grip_shares")
    grip = 1.0
    if shares:
        runs = entries["running_temperature"]
        grip = float(np.interp(runs, temperatures, shares))
    return model.Tyre(**entries, name=name, grip_share=grip)


def air(table: car_schema.AirTable) -> model.Air:
    """The body's air loads."""
    elements = tuple(_element(part) for part in table.element)
    return _make(model.Air, table, elements=elements)


def _element(table: car_schema.ElementTable) -> model.AirElement:
    settings = _each(model.WingSetting, table.setting)
    return _make(model.AirElement, table, settings=settings)


def body(name: str, file: car_schema.BodyFile, car: model.Car) -> model.Body:
    """bodies/NAME.toml as a Body; where it names no floor points, those of `car` stay."""
    points = (
        car.clearance
        if file.clearance is None
        else _each(model.ClearancePoint, file.clearance)
    )
    return model.Body(name, air(file.air), points)


def venue(
    file: venue_schema.VenueFile, surveyed: Section | None = None
) -> model.Venue:
    """venue.toml as a Venue; `surveyed`: the section of its survey."""
    table = file.venue
    profile = surveyed or section(file.section)
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
        attitudes=_each(model.Attitude, file.attitude),
        profile=profile,
    )


def section(table: venue_schema.SectionTable | None) -> Section | None:
    """The parts of `[section]`; None where there are none."""
    if table is None or not table.part:
        return None
    radii = [
        math.inf if part.radius_mm is None else part.radius_mm * MM
        for part in table.part
    ]
    pairs = zip(radii, table.part, strict=True)
    lengths = [
        (part.width_mm or 0.0) * MM
        if part.sweep_deg is None
        else abs(radius) * part.sweep_deg * DEG
        for radius, part in pairs
    ]
    return Section(
        (table.start_deg or 0.0) * DEG,
        tuple(lengths),
        tuple(1.0 / radius for radius in radii),
    )


def sweep(
    table: venue_schema.SweepTable, profile: Section | None
) -> model.Sweep:
    """The sweep by roll angles, or by places along a section of parts."""
    if table.roll_angles_deg is not None:
        angles = table.roll_angles_deg
        return model.Sweep(
            angles.from_ * DEG,
            angles.to * DEG,
            angles.step * DEG,
            table.speed_m_s,
        )
    assert (
        table.along_mm is not None and profile is not None
    )  # the schema sees to it
    walked = table.along_mm
    ends = profile.end_angles
    along = walked.from_ * MM, walked.to * MM, walked.step * MM
    return model.Sweep(
        float(ends.min()), float(ends.max()), 1.0, table.speed_m_s, along
    )


def _roughness(table: venue_schema.VenueTable) -> float | None:
    if table.roughness is not None:
        return _CLASS_A * 4.0 ** "ABCDEFGH".index(table.roughness)
    return (
        None
        if table.roughness_value is None
        else table.roughness_value * ROUGHNESS
    )


def setup(file: setup_schema.SetupFile) -> model.Setup:
    """setup.toml as a Setup."""
    front, rear = (_axle_setup(axle) for axle in (file.front, file.rear))
    return model.Setup(
        file.setup.name,
        front,
        rear,
        file.setup.body,
        balance=_make(model.BalanceSetup, file.balance),
        wings=tuple(
            sorted((name, angle * DEG) for name, angle in file.wings.items())
        ),
        ballast=_each(model.Ballast, file.ballast),
    )


def _axle_setup(table: setup_schema.AxleSetupTable) -> model.AxleSetup:
    """One axle of a setup, both sides."""
    left, right = _each(model.WheelSetup, (table.left, table.right))
    return _make(model.AxleSetup, table, left=left, right=right)


def limits(file: limits_schema.LimitsFile) -> limits_model.Limits:
    """limits.toml as Limits."""
    packaging = file.packaging
    return limits_model.Limits(
        front=_axle_limits(file.front),
        rear=_axle_limits(file.rear),
        packaging=_make(
            limits_model.Packaging,
            packaging,
            arches=_each(limits_model.Arch, packaging.arch),
            wheel_loads=_each(limits_model.AttitudeLoad, packaging.wheel_load),
        ),
        tolerance=_if_given(limits_model.Tolerance, file.tolerance),
        spread=_if_given(limits_model.Spread, file.spread),
        adjuster_front=_if_given(limits_model.Adjuster, file.adjuster.front),
        adjuster_rear=_if_given(limits_model.Adjuster, file.adjuster.rear),
        balance=_make(model.BalanceLimits, file.balance),
        wings=tuple(
            sorted(
                (name, _converted(span, DEG))
                for name, span in file.wings.items()
            )
        ),
        ballast=tuple(
            (piece.name, _choices(in_si(piece)["station"]))
            for piece in file.ballast
        ),
        route=_if_given(limits_model.RouteLimits, file.route),
        require=_if_given(limits_model.Require, file.require),
        speed=in_si(file)["speed"],
        disturbed=_make(limits_model.Disturbed, file.disturbed),
    )


def _axle_limits(table: setup_schema.AxleLimitsTable) -> model.AxleLimits:
    """The ranges of one axle; a list says what there is to choose from."""
    sides = {
        name: None if side is None else model.WheelLimits(**_ranges(side))
        for name, side in (("left", table.left), ("right", table.right))
    }
    return model.AxleLimits(**(_ranges(table) | sides))


def _ranges(table: Table) -> Entries:
    return {name: _choices(value) for name, value in in_si(table).items()}


def _choices(entry: Any) -> Any:
    if not isinstance(entry, tuple):
        return entry
    values = tuple(sorted(set(entry)))
    return model.Range(values[0], values[-1], choices=values)
