"""Channels that contradict the log or the model in a way that a wrong connection explains: refused by name.

A log whose sensors are exchanged, reversed or on another clock teaches the wrong car; the map file puts it
right.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from setupopt.errors import InputError, InputErrors
from setupopt.learn.channels import CHANNELS, COASTING, COMPARED
from setupopt.learn.estimate import Posterior
from setupopt.learn.log import BLOCK, Log
from setupopt.learn.model import Stretches
from setupopt.learn.way import Way
from setupopt.physics.inputs import Floats

_WRONG = 4.0  # misfit from which a channel is suspect
_BETTER = 3.0  # times less, with which a wrong connection explains it
_LAGS = np.arange(-20, 21)  # blocks
_LEAST_LAG = 2
_EXPLAINED = 0.8  # share of a channel's variance that its best clock leaves explained
_SHARPER = 0.6  # of the variance left on its own clock


def refuse_suspects(found: Posterior, rows: Stretches, ways: list[Way]) -> None:
    """Raises InputErrors that name exchanged and reversed sensors."""
    errors = []
    names = list(rows.log.columns)
    log = rows.log.to_numpy()
    predicted = log - found.before
    channel = CHANNELS.loc[names]
    offset = 3.0 * (channel["offset"] * channel["factor"]).to_numpy()
    size = np.sqrt(found.noise**2 + np.nanmean(found.band**2, axis=0))

    def misfit(a: int, b: int, sign: float = 1.0) -> float:
        """How far the log of channel a, its sign as said, is from the prediction of channel b."""
        left = sign * log[:, a] - predicted[:, b]
        left = left - np.clip(np.nanmedian(left), -offset[b], offset[b])
        return float(np.sqrt(np.nanmean(left**2)) / size[b])

    def say(a: int, what: str, remedy: str) -> None:
        run = ways[int(rows.run[0])].run
        line = int(ways[int(rows.run[0])].line[int(rows.second[0])])
        column = run.used[names[a]].column
        errors.append(InputError(str(run.path), line, column, f"what reads like {what}", remedy))

    own = [misfit(a, a) for a in range(len(names))]
    for a, b in combinations(range(len(names)), 2):
        total = own[a] + own[b]
        alike = channel["unit"].iloc[a] == channel["unit"].iloc[b] and COASTING not in (names[a], names[b])
        if alike and total > 2.0 * _WRONG and total > _BETTER * (misfit(a, b) + misfit(b, a)):
            say(a, f"{names[b]}, and that like {names[a]}", "exchange their columns in a map (--channels)")
    for a in range(len(names)):
        if own[a] > _WRONG and own[a] > _BETTER * misfit(a, a, -1.0):
            say(a, f"minus {names[a]}", "sign = -1 in a map (--channels)")
    if errors:
        raise InputErrors(errors)


def refuse_clocks(log: Log, way: Way) -> None:
    """Raises InputErrors that name channels of another clock than speed and place.

    A channel is fitted by what it follows from, at every lag of up to two seconds.
    """
    seconds = np.arange(len(log.mean)) * BLOCK
    place = np.interp(seconds, way.time, way.inputs["place"].ffill().bfill())
    speed = log.mean["speed"] if "speed" in log.mean else np.interp(seconds, way.time, way.inputs["speed"])
    v = np.asarray(speed, dtype=float)
    causes = np.column_stack([np.ones(v.size), v, v**2, np.sin(place), np.cos(place), np.gradient(v)])
    names = [name for name in COMPARED if name in log.mean]
    wrong = [(name, _lag(causes, log.mean[name].to_numpy())) for name in names]
    raise_for = [
        InputError(
            str(log.path), int(log.line[0]), log.used[name].column, f"a clock {abs(lag) * BLOCK:.1f} s "
            f"{'behind' if lag > 0 else 'ahead of'} that of the speed", f"shift_s = {-lag * BLOCK:.1f} in a map",
        )
        for name, lag in wrong
        if lag
    ]  # fmt: skip
    if raise_for:
        raise InputErrors(raise_for)


def _lag(causes: Floats, values: Floats) -> int:
    """Blocks by which a channel is late; 0 where its own clock is as good."""
    left = []
    for lag in _LAGS:
        moved = np.roll(values, -lag)
        good = np.isfinite(moved + causes.sum(axis=1))
        good[[0, -1]] = False
        good &= np.abs(np.arange(values.size) - values.size / 2) < values.size / 2 - _LAGS[-1]
        if good.sum() < 10 * causes.shape[1]:
            return 0
        x = causes[good] / np.abs(causes[good]).max(axis=0).clip(1e-12)
        solved = np.linalg.lstsq(x, moved[good], rcond=None)[0]
        left.append(np.var(moved[good] - x @ solved) / max(np.var(moved[good]), 1e-300))
    best = int(np.argmin(left))
    lag = int(_LAGS[best])
    is_clear = left[best] < 1.0 - _EXPLAINED and left[best] < _SHARPER * left[len(_LAGS) // 2]
    return lag if is_clear and abs(lag) >= _LEAST_LAG else 0
