"""The table of settings: field in the model, key in the files, unit, and whether each wheel has its own."""

from __future__ import annotations

from typing import Literal, NamedTuple

from setupopt.project.model import AxleSetup
from setupopt.units import BAR, DEG, MM, N_PER_MM, NS_PER_MM, PERCENT

# So many wings and pieces of ballast a setup may have.
MOST_WINGS = 8
MOST_BALLAST = 12


class Setting(NamedTuple):
    """One adjustable thing. `factor` times the file's value is the value in SI."""

    field: str  # of AxleSetup or BalanceSetup, and of the limits where there is a range
    key: str
    unit: str
    factor: float
    per: Literal["wheel", "axle", "car"]
    is_optional: bool = False  # not a number in a record, and no key in a file: as car.toml says

    def slots(self, axle: int) -> slice:
        """Where the values of an axle, 0 front, 1 rear, stand among those of all wheels or axles."""
        count = 2 if self.per == "wheel" else 1
        return slice(count * axle, count * (axle + 1))


SETTINGS = (
    Setting("camber", "camber_deg", "deg", DEG, "wheel"),
    Setting("ride_height", "ride_height_mm", "mm", MM, "wheel"),
    Setting("spring", "spring_N_per_mm", "N/mm", N_PER_MM, "wheel"),
    Setting("anti_roll", "anti_roll_N_per_mm", "N/mm", N_PER_MM, "axle"),
    Setting("third", "third_N_per_mm", "N/mm", N_PER_MM, "axle"),
    Setting("pressure", "pressure_bar", "bar", BAR, "wheel"),
    Setting("toe", "toe_mm", "mm", MM, "wheel"),
    Setting(
        "damper_bump",
        "damper_bump_Ns_per_mm",
        "N s/mm",
        NS_PER_MM,
        "wheel",
        True,
    ),
    Setting(
        "damper_rebound",
        "damper_rebound_Ns_per_mm",
        "N s/mm",
        NS_PER_MM,
        "wheel",
        True,
    ),
)
BALANCE = (
    Setting("brake_front", "brake_front_percent", "%", PERCENT, "car", True),
    Setting("drive_front", "drive_front_percent", "%", PERCENT, "car", True),
    Setting("cross_share", "cross_weight_percent", "%", PERCENT, "car", True),
)
WING = Setting("wing", "angle_deg", "deg", DEG, "car", True)
STATION = Setting("station", "station_mm", "mm", MM, "car")
SETTING_OF = {
    setting.field: setting for setting in (*SETTINGS, *BALANCE, WING, STATION)
}


def without_noise(value: float) -> float:
    """A value in the unit of a file, without the noise of the conversion from SI.

    >>> without_noise(0.1 * 3)
    0.3
    """
    return round(float(value), 6) + 0.0  # + 0.0 makes -0.0 plain


def rounded(value: float, setting: Setting) -> float:
    """A value in SI as the files say it."""
    return without_noise(value / setting.factor)


def in_file_units(axle: AxleSetup, setting: Setting) -> float | None:
    """The value of an axle as the files say it, the mean of both sides; None where car.toml says it.

    >>> from math import radians
    >>> axle = AxleSetup(radians(-2.3), 0.035, 160e3, 0.0, 0.0, 140e3, 0.0)
    >>> in_file_units(axle, SETTINGS[0])
    -2.3
    """
    left, right = axle.sides(setting.field)
    if left is None or right is None:
        return None
    return rounded(0.5 * (left + right), setting)
