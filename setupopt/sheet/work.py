"""The work from one setup to another: the steps so far, and the car as it stands after them on the pad."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.project.model import Ballast, Project, Setup
from setupopt.sheet.adjusters import axle_tools
from setupopt.sheet.build import as_written
from setupopt.sheet.pad_state import Pad
from setupopt.sheet.places import all_pieces, is_same_piece
from setupopt.sheet.steps import Step, apply


class Work:
    """The steps so far, and the car as it stands after them."""

    def __init__(self, project: Project, today: Setup, target: Setup) -> None:
        self.pad = Pad(project, today)
        self.today = today
        self.target = target
        self.tools = [axle_tools(project, axle) for axle in (0, 1)]
        self.pieces = all_pieces(today, target)
        ballast = tuple(self.today_piece(piece) for piece in self.pieces)
        self.stance = as_written(replace(today, ballast=ballast))
        self.reading = self.pad.reading(self.stance)
        self.steps: list[Step] = []
        self.left_alone: list[str] = []

    def today_piece(self, piece: Ballast) -> Ballast:
        """A piece as it is today; without mass where it is not on the car."""
        fitted = (
            one for one in self.today.ballast if is_same_piece(one, piece)
        )
        return next(fitted, replace(piece, mass=0.0))

    def add(
        self,
        job: str,
        what: str,
        where: str = "",
        amount: float | None = None,
        unit: str = "",
        **more: Any,
    ) -> None:
        """Do a step, and read the pad after it; `more` as in Step."""
        number = len(self.steps) + 1
        step = Step(
            number, job, where, what, amount, unit, self.reading, **more
        )
        self.stance = apply(self.pad, step, self.stance)
        self.reading = self.pad.reading(self.stance)
        self.steps.append(replace(step, reading=self.reading))

    def has(self, *jobs: str) -> bool:
        """Whether any of these was done."""
        return any(step.job in jobs for step in self.steps)

    def leave(self, words: str) -> None:
        """Name a difference that cannot be set."""
        self.left_alone.append(words)

    @staticmethod
    def four(setup: Setup, field: str) -> Floats:
        """A setting of the four wheels, SI."""
        sides = (*setup.front.sides(field), *setup.rear.sides(field))
        return np.array([np.nan if value is None else value for value in sides])
