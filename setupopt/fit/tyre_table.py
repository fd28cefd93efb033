"""What is measured on a tyre: the columns of its table, the rig, and the noise of a reading."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import numpy as np

from setupopt.errors import InputError, InputErrors
from setupopt.fit.table import Measurements, measured, read_measurements
from setupopt.physics.inputs import Floats
from setupopt.project.csv_read import Column
from setupopt.project.field_types import Bounds
from setupopt.units import DEG, PERCENT

_needed = partial(Column, required=True)
COLUMNS = {
    "load_N": _needed(Bounds(50, 200_000, "N")),
    "inclination_deg": _needed(Bounds(-15, 15, "deg")),
    "pressure_bar": _needed(Bounds(0.2, 6, "bar")),
    "deflection_mm": measured(Bounds(0.1, 300, "mm")),
    "patch_length_mm": measured(Bounds(5, 2000, "mm")),
    "patch_width_mm": measured(Bounds(5, 1000, "mm")),
    "patch_area_mm2": measured(Bounds(100, 1_000_000, "mm2")),
    "peak_lateral_N": measured(Bounds(-400_000, 400_000, "N")),
    "slip_angle_deg": Column(Bounds(-30, 30, "deg"), empty=math.nan),
    "lateral_N": measured(Bounds(-400_000, 400_000, "N")),
    "cornering_stiffness_N_per_deg": measured(Bounds(1, 100_000, "N/deg")),
    "aligning_Nm": measured(Bounds(-20_000, 20_000, "N m")),
    "relaxation_mm": measured(Bounds(5, 3000, "mm")),
}
PEAK = "peak_lateral_N"
SLIP = "slip_angle_deg"
CURVE = "lateral_N"
STIFFNESS = "cornering_stiffness_N_per_deg"
ALIGNING = "aligning_Nm"
RELAXATION = "relaxation_mm"
# In the order of what `tyre_rig.read_off` answers
QUANTITIES = tuple(key for key, column in COLUMNS.items() if column.is_measured)
# Noise of one reading, so much in the column's unit and such a share of it; common practice, no source
NOISE = {
    "deflection_mm": 0.2, "deflection_percent": 0.0,
    "patch_length_mm": 2.0, "patch_length_percent": 0.0,
    "patch_width_mm": 2.0, "patch_width_percent": 0.0,
    "patch_area_mm2": 0.0, "patch_area_percent": 2.0,
    "peak_lateral_N": 0.0, "peak_lateral_percent": 2.0,
    "lateral_N": 20.0, "lateral_percent": 2.0,
    "cornering_stiffness_N_per_deg": 0.0, "cornering_stiffness_percent": 3.0,
    "aligning_Nm": 2.0, "aligning_percent": 5.0,
    "relaxation_mm": 0.0, "relaxation_percent": 10.0,
}  # fmt: skip
_FRICTION = (
    0.05,
    6.0,
)  # lateral force over load that may be; beyond, one of the two is in another unit
_STIFFNESS = (
    0.01,
    3.0,
)  # cornering stiffness over load that may be, per degree
_ARM = 0.3  # m, of the lateral force about the wheel's centre: a moment with a longer one is in another unit
SIGNED = (
    CURVE,
    ALIGNING,
)  # they pass through zero: a share of the reading alone is no noise
# Of the rectangle round a patch: no more than all of it; no less than half, which any outline that only bends
# outwards fills; and readings a little off
_AREA = (0.4, 1.1)
_SPARE = 1.1  # of the tread, for a width read generously
_ANY_WIDTH = 1e9  # m, of a tread that no tape has measured


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
    """The table, with what no tyre can do refused by its line. Raises InputErrors.

    A lateral force without a slip angle is the peak, and stands in the column of the peak.
    """
    table = read_measurements(path, COLUMNS)
    mistakes = [
        *_without_slip(table),
        *_impossible(table, rig),
        *_turned(table),
    ]
    if mistakes:
        raise InputErrors(
            sorted(mistakes, key=lambda mistake: mistake.line or 0)
        )
    return _with_peaks(table)


def _with_peaks(table: Measurements) -> Measurements:
    """The table with lateral forces without a slip angle in the column of the peak."""
    of = table.values
    is_peak = np.isnan(of[SLIP])
    peak = np.where(is_peak & np.isnan(of[PEAK]), of[CURVE], of[PEAK])
    curve = np.where(is_peak, np.nan, of[CURVE])
    return replace(table, values={**of, PEAK: peak, CURVE: curve})


def _without_slip(table: Measurements) -> Iterator[InputError]:
    """Rows that lack the slip angle, and such with two peaks."""
    of = table.values
    for row in np.flatnonzero(np.isnan(of[SLIP]) & table.is_measured(ALIGNING)):
        yield table.odd(int(row), ALIGNING, f"{SLIP} in the same row")
    for row in np.flatnonzero(
        np.isnan(of[SLIP]) & table.is_measured(CURVE) & table.is_measured(PEAK)
    ):
        yield table.odd(
            int(row),
            CURVE,
            f"{SLIP} in the same row; without, it is the peak, which is there",
        )


def _turned(table: Measurements) -> Iterator[InputError]:
    """Lateral forces and moments whose sign does not go with that of the slip angle."""
    of = table.values
    meant = {
        CURVE: "that grows with slip_angle_deg: turn the sign of the angle round",
        ALIGNING: "of the sign of slip_angle_deg: positive turns the wheel towards less of a positive angle",
    }
    for key, expected in meant.items():
        product = of[key] * of[SLIP]
        is_wrong = product < 0.0
        if np.nansum(product) < 0.0:
            yield table.odd(
                int(np.flatnonzero(is_wrong)[0]), key, f"a column {expected}"
            )


def _impossible(table: Measurements, rig: Rig) -> Iterator[InputError]:
    """Values that are plausible alone, but not together."""
    of = table.values
    load = of["load_N"]
    box = of["patch_length_mm"] * of["patch_width_mm"]
    tread = np.full(len(table), rig.tread_width or _ANY_WIDTH)
    for key, (low, high), what, size in (
        (PEAK, _FRICTION, "the load", load),
        (CURVE, (0.0, _FRICTION[1]), "the load", load),
        (STIFFNESS, _STIFFNESS, "the load per degree", load / DEG),
        (ALIGNING, (0.0, _ARM), "the load times a metre", load),
        ("patch_area_mm2", _AREA, "length times width", box),
        ("patch_width_mm", (0.0, _SPARE), "the tread", tread),
    ):
        value = np.abs(of[key])
        column = COLUMNS[key]
        for row in np.flatnonzero((value < low * size) | (value > high * size)):
            whole = f"{size[row] / column.factor:.6g} {column.bounds.unit}"
            expected = f"{low:g} to {high:g} times {what}, {whole}"
            yield table.odd(int(row), key, expected)


def reading_noise(measured: Floats, noise: Mapping[str, float]) -> Floats:
    """(rows, quantities) in SI: both kinds of noise, as independent errors add."""
    flat = np.array([noise[key] * COLUMNS[key].factor for key in QUANTITIES])
    share = np.array([noise[percent_key(key)] * PERCENT for key in QUANTITIES])
    return np.hypot(flat, share * measured)


def percent_key(key: str) -> str:
    """What the noise of a column is called as a share.

    >>> percent_key("patch_area_mm2")
    'patch_area_percent'
    >>> percent_key("cornering_stiffness_N_per_deg")
    'cornering_stiffness_percent'
    """
    return key.removesuffix("_per_deg").rpartition("_")[0] + "_percent"


def noiseless(noise: Mapping[str, float]) -> str | None:
    """A quantity to which no noise is left: a reading without any would count more than all others."""
    both = {**NOISE, **noise}

    def is_silent(key: str) -> bool:
        return both[key] == 0.0 and (
            key in SIGNED or both[percent_key(key)] == 0.0
        )

    return next((key for key in QUANTITIES if is_silent(key)), None)
