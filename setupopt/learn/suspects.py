"""Channels that contradict the log or the model in a way that a wrong connection explains: refused by name.

A log whose sensors are exchanged, reversed or on another clock teaches the wrong car; a map puts it right.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from setupopt.errors import InputErrors
from setupopt.learn.channels import CHANNELS, COASTING, in_si
from setupopt.learn.estimate import Posterior
from setupopt.learn.log import BLOCK
from setupopt.learn.model import Predictor
from setupopt.learn.way import WINDOW, Way
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project

_WRONG = 4.0  # errors, from which a channel is suspect
_BETTER = 3.0  # times less, with which a wrong connection explains it
_LAGS = np.arange(-20, 21)  # blocks
_LEAST_LAG = 2
_MOST, _FEWEST = 300, 10  # seconds that are looked at
_FAR = 3.0  # errors of a channel that the clock of the speed must leave, to be judged
_SHARPER = 0.3  # of what is left on the clock of the speed


def refuse_suspects(found: Posterior, ways: list[Way], rows: Any) -> None:
    """Raises InputErrors that name exchanged and reversed sensors. `rows`: as `model.stretches` has them."""
    run_of = rows.index.get_level_values("run")
    for number, way in enumerate(ways):
        log = rows["log"][run_of == number].dropna(axis="columns", how="all")
        here = [rows["log"].columns.get_loc(name) for name in log]
        before = found.before[run_of == number][:, here]
        size = np.sqrt(
            found.noise[here] ** 2 + np.mean(found.band[:, here] ** 2, axis=0)
        )
        _refuse(way, list(log), log.to_numpy(), before, size)


def _refuse(
    way: Way, channels: list[str], log: Floats, before: Floats, size: Floats
) -> None:
    """The sensors of one run; arrays (seconds, channels), `size` of the errors (channels)."""
    unit = CHANNELS.loc[channels, "unit"].to_numpy()
    offset = 3.0 * in_si("offset", channels)

    def misfit(sign: float) -> Floats:
        """How far the log of each channel is from the prediction of each, its zero aside."""
        left = sign * log[:, :, None] - (log - before)[:, None, :]
        left = left - np.clip(np.nanmedian(left, axis=0), -offset, offset)
        return np.sqrt(np.nanmean(left**2, axis=0)) / size

    as_is = misfit(1.0)
    own = np.diag(as_is)
    pairs = own + own[:, None]
    is_swapped = (
        (unit == unit[:, None])
        & (pairs > 2.0 * _WRONG)
        & (pairs > _BETTER * (as_is + as_is.T))
    )
    is_reversed = (own > _WRONG) & (own > _BETTER * np.diag(misfit(-1.0)))
    wrong = [
        (a, channels[b], "exchange them") for a, b in np.argwhere(is_swapped)
    ]
    wrong += [
        (a, f"minus {channels[a]}", "say sign = -1")
        for a in np.flatnonzero(is_reversed)
    ]
    errors = [
        way.run.error(
            way.lines[0],
            channels[a],
            f"what reads like {like}",
            f"it; a map (--channels) can {remedy}",
        )
        for a, like, remedy in wrong
        if channels[a] != COASTING
    ]
    if errors:
        raise InputErrors(one for error in errors for one in error.errors)


def refuse_clocks(project: Project, those: Any, way: Way) -> None:
    """Raises InputErrors for a channel of another clock than speed and place.

    The log, as a mean of a second, is fitted by offset and factor to the prediction at every lag of up to two
    seconds.
    """
    rows = way.table[way.table["input"].notna().all(axis=1)].iloc[:_MOST]
    predict = Predictor(project, those, rows)
    if len(predict.rows) < _FEWEST:
        return
    mean = way.run.mean
    predicted = predict(np.zeros(len(those)))
    blocks = (np.arange(len(mean)) + 0.5) * BLOCK
    seconds = (predict.rows.index.to_numpy() + 0.5) * WINDOW
    for number, name in enumerate(predict.channels):
        if name == COASTING:
            continue
        expected = np.interp(
            blocks, seconds, predicted[:, number], np.nan, np.nan
        )
        smooth = (
            mean[name]
            .rolling(round(WINDOW / BLOCK), center=True)
            .mean()
            .shift(-1)
        )
        lag = _lag(
            expected, smooth.to_numpy(), _FAR * in_si("error", [name])[0]
        )
        if lag:
            found = f"a clock {abs(lag) * BLOCK:.1f} s {'behind' if lag > 0 else 'ahead of'} that of the speed"
            remedy = f"one clock; a map (--channels) can say shift_s = {-lag * BLOCK:.1f}"
            raise way.run.error(way.lines[0], name, found, remedy)


def _lag(expected: Floats, values: Floats, far: float) -> int:
    """Blocks by which a channel is late; 0 where its own clock is as good, or leaves less than `far`."""
    left = []
    for lag in _LAGS:
        x, y = (
            expected[_LAGS[-1] : -_LAGS[-1]],
            np.roll(values, -lag)[_LAGS[-1] : -_LAGS[-1]],
        )
        good = np.isfinite(x + y)
        if good.sum() < 10 * _FEWEST:
            return 0
        covariance = np.cov(x[good], y[good])
        left.append(
            covariance[1, 1]
            - covariance[0, 1] ** 2 / max(covariance[0, 0], 1e-300)
        )
    best = int(np.argmin(left))
    is_clear = (
        left[best] < _SHARPER * left[_LAGS.size // 2]
        and left[_LAGS.size // 2] > far**2
    )
    return (
        int(_LAGS[best]) if is_clear and abs(_LAGS[best]) >= _LEAST_LAG else 0
    )
