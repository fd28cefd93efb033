"""Measured attitudes of one body, and what a balance read at each."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np

from setupopt.physics.inputs import Floats

FORCES = ("downforce_front_N", "downforce_rear_N", "drag_N", "side_force_N")
DOWNFORCE, DRAG, SIDE = (0, 1), 2, 3  # places in FORCES


@dataclass(frozen=True, eq=False)
class AirRows:
    """Rows of a table in SI, (rows); `forces` (rows, forces) in newtons, not a number where not measured."""

    front_ride: Floats
    rear_ride: Floats
    body_roll: Floats
    yaw: Floats  # flow angle, rad; positive: the flow comes from the left
    curvature: Floats  # of the surface, 1/m; 0: flat
    speed: Floats
    density: Floats
    forces: Floats
    lines: np.ndarray  # of the file

    def __len__(self) -> int:
        return len(self.lines)

    def pick(self, rows: np.ndarray) -> AirRows:
        """Some of the rows, by number or as a mask."""
        return replace(
            self,
            **{
                field.name: getattr(self, field.name)[rows]
                for field in fields(self)
            },
        )

    def in_order(self) -> AirRows:
        """The rows in an order of their own, so that none hangs on how the file was sorted."""
        keys = np.column_stack(
            [self._conditions, np.nan_to_num(self.forces, nan=np.inf)]
        )
        return self.pick(np.lexsort(keys.T[::-1]))

    @property
    def pressure(self) -> Floats:
        """Dynamic pressure, Pa."""
        return 0.5 * self.density * self.speed**2

    @property
    def areas(self) -> Floats:
        """(rows, forces) Forces per dynamic pressure, m2."""
        return self.forces / self.pressure[:, None]

    @property
    def ride(self) -> Floats:
        """Ride height in the middle between both stations, m."""
        return 0.5 * (self.front_ride + self.rear_ride)

    @property
    def is_plain(self) -> np.ndarray:
        """Whether the body stood upright over a flat surface in flow from ahead."""
        return (
            (self.body_roll == 0.0)
            & (self.yaw == 0.0)
            & (self.curvature == 0.0)
        )

    @cached_property
    def counts(self) -> np.ndarray:
        """(rows, forces) What the model can be held against: all that was measured, but no side force at no
        yaw, of which it says nothing."""
        known = ~np.isnan(self.forces)
        known[self.yaw == 0.0, SIDE] = False
        return known

    @cached_property
    def sizes(self) -> Floats:
        """(forces) Root mean square of what counts per dynamic pressure, m2; 1 where nothing does.

        Of an axle at least half of that of both: where one hardly carries any, errors are not measured by it.
        """
        squares, count = (
            np.where(self.counts, self.areas, 0.0) ** 2,
            self.counts.sum(axis=0),
        )
        size = np.sqrt(squares.sum(axis=0) / np.maximum(count, 1))
        axles = list(DOWNFORCE)
        both = float(
            np.sqrt(squares[:, axles].sum() / max(count[axles].sum(), 1))
        )
        size[axles] = np.maximum(size[axles], 0.5 * both)
        return np.where(size > 0.0, size, 1.0)

    @property
    def _conditions(self) -> Floats:
        """(rows, conditions) What was set, without speed and density, which the model divides out."""
        return np.column_stack(
            [
                self.front_ride,
                self.rear_ride,
                self.body_roll,
                self.yaw,
                self.curvature,
            ]
        )

    @cached_property
    def condition(self) -> np.ndarray:
        """(rows) Number of the attitude; rows that repeat one share it."""
        return np.unique(self._conditions, axis=0, return_inverse=True)[
            1
        ].reshape(-1)
