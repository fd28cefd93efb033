"""The keys of `[tyre.NAME]` that a table may tell: units, ranges, and what each needs to be measured."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from setupopt.fit.tyre_table import ALIGNING, CURVE, RELAXATION, STIFFNESS
from setupopt.physics.inputs import Floats
from setupopt.project.car_schema import TyreTable
from setupopt.units import (
    DEG_PER_KN,
    MM,
    N_PER_MM,
    N_PER_MM3,
    N_PER_MM3_PER_BAR,
    N_PER_MM_PER_BAR,
)


class Parameter(NamedTuple):
    """A key of `[tyre.NAME]` that is fitted, or its logarithm. `scale`: an error as large tells nothing."""

    key: str
    field: str  # of TYRE
    factor: float  # times the file's value is the value in SI
    scale: float
    is_log: bool = False

    @property
    def bounds(self) -> Floats:
        """Both ends of what the file may say, as the search sees them."""
        found = TyreTable.number_bounds(self.key)
        ends = np.array([found.low, found.high]) * self.factor
        return np.log(ends) if self.is_log else ends

    def in_file(self, x: float) -> float:
        """The file's value of what the search has."""
        return (math.exp(x) if self.is_log else x) / self.factor


RADIUS, WIDTH, CROWN = "radius_mm", "tread_width_mm", "crown_radius_mm"
FOUNDATION, PER_BAR = "foundation_N_per_mm3", "foundation_per_bar_N_per_mm3"
FRICTION, EXPONENT, LEAN = (
    "friction",
    "friction_exponent",
    "inclination_compliance_deg_per_kN",
)
SHEAR, THRUST = "shear_per_foundation", "camber_thrust_share"
CARCASS, CARCASS_PER_BAR = "carcass_N_per_mm", "carcass_per_bar_N_per_mm"
FRICTION_PRESSURE = "friction_pressure_kPa"  # chosen, not fitted
LEAST_PRESSURE = "friction_least_pressure_kPa"  # measured, not fitted
MEASURED_PRESSURE = "measured_pressure_bar"  # likewise
_SLIPPING = (CURVE, STIFFNESS, ALIGNING)
PATCH = ("patch_length_mm", "patch_width_mm", "patch_area_mm2")
# Parameters that are fitted only where one of these was measured; the rest always are.
NEEDS = {SHEAR: _SLIPPING, THRUST: _SLIPPING, RELAXATION: (RELAXATION,)}
# What car.toml takes where the key is left out; the other keys it needs.
DEFAULTS = {
    THRUST: "0.5",
    CARCASS: "rigid",
    CARCASS_PER_BAR: "rigid",
    RELAXATION: "not used",
}
PARAMETERS = (
    Parameter(RADIUS, "radius", MM, 0.1),
    Parameter(WIDTH, "half_width", MM, 0.1),
    Parameter(
        CROWN, "crown_radius", MM, 1.0, is_log=True
    ),  # from a ball to nearly flat
    Parameter(FOUNDATION, "foundation", N_PER_MM3, 0.03 * N_PER_MM3),
    Parameter(
        PER_BAR, "per_pressure", N_PER_MM3_PER_BAR, 0.03 * N_PER_MM3_PER_BAR
    ),
    Parameter(FRICTION, "friction", 1.0, 1.0),
    Parameter(EXPONENT, "exponent", 1.0, 0.5),
    Parameter(LEAN, "compliance", DEG_PER_KN, 1.0 * DEG_PER_KN),
    Parameter(SHEAR, "shear", 1.0, 1.0),
    Parameter(THRUST, "thrust", 1.0, 0.5),
    Parameter(CARCASS, "carcass", N_PER_MM, 100.0 * N_PER_MM),
    Parameter(
        CARCASS_PER_BAR,
        "carcass_per_pressure",
        N_PER_MM_PER_BAR,
        100.0 * N_PER_MM_PER_BAR,
    ),
    Parameter(RELAXATION, "relaxation", MM, 0.3),
)
