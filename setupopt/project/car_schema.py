"""car.toml and bodies in their own units: keys, kinds, plausible ranges.

Ranges are wide enough for any real car, and tight enough that a value in the wrong unit falls outside
where a unit's magnitude allows it at all. docs/nomenclature.md explains the keys.
"""

# ruff: noqa: N815 - the fields are the keys of the files, units and all
from __future__ import annotations

import math
from typing import Literal, Self

from pydantic import Field, model_validator

from setupopt.project.field_makers import (
    choice,
    number,
    numbers,
    optional,
    percent,
    some,
    span,
)
from setupopt.project.field_types import (
    NAME,
    Name,
    OptionalPercent,
    Percent,
    Span,
    Table,
    is_plain,
    unique_names,
    wrong,
)

# What a tyre without it is told
_SHEAR = "; 1 to 3 for slicks, and `setupopt fit tyre` finds it from measured cornering stiffness"

# Tables of a tyre: what they go by, and what they give
_TABLES = {
    "grip_temperature_C": "grip_shares",
    "radius_growth_speed_m_s": "radius_growth_mm",
}
MOST_ROWS = 8


class CarTable(Table):
    """`[car]`."""

    name: Name
    mass_kg: float = number(50, 5000, "kg")
    wheelbase_mm: float = number(500, 6000, "mm")
    front_weight_percent: float = number(1, 99, "%", si_name="front_share")
    cg_height_mm: float = number(20, 2500, "mm")
    driven: Literal["front", "rear", "all"] = choice("front", "rear", "all")
    drive_front_percent: OptionalPercent = percent(default=None)
    brake_front_percent: Percent = percent()
    differential: Literal["locked", "open"] = choice("locked", "open")
    pitch_inertia_kgm2: float | None = optional(1, 50_000, "kg m2")
    roll_inertia_kgm2: float | None = optional(1, 20_000, "kg m2")
    yaw_inertia_kgm2: float | None = optional(1, 50_000, "kg m2")
    left_weight_percent: Percent = percent(default=50.0, si_name="left_share")
    power_kW: float | None = optional(1, 3000, "kW")
    driver_reaction_s: float | None = optional(
        0.01, 2, "s", si_name="driver_reaction"
    )
    steer_limit_deg: float | None = optional(1, 80, "deg")
    steer_rate_deg_s: float | None = optional(1, 2000, "deg/s")

    @model_validator(mode="after")
    def _drive_share(self) -> Self:
        given = self.drive_front_percent is not None
        if self.driven == "all" and not given:
            raise wrong(
                ("drive_front_percent",),
                '0, or a number from 1 to 100 %, because driven = "all"',
            )
        if self.driven != "all" and given:
            raise wrong(
                ("drive_front_percent",),
                f'no such key, because driven = "{self.driven}"',
            )
        return self


class AxleTable(Table):
    """`[front]` and `[rear]` of the car."""

    track_mm: float = number(300, 4000, "mm")
    unsprung_mass_kg: float = number(0.5, 500, "kg")
    unsprung_height_mm: float = number(30, 1500, "mm")
    roll_centre_height_mm: float = number(-1000, 1500, "mm")
    camber_gain_deg_per_mm: float = number(-1, 1, "deg/mm")
    motion_ratio: float = number(0.1, 3, "")
    bump_travel_mm: float = number(0, 500, "mm")
    droop_travel_mm: float = number(0, 500, "mm")
    stop_rate_N_per_mm: float = number(0, 20_000, "N/mm")
    anti_slope: float = number(-2, 2, "")
    damper_bump_Ns_per_mm: float | None = optional(0, 200, "N s/mm")
    damper_rebound_Ns_per_mm: float | None = optional(0, 200, "N s/mm")
    wheel_inertia_kgm2: float | None = optional(0.01, 100, "kg m2")
    toe_over_mm: float = number(50, 2000, "mm", default=330.0)
    tyre: Name
    tyre_left: Name | None = None
    tyre_right: Name | None = None

    @property
    def tyres(self) -> tuple[str, str]:
        """Left, right."""
        return self.tyre_left or self.tyre, self.tyre_right or self.tyre


