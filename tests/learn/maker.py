"""Synthetic logs: quasi-steady answers of the model for a car with hidden errors, with noise, zeros and
drop-outs, row by row, as a logger would write them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from setupopt.evaluation.cases import path_cases
from setupopt.learn.channels import CHANNELS, COMPARED, key_of
from setupopt.learn.model import Predictor, parameters, prior
from setupopt.physics.inputs import SIDESLIP
from setupopt.physics.ride_run import TRACE
from setupopt.project.model import Project
from setupopt.robust.ride_model import RideModel
from setupopt.units import DEG

BORE = Path(__file__).parents[2] / "setups" / "bore"
# Roll angle in deg and speed in m/s of the holds of a run.
HOLDS = (
    (0, 20), (0, 30), (0, 40), (0, 50), (0, 54), (15, 48), (30, 45), (30, 54), (45, 54), (60, 50), (60, 54),
    (75, 54), (90, 54), (60, 50), (30, 44), (0, 38),
)  # fmt: skip
FEW_HOLDS = (
    (0, 20), (0, 40), (0, 54), (30, 54), (60, 54), (30, 40), (60, 45), (0, 30),
)  # fmt: skip


@dataclass(frozen=True)
class Truth:
    """Hidden errors. `values`: deviations by name of the parameter; `zeros`: of sensors by channel, SI.

    `noise`: of rows, `each`: of whole seconds, both in the tabled errors of the channels.
    """

    values: dict[str, float] = field(default_factory=dict)
    noise: float = 1.0
    each: float = 1.0
    seed: int = 0


def drawn(project: Project, seed: int) -> dict[str, float]:
    """Hidden values, drawn as they may be before a log of all channels."""
    every: Any = SimpleNamespace(
        run=SimpleNamespace(used={}), table={"log": COMPARED}
    )
    those = parameters(project, [every])
    values = np.random.default_rng(seed).multivariate_normal(
        np.zeros(len(those)), prior(those)
    )
    return dict(zip(those.index, values.tolist(), strict=True))


def log_frame(
    project: Project, truth: Truth, holds: tuple[tuple[float, float], ...] = HOLDS, seconds: int = 4,
    rate: int = 50, between: int = 2,
) -> pd.DataFrame:  # fmt: skip
    """A log by its keys: `holds`, each for some seconds, and even changes of speed and place between them.

    Rows lie on a line between the trims at both ends of their second.
    """
    rng = np.random.default_rng(truth.seed + 1)
    knots = np.add.outer(
        np.arange(len(holds)) * (seconds + between), [0, seconds]
    ).ravel()
    ends = np.arange(knots[-1] + 1)
    place, speed = (
        np.interp(ends, knots, np.repeat(column, 2))
        for column in np.array(holds, dtype=float).T
    )
    place *= DEG
    climb = np.diff(place) / max(project.venue.curvature, 1e-9)
    inputs = pd.DataFrame(
        {
            "speed": np.append(speed[:-1], speed[1:]),
            "place": np.append(place[:-1], place[1:]),
            "course": np.tile(np.arcsin(climb / speed[:-1]), 2),
            "curvature": 0.0,
            "acceleration": np.tile(np.diff(speed), 2),
        }
    )
    sensors = [name for name in COMPARED if name != "coasting"]
    car = {
        name: v
        for name, v in truth.values.items()
        if not name.startswith(("zero", "speed", "place"))
    }
    more = pd.DataFrame(
        0.0, inputs.index, ["yaw_acceleration", "headwind", "crosswind"]
    )
    log = pd.DataFrame(0.0, inputs.index, sensors)
    parts = {"input": inputs, "error": 0.0 * inputs, "more": more, "log": log}
    predict = Predictor(
        project,
        pd.DataFrame({"kind": "car", "prior": 1.0}, index=list(car)),
        pd.concat(parts, axis=1),
    )
    assert not predict.unheld, "a second that the model's car does not stand"
    whole = pd.DataFrame(predict(np.array(list(car.values()))), columns=sensors)
    whole["speed"] = inputs["speed"] / (
        1.0 + truth.values.get("speed reading", 0.0)
    )
    whole["roll_angle"] = inputs["place"] - truth.values.get(
        "place reading", 0.0
    )
    whole["yaw_rate"] = 0.0
    time = np.arange(0.0, ends[-1], 1.0 / rate)
    second = (time + 1e-9).astype(int)
    frame = pd.DataFrame({"time_s": time})
    first, last = (
        whole.iloc[: ends[-1]].iloc[second],
        whole.iloc[ends[-1] :].iloc[second],
    )
    for name in whole.columns:
        values = first[name].to_numpy() + (time - second) * (
            last[name].to_numpy() - first[name].to_numpy()
        )
        channel = CHANNELS.loc[name]
        error = {"speed": 0.05, "roll_angle": 0.1, "yaw_rate": 0.05}.get(
            name, channel["error"]
        ) * channel["factor"]
        values += truth.noise * error * rng.standard_normal(time.size)
        values += truth.each * error * rng.standard_normal(ends[-1])[second]
        values += truth.values.get(f"zero of {name}", 0.0)
        frame[key_of(name)] = values / channel["factor"]
    return frame


def ridden_frame(
    project: Project, holds: tuple[tuple[float, float], ...], seconds: int = 5
) -> pd.DataFrame:
    """A log of steer and sideslip from the ride in time: waves of half a millimetre under the car, a driver
    who holds the course, and a second without rows between the holds.
    """
    angles, speeds = np.array(holds, dtype=float).T
    cases = path_cases(project.venue, "ride", angles * DEG, speed=speeds)
    ride = RideModel(project, project.setup, cases)
    parts = []
    for row, (angle, speed) in enumerate(holds):
        way = (
            speed * np.arange(1000.0 * seconds + 1.0)[:, None] * 1e-3
            - ride.contacts(row).behind
        )
        road = 5e-4 * (
            np.sin(2.0 * np.pi * way / 6.0) + np.sin(2.0 * np.pi * way / 2.3)
        )
        trace = np.zeros((50 * seconds, len(TRACE)))
        ride.disturbed(row, road, 2e-3, judged=False, trace=trace, every=10)
        seen = pd.DataFrame(trace, columns=list(TRACE))
        columns = {
            "time_s": seen["time"] + row * (seconds + 1.0),
            "speed_m_s": speed,
            "roll_angle_deg": angle,
        }
        columns |= {"yaw_rate_deg_s": 0.0, "steer_deg": seen["steer"] / DEG}
        columns["sideslip_deg"] = (
            ride.trim(row)[SIDESLIP] + seen["sideslip"]
        ) / DEG
        parts.append(pd.DataFrame(columns))
    return pd.concat(parts, ignore_index=True)


def write(frame: pd.DataFrame, path: Path) -> Path:
    """The log as CSV."""
    frame.to_csv(path, index=False, float_format="%.7g")
    return path


def plain(project: Project) -> Project:
    """The project with straight running alone."""
    venue = replace(project.venue, attitudes=project.venue.attitudes[:1])
    return replace(project, venue=venue)
