"""venue.toml in its own units: the place, its section, what is swept, how the car is driven.

Ranges are chosen as in `project.car_schema`. docs/nomenclature.md explains the keys.
"""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from setupopt.project.field_makers import (
    choice,
    number,
    numbers,
    optional,
    some,
    steps,
)
from setupopt.project.field_types import Name, Steps, Table, unique_names, wrong


class VenueTable(Table):
    """`[venue]`."""

    name: Name
    section: Literal["circle", "flat", "parts", "survey"] = choice(
        "circle", "flat", "parts", "survey"
    )
    radius_mm: float | None = optional(1000, 10_000_000, "mm")
    slope_percent: float = number(-100, 100, "%")
    surface_grip: float = number(0.05, 2, "")
    air_density_kg_m3: float = number(0.3, 3, "kg/m3")
    roughness: Literal["A", "B", "C", "D", "E", "F", "G", "H"] | None = Field(
        default=None, description="a class letter from A to H"
    )
    roughness_value: float | None = optional(
        1e-3, 1e6, "1e-6 m3", alias="roughness_1e-6m3"
    )

    @model_validator(mode="after")
    def _section(self) -> Self:
        if self.section == "circle" and self.radius_mm is None:
            raise wrong(
                ("radius_mm",),
                'a number from 1000 to 10000000 mm, because section = "circle"',
            )
        if self.section != "circle" and self.radius_mm is not None:
            raise wrong(
                ("radius_mm",),
                f'no such key, because section = "{self.section}"',
            )
        return self

    @model_validator(mode="after")
    def _one_roughness(self) -> Self:
        if self.roughness is not None and self.roughness_value is not None:
            raise wrong(
                ("roughness_1e-6m3",), "no such key, because roughness is given"
            )
        return self


class PartTable(Table):
    """`[[section.part]]`: an arc by radius and turn, or by radius and width; a straight by its width.

    Widths are measured along the surface; a negative radius bulges towards the car.
    """

    radius_mm: float | None = optional(-10_000_000, 10_000_000, "mm")
    sweep_deg: float | None = optional(0.01, 360, "deg")
    width_mm: float | None = optional(1, 1_000_000, "mm")

    @model_validator(mode="after")
    def _arc_or_straight(self) -> Self:
        if self.radius_mm is not None and abs(self.radius_mm) < 1000:
            raise wrong(
                ("radius_mm",),
                "a number of at least 1000 mm, or of at most -1000 mm where it bulges",
            )
        if self.radius_mm is None and self.sweep_deg is not None:
            raise wrong(
                ("sweep_deg",),
                "radius_mm with it, or width_mm alone for a straight",
            )
        if (self.sweep_deg is None) == (self.width_mm is None):
            found = (
                "no sweep_deg beside width_mm"
                if self.sweep_deg is not None
                else "sweep_deg or width_mm"
            )
            raise wrong(("width_mm",), found)
        return self


class SectionTable(Table):
    """`[section]`: `[[section.part]]` tables, or the file of a survey."""

    start_deg: float | None = optional(-180, 180, "deg")
    part: list[PartTable] = some(max_length=200)
    survey: Name | None = Field(
        default=None, description="the name of a CSV file with y_mm and z_mm"
    )
    survey_error_mm: float = number(0.01, 100, "mm", default=1.0)


class SweepTable(Table):
    """`[sweep]`. A section of parts may be walked by places along it, from its beginning."""

    roll_angles_deg: Steps | None = steps(-180, 180, "deg")
    along_mm: Steps | None = steps(0, 10_000_000, "mm")
    speed_m_s: float = number(0, 200, "m/s")

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.roll_angles_deg is None and self.along_mm is None:
            raise wrong(("roll_angles_deg",), "")
        if self.roll_angles_deg is not None and self.along_mm is not None:
            raise wrong(
                ("along_mm",), "no such key, because roll_angles_deg is given"
            )
        return self


class AttitudeTable(Table):
    """`[[attitude]]`. A key left out is zero; the speed is then the sweep's, and there is no turn."""

    name: Name
    heading_deg: float = number(-180, 180, "deg", default=0.0)
    acceleration_m_s2: float = number(-50, 50, "m/s2", default=0.0)
    path_curvature_per_m: float = number(-1, 1, "1/m", default=0.0)
    yaw_acceleration_rad_s2: float = number(
        -100, 100, "rad/s2", default=0.0, si_name="yaw_acceleration"
    )
    turn_radius_m: float | None = optional(1, 1_000_000, "m")
    headwind_m_s: float = number(-100, 100, "m/s", default=0.0)
    crosswind_m_s: float = number(-100, 100, "m/s", default=0.0)
    bump_mm: list[float] = numbers(
        -500, 500, "mm", default=[0.0] * 4, min_length=4, max_length=4
    )
    speed_m_s: float | None = optional(0, 200, "m/s")


class VenueFile(Table):
    """venue.toml."""

    venue: VenueTable
    section: SectionTable | None = Field(
        default=None, description="a [section] table"
    )
    sweep: SweepTable
    attitude: list[AttitudeTable] = Field(
        min_length=1, description="at least one [[attitude]] table"
    )

    @model_validator(mode="after")
    def _section(self) -> Self:
        kind = self.venue.section
        table = self.section
        because = f'because venue.section = "{kind}"'
        if kind in ("circle", "flat"):
            if table is not None:
                raise wrong(("section",), f"no such table, {because}")
            if self.sweep.along_mm is not None:
                raise wrong(("sweep", "along_mm"), f"no such key, {because}")
        elif table is None:
            raise wrong(("section",), f"a [section] table, {because}")
        elif kind == "parts" and (not table.part or table.survey is not None):
            raise wrong(
                ("section", "part"),
                f"[[section.part]] tables and no survey, {because}",
            )
        elif kind == "survey" and (
            table.survey is None or table.part or table.start_deg is not None
        ):
            raise wrong(
                ("section", "survey"),
                f"the name of a CSV file, no part and no start_deg, {because}",
            )
        return self

    @model_validator(mode="after")
    def _names(self) -> Self:
        unique_names(self.attitude, ("attitude",))
        return self