class TyreTable(Table):
    """`[tyre.NAME]`."""

    radius_mm: float = number(100, 1500, "mm")
    tread_width_mm: float = number(30, 1000, "mm")
    crown_radius_mm: float = number(50, 1_000_000, "mm")
    foundation_N_per_mm3: float = number(0, 10, "N/mm3")
    foundation_per_bar_N_per_mm3: float = number(
        0, 10, "N/mm3 per bar", si_name="foundation_per_pressure"
    )
    friction: float = number(0.1, 5, "")
    friction_pressure_kPa: float = number(10, 5000, "kPa")
    friction_exponent: float = number(0, 0.9, "")
    inclination_compliance_deg_per_kN: float = number(
        0, 10, "deg/kN", si_name="compliance"
    )
    shear_per_foundation: float = number(
        0.1, 20, "", more=_SHEAR, si_name="shear_per_foundation"
    )
    camber_thrust_share: float = number(0, 1, "", default=0.5)
    friction_least_pressure_kPa: float = number(0, 5000, "kPa", default=0.0)
    carcass_N_per_mm: float = number(0, 20_000, "N/mm", default=0.0)
    carcass_per_bar_N_per_mm: float = number(
        0, 20_000, "N/mm per bar", default=0.0, si_name="carcass_per_pressure"
    )
    relaxation_mm: float | None = optional(5, 3000, "mm")
    measured_pressure_bar: Span | None = span(0.2, 6, "bar")
    running_temperature_C: float | None = optional(
        -20, 250, "deg C", si_name="running_temperature"
    )
    cold_temperature_C: float = number(
        -40, 80, "deg C", default=20.0, si_name="cold_temperature"
    )
    grip_temperature_C: list[float] = numbers(
        -20, 250, "deg C", default=[], si_name="grip_temperature"
    )
    grip_shares: list[float] = numbers(0.1, 2, "", default=[])
    radius_growth_speed_m_s: list[float] = numbers(1, 200, "m/s", default=[])
    radius_growth_mm: list[float] = numbers(0, 100, "mm", default=[])
    load_limit_N: float | None = optional(100, 200_000, "N")
    damping_Ns_per_mm: float | None = optional(0, 20, "N s/mm")

    @model_validator(mode="after")
    def _tables(self) -> Self:
        for key, given in _TABLES.items():
            at = getattr(self, key)
            if len(at) != len(getattr(self, given)):
                raise wrong((given,), f"as many numbers as {key}, {len(at)}")
            if at != sorted(set(at)):
                raise wrong((key,), "numbers that rise")
            if len(at) > MOST_ROWS:
                raise wrong((key,), f"at most {MOST_ROWS} numbers")
        return self

    @model_validator(mode="after")
    def _grip_has_a_temperature(self) -> Self:
        at = self.grip_temperature_C
        runs = self.running_temperature_C
        if at and (runs is None or not at[0] <= runs <= at[-1]):
            expected = f"a temperature from {at[0]:g} to {at[-1]:g} deg C, where grip_shares are known"
            raise wrong(("running_temperature_C",), expected)
        return self

    @model_validator(mode="after")
    def _stands_on_something(self) -> Self:
        if (
            self.foundation_N_per_mm3 == 0
            and self.foundation_per_bar_N_per_mm3 == 0
        ):
            raise wrong(
                ("foundation_N_per_mm3",),
                "a foundation above 0, here or per bar",
            )
        return self


class WingSettingTable(Table):
    """`[[air.element.setting]]`: what the element does at one angle."""

    angle_deg: float = number(-90, 90, "deg")
    free_area_m2: float = number(-20, 50, "m2")
    ground_area_m2: float = number(0, 50, "m2")
    peak_gap_mm: float = number(1, 2000, "mm")
    drag_area_m2: float | None = optional(0, 20, "m2")


