"""Synthetic logs: quasi-steady answers of the model for a car with hidden errors, with noise, zeros and
drop-outs, row by row, as a logger would write them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from setupopt.learn.channels import CHANNELS, COMPARED, key_of
from setupopt.learn.model import Parameter, Predictor, Stretches
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project
from setupopt.units import DEG

# Roll angle in deg and speed in m/s of the holds of a run.
HOLDS = (
    (0, 20), (0, 30), (0, 40), (0, 50), (0, 54), (15, 40), (30, 45), (30, 54), (45, 54), (60, 50), (60, 54),
    (75, 54), (90, 54), (60, 45), (30, 35), (0, 35),
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


def drawn(those: list[Parameter], seed: int, correlation: Floats) -> dict[str, float]:
    """Hidden values, drawn as they may be before a log."""
    errors = np.array([one.error for one in those])
    covariance = correlation * np.outer(errors, errors)
    values = np.random.default_rng(seed).multivariate_normal(np.zeros(errors.size), covariance)
    return dict(zip((one.name for one in those), values.tolist(), strict=True))


def log_frame(
    project: Project, truth: Truth, holds: tuple[tuple[float, float], ...] = HOLDS, seconds: int = 4,
    rate: int = 50, between: float = 2.0,
) -> pd.DataFrame:
    """A log by its keys; straight running at `holds`, each for some seconds, with ramps between."""
    rng = np.random.default_rng(truth.seed + 1)
    at = np.array(holds, dtype=float)
    n = len(at)
    inputs = pd.DataFrame({"speed": at[:, 1], "place": at[:, 0] * DEG, "course": 0.0, "curvature": 0.0, "acceleration": 0.0})
    more = pd.DataFrame({"yaw_acceleration": np.zeros(n), "headwind": 0.0, "crosswind": 0.0})
    sensors = [name for name in COMPARED if name != "coasting"]
    log = pd.DataFrame(np.zeros((n, len(sensors))), columns=sensors)
    rows = Stretches(np.zeros(n), np.arange(n), inputs, 0.0 * inputs, more, log, 0.0 * log)
    car = {k: v for k, v in truth.values.items() if not k.startswith(("zero", "speed", "place"))}
    those = [Parameter(name, "car", 1.0) for name in car]
    readings = Predictor(project, those, rows)(np.array(list(car.values())))
    whole = pd.DataFrame(readings, columns=sensors)
    whole["speed"] = at[:, 1] / (1.0 + truth.values.get("speed reading", 0.0))
    whole["roll_angle"] = at[:, 0] * DEG - truth.values.get("place reading", 0.0)
    whole["yaw_rate"] = 0.0
    knots = np.concatenate([[i * (seconds + between), i * (seconds + between) + seconds] for i in range(n)])
    time = np.arange(0.0, knots[-1], 1.0 / rate)
    frame = pd.DataFrame({"time_s": time})
    second = (time // 1.0).astype(int)
    for name in whole.columns:
        values = np.interp(time, knots, np.repeat(whole[name], 2))
        channel = CHANNELS.loc[name]
        error = {"speed": 0.05, "roll_angle": 0.1, "yaw_rate": 0.05}.get(name, channel["error"]) * channel["factor"]
        values += truth.noise * error * rng.standard_normal(time.size)
        values += truth.each * error * rng.standard_normal(second.max() + 1)[second]
        values += truth.values.get(f"zero of {name}", 0.0)
        frame[key_of(name)] = values / channel["factor"]
    return frame


def write(frame: pd.DataFrame, path: Path) -> Path:
    """The log as CSV."""
    frame.to_csv(path, index=False, float_format="%.7g")
    return path


def plain(project: Project) -> Project:
    """The project with straight running alone."""
    venue = replace(project.venue, attitudes=project.venue.attitudes[:1])
    return replace(project, venue=venue)
