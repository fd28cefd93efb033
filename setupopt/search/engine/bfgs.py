"""How the weighed rows bend, learned from their slopes: damped BFGS.

M. J. D. Powell, A fast algorithm for nonlinearly constrained optimization calculations, in: Numerical
Analysis, Dundee 1977, Lecture Notes in Mathematics 630, Springer 1978.
"""

from __future__ import annotations

import numpy as np

from setupopt.physics.inputs import Floats

# Powell's share of the old bend that is kept at least.
_KEPT = 0.2
# Moves shorter than this, in shares of the box, tell of noise only.
_NOTICE = 1e-9


class Curvature:
    """A positive semidefinite estimate of minus the Hessian of the weighed rows, (variables, variables).

    Nothing is known of it before the first move: the first program is a linear one.
    """

    def __init__(self, variables: int) -> None:
        self.matrix = np.zeros((variables, variables))
        self.known = False

    def root(self) -> Floats | None:
        """R with R' R = the matrix; None while nothing is known."""
        if not self.known:
            return None
        values, vectors = np.linalg.eigh(self.matrix)
        return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))).T)

    def learn(self, move: Floats, change: Floats) -> None:
        """A move (variables) lowered the weighed slope by `change` (variables)."""
        length, size = float(np.linalg.norm(move)), float(np.linalg.norm(change))
        if length < _NOTICE:
            return
        if not self.known and size > 0.0:
            self.matrix, self.known = np.eye(move.size) * size / length, True
        self._update(move, change)

    def _update(self, move: Floats, change: Floats) -> None:
        bent = self.matrix @ move
        old, new = float(move @ bent), float(move @ change)
        if old <= 0.0:
            return
        share = 1.0 if new >= _KEPT * old else (1.0 - _KEPT) * old / (old - new)
        damped = share * change + (1.0 - share) * bent
        product = float(move @ damped)
        if product > 0.0:
            self.matrix += np.outer(damped, damped) / product - np.outer(bent, bent) / old