class ElementTable(Table):
    """`[[air.element]]`."""

    name: Name
    station_mm: float = number(-5000, 12_000, "mm")
    chord_mm: float = number(10, 10_000, "mm")
    span_mm: float = number(10, 5000, "mm")
    offset_mm: float = number(-500, 3000, "mm")
    free_area_m2: float = number(-20, 50, "m2")
    ground_area_m2: float = number(0, 50, "m2")
    peak_gap_mm: float = number(1, 2000, "mm")
    yaw_loss_per_rad2: float = number(0, 1000, "per rad2")
    drag_area_m2: float | None = optional(0, 20, "m2")
    setting: list[WingSettingTable] = some()

    @model_validator(mode="after")
    def _rising_angles(self) -> Self:
        before = -math.inf
        for index, row in enumerate(self.setting):
            if not row.angle_deg > before:
                raise wrong(
                    ("setting", index, "angle_deg"),
                    "angles that rise from row to row",
                )
            if row.drag_area_m2 is not None and self.drag_area_m2 is None:
                expected = "the element's own share of air.drag_area_m2, as its settings have one"
                raise wrong(("drag_area_m2",), expected)
            before = row.angle_deg
        return self


class AirTable(Table):
    """`[air]`. A car without downforce says `element = []`."""

    drag_area_m2: float = number(0, 20, "m2")
    drag_height_mm: float = number(0, 3000, "mm")
    side_area_m2_per_rad: float = number(0, 100, "m2/rad")
    side_station_mm: float = number(-5000, 12_000, "mm")
    side_height_mm: float = number(0, 3000, "mm")
    front_ride_station_mm: float = number(-3000, 6000, "mm")
    rear_ride_station_mm: float = number(-1000, 10_000, "mm")
    element: list[ElementTable] = Field(
        description="[[air.element]] tables, or element = [] for none"
    )

    @model_validator(mode="after")
    def _ride_stations(self) -> Self:
        if self.rear_ride_station_mm - self.front_ride_station_mm < 100:
            raise wrong(
                ("rear_ride_station_mm",),
                "a station at least 100 mm behind front_ride_station_mm",
            )
        return self


class ClearanceTable(Table):
    """`[[clearance]]`."""

    name: Name
    station_mm: float = number(-5000, 12_000, "mm")
    side_mm: float = number(-3000, 3000, "mm")
    offset_mm: float = number(-500, 3000, "mm")
    least_gap_mm: float = number(0, 500, "mm")
    least_static_gap_mm: float | None = optional(1, 500, "mm")


class BodyFile(Table):
    """bodies/NAME.toml: what a body brings along in place of the car's own."""

    air: AirTable
    clearance: list[ClearanceTable] | None = Field(
        default=None, description="[[clearance]] tables"
    )

    @model_validator(mode="after")
    def _names(self) -> Self:
        unique_names(self.air.element, ("air", "element"))
        unique_names(self.clearance or [], ("clearance",))
        return self


class CarFile(Table):
    """car.toml."""

    car: CarTable
    front: AxleTable
    rear: AxleTable
    tyre: dict[str, TyreTable]
    air: AirTable
    clearance: list[ClearanceTable] = some()

    @model_validator(mode="after")
    def _names(self) -> Self:
        unique_names(self.air.element, ("air", "element"))
        unique_names(self.clearance, ("clearance",))
        for name in self.tyre:
            if not is_plain(name):
                raise wrong(("tyre", name), NAME)
        return self

    @model_validator(mode="after")
    def _tyres_exist(self) -> Self:
        known = ", ".join(f'"{name}"' for name in list(self.tyre)[:20])
        expected = f"one of the tyres of this file: {known or 'there is none'}"
        for name, axle in (("front", self.front), ("rear", self.rear)):
            for key in ("tyre", "tyre_left", "tyre_right"):
                if (getattr(axle, key) or axle.tyre) not in self.tyre:
                    raise wrong((name, key), expected)
        return self
