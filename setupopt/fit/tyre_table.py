"""What is measured on a tyre: the columns of its table, the rig, and the noise of a reading."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from setupopt.errors import InputError, InputErrors
from setupopt.fit.table import Column, Measurements, read_measurements
from setupopt.physics.inputs import Floats
from setupopt.project.field_types import Bounds
from setupopt.units import BAR, DEG, MM, MM2, PERCENT

_LENGTHS = {"m": 1e3, "cm": 10.0, "in": 25.4}
COLUMNS = {
    "load_N": Column(Bounds(50, 200_000, "N"), is_needed=True, others={"kN": 1e3}),
    "inclination_deg": Column(Bounds(-15, 15, "deg"), DEG, is_needed=True),
    "pressure_bar": Column(
        Bounds(0.2, 6, "bar"), BAR, is_needed=True, others={"psi": 0.0689476, "kPa": 0.01}
    ),
    "deflection_mm": Column(Bounds(0.1, 300, "mm"), MM, True, others=_LENGTHS),
    "patch_length_mm": Column(Bounds(5, 2000, "mm"), MM, True, others=_LENGTHS),
    "patch_width_mm": Column(Bounds(5, 1000, "mm"), MM, True, others=_LENGTHS),
    "patch_area_mm2": Column(
        Bounds(100, 1_000_000, "mm2"), MM2, True, others={"cm2": 100.0, "m2": 1e6, "in2": 645.16}
    ),
    "peak_lateral_N": Column(Bounds(-400_000, 400_000, "N"), is_measured=True),
}
QUANTITIES = tuple(key for key, column in COLUMNS.items() if column.is_measured)
# Noise of one reading, so much in the column's unit and such a share of it; common practice, no source
NOISE = {
    "deflection_mm": 0.2, "deflection_percent": 0.0,
    "patch_length_mm": 2.0, "patch_length_percent": 0.0,
    "patch_width_mm": 2.0, "patch_width_percent": 0.0,
    "patch_area_mm2": 0.0, "patch_area_percent": 2.0,
    "peak_lateral_N": 0.0, "peak_lateral_percent": 2.0,
}  # fmt: skip
_FRICTION = (0.05, 6.0)  # lateral force over load that may be; beyond, one of the two is in another unit
# Of the rectangle round a patch: no more than all of it; no less than half, which any outline that only bends
# outwards fills; and readings a little off
_AREA = (0.4, 1.1)
_SPARE = 1.1  # of the tread, for a width read generously


@dataclass(frozen=True)
class Rig:
    """How the table was measured. `noise`: by the keys of NOISE; a key left out: as there.

    `from_touch`: deflection counts from the first touch of the leaning tread, not from the unloaded radius.
    `radius` and `tread_width` in metres, where a tape has measured them.
    """

    surface_grip: float = 1.0
    radius: float | None = None
    tread_width: float | None = None
    from_touch: bool = False
    noise: Mapping[str, float] = field(default_factory=dict)


def read_tyre_table(path: str | Path, rig: Rig) -> Measurements:
    """The table, with what no tyre can do refused by its line. Raises InputErrors."""
    table = read_measurements(path, COLUMNS)
    if mistakes := sorted(_impossible(table, rig), key=lambda mistake: mistake.line or 0):
        raise InputErrors(mistakes)
    return table


def _impossible(table: Measurements, rig: Rig) -> Iterator[InputError]:
    """Values that are plausible alone, but not together."""
    of = table.values
    ratio = np.abs(of["peak_lateral_N"]) / of["load_N"]
    for row in np.flatnonzero((ratio < _FRICTION[0]) | (ratio > _FRICTION[1])):
        expected = f"{_FRICTION[0]:g} to {_FRICTION[1]:g} times the load of {of['load_N'][row]:.6g} N"
        yield table.error(int(row), "peak_lateral_N", expected)
    box = of["patch_length_mm"] * of["patch_width_mm"]
    area = of["patch_area_mm2"]
    for row in np.flatnonzero((area < _AREA[0] * box) | (area > _AREA[1] * box)):
        expected = f"{_AREA[0]:g} to {_AREA[1]:g} times length times width, {box[row] / MM2:.6g} mm2"
        yield table.error(int(row), "patch_area_mm2", expected)
    tread = rig.tread_width or np.inf
    for row in np.flatnonzero(of["patch_width_mm"] > _SPARE * tread):
        yield table.error(int(row), "patch_width_mm", f"no more than the tread, {tread / MM:.6g} mm")


def reading_noise(measured: Floats, noise: Mapping[str, float]) -> Floats:
    """(rows, quantities) in SI: both kinds of noise, as independent errors add."""
    flat = np.array([noise[key] * COLUMNS[key].factor for key in QUANTITIES])
    share = np.array([noise[percent_key(key)] * PERCENT for key in QUANTITIES])
    return np.hypot(flat, share * measured)


def percent_key(key: str) -> str:
    """What the noise of a column is called as a share.

    >>> percent_key("patch_area_mm2")
    'patch_area_percent'
    """
    return key.rpartition("_")[0] + "_percent"


def noiseless(noise: Mapping[str, float]) -> str | None:
    """A quantity to which no noise is left: a reading without any would count more than all others."""
    both = {**NOISE, **noise}
    return next((key for key in QUANTITIES if both[key] == 0.0 and both[percent_key(key)] == 0.0), None)
