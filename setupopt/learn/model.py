"""What the model predicts in the quasi-steady seconds of a log, for given values of what is uncertain."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from setupopt.evaluation.cases import CaseSet, level, path_cases
from setupopt.evaluation.model import Model
from setupopt.learn.channels import CHANNELS, COASTING, COMPARED
from setupopt.learn.way import INPUTS, Way
from setupopt.physics.case_state import CASE_STATE, prepare, set_heading
from setupopt.physics.inputs import SIDESLIP, STEER, Floats, Record, Records
from setupopt.project.model import WHEELS, Project
from setupopt.robust.builds.build_variation import downforce_of, foundation_of, varied_car
from setupopt.robust.speeds.motion import PathForces
from setupopt.units import DEG, PERCENT

MOST = 150  # seconds that are compared
_NO_AIR = 1e-9  # kg/m3
_STEP = 0.3  # standard errors, of differences
# Plus and minus, where [spread] does not say; common practice, no source.
ASSUMED = {"downforce": 0.10, "drag": 0.10, "side_force": 0.10, "mass": 0.01}
_STIFFNESS = 0.10
_ALIKE = 0.5  # correlation of the elements' downforce
# Readings of the log that may be wrong all along: share of the speed, place in rad or m.
_SPEED, _PLACE = 0.003, 0.3 * DEG


class Parameter(NamedTuple):
    """Something uncertain. Its value is the deviation from the project; `error`: one standard error before.

    `kind`: "car", a share of the project's value; "case", of wind and readings; "zero", of a sensor. SI;
    over `factor` it is in `unit`.
    """

    name: str
    kind: str
    error: float
    unit: str = "%"
    factor: float = PERCENT


def parameters(project: Project, ways: list[Way]) -> list[Parameter]:
    """All that is uncertain, with its error before the log: half of what [spread] gives."""
    air = project.car.air.elements
    share = {name: 0.5 * (_given(project, name) or assumed) for name, assumed in ASSUMED.items()}
    each = share.pop("downforce") / np.sqrt(_ALIKE + (1.0 - _ALIKE) / len(air)) if air else 0.0
    tyres = {tyre.name for axle in (project.car.front, project.car.rear) for tyre in axle.tyres}
    found = [Parameter(downforce_of(element.name), "car", each) for element in air]
    found += [Parameter(name, "car", error) for name, error in share.items()]
    found += [Parameter(foundation_of(name), "car", 0.5 * _STIFFNESS) for name in sorted(tyres)]
    for wind in ("headwind", "crosswind"):
        most = max(abs(getattr(attitude, wind)) for attitude in project.venue.attitudes)
        if most and not any(wind in way.run.used for way in ways):
            found.append(Parameter(wind, "case", 0.5 * most, "m/s", 1.0))
    found.append(Parameter("speed reading", "case", _SPEED))
    where = ("m", 1.0) if project.venue.profile else ("deg", DEG)
    found.append(Parameter("place reading", "case", _PLACE, *where))
    known = CHANNELS.assign(zero=CHANNELS["offset"] * CHANNELS["factor"])
    return found + [
        Parameter(f"zero of {name}", "zero", *known.loc[name, ["zero", "unit", "factor"]])
        for name in COMPARED
        if name != COASTING and any(name in way.log for way in ways)
    ]


def _given(project: Project, name: str) -> float | None:
    """Plus and minus of [spread]."""
    return None if project.limits is None else getattr(project.limits.spread, name, None)


def assumed(project: Project) -> list[str]:
    """What is taken where [spread] does not say."""
    return [
        f"{name.replace('_', ' ')}: plus and minus {share / PERCENT:g} %, as [spread] of limits.toml does not say"
        for name, share in ASSUMED.items()
        if _given(project, name) is None
    ]


def correlations(those: list[Parameter]) -> Floats:
    """Of the errors before the log: elements of one car err alike."""
    is_air = np.array([one.name.startswith(downforce_of("")) for one in those])
    return np.where(np.outer(is_air, is_air), _ALIKE, 0.0) + np.diag(np.where(is_air, 1.0 - _ALIKE, 1.0))


@dataclass(frozen=True)
class Stretches:
    """Quasi-steady seconds of all runs: rows of each way one after another, the run of each, and the cases."""

    run: Floats
    second: Floats
    inputs: pd.DataFrame
    errors: pd.DataFrame
    more: pd.DataFrame
    log: pd.DataFrame
    log_errors: pd.DataFrame

    def pick(self, rows: np.ndarray) -> Stretches:
        """Some of them."""
        return Stretches(*(part[rows] if isinstance(part, np.ndarray) else part.iloc[rows] for part in vars(self).values()))


def stretches(ways: list[Way], most: int | None = MOST) -> Stretches:
    """Quasi-steady seconds, at most so many, evenly spread over time; None: every second with a place."""
    known = [np.flatnonzero(way.inputs.notna().all(axis=1)) for way in ways]
    rows = [np.flatnonzero(way.transient == "") for way in ways] if most else known
    parts = [
        pd.concat([getattr(way, name).iloc[row] for way, row in zip(ways, rows, strict=True)], ignore_index=True)
        for name in ("inputs", "errors", "more", "log", "log_errors")
    ]
    run = np.repeat(np.arange(len(ways)), [row.size for row in rows])
    found = Stretches(run, np.concatenate(rows), *parts)
    count = run.size if most is None else min(most, run.size)
    return found.pick(np.unique(np.linspace(0, run.size - 1, count).round().astype(int)))


class Predictor:
    """A project's car in the seconds of a log."""

    def __init__(self, project: Project, those: list[Parameter], rows: Stretches) -> None:
        self.project = project
        self.names = [one.name for one in those if one.kind != "zero"]
        self.errors = np.array([one.error for one in those if one.kind != "zero"])
        self.rows = rows
        self.channels = list(rows.log.columns)
        self.starts: Records | None = None
        model, settings = self._car({})
        self.answers = model.run(settings, self.cases({})).answers[0]
        self.is_held = self.answers["contact"] & ~self.answers["slides"]
        self.starts = self.answers

    def values(self, theta: Floats) -> dict[str, float]:
        """Deviations by name."""
        return dict(zip(self.names, theta[: len(self.names)].tolist(), strict=True))

    def _car(self, values: dict[str, float]) -> tuple[Model, Records]:
        return car_of(self.project, values)

    def cases(self, values: dict[str, float], moved: dict[str, float] | None = None) -> CaseSet:
        """The seconds as cases. `moved`: inputs moved by so many of their errors."""
        inputs = self.rows.inputs.copy()
        for name, errors in (moved or {}).items():
            inputs[name] += errors * self.rows.errors[name]
        wind = {name: self.rows.more[name] + values.get(name, 0.0) for name in ("headwind", "crosswind")}
        at = inputs["place"].to_numpy() + values.get("place reading", 0.0)
        columns = {
            "speed": inputs["speed"] * (1.0 + values.get("speed reading", 0.0)),
            "heading": inputs["course"],
            "path_curvature": inputs["curvature"],
            "acceleration": inputs["acceleration"],
            "yaw_acceleration": self.rows.more["yaw_acceleration"],
            **wind,
        }
        arrays = {name: column.to_numpy() for name, column in columns.items()}
        return path_cases(self.project.venue, "log", at, **arrays)

    def __call__(self, theta: Floats, moved: dict[str, float] | None = None) -> Floats:
        """Predicted readings (seconds, channels), sensors true; not a number where the car has no trim."""
        values = self.values(theta)
        model, settings = self._car(values)
        cases = self.cases(values, moved)
        answers = model.run(settings, cases, self.starts, by_slope=True).answers[0]
        vehicle = model.packed_for(settings[0])[0][0]
        found = _readings(vehicle, cases.records, answers)
        if COASTING in self.channels:
            forces = PathForces(replace(self.project, car=model.car), cases.records)
            found[COASTING] = -forces.deceleration(cases.records["speed"])
        table = np.column_stack([found[name] for name in self.channels])
        return np.where((answers["contact"] & ~answers["slides"])[:, None], table, np.nan)

    def slopes(self, theta: Floats, base: Floats) -> Floats:
        """Slopes of the readings by the parameters, (seconds, channels, parameters)."""
        return differences(self, theta[: self.errors.size], base, self.errors)

    def input_slopes(self, theta: Floats, base: Floats) -> Floats:
        """Change of the readings with one error of every input, (seconds, channels, inputs)."""
        return np.stack([(self(theta, {name: _STEP}) - base) / _STEP for name in INPUTS], axis=2)


