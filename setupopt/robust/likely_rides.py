"""Rides over what is likely to be stood least: the linear answer says what need not be ridden."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.project.limits_model import Require
from setupopt.robust.linear_stood import Answer, LinearStood
from setupopt.robust.obstacle import Obstacle
from setupopt.robust.ride_model import RideModel

# What the linear answer says is stood up to so many times as much as the worst may be the worst itself; beside
# a worst that rides have found in another case, so many times. And how many of these are ridden at most.
DOUBT = 2.0
DOUBT_BESIDE = 1.5
RIDDEN = 12
RIDDEN_BESIDE = 4


class LikelyRides(RideModel):
    """One setup's rides in many cases, with the linear answer beside each."""

    @cached_property
    def stood(self) -> LinearStood:
        """What is stood by the linear equations of motion."""
        return LinearStood(self.project, Require())

    @cached_property
    def _cars(self) -> dict[int, Answer]:
        return {}

    def linear_car(self, row: int) -> Answer:
        """The linear car of one case, with the driver who rides."""
        if row not in self._cars:
            self._cars[row] = self.stood.of_ride(self, row)
        return self._cars[row]

    def linear_heights(self, row: int, tried: list[Obstacle]) -> Floats:
        """Heights that one case stands of obstacles by the linear answer, m; of `tried` the sign counts."""
        unit = [
            one._replace(height=float(np.copysign(1.0, one.height)))
            for one in tried
        ]
        return self.stood.heights(self.linear_car(row), unit)
