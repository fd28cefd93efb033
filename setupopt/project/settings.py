"""The table of settings: field in the model, key in the files, unit, and whether each wheel has its own."""

from __future__ import annotations

from typing import Literal, NamedTuple

from setupopt.project.model import AxleSetup
from setupopt.units import BAR, DEG, MM, N_PER_MM


class Setting(NamedTuple):
    """One adjustable thing. `factor` times the file's value is the value in SI."""

    field: str  # of AxleSetup, and of AxleLimits where there is a range
    key: str
    unit: str
    factor: float
    per: Literal["wheel", "axle"]  # a file gives one value for an axle, which counts for both its wheels

    def slots(self, axle: int) -> slice:
        """Where the values of an axle, 0 front, 1 rear, stand among those of all wheels or axles."""
        count = 2 if self.per == "wheel" else 1
        return slice(count * axle, count * (axle + 1))


SETTINGS = (
    Setting("camber", "camber_deg", "deg", DEG, "wheel"),
    Setting("ride_height", "ride_height_mm", "mm", MM, "axle"),
    Setting("spring", "spring_N_per_mm", "N/mm", N_PER_MM, "wheel"),
    Setting("anti_roll", "anti_roll_N_per_mm", "N/mm", N_PER_MM, "axle"),
    Setting("third", "third_N_per_mm", "N/mm", N_PER_MM, "axle"),
    Setting("pressure", "pressure_bar", "bar", BAR, "wheel"),
    Setting("toe", "toe_mm", "mm", MM, "wheel"),
)


def in_file_units(axle: AxleSetup, setting: Setting) -> float:
    """The value as the files say it, without the noise of the conversion (rounded to 1e-6).

    >>> from math import radians
    >>> axle = AxleSetup(radians(-2.3), 0.035, 160e3, 0.0, 0.0, 140e3, 0.0)
    >>> in_file_units(axle, SETTINGS[0])
    -2.3
    """
    value: float = getattr(axle, setting.field)
    return round(value / setting.factor, 6) + 0.0  # + 0.0 makes -0.0 plain
