"""What the logs say of grip: at least what the car used, and what it had where an axle slid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.learn.estimate import Posterior
from setupopt.learn.model import Predictor, car_of
from setupopt.project.model import Project
from setupopt.units import DEG

_SURE = 3.0  # errors of a slip angle
_LEAST_SHARE = 0.02  # of the slip at which all slides, below which a trim does not show that slip
_LEAST_SLIP = (
    4.0 * DEG
)  # under it no tyre slides all over, camber thrust or not; common practice, no source
_ERROR = 0.05  # of the friction at which the model's axle slides; common practice, no source


@dataclass(frozen=True)
class Grip:
    """Grip over that of the project. `least`: the largest share that a quasi-steady second needed.

    `slid`: seconds in which an axle slipped more than the model's can without sliding; `value`, `error`: the
    grip there, None where there is none.
    """

    least: float
    slid: int = 0
    value: float | None = None
    error: float | None = None


def grip_of(corrected: Project, predict: Predictor, found: Posterior) -> Grip:
    """The grip of the corrected car in the steady seconds of a log."""
    model, settings = car_of(corrected, {})
    value = found.those["value"]
    cases = predict.cases(value.to_dict())
    answers = model.run(settings, cases).answers[0]
    needed = np.where(answers["contact"], answers["friction_factor"], np.nan)
    grip = Grip(float(np.nanmax(needed)))
    if not {"steer", "sideslip"} <= set(predict.channels):
        return grip
    # Slip angles of the middle of both axles, small ones, rad
    vehicle = model.packed_for(settings[0])[0][0]
    bend = np.outer(
        [-vehicle["to_front"], vehicle["to_rear"]],
        cases.records["path_curvature"],
    )
    steer, sideslip = (
        (predict.rows["log"][name] - value[f"zero of {name}"]).to_numpy()
        for name in ("steer", "sideslip")
    )
    measured = np.abs(bend + np.outer([1.0, 0.0], steer) - sideslip)
    # A brush uses 1 - (1 - s)^3 of its grip at the share s of the slip at which all of it slides
    share = 1.0 - np.cbrt(1.0 - np.clip(answers["use"].T, 0.0, 1.0))
    slip = np.abs(answers["slip_angle"].reshape(-1, 2, 2).mean(axis=2)).T
    largest = np.where(
        share > _LEAST_SHARE, slip / np.maximum(share, _LEAST_SHARE), np.inf
    )
    doubt = _SURE * np.hypot(
        *(
            found.noise[predict.channels.index(name)]
            for name in ("steer", "sideslip")
        )
    )
    shares = needed[
        (measured > np.maximum(largest, _LEAST_SLIP) + doubt).any(axis=0)
    ]
    if not shares.size:
        return grip
    error = float(np.hypot(_ERROR, np.std(shares) / np.sqrt(shares.size)))
    return Grip(grip.least, shares.size, float(np.median(shares)), error)
