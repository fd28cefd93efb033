"""Where the car was: speed, place round the section, course and path curvature, second by second.

Every second has a straight line through each channel: its middle and its slope, with the standard errors of
both from the scatter of ten blocks about the line. A second in which the car's state changes little is
quasi-steady and can be held against a trim; transients are left to the ride.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from setupopt.learn.channels import COASTING, COMPARED
from setupopt.learn.log import BLOCK, Log
from setupopt.physics.inputs import Floats
from setupopt.project.model import Venue
from setupopt.units import DEG, GRAVITY

_BLOCKS = 10
WINDOW = _BLOCKS * BLOCK
_LEAST = 8  # blocks with a value
INPUTS = ("speed", "place", "course", "curvature", "acceleration")
# What may change in a quasi-steady second: speed by a share, angles in rad. Common practice, no source.
STEADY = {
    "speed": 0.10,
    "place": 4.0 * DEG,
    "heading": 3.0 * DEG,
    "yaw_rate": 3.0 * DEG,
}
# Standard errors of a mean reading, beside its scatter, SI; common practice, no source.
_READING = {
    "speed": 0.05,
    "roll_angle": 0.1 * DEG,
    "along": 0.01,
    "heading": 0.2 * DEG,
    "yaw_rate": 0.05 * DEG,
}
_OTHERS = ("distance", "headwind", "crosswind", "brake", "throttle")
_BY_GRAVITY = 1.5 * DEG  # a body leans against the surface
_SLOWEST = 3.0  # m/s
_IDLE = 0.02  # share of a pedal


@dataclass(frozen=True)
class Way:
    """One run. `table`: a row for every second, SI; columns are pairs of a part and a name.

    Parts: "input" by INPUTS (place: as `evaluation.cases.put` takes it) and their standard "error"; "more":
    yaw_acceleration, headwind, crosswind; "log" by channel and its "log_error".
    `transient`: why a second is no quasi-steady one, empty where it is.
    """

    run: Log
    table: Any
    transient: Any

    @property
    def driven(self) -> Floats:
        """Way driven up to every second, m."""
        return np.nancumsum(self.table["input"]["speed"]) * WINDOW

    @property
    def lines(self) -> Floats:
        """First line of every second."""
        return self.run.line[::_BLOCKS][: len(self.table)]


class _Lines(NamedTuple):
    """Straight lines through the seconds, (seconds, channels): values in the middle, slopes per s, and errors."""

    value: Any
    error: Any
    slope: Any
    slope_error: Any


def _through(mean: Any) -> _Lines:
    seconds = len(mean) // _BLOCKS
    grid = mean.to_numpy()[: seconds * _BLOCKS].reshape(seconds, _BLOCKS, -1)
    has = np.isfinite(grid)
    count = np.where(has.sum(axis=1) >= _LEAST, has.sum(axis=1), np.nan)[
        :, None
    ]
    time = np.where(has, BLOCK * np.arange(_BLOCKS)[:, None], 0.0)
    time = np.where(has, time - time.sum(axis=1, keepdims=True) / count, 0.0)
    values = np.where(has, grid, 0.0)
    middle = values.sum(axis=1, keepdims=True) / count
    inertia = (time**2).sum(axis=1, keepdims=True) + 0.0 * count
    slope = (time * values).sum(axis=1, keepdims=True) / inertia
    left = np.where(has, values - middle - slope * time, 0.0)
    scatter = np.sqrt((left**2).sum(axis=1, keepdims=True) / (count - 2.0))
    parts = (
        middle,
        scatter / np.sqrt(count),
        slope,
        scatter / np.sqrt(inertia),
    )
    return _Lines(
        *(pd.DataFrame(part[:, 0], columns=mean.columns) for part in parts)
    )


def _combined(*pairs: tuple[Any, Any]) -> Any:
    """Values with standard errors as one, by inverse variance: value and error; missing ones do not count."""
    values, errors = np.array(pairs, dtype=float).transpose(1, 0, 2)
    weights = np.where(np.isfinite(values + errors), errors, np.inf) ** -2.0
    total = weights.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.array(
            [np.nansum(values * weights, axis=0) / total, total**-0.5]
        )


def way(run: Log, venue: Venue) -> Way:
    """Where the car of a log was. Raises InputErrors where the log does not say."""
    if len(run.mean) < 2 * _BLOCKS:
        raise run.error(
            run.line[0],
            "time",
            f"{len(run.mean) * BLOCK:.3g} s of rows",
            "ten seconds and more",
        )
    names = [*COMPARED, *_READING, *_OTHERS]
    lines = _through(run.mean.reindex(columns=names))
    for name, reading in _READING.items():
        lines.error[name] = np.hypot(lines.error[name], reading)
    value = lines.value
    speed = _speed(lines)
    place, climb = _place(run, venue, lines, speed[0])
    course = _course(lines, speed[0], climb)
    bend = _bend(run, venue, lines, speed[0], place[0], course[0])
    push = _push(lines, speed[0])
    inputs = dict(zip(INPUTS, (speed, place, course, bend, push), strict=True))
    more = (
        value[["headwind", "crosswind"]]
        .assign(yaw_acceleration=lines.slope["yaw_rate"])
        .fillna(0.0)
    )
    compared = [
        name for name in COMPARED if name in value and value[name].notna().any()
    ]
    if not compared:
        raise run.error(
            run.line[0],
            COMPARED[0],
            "no channel with values that the model predicts",
            "one",
        )
    parts = {
        "input": pd.DataFrame({name: pair[0] for name, pair in inputs.items()}),
        "error": pd.DataFrame({name: pair[1] for name, pair in inputs.items()}),
        "more": more,
        "log": value[compared],
        "log_error": lines.error[compared],
    }
    changes = lines.slope[["heading", "yaw_rate"]].assign(
        speed=push[0] / speed[0], place=climb[0] * venue.curvature
    )
    reason = _transient(run, changes, parts["input"])
    return Way(run, pd.concat(parts, axis=1), reason)


def _speed(lines: _Lines) -> Floats:
    """Speed and its error, m/s; nan where the car hardly moves."""
    by_distance = lines.slope_error["distance"] + 0.02
    speed = _combined(
        (lines.value["speed"], lines.error["speed"]),
        (lines.slope["distance"], by_distance),
    )
    speed[:, ~(speed[0] > _SLOWEST)] = np.nan
    return speed


def _course(lines: _Lines, speed: Floats, climb: Floats) -> Floats:
    """Course and its error, rad: from the heading, and from the speed round the section."""
    by_climb = np.arcsin(np.clip(climb[0] / speed, -1.0, 1.0))
    return _combined(
        (lines.value["heading"], lines.error["heading"]),
        (by_climb, climb[1] / speed + 0.02 * DEG),
    )


def _bend(
    run: Log,
    venue: Venue,
    lines: _Lines,
    speed: Floats,
    place: Floats,
    course: Floats,
) -> Floats:
    """Curvature of the path and its error, 1/m. Takes the sideways acceleration where nothing else says it."""
    value = lines.value
    bends = [
        (value["yaw_rate"], lines.error["yaw_rate"]),
        (lines.slope["heading"], lines.slope_error["heading"] + 1e-6),
    ]
    turns = {"yaw_rate", "heading"} & run.used.keys()
    if not turns and not venue.profile and "acceleration_y" in value:
        pull = GRAVITY * np.sin(place) * np.cos(course)
        side = value.pop("acceleration_y") - pull
        bends.append((side / speed, 0.3 / speed))
    bend = _combined(*bends) / speed
    return np.where(np.isfinite(bend), bend, [0.0 * speed, 0.5 / speed**2])


def _push(lines: _Lines, speed: Floats) -> Floats:
    """Acceleration along the path and its error, m/s2; also as the channel of coasting, where no pedal is used."""
    push = np.array(
        [
            lines.slope["speed"].fillna(pd.Series(np.gradient(speed, WINDOW))),
            lines.slope_error["speed"].fillna(0.5),
        ]
    )
    pedals = lines.value[["brake", "throttle"]].abs()
    is_idle = (pedals < _IDLE).all(axis=1)
    coasting = np.where(is_idle, push, np.nan)
    lines.value[COASTING], lines.error[COASTING] = coasting
    return push


def _transient(run: Log, changes: Any, inputs: Any) -> Any:
    """Why each second is no quasi-steady one, empty where it is. Raises InputErrors where none is."""
    is_large = (changes * WINDOW).abs().gt(pd.Series(STEADY))
    largest = is_large.idxmax(axis=1)
    reason = largest.where(is_large.any(axis=1), "").astype(object)
    reason[inputs.isna().any(axis=1)] = "speed or place unknown"
    if not (reason == "").any():
        raise run.error(
            run.line[0],
            "speed",
            "no second with a steady state and a known place",
            "some",
        )
    return reason


def _place(
    run: Log, venue: Venue, lines: _Lines, speed: Floats
) -> tuple[Floats, Floats]:
    """Place and speed round the section, m/s, each with its error."""
    value = lines.value
    name = "along" if venue.profile else "roll_angle"
    metres = (
        1.0 if venue.profile or not venue.curvature else 1.0 / venue.curvature
    )
    straight = np.array(
        [0.0 * speed, 0.03 * speed]
    )  # where no heading says otherwise, along the axis
    if value[name].notna().any():
        climb = metres * np.array([lines.slope[name], lines.slope_error[name]])
        place = np.array([value[name], lines.error[name]])
        return place, climb if venue.curvature else straight
    if not venue.curvature and venue.sweep.start == venue.sweep.stop == 0.0:
        return np.array([0.0 * speed, 1e-6 + 0.0 * speed]), straight
    # An accelerometer feels gravity, and the path's own acceleration
    course = value["heading"].fillna(0.0)
    press = venue.curvature * (speed * np.sin(course)) ** 2
    across, up = value.pop("acceleration_y"), value.pop("acceleration_z")
    felt = (across - speed * value["yaw_rate"].fillna(0.0)) / np.cos(course)
    angle = np.arctan2(felt, up - press)
    if not venue.curvature or venue.profile or not np.isfinite(angle).any():
        raise run.error(
            1,
            name,
            "no value",
            "it; on one circle also acceleration_y and acceleration_z will do",
        )
    return np.array([angle, _BY_GRAVITY + 0.0 * angle]), straight
