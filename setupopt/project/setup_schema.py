"""setup.toml in its own units, and the ranges that limits.toml gives its settings; as in `project.car_schema`."""

# ruff: noqa: N815 - the fields are the keys of the files, units and all
from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from setupopt.project.field_makers import (
    by_name,
    number,
    numbers,
    optional,
    percent,
    some,
    steps,
    steps_or_list,
)
from setupopt.project.field_types import (
    Name,
    OptionalPercent,
    Steps,
    StepsOrList,
    Table,
    unique_names,
    wrong,
)
from setupopt.project.settings import MOST_BALLAST, MOST_WINGS


class SetupTable(Table):
    """`[setup]`."""

    name: Name
    body: Name | None = Field(
        default=None, description="the name of a body in the folder bodies"
    )


class WheelSetupTable(Table):
    """`[front.left]` and so on of a setup: what is not as on the other side."""

    camber_deg: float | None = optional(-15, 15, "deg")
    ride_height_mm: float | None = optional(1, 1000, "mm")
    spring_N_per_mm: float | None = optional(1, 2000, "N/mm")
    pressure_bar: float | None = optional(0.2, 6, "bar")
    toe_mm: float | None = optional(-30, 30, "mm")
    damper_bump_Ns_per_mm: float | None = optional(0, 200, "N s/mm")
    damper_rebound_Ns_per_mm: float | None = optional(0, 200, "N s/mm")


class AxleSetupTable(WheelSetupTable):
    """`[front]` and `[rear]` of a setup."""

    camber_deg: float = number(-15, 15, "deg")
    ride_height_mm: float = number(1, 1000, "mm")
    spring_N_per_mm: float = number(1, 2000, "N/mm")
    anti_roll_N_per_mm: float = number(0, 5000, "N/mm")
    third_N_per_mm: float = number(0, 5000, "N/mm", default=0.0)
    pressure_bar: float = number(0.2, 6, "bar")
    toe_mm: float = number(-30, 30, "mm")
    left: WheelSetupTable = WheelSetupTable()
    right: WheelSetupTable = WheelSetupTable()


class BalanceTable(Table):
    """`[balance]` of a setup."""

    brake_front_percent: OptionalPercent = percent(default=None)
    drive_front_percent: OptionalPercent = percent(default=None)
    cross_weight_percent: float | None = optional(
        20, 80, "%", si_name="cross_share"
    )


class BallastTable(Table):
    """`[[ballast]]`: a piece that the mass of car.toml does not hold."""

    name: Name
    mass_kg: float = number(0, 1000, "kg")
    station_mm: float = number(-5000, 12_000, "mm")
    side_mm: float = number(-3000, 3000, "mm", default=0.0)
    height_mm: float = number(-100, 3000, "mm")


class SetupFile(Table):
    """setup.toml."""

    setup: SetupTable
    front: AxleSetupTable
    rear: AxleSetupTable
    balance: BalanceTable = BalanceTable()
    wings: dict[str, float] = by_name(-90, 90, "deg")
    ballast: list[BallastTable] = some()

    @model_validator(mode="after")
    def _wings_and_ballast(self) -> Self:
        unique_names(self.ballast, ("ballast",))
        for key, most in (("wings", MOST_WINGS), ("ballast", MOST_BALLAST)):
            if len(getattr(self, key)) > most:
                raise wrong((key,), f"at most {most}")
        return self


# --- ranges of limits.toml ---


class WheelLimitsTable(Table):
    """`[front.left]` and so on of the limits: a range that frees one side."""

    camber_deg: Steps | None = steps(-15, 15, "deg")
    ride_height_mm: Steps | None = steps(1, 1000, "mm")
    springs_N_per_mm: list[float] | None = numbers(
        1, 2000, "N/mm", default=None, si_name="spring"
    )
    pressure_bar: Steps | None = steps(0.2, 6, "bar")
    toe_mm: Steps | None = steps(-30, 30, "mm")
    damper_bump_Ns_per_mm: StepsOrList | None = steps_or_list(
        0, 200, "N s/mm", default=None
    )
    damper_rebound_Ns_per_mm: StepsOrList | None = steps_or_list(
        0, 200, "N s/mm", default=None
    )


class BalanceLimitsTable(Table):
    """`[balance]` of the limits."""

    brake_front_percent: Steps | None = steps(0, 100, "%")
    drive_front_percent: Steps | None = steps(0, 100, "%")
    cross_weight_percent: Steps | None = steps(
        20, 80, "%", si_name="cross_share"
    )


class BallastLimitsTable(Table):
    """`[[ballast]]` of the limits: where a piece of the setup may sit."""

    name: Name
    station_mm: StepsOrList = steps_or_list(-5000, 12_000, "mm")


class AxleLimitsTable(WheelLimitsTable):
    """`[front]` and `[rear]` of the limits."""

    anti_roll_N_per_mm: StepsOrList | None = steps_or_list(
        0, 5000, "N/mm", default=None
    )
    third_N_per_mm: StepsOrList | None = steps_or_list(
        0, 5000, "N/mm", default=None
    )
    left: WheelLimitsTable | None = None
    right: WheelLimitsTable | None = None
