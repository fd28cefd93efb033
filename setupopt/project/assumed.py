"""What is taken for optional entries of car.toml that the user left out, each in a line for the screens."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from setupopt.project.car_schema import CarFile
    from setupopt.project.field_types import Table

_NO_INERTIA = "no inertia, so turning the {} takes no moment"
_Defaults = dict[tuple[str, ...], str]
# By table: the keys that stand for one default (left out where none of them is given), and what is taken
_CAR: _Defaults = {
    ("pitch_inertia_kgm2",): _NO_INERTIA.format("body"),
    ("roll_inertia_kgm2",): _NO_INERTIA.format("body"),
    ("yaw_inertia_kgm2",): _NO_INERTIA.format("body"),
}
_AXLE: _Defaults = {
    ("wheel_inertia_kgm2",): _NO_INERTIA.format("spinning wheels"),
    ("toe_over_mm",): "{toe_over_mm:g} mm",
}
_TYRE: _Defaults = {
    (
        "camber_thrust_share",
    ): "{camber_thrust_share:g} (common practice, no source)",
    (
        "friction_least_pressure_kPa",
    ): "0 kPa, so friction grows without end where the contact pressure falls",
    ("carcass_N_per_mm", "carcass_per_bar_N_per_mm"): "a rigid carcass",
}


def assumed(file: CarFile) -> tuple[str, ...]:
    """A line for every optional entry of the car, its axles and the tyres that they stand on."""
    found = [*_lines("car", file.car, _CAR)]
    for name, axle in (("front", file.front), ("rear", file.rear)):
        found += _lines(name, axle, _AXLE)
    for tyre in dict.fromkeys((*file.front.tyres, *file.rear.tyres)):
        found += _lines(f"tyre.{tyre}", file.tyre[tyre], _TYRE)
    return tuple(found)


def _lines(where: str, table: Table, defaults: _Defaults) -> Iterator[str]:
    for keys, taken in defaults.items():
        if table.model_fields_set.isdisjoint(keys):
            yield f"car.toml {where}.{keys[0]}: {taken.format(**table.model_dump(include=set(keys)))}"
