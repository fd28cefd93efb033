"""What the logs say of grip: at least what the car used, and what it had where an axle slid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.learn.estimate import Posterior
from setupopt.learn.model import Predictor, car_of
from setupopt.physics.inputs import SIDESLIP, STEER, Floats, Records
from setupopt.project.model import Project

_SURE = 3.0  # errors of a slip angle
_ERROR = 0.05  # of the friction at which the model's axle slides; common practice, no source


@dataclass(frozen=True)
class Grip:
    """Grip over that of the project. `least`: the largest share that a quasi-steady second needed.

    `slid`: seconds in which an axle slipped more than the model's can without sliding; `value`, `error`: the
    grip there, None where there is none.
    """

    least: float
    second: int
    slid: int
    value: float | None
    error: float | None


def grip_of(corrected: Project, project: Project, predict: Predictor, found: Posterior) -> Grip:
    """The grip of the corrected car in the steady seconds of a log."""
    model, settings = car_of(corrected, {})
    cases = predict.cases(predict.values(found.value))
    answers = model.run(settings, cases).answers[0]
    factor = np.where(answers["contact"], answers["friction_factor"], np.nan)
    slid = np.flatnonzero(_slid(predict, found, model.packed[0][0], cases.records, answers))
    second = int(np.nanargmax(factor))
    least = float(factor[second])
    if not slid.size:
        return Grip(least, second, 0, None, None)
    error = float(np.hypot(_ERROR, np.std(factor[slid]) / np.sqrt(slid.size)))
    return Grip(least, second, slid.size, float(np.median(factor[slid])), error)


def _slid(predict: Predictor, found: Posterior, car: Records, cases: Records, answers: Records) -> np.ndarray:
    """Seconds in which an axle's measured slip angle is past the largest one of the model, at full friction."""
    if not {"steer", "sideslip"} <= set(predict.channels):
        return np.zeros(len(cases), dtype=bool)
    zero = dict(zip((one.name for one in found.those), found.value, strict=True))
    column = {name: predict.channels.index(name) for name in ("steer", "sideslip")}
    log = predict.rows.log
    steer, sideslip = (log[name].to_numpy() - zero[f"zero of {name}"] for name in column)
    measured = _slips(car, cases, steer, sideslip)
    fold = answers["fold"]
    largest = _slips(car, cases, fold[:, STEER], fold[:, SIDESLIP]) / answers["friction_factor"]
    doubt = _SURE * np.hypot(*(found.noise[number] for number in column.values()))
    return np.asarray((np.abs(measured) > np.abs(largest) + doubt).any(axis=0))


def _slips(car: Records, cases: Records, steer: Floats, sideslip: Floats) -> Floats:
    """Slip angles of the front and rear axle's middle, (2, cases), rad; small angles."""
    bend = cases["path_curvature"]
    return np.array([steer - sideslip - bend * car["to_front"], bend * car["to_rear"] - sideslip])