def car_of(project: Project, values: dict[str, float]) -> tuple[Model, Records]:
    """The project's car with deviations, and its setup."""
    factors = {name: max(0.2, 1.0 + value) for name, value in values.items()}
    model = Model(varied_car(project.car, factors))
    return model, model.settings(project.setup)


def differences(function: Callable[[Floats], Floats], theta: Floats, base: Floats, errors: Floats) -> Floats:
    """Slopes of a function by parameters whose errors are given, on a last axis."""
    steps = _STEP * errors
    moved = [function(theta + step * unit) for step, unit in zip(steps, np.eye(steps.size), strict=True)]
    return np.stack([(one - base) / step for one, step in zip(moved, steps, strict=True)], axis=-1)


def _readings(vehicle: Record, cases: Records, answers: Records) -> dict[str, Any]:
    """What the sensors of the car read, by channel, SI. Gaps at the ride-height stations."""
    state = answers["state"]
    felt = dict(zip("xyz", _felt(vehicle, cases, state).T, strict=True))
    return {
        "front_gap": answers["ride_gap"][:, 0],
        "rear_gap": answers["ride_gap"][:, 1],
        **{f"travel_{wheel}": answers["travel"][:, w] for w, wheel in enumerate(WHEELS)},
        **{f"load_{wheel}": answers["load"][:, w] for w, wheel in enumerate(WHEELS)},
        **{f"acceleration_{axis}": values for axis, values in felt.items()},
        "steer": state[:, STEER],
        "sideslip": state[:, SIDESLIP],
    }


def _felt(vehicle: Record, cases: Records, state: Floats) -> Floats:
    """What accelerometers on the body feel: acceleration less gravity, as the body pitches and rolls."""
    one = np.zeros(1, CASE_STATE)[0]
    felt = np.empty((cases.size, 3))
    for row, case in enumerate(cases):
        prepare(vehicle, case, 0.0, one)
        set_heading(vehicle, case, float(state[row, SIDESLIP]), one)
        felt[row] = -one["pull"]
    turned = np.column_stack([state[:, 2], state[:, 1], np.zeros(cases.size)])
    return felt - np.cross(turned, felt)


def axle_downforce(project: Project, values: dict[str, float]) -> Floats:
    """What the air adds to the load of the front axle, the rear axle and both, N.

    Straight on the level at the speed of the sweep.
    """
    model, settings = car_of(project, values)
    venue = project.venue
    cases = path_cases(venue, "level", np.full(2, level(venue)), speed=np.array(venue.sweep.speed))
    cases.records["air_density"][1] = _NO_AIR
    load = model.run(settings, cases).answers[0]["load"]
    front, rear = (load[0] - load[1]).reshape(2, 2).sum(axis=1)
    return np.array([front, rear, front + rear])
