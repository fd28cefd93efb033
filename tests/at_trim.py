"""The balance kernel at a chosen state: every force of one setup in one case."""

from __future__ import annotations

import numpy as np
from setupopt.physics.place import FLOW, PLACE, prepare

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics.balance import WORK, balance
from setupopt.physics.inputs import STRIPS, Floats, Record
from setupopt.project.model import Car, Setup


class Bench:
    """One setup of a car in one case, ready to be pushed about by hand."""

    def __init__(self, car: Car, setup: Setup, cases: CaseSet, row: int = 0) -> None:
        model = Model(car)
        self.car, self.elements, self.points = model.packed[0][0], model.packed[1], model.packed[2]
        self.setup, self.case = model.settings([setup])[0], cases.records[row]
        self.place, self.flow = np.zeros(1, PLACE)[0], np.zeros(self.elements.size * STRIPS, FLOW)
        prepare(self.car, self.elements, self.setup, self.case, self.place, self.flow)

    def forces(self, state: Floats) -> Record:
        """Residual, Jacobian and every force on the way; a fresh record each time."""
        work = np.zeros(1, WORK)[0]
        x = np.array(state, dtype=float)
        balance(self.car, self.elements, self.setup, self.place, self.flow, x, work)
        return work

    def residual(self, state: Floats) -> Floats:
        """What is left over, N and N m."""
        return np.array(self.forces(state).residual)

    def jacobian(self, state: Floats) -> Floats:
        """Its analytic slopes."""
        return np.array(self.forces(state).jacobian)
