"""What the model predicts in the quasi-steady seconds of a log, for given values of what is uncertain."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from setupopt.evaluation.cases import CaseSet, path_cases
from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Field
from setupopt.learn.channels import CHANNELS, COASTING
from setupopt.learn.way import INPUTS, Way
from setupopt.physics.case_state import CASE_STATE, prepare, set_heading
from setupopt.physics.inputs import SIDESLIP, STEER, Floats, Record, Records
from setupopt.project.model import WHEELS, Project
from setupopt.robust.builds.varied_car import (
    downforce_of,
    foundation_of,
    varied_car,
)
from setupopt.robust.speeds.motion import PathForces
from setupopt.units import DEG, PERCENT

MOST = 150  # seconds that are compared
_STEP = 0.3  # standard errors, of differences
# Plus and minus, where [spread] does not say; common practice, no source.
ASSUMED = {"downforce": 0.10, "drag": 0.10, "side_force": 0.10, "mass": 0.01}
_STIFFNESS = 0.10
_ALIKE = 0.5  # correlation of the elements' downforce
# Readings of a log that may be wrong all along: share of the speed, place in rad or m.
_SPEED, _PLACE = 0.003, 0.3 * DEG


def given(project: Project, name: str) -> float | None:
    """Plus and minus of [spread], a share."""
    return (
        None
        if project.limits is None
        else getattr(project.limits.spread, name, None)
    )


def assumed(project: Project) -> list[str]:
    """What is taken where [spread] does not say."""
    lacking = {
        name: share
        for name, share in ASSUMED.items()
        if given(project, name) is None
    }
    return [
        f"{name}_percent of [spread]: {share / PERCENT:g}"
        for name, share in lacking.items()
    ]


def parameters(project: Project, ways: list[Way]) -> Any:
    """All that is uncertain, as deviations from the project: a frame by name.

    `kind`: "car", a share of the project's value; "case", of wind and readings; "zero", of a sensor. `prior`:
    one standard error before the log, half of what [spread] gives; SI, over `factor` in `unit`.
    """
    air = [element.name for element in project.car.air.elements]
    tyres = {
        tyre.name
        for axle in (project.car.front, project.car.rear)
        for tyre in axle.tyres
    }
    share = {
        name: 0.5 * (given(project, name) or common)
        for name, common in ASSUMED.items()
    }
    each = share.pop("downforce") / np.sqrt(
        _ALIKE + (1.0 - _ALIKE) / max(len(air), 1)
    )
    car = dict.fromkeys(map(downforce_of, air), each) | share
    car |= dict.fromkeys(map(foundation_of, sorted(tyres)), 0.5 * _STIFFNESS)
    rows = {name: ("car", error, "%", PERCENT) for name, error in car.items()}
    for wind in ("headwind", "crosswind"):
        most = max(
            abs(getattr(attitude, wind)) for attitude in project.venue.attitudes
        )
        if most and not any(wind in way.run.used for way in ways):
            rows[wind] = ("case", 0.5 * most, "m/s", 1.0)
    rows["speed reading"] = ("case", _SPEED, "%", PERCENT)
    rows["place reading"] = (
        "case",
        _PLACE,
        *(("m", 1.0) if project.venue.profile else ("deg", DEG)),
    )
    for name in dict.fromkeys(
        name for way in ways for name in way.table["log"]
    ):
        unit, factor, offset = CHANNELS.loc[name, ["unit", "factor", "offset"]]
        if name != COASTING:
            rows[f"zero of {name}"] = ("zero", offset * factor, unit, factor)
    return pd.DataFrame.from_dict(
        rows, "index", columns=["kind", "prior", "unit", "factor"]
    )


def prior(those: Any) -> Floats:
    """Covariance of the parameters before the log: elements of one car err alike."""
    is_air = those.index.str.startswith(downforce_of("")).astype(float)
    alike = _ALIKE * np.outer(is_air, is_air) + np.diag(1.0 - _ALIKE * is_air)
    return alike * np.outer(those["prior"], those["prior"])


def stretches(ways: list[Way]) -> Any:
    """Quasi-steady seconds of all runs, evenly picked where there are many; the index is run and second."""
    steady = {
        number: way.table[way.transient == ""]
        for number, way in enumerate(ways)
    }
    rows = pd.concat(steady, names=["run", "second"])
    return rows.iloc[
        np.unique(
            np.linspace(0, len(rows) - 1, min(MOST, len(rows))).astype(int)
        )
    ]


def car_of(project: Project, values: dict[str, float]) -> tuple[Model, Records]:
    """The project's car with deviations, and its setup."""
    model = Model(
        varied_car(
            project.car,
            {name: max(0.2, 1.0 + value) for name, value in values.items()},
        )
    )
    return model, model.settings(project.setup)


