"""Where the car was: speed, place round the section, course and path curvature, second by second.

Every second has a straight line through each channel: its middle and its slope, with the standard errors of
both from the scatter of ten blocks about the line. A second in which the car's state changes little is
quasi-steady and can be held against a trim; transients are left to the ride.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from setupopt.learn.channels import COASTING, COMPARED
from setupopt.learn.log import BLOCK, Log
from setupopt.physics.inputs import Floats
from setupopt.project.model import Venue
from setupopt.units import DEG, GRAVITY

_BLOCKS = 10
SECOND = _BLOCKS * BLOCK
_LEAST = 8  # blocks with a value
INPUTS = ("speed", "place", "course", "curvature", "acceleration")
# What may change in a quasi-steady second: speed by a share, angles in rad. Common practice, no source.
STEADY = {"speed": 0.03, "place": 4.0 * DEG, "heading": 3.0 * DEG, "yaw_rate": 3.0 * DEG}
# Standard errors of a mean reading, beside its scatter, SI; common practice, no source.
_READING = {"speed": 0.05, "roll_angle": 0.1 * DEG, "along": 0.01, "heading": 0.2 * DEG, "yaw_rate": 0.05 * DEG}
_BY_GRAVITY = 1.5 * DEG  # a body leans against the surface
_SLOWEST = 3.0  # m/s
_IDLE = 0.02  # share of a pedal


@dataclass(frozen=True)
class Way:
    """One run, its seconds as rows: `inputs` and their `errors` by INPUTS, `log` and `log_errors` by channel.

    SI. `place`: as `evaluation.cases.put` takes it. `transient`: why a second is no quasi-steady one, empty
    where it is. `more`: yaw_acceleration, headwind and crosswind.
    """

    run: Log
    line: Floats
    inputs: pd.DataFrame
    errors: pd.DataFrame
    more: pd.DataFrame
    log: pd.DataFrame
    log_errors: pd.DataFrame
    transient: pd.Series

    @property
    def time(self) -> Floats:
        """Middle of every second from the first row, s."""
        return (np.arange(len(self.line)) + 0.5) * SECOND

    @property
    def driven(self) -> Floats:
        """Way driven up to every second, m."""
        return np.nancumsum(self.inputs["speed"]) * SECOND

    @property
    def axis(self) -> Floats:
        """Way along the venue's axis up to every second, m."""
        return np.nancumsum(self.inputs["speed"] * np.cos(self.inputs["course"])) * SECOND


def _through(mean: pd.DataFrame) -> list[pd.DataFrame]:
    """Straight lines through the seconds: values in the middle, their errors, slopes per s, their errors."""
    seconds = len(mean) // _BLOCKS
    grid = mean.to_numpy()[: seconds * _BLOCKS].reshape(seconds, _BLOCKS, -1)
    has = np.isfinite(grid)
    count = np.where(has.sum(axis=1) >= _LEAST, has.sum(axis=1), np.nan)
    time = np.where(has, BLOCK * (np.arange(_BLOCKS) - 0.5 * (_BLOCKS - 1))[:, None], 0.0)
    time = np.where(has, time - (time.sum(axis=1) / count)[:, None], 0.0)
    middle = np.where(has, grid, 0.0).sum(axis=1) / count
    inertia = (time**2).sum(axis=1) + 0.0 * count
    slope = np.where(has, time * grid, 0.0).sum(axis=1) / inertia
    left = np.where(has, grid - middle[:, None] - slope[:, None] * time, 0.0)
    scatter = np.sqrt((left**2).sum(axis=1) / (count - 2.0))
    parts = (middle, scatter / np.sqrt(count), slope, scatter / np.sqrt(inertia))
    return [pd.DataFrame(part, columns=mean.columns) for part in parts]


def _combined(*pairs: tuple[pd.Series, pd.Series]) -> tuple[Floats, Floats]:
    """Values with standard errors as one, by inverse variance; missing ones do not count."""
    values = np.array([value for value, _ in pairs], dtype=float)
    weights = np.array([error for _, error in pairs], dtype=float) ** -2.0
    weights[~np.isfinite(values)] = 0.0
    total = weights.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.nansum(values * weights, axis=0) / total, total**-0.5


