"""limits.toml in its own units: keys, kinds, plausible ranges, chosen as in `project.car_schema`."""

# ruff: noqa: N815 - the fields are the keys of the files, units and all
from __future__ import annotations

from typing import Any, Literal, Self

from pydantic import Field, model_validator

from setupopt.project.field_makers import (
    choice,
    number,
    numbers,
    optional,
    some,
    span,
    steps,
)
from setupopt.project.field_types import Name, Span, Steps, Table, wrong
from setupopt.project.setup_schema import (
    AxleLimitsTable,
    BalanceLimitsTable,
    BallastLimitsTable,
)


class ArchTable(Table):
    """`[[packaging.arch]]`: bump travel <= room_mm + room_mm_per_deg * camber."""

    axle: Literal["front", "rear"] = choice("front", "rear")
    room_mm: float = number(-500, 1000, "mm")
    room_mm_per_deg: float = number(
        -100, 100, "mm/deg", si_name="room_per_camber"
    )


class WheelLoadTable(Table):
    """`[[packaging.wheel_load]]`: the least load of every wheel in one attitude of venue.toml."""

    attitude: Name
    least_N: float = number(0, 50_000, "N")


class PackagingTable(Table):
    """`[packaging]`."""

    rake_mm: Span | None = span(-500, 500, "mm")
    wheel_load_least_N: float | None = optional(0, 50_000, "N")
    travel_left_least_mm: float | None = optional(-500, 500, "mm")
    ground_clearance_least_mm: float | None = optional(1, 500, "mm")
    arch: list[ArchTable] = some()
    wheel_load: list[WheelLoadTable] = some()


class ToleranceTable(Table):
    """`[tolerance]`, plus and minus."""

    camber_deg: float = number(0, 5, "deg")
    ride_height_mm: float = number(0, 100, "mm")
    spring_percent: float = number(0, 50, "%", si_name="spring_share")
    pressure_bar: float = number(0, 2, "bar")
    toe_mm: float | None = optional(0, 20, "mm")


class SpreadTable(Table):
    """`[spread]`, plus and minus. A key left out: taken as exact."""

    surface_grip_percent: float | None = optional(0, 49, "%")
    downforce_percent: float | None = optional(0, 49, "%")
    drag_percent: float | None = optional(0, 49, "%")
    side_force_percent: float | None = optional(0, 49, "%")
    mass_percent: float | None = optional(0, 49, "%")
    tyre_friction_percent: float | None = optional(0, 49, "%")


def _yes_or_no() -> Any:
    return Field(default=False, description="true or false")


class RouteTable(Table):
    """`[route]`: where `setupopt route` must get to, and what it may use. A key left out sets no limit."""

    from_deg: float = number(
        -180, 180, "deg", default=0.0, si_name="from_angle"
    )
    to_deg: float = number(-180, 180, "deg", si_name="to_angle")
    hold_m: float = number(0, 10_000, "m", default=0.0)
    return_: bool = Field(
        default=True,
        alias="return",
        description="true or false",
        json_schema_extra={"si_name": "returns"},
    )
    least_margin: float | None = optional(-1, 1, "")
    wheel_load_least_N: float | None = optional(0, 50_000, "N")
    wheel_load_most_N: float | None = optional(1, 200_000, "N")
    steer_rate_deg_s: float | None = optional(1, 2000, "deg/s")
    stop_m_s2: float | None = optional(0.1, 50, "m/s2")
    speed_m_s: Steps | None = steps(1, 200, "m/s")
    radius_mm: Steps | None = steps(1000, 10_000_000, "mm")

    @model_validator(mode="after")
    def _leads_somewhere(self) -> Self:
        if self.to_deg == self.from_deg:
            raise wrong(("to_deg",), "another roll angle than from_deg")
        return self


class RequireTable(Table):
    """`[require]`: what a proposal must stand at every place of the sweep. A key left out asks nothing."""

    bump_mm: float | None = optional(0.01, 500, "mm")
    seam_mm: float | None = optional(0.01, 200, "mm")
    gust_m_s: float | None = optional(0.1, 60, "m/s")
    road: bool = _yes_or_no()
    builds: bool = _yes_or_no()
    spread: bool = _yes_or_no()


class DisturbedTable(Table):
    """`[disturbed]`: what the car may do and still stand a disturbance."""

    drift_mm: float = number(10, 5000, "mm", default=300.0)
    sideslip_deg: float = number(0.1, 45, "deg", default=4.0)
    airborne_ms: float = number(0, 2000, "ms", default=60.0)
    within_s: float = number(0.1, 10, "s", default=2.0, si_name="within")


class AdjusterTable(Table):
    """`[adjuster.front]` and `[adjuster.rear]`."""

    camber_deg_per_mm_shim: float | None = optional(
        -5, 5, "deg/mm", si_name="camber_per_shim"
    )
    shims_mm: list[float] = numbers(0.01, 100, "mm", default=[])
    ride_height_mm_per_turn: float | None = optional(
        -50, 50, "mm", si_name="ride_height_per_turn"
    )
    anti_roll_positions_N_per_mm: list[float] = numbers(
        0, 5000, "N/mm", default=[]
    )
    damper_clicks_bump: list[float] = numbers(0, 200, "N s/mm", default=[])
    damper_clicks_rebound: list[float] = numbers(0, 200, "N s/mm", default=[])
    shims_fitted_mm: list[float] = numbers(0.01, 100, "mm", default=[])

    @model_validator(mode="after")
    def _turning_does_something(self) -> Self:
        for key in ("camber_deg_per_mm_shim", "ride_height_mm_per_turn"):
            if getattr(self, key) == 0:
                raise wrong((key,), "a number other than 0")
        return self


class AdjustersTable(Table):
    """`[adjuster]`."""

    front: AdjusterTable | None = None
    rear: AdjusterTable | None = None


class LimitsFile(Table):
    """limits.toml."""

    front: AxleLimitsTable = AxleLimitsTable()
    rear: AxleLimitsTable = AxleLimitsTable()
    packaging: PackagingTable = PackagingTable()
    tolerance: ToleranceTable | None = None
    spread: SpreadTable | None = None
    adjuster: AdjustersTable = AdjustersTable()
    balance: BalanceLimitsTable = BalanceLimitsTable()
    wings: dict[str, Steps] = Field(
        default_factory=dict, description="{ from, to, step } in deg by element"
    )
    ballast: list[BallastLimitsTable] = some()
    route: RouteTable | None = None
    require: RequireTable | None = None
    speed_m_s: Steps | None = steps(1, 200, "m/s")
    disturbed: DisturbedTable = DisturbedTable()

    @model_validator(mode="after")
    def _errors_are_given(self) -> Self:
        """Build errors or a spread that must be stood are those of this file."""
        for key, table in (("builds", "tolerance"), ("spread", "spread")):
            if (
                self.require is not None
                and getattr(self.require, key)
                and getattr(self, table) is None
            ):
                raise wrong(
                    ("require", key), f"false, because there is no [{table}]"
                )
        return self

    @model_validator(mode="after")
    def _floor_may_stand_high_enough(self) -> Self:
        least = self.packaging.ground_clearance_least_mm
        for axle, heights in (
            ("front", self.front.ride_height_mm),
            ("rear", self.rear.ride_height_mm),
        ):
            if least is not None and heights is not None and least > heights.to:
                expected = f"at most the {heights.to:g} mm that {axle}.ride_height_mm goes up to"
                raise wrong(
                    ("packaging", "ground_clearance_least_mm"), expected
                )
        return self
