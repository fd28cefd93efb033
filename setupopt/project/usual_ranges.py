"""Numbers that a newcomer cannot give: their usual ranges, by kind of tyre and car, each with its source.

A number that is measured on the very tyre or body stands before any of them.
"""

from __future__ import annotations

from typing import NamedTuple

_COMMON = "common practice, no source"
_HERTZ = f"{_COMMON}; 1/3: smooth elastic contact, Hertz"


class UsualRange(NamedTuple):
    """Of one key of car.toml: what is usual, in its unit; `source` says where that comes from."""

    table: str
    key: str
    unit: str
    usual: str
    source: str


# Key, unit, what is usual, and a source where it is not common practice alone.
_TYRE = (
    (
        "foundation_N_per_mm3",
        "N/mm3",
        "0.10 to 0.25 racing slick, 0.06 to 0.15 road",
        _COMMON,
    ),
    (
        "friction",
        "",
        "1.4 to 1.9 warm slick, 0.9 to 1.2 road, at 100 to 200 kPa",
        _COMMON,
    ),
    (
        "friction_exponent",
        "",
        "0.10 to 0.25 slick, 0.05 to 0.15 road; at most 1/3",
        _HERTZ,
    ),
    (
        "inclination_compliance_deg_per_kN",
        "deg/kN",
        "0.2 to 0.6 cross-ply slick, 0.1 to 0.3 radial",
        _COMMON,
    ),
    (
        "shear_per_foundation",
        "",
        "1 to 3 slick, 0.5 to 1.5 deep tread blocks",
        _COMMON,
    ),
    ("camber_thrust_share", "", "0.3 to 0.8", _COMMON),
    (
        "carcass_N_per_mm",
        "N/mm",
        "150 to 350 at working pressure, car tyre",
        _COMMON,
    ),
    (
        "radius_growth_mm",
        "mm",
        "0 to 1 % of the radius at 50 m/s, by the square of speed",
        _COMMON,
    ),
    (
        "damping_Ns_per_mm",
        "N s/mm",
        "0.05 to 0.5; counts for prove only",
        _COMMON,
    ),
)
_ELEMENT = (
    (
        "free_area_m2",
        "m2",
        "1 to 2.5 times plan area wing, 0 to 0.5 floor",
        _COMMON,
    ),
    (
        "ground_area_m2",
        "m2",
        "0.5 to 2 times plan area floor, 0 high wing",
        _COMMON,
    ),
    ("peak_gap_mm", "mm", "15 to 60 floor, 60 to 150 front wing", _COMMON),
    ("yaw_loss_per_rad2", "1/rad2", "2 to 8", _COMMON),
)
USUAL_RANGES = (
    *(UsualRange("tyre", *row) for row in _TYRE),
    *(UsualRange("air.element", *row) for row in _ELEMENT),
)
