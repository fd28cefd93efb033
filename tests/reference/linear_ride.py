"""A linear car over an uneven road, what the product is held to: M q'' + C q' + K q = B e + D e' in time.

q: displacements (dof,); e: heights of the road under the wheels (inputs,). All SI. Road spectra are
one-sided; frequencies in Hz.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm

from setupopt.physics.jit import kernel
from setupopt.robust.road.profile import golden_quarter_car as product_car

Numbers = NDArray[np.float64]
Complex = NDArray[np.complex128]


class LinearSystem(NamedTuple):
    """The matrices of M q'' + C q' + K q = B e + D e'."""

    mass: Numbers  # M (dof, dof)
    damping: Numbers  # C (dof, dof)
    stiffness: Numbers  # K (dof, dof)
    road_stiffness: Numbers  # B (dof, inputs)
    road_damping: Numbers  # D (dof, inputs)

    @property
    def dof(self) -> int:
        """Number of displacements."""
        return len(self.mass)

    def free(self) -> Numbers:
        """A of the motion without road, (q, q')' = A (q, q'): (2 dof, 2 dof)."""
        springs, dampers = (
            np.linalg.solve(self.mass, part)
            for part in (self.stiffness, self.damping)
        )
        return np.block(
            [[np.zeros_like(springs), np.eye(self.dof)], [-springs, -dampers]]
        )

    def forced(self, forces: Numbers) -> Numbers:
        """Effect of forces (dof, inputs) on (q, q')': (2 dof, inputs)."""
        return np.vstack(
            [np.zeros_like(forces), np.linalg.solve(self.mass, forces)]
        )


def golden_quarter_car() -> LinearSystem:
    """That of the product, for one unit of body mass."""
    law, push = product_car()
    return LinearSystem(
        np.eye(2),
        -law[1::2, 1::2],
        -law[1::2, ::2],
        push[1::2],
        np.zeros((2, 1)),
    )


# ---- in time -----------------------------------------------------------------------------------------------


class Transition(NamedTuple):
    """x(t + step) = state x(t) + before e(t) + after e(t + step), where x = (q, q')."""

    state: Numbers  # (2 dof, 2 dof)
    before: Numbers  # (2 dof, inputs)
    after: Numbers  # (2 dof, inputs)

    def held(self) -> Transition:
        """The same for a road that keeps e(t) over the step and then jumps; without D's kick at the jump."""
        return Transition(
            self.state, self.before + self.after, np.zeros_like(self.after)
        )


def transition(
    mass: Numbers,
    damping: Numbers,
    stiffness: Numbers,
    road_stiffness: Numbers,
    road_damping: Numbers,
    step: float,
) -> Transition:
    """One step in time, s, exact for a road that runs straight from e(t) to e(t + step).

    With r = e(t + step) - e(t), the triple (x, e, r) follows a linear law without input,
    x' = A x + B e + D r / step, e' = r / step, r' = 0; its matrix exponential holds all three parts
    (C. F. Van Loan, IEEE Trans. Autom. Control 23 (1978) 395-404).

    A mass of 1 kg on 4 pi^2 N/m, over a ramp of 1 m in half a second, a half of its period:

    >>> one = np.eye(1)
    >>> ramp = transition(one, 0 * one, 4 * np.pi**2 * one, 4 * np.pi**2 * one, 0 * one, 0.5)
    >>> ramp.after.ravel().round(9).tolist()
    [1.0, 4.0]
    """
    system = LinearSystem(
        mass, damping, stiffness, road_stiffness, road_damping
    )
    states, inputs = 2 * system.dof, road_stiffness.shape[1]
    law = np.zeros((states + 2 * inputs, states + 2 * inputs))
    law[:states, :states] = step * system.free()
    law[:states, states : states + inputs] = step * system.forced(
        road_stiffness
    )
    law[:states, states + inputs :] = system.forced(road_damping)
    law[states : states + inputs, states + inputs :] = np.eye(inputs)
    state, level, rise = np.split(
        expm(law)[:states], [states, states + inputs], axis=1
    )
    return Transition(state, level - rise, rise)


def march(step: Transition, road: Numbers, start: Numbers) -> Numbers:
    """States (points, 2 dof) of a run over heights (points, inputs), the first of them `start` (2 dof,)."""
    states = np.empty((len(road), len(start)))
    states[0] = start
    state, before, after, heights = (
        np.ascontiguousarray(part, dtype=float) for part in (*step, road)
    )
    _march(state, before, after, heights, states)
    return states


@kernel
def _march(
    state: Numbers,
    before: Numbers,
    after: Numbers,
    road: Numbers,
    states: Numbers,
) -> None:
    """Fills states (points, states) from the second on."""
    for k in range(len(road) - 1):
        for i in range(len(state)):
            value = 0.0
            for j in range(len(state)):
                value += state[i, j] * states[k, j]
            for j in range(road.shape[1]):
                value += (
                    before[i, j] * road[k, j] + after[i, j] * road[k + 1, j]
                )
            states[k + 1, i] = value
