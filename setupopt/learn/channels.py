"""The channels of a log: names, units, plausible values, and how sure a channel is.

A column is a quantity with its unit at the end, `speed_m_s` or `speed_km_h`; inside all are in SI under the
quantity alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from io import StringIO
from pathlib import Path
from typing import Any, Literal, NamedTuple, Self

import numpy as np
import pandas as pd
from pydantic import Field, model_validator

from setupopt.physics.inputs import Floats
from setupopt.project.field_types import KMH, Table, wrong
from setupopt.project.toml_file import read_toml
from setupopt.project.validation_errors import checked
from setupopt.units import DEG, GRAVITY, KN, MM, PERCENT

# By the unit of the project's files: units that a column may have, and what makes a value SI.
UNITS: dict[str, dict[str, float]] = {
    "s": {"s": 1.0, "ms": 1e-3},
    "m": {"m": 1.0, "km": 1e3},
    "mm": {"mm": MM, "cm": 1e-2, "m": 1.0},
    "m_s": {
        "m_s": 1.0,
        "km_h": KMH,
        "mph": 0.44704,
    },  # mile of 1609.344 m, exact
    "deg": {"deg": DEG, "rad": 1.0},
    "deg_s": {"deg_s": DEG, "rad_s": 1.0},
    "N": {"N": 1.0, "kN": KN},
    "m_s2": {"m_s2": 1.0, "g": GRAVITY},
    "share": {"": 1.0, "percent": PERCENT},
}
# In the unit: least and most plausible value; error: of a steady mean against the model, one standard error,
# where too few stretches show it (0: the model does not predict it); offset: of the sensor's zero, one
# standard error. Errors: common practice, no source.
_TABLE = """
quantity        unit   low     high    error  offset
time            s      -1e9    1e10    0      0
distance        m      -1e6    1e6     0      0
speed           m_s    -1      150     0      0
roll_angle      deg    -360    360     0      0
along           mm     -1e6    1e6     0      0
heading         deg    -360    360     0      0
yaw_rate        deg_s  -400    400     0      0
crosswind       m_s    -60     60      0      0
headwind        m_s    -60     60      0      0
brake           share  -1000   1000    0      0
throttle        share  -1000   1000    0      0
front_gap       mm     -100    1000    0.3    1
rear_gap        mm     -100    1000    0.3    1
travel_fl       mm     -500    500     0.2    1
travel_fr       mm     -500    500     0.2    1
travel_rl       mm     -500    500     0.2    1
travel_rr       mm     -500    500     0.2    1
load_fl         N      -2000   100000  15     20
load_fr         N      -2000   100000  15     20
load_rl         N      -2000   100000  15     20
load_rr         N      -2000   100000  15     20
acceleration_x  m_s2   -150    150     0.1    0.15
acceleration_y  m_s2   -150    150     0.1    0.15
acceleration_z  m_s2   -150    150     0.1    0.15
steer           deg    -60     60      0.1    0.3
sideslip        deg    -60     60      0.1    0.3
coasting        m_s2   -100    100     0.05   0
"""
CHANNELS = pd.read_csv(StringIO(_TABLE), sep=r"\s+", index_col="quantity")
CHANNELS["factor"] = [
    next(iter(UNITS[unit].values())) for unit in CHANNELS["unit"]
]
COASTING = "coasting"  # the acceleration without drive and brake; made of speed and pedals
COMPARED = [str(name) for name in CHANNELS.index[CHANNELS["error"] > 0.0]]
KEYS = {
    f"{name}_{unit}".rstrip("_"): (str(name), factor)
    for name, own in CHANNELS["unit"].drop(COASTING).items()
    for unit, factor in UNITS[str(own)].items()
}


def in_si(column: str, names: Sequence[str]) -> Floats:
    """A column of CHANNELS for some quantities, SI."""
    table = CHANNELS.loc[list(names)]
    return np.asarray(table[column] * table["factor"], dtype=float)


def key_of(name: str) -> str:
    """A quantity as the project's files write it.

    >>> key_of("front_gap"), key_of("brake")
    ('front_gap_mm', 'brake')
    """
    return f"{name}_{CHANNELS['unit'][name]}".removesuffix("_share")


class Used(NamedTuple):
    """A quantity, the log's column, what makes a value SI, and s that are added to its time."""

    name: str
    column: str
    factor: float
    shift: float = 0.0


_EXPECTED = 'a channel with its unit, such as speed_km_h = "vCar"; or {column = "vCar", sign = -1, shift_s = 0.2}'


class _Channel(Table):
    """Where a channel is found: the name of a column, or a table with it."""

    column: str = Field(description=_EXPECTED)
    sign: Literal[-1, 1] = Field(1, description=_EXPECTED)
    shift_s: float = Field(0.0, description=_EXPECTED)

    @model_validator(mode="before")
    @classmethod
    def _by_column(cls, given: Any) -> Any:
        return given if isinstance(given, dict) else {"column": given}


class _Map(Table):
    channels: dict[str, _Channel] = Field(
        description="one table [channels], and in it " + _EXPECTED
    )

    @model_validator(mode="after")
    def _known(self) -> Self:
        for key in self.channels:
            if key not in KEYS:
                raise wrong(("channels", key), _EXPECTED)
        return self


def read_map(path: str | None) -> list[Used]:
    """The channels that a map file names; none without a file. Raises InputErrors."""
    if path is None:
        return []
    found = checked(read_toml(Path(path)), _Map).channels
    return [
        Used(KEYS[key][0], one.column, one.sign * KEYS[key][1], one.shift_s)
        for key, one in found.items()
    ]


def chosen(names: list[str], mapped: list[Used]) -> list[Used]:
    """What is used of a log's columns: what the map names, else columns that are keys themselves."""
    own = [
        Used(KEYS[column][0], column, KEYS[column][1])
        for column in names
        if column in KEYS
    ]
    by_name = {one.name: one for one in [*own, *mapped]}
    return list(by_name.values())
