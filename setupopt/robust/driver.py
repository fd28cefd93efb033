"""The driver who holds a trim: late by his reaction time, with the gains that suit the car best.

He steers against heading, way, yaw rate and leftward velocity off the trim. The planar motion is the linear
one about the trim, with body, wheels and slip following at once; his steer is held between two looks, so that
the delayed loop is a linear map from one look to the next, exact in the delay.

Four gains can give the loop four roots wherever they are wished: gains enter its characteristic equation
linearly. Four roots close together on one line in the complex plane tend to be the slowest of all, however
many others the delay brings (Boussaada and Niculescu, multiplicity-induced dominancy; quoted from memory), so
that it is enough to try lines: the fastest is within a tenth of what differential evolution finds. Of gains
that are nearly as fast, those are taken that keep the car nearest to its path after a kick.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm

from setupopt.physics.inputs import Floats
from setupopt.physics.ride_motion import (
    FORWARD,
    HEADING,
    LEFTWARD,
    MOTION,
    WAY,
    YAW_RATE,
)
from setupopt.physics.ride_run import TICKS

# In the order of the gains.
PLANAR = (HEADING, WAY, YAW_RATE, LEFTWARD)
REACTION = 0.15  # s; common practice, no source
# Lines tried, as decay times reaction time, and the two pairs of roots on each, as frequency times that.
_DECAYS = np.geomspace(0.03, 1.8, 16)
_PAIRS = ((0.05, 0.15), (0.05, 0.6), (0.3, 0.6))
# Gains whose loop dies out at least at this share of the fastest rate; looks for which a kick is followed.
_FAST = 0.8
_KICK_TICKS = 15 * TICKS
# Reaction times tried, s, and how close the longest is found, as a share.
_QUICK, _SLOW, _CLOSE = 0.02, 1.5, 0.05


@dataclass(frozen=True)
class Driver:
    """gains (4), rad of steer per unit of each of PLANAR; growth: rate of the loop's slowest mode, 1/s."""

    reaction: float
    gains: Floats
    growth: float

    @property
    def holds(self) -> bool:
        """Whether every small disturbance dies out."""
        return self.growth < 0.0


def planar(slopes: Floats) -> tuple[Floats, Floats]:
    """Planar rates (4, 4) by PLANAR and (4) by steer from `Motion.slopes`; all else follows at once."""
    fast = [j for j in range(MOTION) if j not in (*PLANAR, FORWARD)]
    kept = list(PLANAR)
    follow = np.linalg.solve(
        slopes[np.ix_(fast, fast)], slopes[np.ix_(fast, [*kept, MOTION])]
    )
    whole = (
        slopes[np.ix_(kept, [*kept, MOTION])]
        - slopes[np.ix_(kept, fast)] @ follow
    )
    return whole[:, :4], whole[:, 4]


def _held(
    rates: Floats, by_steer: Floats, seconds: float
) -> tuple[Floats, Floats]:
    """The motion from one look to the next with steer held: state (4, 4) and steer (4)."""
    law = np.zeros((5, 5))
    law[:4, :4] = seconds * rates
    law[:4, 4] = seconds * by_steer
    step = expm(law)
    return step[:4, :4], step[:4, 4]


def _loops(state: Floats, steer: Floats, gains: Floats) -> Floats:
    """The map from one look to the next for many gains (many, 4): (many, 4 + TICKS, 4 + TICKS)."""
    size = 4 + TICKS
    loops = np.zeros((len(gains), size, size))
    loops[:, :4, :4] = state
    loops[:, :4, 4] = steer
    loops[:, 4:-1, 5:] = np.eye(TICKS - 1)
    loops[:, -1, :4] = -gains
    return loops


def _drift(loops: Floats) -> Floats:
    """The most way off the path after a kick that turns the car, for each loop."""
    states = np.zeros((len(loops), loops.shape[1], 1))
    states[:, PLANAR.index(YAW_RATE)] = 1.0
    most = np.zeros(len(loops))
    for _ in range(_KICK_TICKS):
        states = loops @ states
        most = np.maximum(most, np.abs(states[:, PLANAR.index(WAY), 0]))
    return most


def _placed(state: Floats, steer: Floats, roots: np.ndarray) -> Floats:
    """Gains (lines, 4) that give the loop two pairs of roots each.

    `roots` (lines, 2): those in the upper half of the complex plane.
    """
    z = np.exp(roots)[..., None]
    moved = z[..., None] * np.eye(4) - state
    answer = np.linalg.solve(moved, steer[:, None].astype(complex))
    rows = answer[..., 0] * z**-TICKS
    parts = np.concatenate([rows.real, rows.imag], axis=1)
    return np.linalg.pinv(parts) @ np.array([-1.0, -1.0, 0.0, 0.0])


def best_driver(slopes: Floats, reaction: float) -> Driver:
    """The driver of a reaction time, s, who steers by the gains that suit the car best."""
    tick = reaction / TICKS
    state, steer = _held(*planar(slopes), tick)
    pairs = 1j * np.array(_PAIRS)
    roots = (pairs - _DECAYS[:, None, None]).reshape(-1, 2) / TICKS
    gains = _placed(state, steer, roots)
    loops = _loops(state, steer, gains)
    # growth rates of the slowest modes, 1/s
    growth = np.asarray(
        np.log(np.abs(np.linalg.eigvals(loops)).max(axis=1)) / tick
    )
    best = int(growth.argmin())
    if growth[best] < 0.0:
        fast = np.flatnonzero(growth <= _FAST * growth[best])
        best = int(fast[_drift(loops[fast]).argmin()])
    return Driver(reaction, gains[best], float(growth[best]))


def slowest_reaction(slopes: Floats) -> float:
    """Longest reaction time, s, at which some gains hold the car, up to 1.5; 0 where none do at 0.02."""
    low, high = _QUICK, _SLOW
    if not best_driver(slopes, low).holds:
        return 0.0
    if best_driver(slopes, high).holds:
        return high
    while high - low > _CLOSE * high:
        middle = 0.5 * (low + high)
        low, high = (
            (middle, high)
            if best_driver(slopes, middle).holds
            else (low, middle)
        )
    return low
