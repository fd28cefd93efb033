"""Faults: what may happen to a car on a smooth road, each a disturbance by name."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.motion import Motion
from setupopt.physics.ride_motion import WHEEL_SPEED
from setupopt.project.model import WHEELS, Car, Setup
from setupopt.units import DEG

_TOO_MUCH = 2.0 * DEG
_FLAT_SECONDS = 0.3
# What is left at least of the stiffness of a tyre without pressure, and how far its hub comes down beside,
# over its radius. Common practice, no source.
_LEFT = 0.1
_FALL = 0.05


@dataclass(frozen=True)
class Event:
    """One fault; `numbers`: EVENT of physics/ride_run.py. `stuck`: a wheel that locks, or -1."""

    name: str
    numbers: tuple[float, ...] = (0.0, 0.0, -1.0, 1.0, 1.0, 1.0)
    drop: float = 0.0  # m that the hub of a flat tyre comes down beside
    stuck: int = -1
    no_drive: bool = False

    @property
    def flat(self) -> int:
        """The wheel that loses its pressure, or -1."""
        return int(self.numbers[2])

    def begin(self, motion: Motion) -> None:
        """What it changes of a motion at its start. The forward speed is free where the car is damaged."""
        if self.no_drive:
            motion.hold.push[:] = np.minimum(motion.hold.push, 0.0)
        if self.stuck >= 0:
            motion.hold.is_stuck[self.stuck] = 1.0
            motion.m[WHEEL_SPEED + self.stuck] = 0.0
        if self.no_drive or self.stuck >= 0 or self.flat >= 0:
            motion.hold.is_free = 1.0

    def road(self, columns: int, step: float) -> np.ndarray:
        """The smooth road that goes with it (samples, columns), for as long as anything goes on: the hub of a
        flat tyre comes down.
        """
        samples = 2 * int(_FLAT_SECONDS / step) + 3
        road = np.zeros((samples, columns))
        if self.flat >= 0:
            time = 0.5 * step * np.arange(samples)
            share = np.minimum(time / _FLAT_SECONDS, 1.0)
            road[:, self.flat] = -self.drop * share
        return road


NOTHING = Event("")


def faults(car: Car, setup: Setup, reaction: float) -> list[Event]:
    """Every fault by name. A steer angle too much is held for one reaction time."""
    found = [Event("loss of drive", no_drive=True)]
    found += [Event(f"{name} locked", stuck=w) for w, name in enumerate(WHEELS)]
    for w, tyre in enumerate((*car.front.tyres, *car.rear.tyres)):
        pressure = (setup.front, setup.rear)[w // 2].sides("pressure")[
            w % 2
        ] or 0.0
        left = []
        for bare, per in (
            (tyre.foundation, tyre.foundation_per_pressure),
            (tyre.carcass, tyre.carcass_per_pressure),
        ):
            whole = bare + per * pressure
            left.append(max(bare / whole, _LEFT) if whole > 0.0 else 1.0)
        found.append(
            Event(
                f"{WHEELS[w]} flat",
                (0.0, 0.0, w, _FLAT_SECONDS, *left),
                _FALL * tyre.radius,
            )
        )
    for sign, side in ((1.0, "left"), (-1.0, "right")):
        numbers = (sign * _TOO_MUCH, reaction, -1.0, 1.0, 1.0, 1.0)
        found.append(Event(f"2 deg of steer to the {side}", numbers))
    return found