def way(run: Log, venue: Venue) -> Way:
    """Where the car of a log was. Raises InputErrors where the log does not say."""
    names = [*COMPARED, *_READING, "distance", "headwind", "crosswind", "brake", "throttle"]
    value, error, slope, slope_error = _through(run.mean.reindex(columns=list(dict.fromkeys(names))))
    for name, reading in _READING.items():
        error[name] = np.hypot(error[name], reading)
    speed, speed_error = _combined(
        (value["speed"], error["speed"]), (slope["distance"], slope_error["distance"] + 1e-6)
    )
    speed[~(speed > _SLOWEST)] = np.nan
    place, place_error, climb, climb_error = _place(run, venue, value, error, slope, slope_error, speed)
    course, course_error = _combined(
        (value["heading"], error["heading"]),
        (np.arcsin(np.clip(climb / speed, -1.0, 1.0)), climb_error / speed + 0.02 * DEG),
    )
    pull = GRAVITY * np.sin(0.0 if venue.profile else place) * np.cos(course)
    bends = [(value["yaw_rate"] / speed, error["yaw_rate"] / speed)]
    bends.append((slope["heading"] / speed, slope_error["heading"] / speed + 1e-6))
    if not {"yaw_rate", "heading"} & run.used.keys() and not venue.profile:
        bends.append(((value.pop("acceleration_y") - pull) / speed**2, 0.3 / speed**2))
    curvature, curvature_error = _combined(*bends)
    is_bent = np.isfinite(curvature)
    inputs = {
        "speed": (speed, speed_error),
        "place": (place, place_error),
        "course": (course, course_error),
        "curvature": (np.where(is_bent, curvature, 0.0), np.where(is_bent, curvature_error, 0.5 / speed**2)),
        "acceleration": _combined((slope["speed"], slope_error["speed"]), (np.gradient(speed, SECOND), 0.5 + 0.0 * speed)),
    }
    is_idle = (value[["brake", "throttle"]].abs() < _IDLE).all(axis=1)
    value[COASTING] = np.where(is_idle, inputs["acceleration"][0], np.nan)
    error[COASTING] = inputs["acceleration"][1]
    found = pd.DataFrame({name: pair[0] for name, pair in inputs.items()})
    compared = [name for name in COMPARED if name in value and value[name].notna().any()]
    more = value[["headwind", "crosswind"]].fillna(0.0)
    more["yaw_acceleration"] = slope["yaw_rate"].fillna(0.0)
    return Way(
        run, run.line[: len(found) * _BLOCKS : _BLOCKS], found,
        pd.DataFrame({name: pair[1] for name, pair in inputs.items()}), more,
        value[compared], error[compared], _transient(run, venue, found, climb, slope),
    )  # fmt: skip


_Place = tuple[Floats, Floats, Floats, Floats]


def _place(
    run: Log, venue: Venue, value: pd.DataFrame, error: pd.DataFrame, slope: pd.DataFrame,
    slope_error: pd.DataFrame, speed: Floats,
) -> _Place:  # fmt: skip
    """Place, its error, speed round the section, m/s, and its error."""
    name = "along" if venue.profile else "roll_angle"
    metres = 1.0 if venue.profile or not venue.curvature else 1.0 / venue.curvature
    nothing = np.zeros(len(speed))
    unknown = np.full(len(speed), np.nan)
    if value[name].notna().any():
        climb = (metres * slope[name], metres * slope_error[name])
        return value[name].to_numpy(), error[name].to_numpy(), *(part.to_numpy() for part in climb)
    if not venue.profile and not venue.curvature:
        return nothing, nothing + 1e-6, unknown, unknown
    # An accelerometer feels gravity, and the path's own acceleration
    course = value["heading"].fillna(0.0)
    turn = speed * value["yaw_rate"].fillna(0.0)
    press = venue.curvature * (speed * np.sin(course)) ** 2
    felt = (value["acceleration_y"] - turn) / np.cos(course)
    angle = np.arctan2(felt, value["acceleration_z"] - press).to_numpy()
    if venue.profile or not np.isfinite(angle).any():
        expected = "along_mm" if venue.profile else "it, or acceleration_y_m_s2 with acceleration_z_m_s2"
        raise run.error(0, name, "no such column or no value", expected)
    # Where no heading says otherwise, the car runs along the axis
    return angle, nothing + _BY_GRAVITY, nothing, nothing + 0.03 * speed


def _transient(
    run: Log, venue: Venue, inputs: pd.DataFrame, climb: Floats, slope: pd.DataFrame
) -> pd.Series:
    """Why a second is no quasi-steady one."""
    changes = pd.DataFrame(
        {
            "speed": inputs["acceleration"] / inputs["speed"],
            "place": climb * venue.curvature,
            **slope[["heading", "yaw_rate"]],
        }
    )
    is_large = (changes * SECOND).abs() > pd.Series(STEADY)
    reason = is_large.idxmax(axis=1).where(is_large.any(axis=1), "").astype(object)
    reason[inputs.isna().any(axis=1)] = "unknown speed or place"
    if not (reason == "").any():
        raise run.error(0, "speed", "no second in which the car's state is steady", "some of them")
    return reason
