"""The linear car on a random road by frequencies and by the Lyapunov equation: what the product is held to."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_continuous_lyapunov

from setupopt.robust.road.linear_ride import (
    LinearSystem,
    Numbers,
    Output,
    ResponseSpectra,
    frequency_response,
    response_density,
)
from setupopt.robust.road.spectrum import N0, Contacts, Road

_NOTHING = 1e-6  # of the terms that cancel


def response_to_road(
    system: LinearSystem,
    rows: Output,
    road: Road,
    contacts: Contacts,
    speed: float,
    points: int = 2001,
) -> ResponseSpectra:
    """Spectra of the outputs on a random road at a speed in m/s, over the road's band.

    The frequencies stand as speed x wavenumber, in equal ratios: 2001 over ISO 8608's band are 0.28 % apart,
    which resolves a damping ratio of 1 % and any wheelbase below 10 m.
    """
    wavenumber = np.geomspace(*road.band, points)
    frequency = speed * wavenumber
    response = frequency_response(system, rows, frequency)
    under = road.wheel_spectra(wavenumber, contacts) / speed
    return ResponseSpectra(frequency, response_density(response, under))


def white_covariance(
    system: LinearSystem, rows: Output, intensity: ArrayLike
) -> Numbers:
    """Covariance (outputs, outputs) where the road's velocity is white noise, an unlimited band of w = 2.

    `intensity` W (inputs, inputs), two-sided: E[e'(t) e'(t')] = W delta(t - t'). Counted from where the car
    would stand at rest, p = q - R e with K R = B, the state (p, q') is stationary: A P + P A' + N W N' = 0.
    Raises ValueError where an output follows the height of such a road, or holds the white noise itself, so
    that its variance is infinite: of four wheels on four roads of their own, even the load at rest is.
    """
    w = np.atleast_2d(intensity)
    at_rest = np.linalg.solve(system.stiffness, system.road_stiffness)
    kick = system.forced(system.road_damping)
    _require_nothing(rows.position, at_rest, rows.road, w)
    _require_nothing(
        rows.acceleration, kick[system.dof :], rows.road_velocity, w
    )
    noise = kick - np.vstack([at_rest, np.zeros_like(at_rest)])
    free = system.free()
    state = solve_continuous_lyapunov(free, -noise @ w @ noise.T)
    seen = (
        np.hstack([rows.position, rows.velocity])
        + rows.acceleration @ free[system.dof :]
    )
    return seen @ state @ seen.T


def _require_nothing(
    rows: Numbers,
    columns: NDArray[np.floating],
    direct: Numbers,
    intensity: Numbers,
) -> None:
    """Refuses (rows x columns + direct) x intensity unless it cancels."""
    found = (rows @ columns + direct) @ intensity
    terms = (np.abs(rows) @ np.abs(columns) + np.abs(direct)) @ np.abs(
        intensity
    )
    if np.any(np.abs(found) > _NOTHING * terms):
        raise ValueError(
            "under white road velocity the variance of this output is infinite"
        )


def white_intensity(road: Road, speed: float) -> float:
    """W of the vertical velocity of a road with w = 2, E[e'(t) e'(t')] = W delta(t - t'), m2/s.

    W = 2 pi^2 G_d(n0) n0^2 V: half of the one-sided, level spectrum of the velocity.
    """
    assert road.waviness == 2.0
    return speed * float(road.slope_psd(N0)) / 2
