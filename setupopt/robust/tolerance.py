"""Build error: the worst corner of what the mechanics can hold, and a cloud inside it.

Every wheel errs on its own in camber, spring and pressure; ride height errs by axle, for the floor line is
one straight line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import qmc

from setupopt.cases import CaseSet
from setupopt.evaluation import Model
from setupopt.physics.inputs import Floats, Records
from setupopt.physics.pad import set_penetration
from setupopt.project.model import WHEELS, Car, Setup, Tolerance
from setupopt.result import Result

# Errors as shares of the tolerance, -1 to 1, in this order.
NAMES = tuple(
    [f"camber {w}" for w in WHEELS]
    + [f"spring {w}" for w in WHEELS]
    + [f"pressure {w}" for w in WHEELS]
    + ["ride height front", "ride height rear"]
)
# Slopes are taken over this share of the tolerance; cases this close to the worst get a corner each.
_PROBE = 0.05
_CLOSE = 0.02
_MOST_CORNERS = 40
_ROUNDS = 3


@dataclass(frozen=True)
class WorstBuild:
    """The corner of the tolerance box with the lowest worst margin that was found.

    `errors` (NAMES) are -1, 0 or 1; `case` is the row of its worst case.
    """

    margin: float  # minus infinity where contact is lost
    errors: Floats
    case: int


@dataclass(frozen=True)
class BuildCloud:
    """Worst margins (samples) of a quasi-random cloud in the tolerance box; lost ones minus infinity."""

    margins: Floats

    def percentile(self, share: float) -> float:
        """Margin that `share` of the builds, 0 to 1, stay under."""
        return float(np.quantile(self.margins, share, method="lower"))


class BuildErrors:
    """One setup with the errors a build may have. `tolerance` in SI."""

    def __init__(self, model: Model, setup: Setup, tolerance: Tolerance) -> None:
        self.model, self.tolerance = model, tolerance
        self.exact: Records = model.settings(setup)
        self.per_pressure = _foundation_slope(model.car)

    def settings(self, errors: Floats) -> Records:
        """SETTING records of builds (builds, NAMES)."""
        builds, t = np.repeat(self.exact, len(errors)), self.tolerance
        builds["camber"] += t.camber * errors[:, 0:4]
        builds["wheel_rate"] *= 1.0 + t.spring_share * errors[:, 4:8]
        builds["foundation"] += self.per_pressure * t.pressure * errors[:, 8:12]
        builds["ride_height"] += t.ride_height * errors[:, 12:14]
        set_penetration(self.model.packed[0], builds)
        return builds

    def result(self, errors: Floats, cases: CaseSet) -> Result:
        """Builds (builds, NAMES) in every case."""
        return self.model.run(self.settings(np.atleast_2d(errors)), cases)


def _foundation_slope(car: Car) -> Floats:
    """Foundation stiffness per pressure of every wheel's tyre."""
    front, rear = car.front.tyre.foundation_per_pressure, car.rear.tyre.foundation_per_pressure
    return np.array([front, front, rear, rear])


def _corners(build: BuildErrors, around: Floats, cases: CaseSet) -> Floats:
    """The corner that each case near the worst likes least, by its slopes (corners, NAMES)."""
    probes = np.vstack([around, around * (1.0 - _PROBE) + _PROBE * np.eye(len(NAMES))])
    steer = build.result(probes, cases).steer
    low = np.flatnonzero(steer[0] <= steer[0].min() + _CLOSE)
    low = low[np.argsort(steer[0][low], kind="stable")][:_MOST_CORNERS]
    slopes = steer[1:, low] - steer[0, low]
    corners = -np.sign(np.where(np.abs(slopes) < 1e-12, 0.0, slopes)).T
    return np.unique(corners, axis=0)


def worst_build(build: BuildErrors, cases: CaseSet) -> WorstBuild:
    """Search the corners of the tolerance box: those that slopes point to, then again around the worst."""
    around, best = np.zeros(len(NAMES)), np.zeros(len(NAMES))
    lowest = np.inf
    for _ in range(_ROUNDS):
        corners = _corners(build, around, cases)
        worst = build.result(corners, cases).steer.min(axis=1)
        place = int(worst.argmin())
        if worst[place] >= lowest - 1e-12:
            break
        lowest, best = float(worst[place]), corners[place]
        around = 0.9 * best
    result = build.result(best, cases)
    return WorstBuild(float(result.worst_margin[0]), best, int(result.worst[0]))


def build_cloud(build: BuildErrors, cases: CaseSet, samples: int, seed: int = 0) -> BuildCloud:
    """Worst margins of `samples` builds, spread evenly over the box by a scrambled Sobol set."""
    power = max(0, (samples - 1).bit_length())
    errors = 2.0 * qmc.Sobol(len(NAMES), seed=seed).random_base2(power)[:samples] - 1.0
    return BuildCloud(build.result(errors, cases).worst_margin)
