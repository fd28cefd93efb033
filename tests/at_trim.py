"""The balance kernel at a chosen state: every force of one setup in one case."""

from __future__ import annotations

from typing import Any

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics.balance import FACTOR, WORK, balance
from setupopt.physics.case_state import (
    CASE_STATE,
    ROADBED,
    prepare,
    set_heading,
)
from setupopt.physics.inputs import UNKNOWNS, Floats, Record
from setupopt.project.model import Car, Setup


class Bench:
    """One setup of a car in one case, ready to be pushed about by hand. It starts without sideslip."""

    def __init__(
        self, car: Car, setup: Setup, cases: CaseSet, row: int = 0
    ) -> None:
        model = Model(car)
        self.setup = model.settings([setup])[0]
        vehicle, self.elements, self.points = model.packed_for(self.setup)
        self.car = vehicle[0]
        self.case = cases.records[row]
        self.state = np.zeros(1, CASE_STATE)[0]
        self.road = np.zeros(self.elements.size, ROADBED)
        prepare(self.car, self.case, 0.0, self.state)
        set_heading(self.car, self.case, 0.0, self.state)

    @property
    def scene(self) -> tuple[Any, ...]:
        """What the balance kernel takes before the unknowns."""
        return (
            self.car, self.elements, self.setup, self.case, self.state, self.road,
        )  # fmt: skip

    def forces(self, unknowns: Floats, factor: float = 1.0) -> Record:
        """Residual, Jacobian and every force on the way; a fresh record each time."""
        work = np.zeros(1, WORK)[0]
        x = np.append(np.asarray(unknowns, dtype=float)[:UNKNOWNS], factor)
        balance(*self.scene, x, work)
        return work

    def residual(self, unknowns: Floats, factor: float = 1.0) -> Floats:
        """What is left over: forces over the weight, moments over the weight times a metre, (UNKNOWNS)."""
        return np.array(self.forces(unknowns, factor).residual[:UNKNOWNS])

    def jacobian(self, unknowns: Floats, factor: float = 1.0) -> Floats:
        """Its analytic slopes, (UNKNOWNS, UNKNOWNS)."""
        return np.array(
            self.forces(unknowns, factor).jacobian[:UNKNOWNS, :UNKNOWNS]
        )

    def factor_slope(self, unknowns: Floats, factor: float = 1.0) -> Floats:
        """Its slope by the friction factor, (UNKNOWNS)."""
        return np.array(
            self.forces(unknowns, factor).jacobian[:UNKNOWNS, FACTOR]
        )
