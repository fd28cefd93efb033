"""What the log says of the uncertain values: robust least squares with what was known before, linear errors.

A second's readings err together where its speed, place, course, curvature or acceleration is wrong: their
covariance is D + G E G', with D of sensors and model, E of these inputs and G the slopes by them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from scipy.optimize import least_squares

from setupopt.learn.channels import in_si
from setupopt.learn.model import Predictor
from setupopt.physics.inputs import Floats

_HUBER = 2.5  # standard errors; what is further off counts less
_KEPT = 0.978  # mean square of a normal variable that is cut there
_FEW = 12  # seconds, below which the tabled errors of channels stand
_BOUNDS = (0.2, 5.0)  # times the tabled error of a channel
TOLD = 0.7  # of its error before; a value with more is not told by the log


@dataclass(frozen=True)
class Posterior:
    """What is known after the log.

    `those`: the frame of the parameters, `prior` their errors before all of it, with columns `value` and
    `error` (one standard error) more; `covariance` of the values, `root` a root of that before.
    `before`, `after`: log minus prediction with the project's and with the new values, (seconds, channels);
    `band`: of the prediction before, one standard error; `noise` (channels): what sensors and model err by.
    `by_value`: slopes of the readings, (seconds, channels, parameters); `slopes` (seconds x channels,
    parameters) and `left`: the same and the residuals after, whitened.
    """

    those: Any
    covariance: Floats
    root: Floats
    before: Floats
    after: Floats
    band: Floats
    noise: Floats
    by_value: Floats
    slopes: Floats
    left: Floats


def estimate(
    predict: Predictor,
    those: Any,
    known: Floats,
    check: Callable[[Posterior], None] | None = None,
) -> Posterior:
    """The most probable values and their errors. `known`: covariance before the log.

    `check` gets what is found with the tabled errors of the channels.
    """
    fit = _Fit(predict, those, known)
    tabled = in_si("error", predict.channels)
    first = fit.solved(tabled, np.zeros(len(those)), "linear")
    if check is not None:
        check(first)
    seconds = len(predict.rows)
    if seconds < _FEW:
        return first
    usual = 1.4826 * np.nanmedian(np.abs(first.after), axis=0)
    square = (
        np.nanmean(
            np.clip(first.after, -_HUBER * usual, _HUBER * usual) ** 2, axis=0
        )
        / _KEPT
    )
    square *= seconds / (seconds - 1.0 - len(those) / tabled.size)
    noise = np.sqrt(np.maximum(square - np.nanmedian(fit.known, axis=0), 0.0))
    noise = np.clip(noise, _BOUNDS[0] * tabled, _BOUNDS[1] * tabled)
    return fit.solved(noise, first.those["value"].to_numpy(), "huber")


class _Fit:
    def __init__(self, predict: Predictor, those: Any, known: Floats) -> None:
        self.predict = predict
        self.those = those
        self.root = np.linalg.cholesky(known)
        self.log = predict.rows["log"].to_numpy()
        zero = np.zeros(len(those))
        self.base = predict(zero)
        by_input = predict.input_slopes(zero, self.base)
        self.shared = np.nan_to_num(by_input @ by_input.transpose(0, 2, 1))
        self.own = np.nan_to_num(predict.rows["log_error"].to_numpy()) ** 2
        self.known = self.own + np.diagonal(self.shared, axis1=1, axis2=2)
        # A sensor's zero adds to its own channel alone
        names = np.array([f"zero of {name}" for name in predict.channels])
        self.zeros = (names[:, None] == those.index.to_numpy()[None, :]).astype(
            float
        )
        self.by_value = self.slopes(zero, self.base)
        sure = np.where(self.zeros.any(axis=0), 0.0, self.by_value)
        self.band = np.sqrt(((sure @ self.root) ** 2).sum(axis=2))

    def slopes(self, theta: Floats, base: Floats) -> Floats:
        """Slopes of the readings by all parameters."""
        found = np.tile(self.zeros, (len(self.log), 1, 1))
        found[:, :, : len(self.predict.names)] += self.predict.slopes(
            theta, base
        )
        return found

    def solved(self, noise: Floats, start: Floats, loss: str) -> Posterior:
        """The posterior where sensors and model err by `noise`. From afar a robust loss has no curvature."""
        has = np.isfinite(self.log - self.base)
        both = has[:, :, None] & has[:, None, :]
        own = np.where(has, self.own + noise**2, 1.0)[:, :, None] * np.eye(
            noise.size
        )
        whiten = np.linalg.inv(
            np.linalg.cholesky(own + np.where(both, self.shared, 0.0))
        )
        root = self.root

        @lru_cache(2)
        def base_at(key: bytes) -> Floats:
            return self.predict(np.frombuffer(key))

        def left(unit: Floats) -> Floats:
            theta = root @ unit
            return self.log - base_at(theta.tobytes()) - self.zeros @ theta

        def residual(unit: Floats) -> Floats:
            whole = np.nan_to_num(left(unit))[:, :, None]
            return np.append(whiten @ whole, unit)

        def slopes(unit: Floats) -> Floats:
            theta = root @ unit
            by_value = np.where(
                has[:, :, None],
                self.slopes(theta, base_at(theta.tobytes())),
                0.0,
            )
            by_unit = -whiten @ (np.nan_to_num(by_value) @ root)
            return np.concatenate(
                [by_unit.reshape(-1, unit.size), np.eye(unit.size)]
            )

        found = least_squares(
            residual, np.linalg.solve(root, start), slopes, loss=loss, f_scale=_HUBER, ftol=1e-5,
            xtol=1e-5, gtol=1e-3, max_nfev=6,
        )  # fmt: skip
        covariance = root @ np.linalg.inv(found.jac.T @ found.jac) @ root.T
        those = self.those.assign(
            value=root @ found.x, error=np.sqrt(np.diag(covariance))
        )
        before = self.log - self.base
        whitened = (found.jac[: has.size], found.fun[: has.size])
        return Posterior(
            those,
            covariance,
            root,
            before,
            left(found.x),
            self.band,
            noise,
            self.by_value,
            *whitened,
        )


def residuals(found: Posterior, channels: list[str]) -> Any:
    """Every channel against the model, SI: a frame by channel.

    Mean residual before and after, rms after, the band of the prediction before, and noise. `cause`: the
    parameter that alone takes most off the squares of the residuals before, and that share; empty where
    nothing is to be explained.
    """
    scaled = np.nan_to_num(found.before / found.noise)
    columns = (
        found.by_value * found.those["prior"].to_numpy() / found.noise[:, None]
    )
    columns = np.where(np.isfinite(found.before)[:, :, None], columns, 0.0)
    size = np.einsum("scp,sc->cp", columns, scaled) / (
        (columns**2).sum(axis=0) + 1.0
    )
    alone = ((scaled[:, :, None] - columns * size) ** 2).sum(axis=0)
    square = (scaled**2).sum(axis=0)
    seconds = np.isfinite(found.before).sum(axis=0)
    is_odd = square > 2.0 * seconds
    after = pd.DataFrame(found.after)
    numbers = {
        "seconds": seconds,
        "bias": pd.DataFrame(found.before).mean().to_numpy(),
        "bias_after": after.mean().to_numpy(),
        "rms_after": np.sqrt((after**2).mean().to_numpy()),
        "band": found.band.mean(axis=0),
        "noise": found.noise,
        "cause": np.where(is_odd, found.those.index[alone.argmin(axis=1)], ""),
        "cause_share": np.where(
            is_odd, 1.0 - alone.min(axis=1) / np.maximum(square, 1e-300), 0.0
        ),
    }
    return pd.DataFrame(numbers, index=channels)


def leave_out(found: Posterior, group: Floats, names: list[str]) -> Any:
    """Each group of seconds, numbers of `names`, predicted by the others, linearly: a frame by name.

    `rms`: of its residuals over their errors; `moved`: by how many of its errors before the value of
    `parameter` moves without it, the most of all.
    """
    rows = np.repeat(group, len(found.left) // group.size)
    count = len(found.those)
    unit = np.linalg.solve(found.root, found.those["value"])
    parts = {}
    for number, name in enumerate(names):
        out = (rows == number) & found.slopes.any(axis=1)
        rest, own = found.slopes[rows != number], found.slopes[out]
        covariance = np.linalg.inv(rest.T @ rest + np.eye(count))
        step = -covariance @ (rest.T @ found.left[rows != number] + unit)
        left = found.left[out] + own @ step
        spread = 1.0 + ((own @ covariance) * own).sum(axis=1)
        most = int(np.abs(step).argmax())
        numbers = (
            int((group == number).sum()),
            np.sqrt(np.mean(left**2 / spread)),
            step[most],
        )
        parts[name] = (*numbers, found.those.index[most])
    return pd.DataFrame.from_dict(
        parts, "index", columns=["seconds", "rms", "moved", "parameter"]
    )
