"""M. Gobbi and G. Mastinu, Analytical description and optimization of the dynamic behaviour of passively
suspended road vehicles, J. Sound Vib. 245 (2001) 457-481: a quarter car on a road of white velocity.

Only the abstract was open; the formulas are recalled and were derived again for this project from the
Lyapunov equation, in symbols. The figures are derived, not printed.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np
import pytest
from linear_ride import LinearSystem
from random_ride import (
    Output,
    frequency_response,
    output,
    response_density,
    white_covariance,
)
from scipy.optimize import minimize_scalar

W = 1.5791367041742975e-4  # m2/s, class A mean at 50 m/s


class Car(NamedTuple):
    """kg, N/m, N s/m."""

    ms: float
    mu: float
    k: float
    kt: float
    c: float


def system(car: Car) -> LinearSystem:
    """The quarter car, body above wheel."""
    pair = np.array([[1.0, -1.0], [-1.0, 1.0]])
    stiffness = car.k * pair + np.diag([0.0, car.kt])
    tyre = np.array([[0.0], [car.kt]])
    return LinearSystem(
        np.diag([car.ms, car.mu]),
        car.c * pair,
        stiffness,
        tyre,
        np.zeros((2, 1)),
    )


def rows(car: Car) -> Output:
    """Suspension travel, body acceleration, tyre load."""
    return output(
        system(car),
        position=[[1.0, -1.0], [0.0, 0.0], [0.0, -car.kt]],
        acceleration=[[0.0, 0.0], [1.0, 0.0], [0.0, 0.0]],
        road=[[0.0], [0.0], [car.kt]],
    )


def by_lyapunov(car: Car) -> np.ndarray:
    """The three variances."""
    return np.diag(white_covariance(system(car), rows(car), W))


def by_formula(car: Car) -> list[float]:
    """The three variances, recalled."""
    ms, mu, k, kt, c = car
    m = ms + mu
    load = (
        kt**2 * mu / c
        + kt * c * m**2 / ms**2
        + k**2 * m**3 / (c * ms**2)
        - 2 * k * kt * mu * m / (c * ms)
    )  # fmt: skip
    return [
        W * m / (2 * c),
        W / 2 * (kt * c / ms**2 + k**2 * m / (c * ms**2)),
        W / 2 * load,
    ]


# variances m2, m2/s4, N2 (held in tests/validation);
# best damping for comfort and for tyre load N s/m, best spring for tyre load N/m
WORKED = {
    Car(250, 35, 16e3, 160e3, 1000): (
        [2.250269803e-5, 0.2943005493, 78519.95251],
        [675.28, 1944.88, 17236.07],
    ),
    Car(150, 20, 100e3, 250e3, 3500): (
        [3.835046282e-6, 4.775008605, 140629.6432],
        [2607.68, 2676.44, 25951.56],
    ),
}


def test_random_cars() -> None:
    """500 cars, dampers from 0.1 to 30 N s/mm: formula and Lyapunov equation agree to 1e-8 (conditioning)."""
    draw = np.random.default_rng(8)
    for _ in range(500):
        low, high = (
            np.log([80, 10, 5e3, 8e4, 100]),
            np.log([600, 60, 4e5, 6e5, 3e4]),
        )
        car = Car(*np.exp(draw.uniform(low, high)))
        assert by_lyapunov(car) == pytest.approx(by_formula(car), rel=1e-8)


@pytest.mark.parametrize("car", WORKED)
def test_frequency_integral(car: Car) -> None:
    """Travel and tyre load by frequency response from 1 mHz to 100 kHz, to 1e-6.

    Beyond, the wheel stands still and the load is kt e: kt^2 2 W / (4 pi^2 f) more.
    """
    frequency = np.geomspace(1e-3, 1e5, 40_001)
    white = (2 * W / (2 * np.pi * frequency) ** 2)[:, None, None]
    density = response_density(
        frequency_response(system(car), rows(car), frequency), white
    )
    found = np.trapezoid(density, frequency, axis=0)
    found[2] += car.kt**2 * 2 * W / (4 * np.pi**2 * frequency[-1])
    assert found[[0, 2]] == pytest.approx(by_lyapunov(car)[[0, 2]], rel=1e-6)


def least(car: Car, field: str, row: int) -> float:
    """The spring or damper that makes a variance least, found by search."""
    start = getattr(car, field)

    def variance(factor: float) -> float:
        return float(by_lyapunov(car._replace(**{field: start * factor}))[row])

    found = minimize_scalar(
        variance, bounds=(0.05, 3.0), method="bounded", options={"xatol": 1e-9}
    )
    return start * float(found.x)


@pytest.mark.parametrize("car", WORKED)
def test_best_damping_and_spring(car: Car) -> None:
    """Closed forms of the best values, their worked figures, a search on the system (1e-5: flat there)."""
    ms, mu, k, kt, _ = car
    m = ms + mu
    comfort = k * sqrt(m / kt)
    grip = sqrt(k**2 * m**3 - 2 * k * kt * ms * mu * m + kt**2 * ms**2 * mu) / (
        sqrt(kt) * m
    )
    best = [comfort, grip, kt * ms * mu / m**2]
    assert best == pytest.approx(WORKED[car][1], abs=5.1e-3)
    assert [
        least(car, "c", 1),
        least(car, "c", 2),
        least(car, "k", 2),
    ] == pytest.approx(best, rel=1e-5)
