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
        self.variables = variables
        self.forget()

    def forget(self) -> None:
        """Begin again."""
        self.matrix = np.zeros((self.variables, self.variables))
        self.known = False

    def _begin(self, curvature: float) -> None:
        """The same curvature in all directions, where none is known."""
        if not self.known:
            self.matrix = np.eye(self.variables) * curvature
            self.known = True

    def along(self, step: Floats) -> float:
        """How far the weighted constraints fall below their slopes at the end of a step (variables)."""
        return 0.5 * float(step @ self.matrix @ step)

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
        if size > 0.0:
            self._begin(size / length)
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

    def learn_fall(self, step: Floats, fall: float) -> None:
        """Take in how far below the slopes the end of a step (variables) was, where less was known."""
        length = float(step @ step)
        if length < _LEAST_STEP**2 or fall <= 0.0:
            return
        self._begin(2.0 * fall / length)
        known = self.along(step)
        if 0.0 < known < fall:
            product = self.matrix @ step
            more = (fall - known) / (2.0 * known**2)
            self.matrix += more * np.outer(product, product)
