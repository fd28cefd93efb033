"""Linear equations by elimination with row exchanges (Doolittle's form), in place and without allocation."""

from __future__ import annotations

from typing import Any

from setupopt.physics.inputs import Floats
from setupopt.physics.jit import kernel

Pivots = Any  # int64 array


@kernel
def copy(source: Floats, target: Floats) -> None:
    """Take the entries of `source` over, as far as both go, one by one: whole arrays take the compiler many
    seconds.
    """
    for j in range(min(source.size, target.size)):
        target[j] = source[j]


@kernel
def clear(a: Floats) -> None:
    """Put zeros into every row."""
    for i in range(a.shape[0]):
        for j in range(a.shape[1]):
            a[i, j] = 0.0


@kernel
def factor(a: Floats, pivots: Pivots, n: int) -> float:
    """Factor the leading (n, n) part of `a` in place, one over the pivots on its diagonal; the sign of its
    determinant, 0 where it is singular.
    """
    sign = 1.0
    for k in range(n):
        best = k
        most = abs(a[k, k])
        for i in range(k + 1, n):
            size = abs(a[i, k])
            best = i if size > most else best
            most = max(most, size)
        pivots[k] = best
        if best != k:
            sign = -sign
            for j in range(n):
                kept = a[k, j]
                a[k, j] = a[best, j]
                a[best, j] = kept
        pivot = a[k, k]
        over = 1.0 / pivot
        a[k, k] = over
        if pivot == 0.0:
            return 0.0
        if pivot < 0.0:
            sign = -sign
        for i in range(k + 1, n):
            share = a[i, k] * over
            a[i, k] = share
            if share != 0.0:
                for j in range(k + 1, n):
                    a[i, j] -= share * a[k, j]
    return sign


@kernel
def solve(a: Floats, pivots: Pivots, n: int, b: Floats) -> None:
    """Solve A x = b in place of `b`, A as `factor` left it.

    By columns: steps of one column do not wait for each other.
    """
    for k in range(n):
        best = pivots[k]
        kept = b[k]
        b[k] = b[best]
        b[best] = kept
    for k in range(n):
        known = b[k]
        for i in range(k + 1, n):
            b[i] -= a[i, k] * known
    for k in range(n - 1, -1, -1):
        known = b[k] * a[k, k]
        b[k] = known
        for i in range(k):
            b[i] -= a[i, k] * known


@kernel
def solve_transposed(a: Floats, pivots: Pivots, n: int, b: Floats) -> None:
    """Solve A' y = b in place of `b`, A as `factor` left it."""
    for k in range(n):
        for j in range(k):
            b[k] -= a[j, k] * b[j]
        b[k] *= a[k, k]
    for k in range(n - 1, -1, -1):
        for j in range(k + 1, n):
            b[k] -= a[j, k] * b[j]
    for k in range(n - 1, -1, -1):
        best = pivots[k]
        if best != k:
            kept = b[k]
            b[k] = b[best]
            b[best] = kept
