"""What the log says of the uncertain values: robust least squares with what was known before, linear errors.

A second's readings err together where its speed, place, course, curvature or acceleration is wrong: their
covariance is D + G E G', with D of sensors and model, E of these inputs and G the slopes by them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from setupopt.learn.channels import CHANNELS
from setupopt.learn.model import Parameter, Predictor
from setupopt.physics.inputs import Floats

_HUBER = 2.5  # standard errors; what is further off counts less
_FEW = 12  # seconds, below which the tabled errors of channels stand
_BOUNDS = (0.2, 5.0)  # times the tabled error of a channel


@dataclass(frozen=True)
class Posterior:
    """Values of the parameters after the log, (parameters), and their covariance.

    `before`, `after`: log minus prediction with the project's and with the new values, (seconds, channels);
    `band`: of the prediction before, one standard error; `noise` (channels): what sensors and model err by;
    `by_value`: slopes of the readings, (seconds, channels, parameters), with the project's values;
    `slopes` (seconds x channels, parameters) and `left` whitened, for what a part of the log says;
    `root`: errors before as a matrix, so that values are root times independent unit errors.
    """

    those: list[Parameter]
    value: Floats
    covariance: Floats
    before: Floats
    after: Floats
    band: Floats
    noise: Floats
    by_value: Floats
    slopes: Floats
    left: Floats
    root: Floats

    @property
    def error(self) -> Floats:
        """One standard error of each value."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def error_before(self) -> Floats:
        """One standard error of each value before the log."""
        return np.sqrt((self.root**2).sum(axis=1))

    @property
    def correlation(self) -> Floats:
        """Of the values."""
        return self.covariance / np.outer(self.error, self.error)


def estimate(
    predict: Predictor, those: list[Parameter], known: Floats, check: Callable[[Posterior], None] | None = None
) -> Posterior:
    """The most probable values and their errors. `known`: covariance before the log.

    `check` gets what is found with the tabled errors of the channels.
    """
    fit = _Fit(predict, those, known)
    channel = CHANNELS.loc[predict.channels]
    tabled = (channel["error"] * channel["factor"]).to_numpy()
    first = fit.solved(tabled)
    if check is not None:
        check(first)
    if len(predict.rows.log) < _FEW:
        return first
    left = np.abs(first.after)
    scatter = 1.4826 * np.nanmedian(left, axis=0)
    noise = np.sqrt(np.maximum(scatter**2 - np.nanmedian(fit.known, axis=0), 0.0))
    return fit.solved(np.clip(noise, *(bound * tabled for bound in _BOUNDS)), first)


class _Fit:
    def __init__(self, predict: Predictor, those: list[Parameter], known: Floats) -> None:
        self.predict = predict
        self.those = those
        self.root = np.linalg.cholesky(known)
        self.log = predict.rows.log.to_numpy()
        self.zero = np.zeros(len(those))
        self.base = predict(self.zero)
        by_input = predict.input_slopes(self.zero, self.base)
        self.shared = np.nan_to_num(by_input @ by_input.transpose(0, 2, 1))
        self.own = np.nan_to_num(predict.rows.log_errors.to_numpy()) ** 2
        self.known = self.own + np.diagonal(self.shared, axis1=1, axis2=2)
        # A sensor's zero adds to its own channel alone
        names = [f"zero of {name}" for name in predict.channels]
        self.zeros = np.array([[name == one.name for one in those] for name in names], dtype=float)
        self.by_value = self._slopes(self.zero, self.base)
        sure = self.by_value.copy()
        sure[:, :, len(predict.names) :] = 0.0
        self.band = np.sqrt(((sure @ self.root) ** 2).sum(axis=2))

    def _slopes(self, theta: Floats, base: Floats) -> Floats:
        found = np.broadcast_to(self.zeros, (*self.log.shape, len(self.those))).copy()
        found[:, :, : len(self.predict.names)] += self.predict.slopes(theta, base)
        return found

    def _left(self, theta: Floats, base: Floats) -> Floats:
        return self.log - base - self.zeros @ theta

    def solved(self, noise: Floats, start: Posterior | None = None) -> Posterior:
        """The posterior where sensors and model err by `noise`."""
        has = np.isfinite(self.log - self.base)
        both = has[:, :, None] & has[:, None, :]
        identity = np.eye(noise.size)
        covariance = np.where(both, self.shared, 0.0) + identity * np.where(has, self.own + noise**2, 1.0)[:, None]
        whiten = np.linalg.inv(np.linalg.cholesky(covariance))
        kept: dict[bytes, Floats] = {}

        def base_at(theta: Floats) -> Floats:
            key = theta.tobytes()
            if key not in kept:
                kept[key] = self.predict(theta)
            return kept[key]

        def residual(unit: Floats) -> Floats:
            theta = self.root @ unit
            left = np.nan_to_num(np.where(has, self._left(theta, base_at(theta)), 0.0))
            return np.concatenate([(whiten @ left[:, :, None]).ravel(), unit])

        def slopes(unit: Floats) -> Floats:
            theta = self.root @ unit
            by_value = np.nan_to_num(np.where(has[:, :, None], self._slopes(theta, base_at(theta)), 0.0))
            by_unit = -whiten @ (by_value @ self.root)
            return np.concatenate([by_unit.reshape(-1, unit.size), np.eye(unit.size)])

        first = np.zeros(len(self.those)) if start is None else np.linalg.solve(self.root, start.value)
        found = least_squares(
            residual, first, slopes, loss="huber", f_scale=_HUBER, ftol=1e-5, xtol=1e-5, gtol=1e-3, max_nfev=8
        )
        value = self.root @ found.x
        cells = has.size
        after = self._left(value, base_at(value))
        return Posterior(
            self.those, value, self.root @ np.linalg.inv(found.jac.T @ found.jac) @ self.root.T,
            self.log - self.base, after, self.band, noise, self.by_value, found.jac[:cells], found.fun[:cells], self.root,
        )  # fmt: skip


@dataclass(frozen=True)
class LeftOut:
    """A part of the log predicted from the rest: root mean square of its residuals over their errors, and by
    how many standard errors before the log the values move without it at most."""

    name: str
    seconds: int
    rms: float
    moved: float
    parameter: str


def leave_out(found: Posterior, group: Floats, names: list[str]) -> list[LeftOut]:
    """Each group of seconds, (seconds) numbers of `names`, predicted by the others, linearly."""
    rows = np.repeat(group, found.left.size // group.size)
    unit = np.linalg.solve(found.root, found.value)
    parts = []
    for number, name in enumerate(names):
        out = rows == number
        if not out.any() or out.all():
            continue
        rest, own = found.slopes[~out], found.slopes[out]
        covariance = np.linalg.inv(rest.T @ rest + np.eye(unit.size))
        step = -covariance @ (rest.T @ found.left[~out] + unit)
        left = found.left[out] + own @ step
        has = np.abs(own).sum(axis=1) > 0.0
        spread = 1.0 + ((own @ covariance) * own).sum(axis=1)
        most = int(np.abs(step).argmax())
        rms = float(np.sqrt(np.mean(left[has] ** 2 / spread[has])))
        parts.append(LeftOut(name, int((group == number).sum()), rms, float(step[most]), found.those[most].name))
    return parts

