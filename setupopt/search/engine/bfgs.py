"""The Hessian of the weighted constraints, estimated from their slopes: damped BFGS.

M. J. D. Powell, A fast algorithm for nonlinearly constrained optimization calculations, in: Numerical
Analysis, Dundee 1977, Lecture Notes in Mathematics 630, Springer 1978.
"""

from __future__ import annotations

import numpy as np

from setupopt.search.engine.batch import Floats

# Powell's damping: the least share of the old curvature along a step that is kept.
_DAMPING = 0.2
# The slopes of shorter steps, in shares of the box, differ by noise only.
_LEAST_STEP = 1e-9


class Curvature:
    """Minus the Hessian of the weighted constraints, (variables, variables), positive semidefinite.

    It is not known before the first step: the first subproblem is a linear program.
    """

    def __init__(self, variables: int) -> None:
        self.matrix = np.zeros((variables, variables))
        self.known = False

    def root(self) -> Floats | None:
        """R with R' R = the matrix; None while the matrix is not known."""
        if not self.known:
            return None
        values, vectors = np.linalg.eigh(self.matrix)
        return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))).T)

    def update(self, step: Floats, change: Floats) -> None:
        """Take in a step (variables) along which the weighted slope fell by `change` (variables)."""
        length = float(np.linalg.norm(step))
        size = float(np.linalg.norm(change))
        if length < _LEAST_STEP:
            return
        if not self.known and size > 0.0:
            self.matrix = np.eye(step.size) * size / length
            self.known = True
        product = self.matrix @ step
        old = float(step @ product)
        if old <= 0.0:
            return
        new = float(step @ change)
        share = (
            1.0
            if new >= _DAMPING * old
            else (1.0 - _DAMPING) * old / (old - new)
        )
        damped = share * change + (1.0 - share) * product
        along = float(step @ damped)
        if along > 0.0:
            self.matrix += (
                np.outer(damped, damped) / along
                - np.outer(product, product) / old
            )
