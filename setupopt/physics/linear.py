"""The Newton step of the seven equations: wheels eliminated axle by axle, then the body's three."""

from __future__ import annotations

from setupopt.physics.inputs import Floats
from setupopt.physics.jit import kernel


@kernel
def _eliminate_axle(a: Floats, b: Floats, i: int, body: Floats, right: Floats) -> float:
    """Take the wheels in rows i, i+1 out of the body's equations; determinant of their block.

    The block is that of two tyres on two springs, so it is never singular while the springs are there.
    """
    j = i + 1
    det = a[i, i] * a[j, j] - a[i, j] * a[j, i]
    for row in range(3):
        u = (a[row, i] * a[j, j] - a[row, j] * a[j, i]) / det
        v = (a[row, j] * a[i, i] - a[row, i] * a[i, j]) / det
        right[row] -= u * b[i] + v * b[j]
        for c in range(3):
            body[row, c] -= u * a[i, c] + v * a[j, c]
    return det


@kernel
def _solve_body(m: Floats, r: Floats, x: Floats) -> float:
    """Three equations by cofactors, into x[:3]; returns the determinant."""
    c0 = m[1, 1] * m[2, 2] - m[1, 2] * m[2, 1]
    c1 = m[1, 2] * m[2, 0] - m[1, 0] * m[2, 2]
    c2 = m[1, 0] * m[2, 1] - m[1, 1] * m[2, 0]
    det = m[0, 0] * c0 + m[0, 1] * c1 + m[0, 2] * c2
    x[0] = (
        r[0] * c0
        + r[1] * (m[0, 2] * m[2, 1] - m[0, 1] * m[2, 2])
        + r[2] * (m[0, 1] * m[1, 2] - m[0, 2] * m[1, 1])
    ) / det
    x[1] = (
        r[0] * c1
        + r[1] * (m[0, 0] * m[2, 2] - m[0, 2] * m[2, 0])
        + r[2] * (m[0, 2] * m[1, 0] - m[0, 0] * m[1, 2])
    ) / det
    x[2] = (
        r[0] * c2
        + r[1] * (m[0, 1] * m[2, 0] - m[0, 0] * m[2, 1])
        + r[2] * (m[0, 0] * m[1, 1] - m[0, 1] * m[1, 0])
    ) / det
    return det


@kernel
def _solve_axle(a: Floats, b: Floats, i: int, x: Floats) -> None:
    """The two wheels of an axle, once the body is known."""
    j = i + 1
    ri = b[i] - a[i, 0] * x[0] - a[i, 1] * x[1] - a[i, 2] * x[2]
    rj = b[j] - a[j, 0] * x[0] - a[j, 1] * x[1] - a[j, 2] * x[2]
    det = a[i, i] * a[j, j] - a[i, j] * a[j, i]
    x[i], x[j] = (ri * a[j, j] - rj * a[i, j]) / det, (rj * a[i, i] - ri * a[j, i]) / det


@kernel
def newton_step(a: Floats, b: Floats, x: Floats, body: Floats, right: Floats) -> float:
    """Solve a x = b for the seven unknowns; returns -1 where `a` is that of a trim that holds, else 1.

    Rows and columns: heave, pitch, roll, wheels FL, FR, RL, RR. Wheels of different axles meet only
    through the body. It holds where every push on the body is answered by a push back: minus the
    body's matrix, wheels eliminated, has positive leading minors (Sylvester's criterion; the matrix
    is symmetric but for small terms). `body` (3, 3) and `right` (3) are scratch.
    """
    body[:, :] = a[:3, :3]
    right[:] = b[:3]
    front, rear = _eliminate_axle(a, b, 3, body, right), _eliminate_axle(a, b, 5, body, right)
    det = _solve_body(body, right, x)
    _solve_axle(a, b, 3, x)
    _solve_axle(a, b, 5, x)
    pair = body[0, 0] * body[1, 1] - body[0, 1] * body[1, 0]
    holds = body[0, 0] < 0.0 and pair > 0.0 and det < 0.0 and front > 0.0 and rear > 0.0
    return -1.0 if holds else 1.0