class Predictor:
    """A project's car in the seconds of a log: readings (seconds, channels) by values of the parameters.

    `rows`: as `stretches` gives them, without those in which the car does not hold; `unheld` counts these.
    """

    def __init__(self, project: Project, those: Any, rows: Any) -> None:
        self.project = project
        self.names = list(those.index[those["kind"] != "zero"])
        self.errors = those["prior"].to_numpy()[: len(self.names)]
        self.channels = list(rows["log"].columns)
        self.rows = rows
        model, settings = car_of(project, {})
        answers = model.run(settings, self.cases({})).answers[0]
        is_held = is_judged(answers)
        self.starts = answers[is_held]
        self.rows = rows[is_held]
        self.unheld = int((~is_held).sum())

    def values(self, theta: Floats) -> dict[str, float]:
        """Deviations by name, but for the zeros of sensors."""
        return dict(
            zip(self.names, theta[: len(self.names)].tolist(), strict=True)
        )

    def cases(self, values: dict[str, float], moved: str = "") -> CaseSet:
        """The seconds as cases. `moved`: an input that is moved by a step of its errors."""
        found = {
            name: column.to_numpy().copy()
            for name, column in self.rows["input"].items()
        }
        if moved:
            found[moved] += _STEP * self.rows["error"][moved].to_numpy()
        at = found.pop("place") + values.get("place reading", 0.0)
        found["speed"] *= 1.0 + values.get("speed reading", 0.0)
        found["heading"] = found.pop("course")
        bend = found.pop("curvature")
        if self.project.venue.curvature:
            found["path_curvature"] = bend
        else:  # a plane that is banked: the car turns about a vertical axis, its height kept
            found["turn_curvature"] = (
                -np.where(np.sin(at) < 0.0, -1.0, 1.0) * bend / np.cos(at)
            )
        for name, column in self.rows["more"].items():
            found[name] = column.to_numpy() + values.get(name, 0.0)
        return path_cases(self.project.venue, "log", at, **found)

    def __call__(self, theta: Floats, moved: str = "") -> Floats:
        """Predicted readings, sensors true; not a number where the car has no trim."""
        values = self.values(theta)
        model, settings = car_of(self.project, values)
        cases = self.cases(values, moved)
        answers = model.run(
            settings, cases, self.starts, by_slope=True
        ).answers[0]
        found = _readings(
            model.packed_for(settings[0])[0][0], cases.records, answers
        )
        forces = PathForces(replace(self.project, car=model.car), cases.records)
        found[COASTING] = -forces.deceleration(cases.records["speed"])
        table = np.column_stack([found[name] for name in self.channels])
        return np.where(is_judged(answers)[:, None], table, np.nan)

    def slopes(self, theta: Floats, base: Floats) -> Floats:
        """Slopes of the readings by the parameters that are no zeros, (seconds, channels, parameters)."""
        return differences(self, theta[: len(self.names)], base, self.errors)

    def input_slopes(self, theta: Floats, base: Floats) -> Floats:
        """Change of the readings with one error of every input, (seconds, channels, inputs)."""
        return np.stack(
            [(self(theta, name) - base) / _STEP for name in INPUTS], axis=2
        )


def differences(
    function: Callable[[Floats], Floats],
    theta: Floats,
    base: Floats,
    errors: Floats,
) -> Floats:
    """Slopes of a function by parameters whose errors are given, on a last axis."""
    moved = [function(theta + step) for step in np.diag(_STEP * errors)]
    return np.stack([one - base for one in moved], axis=-1) / (_STEP * errors)


def _readings(vehicle: Record, cases: Records, answers: Records) -> Field:
    """What the sensors of the car read, by channel, SI. Gaps at the ride-height stations.

    An accelerometer on the body feels acceleration less gravity, as the body pitches and rolls.
    """
    state = answers["state"]
    one = np.zeros(1, CASE_STATE)[0]
    felt = np.empty((cases.size, 3))
    for row, case in enumerate(cases):
        prepare(vehicle, case, 0.0, one)
        set_heading(vehicle, case, float(state[row, SIDESLIP]), one)
        felt[row] = -one["pull"]
    felt -= np.cross(
        np.column_stack([state[:, 2], state[:, 1], np.zeros(cases.size)]), felt
    )
    found = {"steer": state[:, STEER], "sideslip": state[:, SIDESLIP]}
    parts = {"load": WHEELS, "travel": WHEELS, "acceleration": tuple("xyz")}
    for name, ends in parts.items():
        columns = felt if name == "acceleration" else answers[name]
        found |= {
            f"{name}_{end}": columns[:, number]
            for number, end in enumerate(ends)
        }
    return found | {
        "front_gap": answers["ride_gap"][:, 0],
        "rear_gap": answers["ride_gap"][:, 1],
    }
